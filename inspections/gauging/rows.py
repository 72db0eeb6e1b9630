"""What the register shows of gauges: figures in words, how near they are to being due, what they read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, QuerySet

from inspections.gauge_models import Gauge
from inspections.gauging.gauges import SOON_DAYS
from inspections.gauging.kinds import CHAIN, FIXED, NOT_FOR_LENGTHS, WRENCH, past_due, told_range
from inspections.gauging.zeroing import ZeroLine, last_zeroings, zero_line
from inspections.models import Reading
from shop import clock

MOST_READINGS = 25


@dataclass(frozen=True, slots=True)
class GaugeLine:
    """One line of the register."""

    gauge: Gauge
    reads: str
    uncertainty: str
    due: str
    past_due: bool
    soon: bool
    zero: ZeroLine | None


def told_reach(gauge: Gauge) -> str:
    """What a gauge reads and over which range, in words."""
    if gauge.kind == WRENCH:
        return f"{gauge.from_nm or 0:g} to {gauge.to_nm:g} N·m" if gauge.to_nm is not None else "torque"
    size = f"{gauge.size_mm:.4f} mm" if gauge.size_mm is not None else ""
    if gauge.kind in FIXED:
        return f"{gauge.measures}, {size}"
    if gauge.kind in NOT_FOR_LENGTHS:
        return size or "no length"
    reach = told_range(gauge)
    return f"{gauge.measures}, {reach}" if reach else gauge.measures


def told_uncertainty(gauge: Gauge) -> str:
    if gauge.kind == WRENCH:
        return f"± {gauge.torque_percent:g} %"
    return f"± {gauge.expanded_um:.3g} µm"


def told_due(gauge: Gauge, days: int | None) -> str:
    if gauge.due_on is None or days is None:
        return "no day is set"
    day = f"{gauge.due_on:%d %b %Y}"
    if days < 0:
        return f"{day}, past due"
    return f"{day}, in {days} day{'s' if days != 1 else ''}" if days <= SOON_DAYS else day


def row_of(gauge: Gauge, at: datetime | None = None) -> GaugeLine:
    return _row(gauge, last_zeroings([gauge]), at or clock.now())


def gauge_rows(gauges: QuerySet[Gauge], at: datetime | None = None) -> list[GaugeLine]:
    """Lines of the register; two queries."""
    rows = list(gauges.select_related("first", "second"))
    last = last_zeroings(rows)
    at = at or clock.now()
    return [_row(one, last, at) for one in rows]


def _row(gauge: Gauge, last: dict[int, Any], at: datetime) -> GaugeLine:
    today = clock.today(at)
    days = None if gauge.due_on is None else (gauge.due_on - today).days
    late = past_due(gauge, today)
    return GaugeLine(
        gauge=gauge,
        reads=told_reach(gauge),
        uncertainty=told_uncertainty(gauge),
        due=told_due(gauge, days),
        past_due=late,
        soon=not late and days is not None and days <= SOON_DAYS,
        zero=zero_line(gauge, last.get(gauge.pk), at) if gauge.needs_zeroing or gauge.pk in last else None,
    )


def parts_of(gauge: Gauge) -> str:
    """What a chain is made of, in words."""
    if gauge.kind != CHAIN or gauge.first is None or gauge.second is None:
        return ""
    return f"{gauge.first.code} read with {gauge.second.code}"


def readings_of(gauge: Gauge) -> dict[str, Any]:
    """The newest readings with the gauge, how many there are, and how many past due."""
    rows = Reading.objects.filter(gauge=gauge)
    newest = rows.select_related("person", "examination__ticket", "zeroing__master").order_by(
        "-received_at", "-sequence"
    )
    counts = rows.aggregate(all=Count("id"))
    return {
        "rows": list(newest[:MOST_READINGS]),
        "count": counts["all"],
        "overdue": rows.exclude(overdue_reason="").count(),
    }
