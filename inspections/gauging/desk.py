"""Which gauge a reading is taken with: what is refused, what a lead may override, what is advised against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from inspections.bench.refusing import No
from inspections.document import Check, GuideIndex
from inspections.gauge_models import Gauge, Zeroing
from inspections.gauging.fixed import DOES_NOT_GO, GOES
from inspections.gauging.kinds import FIXED, Asks, asks_of, holds, standing, told_codes, told_range, usable
from inspections.gauging.zeroing import SHIFT, zero_line

MOST_REASON = 200
_SAYS = {
    GOES: GOES,
    "go": GOES,
    DOES_NOT_GO: DOES_NOT_GO,
    "doesn't go": DOES_NOT_GO,
    "not go": DOES_NOT_GO,
    "no go": DOES_NOT_GO,
    "no-go": DOES_NOT_GO,
}


@dataclass(frozen=True, slots=True)
class Chosen:
    """A gauge as a reading keeps it. ``warning``: it may be used, but a better choice is advised."""

    gauge: Gauge | None = None
    zeroing: Zeroing | None = None
    overdue_reason: str = ""
    warning: str = ""

    @property
    def fixed(self) -> bool:
        return self.gauge is not None and self.gauge.kind in FIXED


@dataclass(frozen=True, slots=True)
class Rack:
    """The gauges in use by code, and when each of those at hand was zeroed."""

    gauges: Mapping[str, Gauge]
    zeroings: Mapping[int, Zeroing]
    today: date
    at: datetime


def choose_gauge(
    rack: Rack, guide: GuideIndex, check: Check, *, size: str, code: str, override: str, lead: bool
) -> Chosen:
    """The gauge of that code for this check on a piece of that size; raises No by field.

    ``override``: why a gauge past due is used all the same; a lead's to say, and kept with the reading.
    """
    if not check.takes_quantity:
        if code and code not in rack.gauges:
            raise No("gauge", f"There is no gauge {code} in use.")
        return Chosen(rack.gauges[code] if code else None)
    asks = asks_of(guide, check, size)
    if not code:
        raise No("gauge", f"Say which gauge it was read with: {_fine(rack, asks)}.")
    if code not in rack.gauges:
        raise No("gauge", f"There is no gauge {code} in use. Fine enough: {_fine(rack, asks)}.")
    gauge = rack.gauges[code]
    stands = standing(gauge, asks, rack.today)
    reason = ""
    if stands.refused or stands.state == "past due":
        # Listing them asks for the whole register: only where something is refused, or a lead overrides.
        fine = f"Fine enough: {_fine(rack, asks)}."
        if stands.state != "past due":
            tail = f"Those that do: {_fine(rack, asks)}." if stands.state == "wrong kind" else fine
            raise No("gauge", f"{stands.words} {tail}")
        reason = _override(stands.words, override, lead, fine)
    zeroing = rack.zeroings.get(gauge.pk)
    return Chosen(
        gauge, zeroing, reason, _warning(stands.words if not reason else "", gauge, zeroing, rack.at)
    )


def _override(words: str, override: str, lead: bool, fine: str) -> str:
    reason = " ".join(override.split())
    if not reason:
        tail = (
            " A lead who reads with it all the same says why." if lead else " Only a lead may read with it."
        )
        raise No("override" if lead else "gauge", f"{words} {fine}{tail}")
    if not lead:
        raise No("override", f"{words} {fine} Only a lead may read with it.")
    if len(reason) > MOST_REASON:
        raise No("override", f"At most {MOST_REASON} characters.")
    return reason


def _warning(words: str, gauge: Gauge, zeroing: Zeroing | None, at: datetime) -> str:
    said = [words] if words else []
    if gauge.needs_zeroing and (zeroing is None or at - zeroing.at > SHIFT):
        said.append(f"{gauge.code}: {zero_line(gauge, zeroing, at).words}.")
    return " ".join(said)


def _fine(rack: Rack, asks: Asks) -> str:
    return told_codes(usable(rack.gauges.values(), asks, rack.today))


def fixed_outcome(text: str) -> str:
    """What a plug or ring gauge said, as it is kept."""
    found = _SAYS.get(text.strip().lower().removesuffix("."))
    if found is None:
        raise No("text", f'A plug or ring gauge says "{GOES}" or "{DOES_NOT_GO}", not a size.')
    return found


def need_a_size(text: str) -> None:
    """Refuse a go or not-go word for a gauge that reads a size."""
    if text.strip().lower().removesuffix(".") in _SAYS:
        raise No("text", f'"{text.strip()}" is said of plug and ring gauges. Write what this gauge reads.')


def need_in_range(gauge: Gauge | None, value_mm: float) -> None:
    """Refuse a size that the gauge cannot show."""
    if gauge is not None and gauge.kind not in FIXED and not holds(gauge, value_mm, value_mm):
        raise No(
            "text",
            f"{gauge.code} reads {told_range(gauge)}: it cannot have shown {value_mm:.3f} mm. Read it again.",
        )
