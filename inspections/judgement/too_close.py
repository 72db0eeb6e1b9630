"""What would settle a value that is too close to call: which gauge in use, or how many repeats. Pure. mm, µm.

Repeats lessen what two readings with one gauge do not share; its calibration and the part's warmth stay.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

from inspections.document import Check
from inspections.judgement.weighing import Weighed, decide, mean_expanded_um
from shop.handbook.conformity import which_gauge

MOST_REPEATS = 10  # nobody sets a gauge down more often than that; common practice, no source


@dataclass(frozen=True, slots=True)
class Candidate:
    """A gauge in use that may be read with at a check."""

    code: str
    expanded_um: float


Candidates = Callable[[Check, str], Sequence[Candidate]]  # of a check and the piece's size


@dataclass(frozen=True, slots=True)
class Doubt:
    """One measured term of a stack: how much of the sum's uncertainty is its own."""

    name: str
    check: Check
    size: str
    factor: int
    expanded_um: float

    @property
    def share_um(self) -> float:
        return abs(self.factor) * self.expanded_um


def settle_measure(
    gauges: Sequence[Candidate], place: Weighed, lower_mm: float | None, upper_mm: float | None
) -> str:
    """In a sentence, what would decide the place; that nothing would, if so."""
    ways = []
    finer = [
        (one.code, sqrt(one.expanded_um**2 + place.thermal_um**2) / 1000)
        for one in gauges
        if one.expanded_um < place.own_um
    ]
    code = _choose(place.value_mm, lower_mm, upper_mm, finer)
    if code:
        ways.append(f"a reading with {_named(code, gauges)}")
    if count := _repeats(place, lower_mm, upper_mm):
        with_gauge = f" with {place.gauge}" if place.gauge else ""
        ways.append(f"{count} readings in all{with_gauge} that agree")
    if ways:
        return f"To settle it: {', or '.join(ways)}."
    return "No gauge in use would settle it: take it as not proved." if gauges else ""


def _repeats(place: Weighed, lower_mm: float | None, upper_mm: float | None) -> int:
    """The least number of readings whose mean would decide, if they fall where these did; 0 if none would."""
    if place.own_um <= place.calibration_um:
        return 0
    for count in range(place.count + 1, MOST_REPEATS + 1):
        expanded = mean_expanded_um(place.own_um, place.calibration_um, place.thermal_um, count)
        held = decide(place.value_mm, expanded, lower_mm, upper_mm, "guarded")
        if held.state != "too close to call":
            return count
    return 0


def settle_stack(
    candidates: Candidates | None,
    doubts: Sequence[Doubt],
    value_mm: float,
    expanded_um: float,
    lower_mm: float | None,
    upper_mm: float | None,
) -> str:
    """The term that is most in doubt, and the gauge in use that would settle the sum."""
    if not doubts:
        return ""
    most = max(doubts, key=lambda one: one.share_um)
    rest_um2 = max(0.0, expanded_um**2 - most.share_um**2)
    gauges = candidates(most.check, most.size) if candidates else ()
    finer = [
        (one.code, sqrt(rest_um2 + (most.factor * one.expanded_um) ** 2) / 1000)
        for one in gauges
        if one.expanded_um < most.expanded_um
    ]
    code = _choose(value_mm, lower_mm, upper_mm, finer)
    if code:
        return f"To settle it: read {most.name} again with {_named(code, gauges)}."
    return f"Most of the doubt is in {most.name}, ± {most.share_um:.1f} µm."


def _choose(
    value_mm: float, lower_mm: float | None, upper_mm: float | None, gauges: Sequence[tuple[str, float]]
) -> str:
    """The coarsest gauge that would decide; empty if none would."""
    if not gauges:
        return ""
    return which_gauge(round(value_mm, 7), lower_mm, upper_mm, gauges).code or ""


def _named(code: str, gauges: Sequence[Candidate]) -> str:
    one = next(one for one in gauges if one.code == code)
    return f"{code} (± {told_um(one.expanded_um)} µm)"


def told_um(value_um: float) -> str:
    """An uncertainty to three figures, as it is worth: a chain's comes from a root and has no end.

    >>> told_um(9.48683), told_um(4.0), told_um(1234.5)
    ('9.49', '4', '1230')
    """
    return f"{float(f'{value_um:.3g}'):g}"
