"""What kinds of gauge there are and how each stands to a check, before it is used. Pure. mm, µm (k = 2).

Refused: past due, a range that does not hold the limits, the wrong kind, coarser than the guide allows.
Advised against, no more: an expanded uncertainty above a quarter of the zone (common practice, no source).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, Protocol, TypeVar

from inspections.document import DIMENSIONS, Check, GuideIndex
from inspections.judgement.judged import ReadingRecord
from inspections.judgement.too_close import Candidate, Candidates, told_um

PLUG, RING, WRENCH, CHAIN = "plug gauge", "ring gauge", "torque wrench", "chain"
FIXED = (PLUG, RING)
NOT_FOR_LENGTHS = (WRENCH, "thread gauge", "setting master")
# What a kind measures unless its row says otherwise; common practice, no source.
USUALLY = {
    "micrometer": "outside",
    "calliper": "outside, bore, length, depth",
    "bore gauge": "bore",
    "telescopic gauge": "bore",
    "depth gauge": "depth",
    "dial gauge": "movement",
    "feeler set": "gap",
    PLUG: "bore",
    RING: "outside",
}
SHARE = 0.25  # of the zone: the largest expanded uncertainty that is advised
REACH_MM = 0.5  # a plug or ring farther than this, and than two zones, from the limits shows nothing

State = Literal["fine", "advised against", "too coarse", "out of range", "past due", "wrong kind"]
REFUSED: tuple[State, ...] = ("wrong kind", "out of range", "too coarse", "past due")


class GaugeLike(Protocol):
    """What is asked of a gauge's row, wherever it was read from."""

    @property
    def code(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def expanded_um(self) -> float: ...
    @property
    def measures(self) -> str: ...
    @property
    def from_mm(self) -> float | None: ...
    @property
    def to_mm(self) -> float | None: ...
    @property
    def size_mm(self) -> float | None: ...
    @property
    def due_on(self) -> date | None: ...


G = TypeVar("G", bound=GaugeLike)


@dataclass(frozen=True, slots=True)
class Asks:
    """What a check asks of a gauge: kind of dimension, the guide's own bound, limits of the piece's size."""

    title: str
    dimension: str = ""
    gauge_um: float | None = None
    lower_mm: float | None = None
    upper_mm: float | None = None

    @property
    def zone_um(self) -> float | None:
        if self.lower_mm is None or self.upper_mm is None:
            return None
        return (self.upper_mm - self.lower_mm) * 1000


@dataclass(frozen=True, slots=True)
class Standing:
    """How a gauge stands to a check, and why, in a sentence (empty if it is fine)."""

    state: State
    words: str = ""

    @property
    def refused(self) -> bool:
        return self.state in REFUSED


def asks_of(guide: GuideIndex, check: Check, size: str = "") -> Asks:
    """What the check asks of a gauge, for a piece of that size."""
    feature = guide.feature.get(check.feature)
    if feature is None:
        return Asks(check.title, check.dimension, check.gauge_um, check.lower_mm, check.upper_mm)
    limit = feature.limit(size) or feature.limits[0]
    return Asks(check.title, feature.dimension, check.gauge_um, limit.lower_mm, limit.upper_mm)


def kinds_of(measures: str) -> tuple[str, ...]:
    """The kinds of dimension that a gauge measures, from the list as it is kept."""
    return tuple(one.strip() for one in measures.split(",") if one.strip())


def usual_measures(kind: str) -> str:
    return USUALLY.get(kind, "any")


def unknown_dimensions(measures: str) -> list[str]:
    return sorted({*kinds_of(measures)} - {*DIMENSIONS, "any"})


def fits(measures: str, dimension: str) -> bool:
    """Does a gauge that measures these kinds reach the dimension? Nothing asked, or any: yes."""
    kinds = kinds_of(measures)
    return not dimension or "any" in kinds or dimension in kinds


def past_due(gauge: GaugeLike, today: date) -> bool:
    return gauge.due_on is not None and gauge.due_on < today


def told_range(gauge: GaugeLike) -> str:
    """The range in words; empty if none is stated."""
    low, high = gauge.from_mm, gauge.to_mm
    if low is None and high is None:
        return ""
    if low is None or low == 0:
        return f"up to {high:g} mm"
    return f"from {low:g} mm" if high is None else f"{low:g} to {high:g} mm"


def holds(gauge: GaugeLike, low: float | None, high: float | None) -> bool:
    """Does the range hold these limits? A range that is not stated holds everything."""
    for value in (low, high):
        if value is None:
            continue
        if gauge.from_mm is not None and value < gauge.from_mm - 1e-9:
            return False
        if gauge.to_mm is not None and value > gauge.to_mm + 1e-9:
            return False
    return True


def standing(gauge: GaugeLike, asks: Asks, today: date) -> Standing:
    """How the gauge stands to the check today: the worst that can be said of it."""
    if gauge.kind in NOT_FOR_LENGTHS:
        return Standing("wrong kind", f"{gauge.code} is a {gauge.kind}: it reads no length.")
    if not fits(gauge.measures, asks.dimension):
        return Standing(
            "wrong kind",
            f"{gauge.code} measures {', '.join(kinds_of(gauge.measures))}; {asks.title} asks for a gauge "
            f"that measures {asks.dimension}.",
        )
    if beyond := _out_of_range(gauge, asks):
        return Standing("out of range", beyond)
    if asks.gauge_um is not None and gauge.expanded_um > asks.gauge_um:
        return Standing(
            "too coarse",
            f"{gauge.code} reads to ± {told_um(gauge.expanded_um)} µm; "
            f"this check asks for ± {asks.gauge_um:g} µm.",
        )
    if past_due(gauge, today):
        return Standing(
            "past due", f"{gauge.code} was due for calibration on {gauge.due_on:%d %B %Y}, and is past it."
        )
    if unsuitable := _unsuitable(gauge, asks):
        return Standing("advised against", unsuitable)
    return Standing("fine")


def _out_of_range(gauge: GaugeLike, asks: Asks) -> str:
    if asks.lower_mm is None and asks.upper_mm is None:
        return ""
    limits = told_limits(asks)
    if gauge.kind in FIXED and gauge.size_mm is not None:
        reach = max(REACH_MM, 2 * (asks.zone_um or 0.0) / 1000)
        low = asks.lower_mm if asks.lower_mm is not None else asks.upper_mm
        high = asks.upper_mm if asks.upper_mm is not None else asks.lower_mm
        assert low is not None
        assert high is not None
        if low - reach <= gauge.size_mm <= high + reach:
            return ""
        return f"{gauge.code} is {gauge.size_mm:g} mm: it shows nothing about limits of {limits}."
    if holds(gauge, asks.lower_mm, asks.upper_mm):
        return ""
    return f"{gauge.code} reads {told_range(gauge)}: its range does not hold the limits, {limits}."


def told_limits(asks: Asks) -> str:
    if asks.lower_mm is None:
        return f"at most {asks.upper_mm:.3f} mm"
    if asks.upper_mm is None:
        return f"at least {asks.lower_mm:.3f} mm"
    return f"{asks.lower_mm:.3f} to {asks.upper_mm:.3f} mm"


def _unsuitable(gauge: GaugeLike, asks: Asks) -> str:
    zone = asks.zone_um
    if zone is None or gauge.expanded_um <= SHARE * zone + 1e-9:
        return ""
    return (
        f"{gauge.code} is not advised here: ± {told_um(gauge.expanded_um)} µm is more than a quarter "
        f"of the zone, {zone:.0f} µm. Take a finer one if there is one."
    )


def usable(gauges: Iterable[G], asks: Asks, today: date) -> list[G]:
    """Those that may be read with, the advised before the others and the finest first."""
    found = [(standing(one, asks, today), one) for one in gauges]
    rows = [
        (one.state != "fine", gauge.expanded_um, gauge.code, gauge) for one, gauge in found if not one.refused
    ]
    return [row[-1] for row in sorted(rows, key=lambda row: row[:3])]


def candidates_of(guide: GuideIndex, gauges: Sequence[GaugeLike], today: date) -> Candidates:
    """Gauges that could settle a close value at a check: none that is refused there, no plug and no ring."""
    rack = [one for one in gauges if one.kind not in FIXED]

    def at(check: Check, size: str) -> list[Candidate]:
        found = usable(rack, asks_of(guide, check, size), today)
        return [Candidate(one.code, one.expanded_um) for one in found]

    return at


def told_codes(gauges: Sequence[GaugeLike]) -> str:
    return ", ".join(one.code for one in gauges[:8]) or "none in use"


def overridden(readings: Iterable[ReadingRecord]) -> tuple[str, ...]:
    """Each reading that a lead took with a gauge past due, with the reason, in sentences."""
    rows = (
        f"{one.gauge} was past due when {one.person} read it: {one.overdue_reason.removesuffix('.')}."
        for one in readings
        if one.overdue_reason
    )
    return tuple(dict.fromkeys(rows))
