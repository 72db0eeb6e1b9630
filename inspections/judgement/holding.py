"""What a measured value is held against: limits by size and the decision rule. Pure. mm, µm."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from inspections.document import Check, GuideIndex
from inspections.judgement.weighing import Decision, Weighed, decide

_WORST_FIRST: tuple[str, ...] = ("outside", "too close to call", "within")


@dataclass(frozen=True, slots=True)
class Zone:
    """Limits in one size, mm; a try may have one side only."""

    size: str
    lower_mm: float | None
    upper_mm: float | None
    mean_mm: tuple[float, float] | None = None

    @property
    def words(self) -> str:
        return limits_in_words(self.lower_mm, self.upper_mm) + (f" ({self.size})" if self.size else "")


@dataclass(frozen=True, slots=True)
class Held:
    """What the places of a check are held against: a feature's limits by size, or a try's own."""

    zones: tuple[Zone, ...]
    rule: str
    form_mm: float | None = None
    taper_mm: float | None = None
    spread_mm: float | None = None

    def zone(self, size: str) -> Zone:
        return next((one for one in self.zones if one.size == size), self.zones[0])


@dataclass(frozen=True, slots=True)
class Worst:
    """The place that decides, and how it stands against its limits."""

    limit: Zone
    place: Weighed
    decision: Decision


def held_of(guide: GuideIndex, check: Check) -> Held:
    if check.kind == "try":
        return Held((Zone("", check.lower_mm, check.upper_mm),), check.rule)
    feature = guide.feature[check.feature]
    zones = tuple(Zone(one.size, one.lower_mm, one.upper_mm, one.mean_mm) for one in feature.limits)
    return Held(zones, feature.rule, feature.form_mm, feature.taper_mm, feature.spread_mm)


def limits_in_words(low: float | None, high: float | None) -> str:
    if low is None:
        return f"at most {high:.3f} mm"
    return f"{low:.3f} to {high:.3f} mm" if high is not None else f"at least {low:.3f} mm"


def hold(place: Weighed, rule: str, limit: Zone) -> Decision:
    return decide(place.value_mm, place.expanded_um, limit.lower_mm, limit.upper_mm, rule)


def worst_of(rule: str, limit: Zone, places: Sequence[Weighed]) -> Worst:
    """The smallest or the largest place, whichever stands worse against its limit."""
    low = min(places, key=lambda one: one.value_mm)
    high = max(places, key=lambda one: one.value_mm)
    if low is high:
        return Worst(limit, low, hold(low, rule, limit))
    both = [Worst(limit, one, hold(one, rule, limit)) for one in (low, high)]
    return min(
        both,
        key=lambda one: (_WORST_FIRST.index(one.decision.state), _room(one.place.value_mm, limit)),
    )


def suits(held: Held, places: Sequence[Weighed]) -> tuple[str, ...]:
    """The sizes whose limits every place is within."""
    return tuple(
        zone.size
        for zone in held.zones
        if zone.size and all(hold(place, held.rule, zone).state == "within" for place in places)
    )


def _room(value: float, limit: Zone) -> float:
    """Distance to the nearest limit, mm; negative outside."""
    below = inf if limit.lower_mm is None else value - limit.lower_mm
    return min(below, inf if limit.upper_mm is None else limit.upper_mm - value)
