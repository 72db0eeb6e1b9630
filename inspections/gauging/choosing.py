"""What the bench offers to read with at one check: the fine ones first, and why others are not advised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from inspections.document import Check
from inspections.gauging.kinds import FIXED, Asks, Standing, asks_of, standing, usable
from inspections.gauging.zeroing import ZeroLine, zero_lines
from inspections.judgement.too_close import told_um
from inspections.readings.findings import Examined, GaugeRow
from shop import clock

MOST_LINES = 4


@dataclass(frozen=True, slots=True)
class BenchGauges:
    """The choices of the select, the one taken last, and what is said beside it."""

    choices: list[Any]
    last: str = ""
    fixed: bool = False  # a plug or a ring is among them: it goes or it does not
    overdue: bool = False  # one past due is among them: a lead may say why it is used
    lines: list[ZeroLine] = field(default_factory=list)


def asked_at(whole: Examined, check: Check, tag: str) -> Asks:
    """What the check asks of a gauge, for the piece of that tag."""
    size = next((one.size for one in whole.state.pieces if one.tag == tag), "")
    return asks_of(whole.judgement.guide, check, size)


def gauges_for(
    whole: Examined, check: Check, tag: str, person: str, at: datetime | None = None
) -> BenchGauges:
    """What there is to read this check with on that piece; ``person`` took one of them last. One query, for
    the zeros."""
    if not check.takes_quantity:
        return BenchGauges([])
    at = at or clock.now()
    asks, today = asked_at(whole, check, tag), clock.today(at)
    rack = [one for one in whole.state.gauges if not one.retired]
    offered = [(one, standing(one, asks, today)) for one in rack]
    offered = [(one, stands) for one, stands in offered if stands.state != "wrong kind"]
    good = usable(rack, asks, today)
    codes = {one.code for one in good}
    used = [one.gauge for one in whole.records if one.person == person and one.gauge in codes]
    zeroed = [one for one in good if one.needs_zeroing][:MOST_LINES]
    return BenchGauges(
        choices=_choices(offered, asks, today),
        last=used[-1] if used else "",
        fixed=any(one.kind in FIXED for one in good),
        overdue=any(stands.state == "past due" for _, stands in offered),
        lines=zero_lines(zeroed, at),
    )


def _choices(offered: Sequence[tuple[GaugeRow, Standing]], asks: Asks, today: date) -> list[Any]:
    if not offered:
        return [
            ("", f"No gauge in use measures {asks.dimension}" if asks.dimension else "No gauge is in use")
        ]
    ordered = sorted(offered, key=lambda row: (row[0].expanded_um, row[0].code))
    heads = (
        ("fine", "Fine enough"),
        ("advised against", f"Not advised: more than a quarter of the zone, {asks.zone_um or 0:.0f} µm"),
        ("too coarse", f"Too coarse: ± {asks.gauge_um or 0:g} µm asked"),
        ("out of range", "Out of range"),
        ("past due", "Past due for calibration: a lead's to use"),
    )
    groups: list[Any] = [("", "Choose the gauge")]
    for state, head in heads:
        rows = [_told(one, today) for one, stands in ordered if stands.state == state]
        if rows or state == "fine":
            groups.append((head, rows))
    return groups


def _told(one: GaugeRow, today: date) -> tuple[str, str]:
    size = f", {one.size_mm:g} mm" if one.kind in FIXED and one.size_mm is not None else ""
    soon = ""
    if one.due_on is not None and 0 <= (one.due_on - today).days <= 7:
        soon = f", due {one.due_on:%d %b}"
    return one.code, f"{one.code} {one.name}{size}, ± {told_um(one.expanded_um)} µm{soon}"
