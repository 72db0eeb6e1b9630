"""From the readings of one check on one piece to one weighed value for each place. Pure.

How a dispute is decided: two readings of one place and condition by different people that differ beyond
their joint uncertainty open it. It stays open until a reading taken after the second of them is by a lead,
or has a gauge with a smaller expanded uncertainty than every reading still standing at that place.
From then on that reading stands alone there; the others stay listed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import sqrt
from typing import Literal, cast

from inspections.judgement.judged import Dispute, ReadingRecord
from shop.handbook.conformity import conformity, disagree, temperature, thermal
from shop.handbook.working import Step

Decided = Literal["within", "outside", "too close to call"]


@dataclass(frozen=True, slots=True)
class Decision:
    """The handbook's decision on one value; ``probability`` that the true value is inside the limits."""

    state: Decided
    probability: float
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]


@lru_cache(maxsize=16384)  # after each new reading a unit is judged anew, and all but one place is as before
def decide(
    value_mm: float, expanded_um: float, lower_mm: float | None, upper_mm: float | None, rule: str
) -> Decision:
    """Hold a value with its expanded uncertainty (k = 2) against its limits by a check's rule."""
    # A sum such as 0.1 + 0.2, or 1.002 in as mm, must not fall outside by a rounding of doubles.
    low, high = (None if one is None else round(one, 7) for one in (lower_mm, upper_mm))
    held = conformity(round(value_mm, 7), expanded_um / 2000, low, high, rule=rule)
    state = cast(Decided, held.decision)
    return Decision(state, held.probability, held.working, held.cautions)


@dataclass(frozen=True, slots=True)
class Weighed:
    """What stands at one place: the mean of the readings that count, at 20 °C, and its U (k = 2)."""

    place: str
    value_mm: float
    expanded_um: float
    typed: str
    dispute: Dispute | None
    steps: tuple[Step, ...]
    cautions: tuple[str, ...] = ()
    count: int = 1
    gauge: str = ""  # of the last reading, with what it alone is uncertain by, and its calibration
    own_um: float = 0.0
    calibration_um: float = 0.0
    thermal_um: float = 0.0


@dataclass(frozen=True, slots=True)
class _Reduced:
    """One reading brought to 20 °C with its own expanded uncertainty."""

    reading: ReadingRecord
    value_mm: float
    expanded_um: float
    own_um: float  # gauge and resolution
    thermal_um: float = 0.0
    steps: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(slots=True)
class Gathered:
    """Readings of one check on one piece: those that count, and those that are history."""

    counted: list[ReadingRecord] = field(default_factory=list)
    history: list[ReadingRecord] = field(default_factory=list)

    def add(self, reading: ReadingRecord, *, counts: bool) -> None:
        (self.counted if counts else self.history).append(reading)


@dataclass(slots=True)
class _Bench:
    """The readings of one place while they are gone through in order."""

    standing: list[_Reduced] = field(default_factory=list)
    pair: tuple[_Reduced, _Reduced] | None = None
    settled: Dispute | None = None


def _reduce(reading: ReadingRecord, material: str) -> _Reduced:
    """Correct to 20 °C and put gauge, resolution and temperature together."""
    assert reading.value_mm is not None
    resolution_um = 2 * reading.resolution_um / sqrt(12)
    own_um = sqrt(reading.gauge_expanded_um**2 + resolution_um**2)
    warm_c = reading.part_temperature_c
    if warm_c is None:
        return _Reduced(reading, reading.value_mm, own_um, own_um)
    cold_mm, thermal_um, steps, cautions = at_20(reading.value_mm, warm_c, material)
    expanded_um = sqrt(own_um**2 + thermal_um**2)
    return _Reduced(reading, cold_mm, expanded_um, own_um, thermal_um, steps, cautions)


@lru_cache(maxsize=4096)
def at_20(
    value_mm: float, warm_c: float, material: str
) -> tuple[float, float, tuple[Step, ...], tuple[str, ...]]:
    """A warm reading at 20 °C, and what its correction leaves uncertain (k = 2), µm."""
    cold = temperature(value_mm, warm_c, material)
    left = thermal(abs(value_mm), warm_c, material)
    return cold.length_at_20_mm, 2 * left.standard_um, (*cold.working, *left.working), cold.cautions


def weigh(readings: Iterable[ReadingRecord], material: str) -> tuple[Weighed, ...]:
    """Weigh the counted readings of one check on one piece, place by place, in order of place first read."""
    places: dict[str, list[_Reduced]] = {}
    for one in sorted(readings, key=lambda row: row.sequence):
        if one.value_mm is not None:
            places.setdefault(one.place, []).append(_reduce(one, material))
    return tuple(_weigh_place(place, rows) for place, rows in places.items())


def _weigh_place(place: str, rows: Sequence[_Reduced]) -> Weighed:
    bench = _Bench()
    for one in rows:
        _lay_down(bench, place, one)
    standing = bench.standing
    mean = sum(one.value_mm for one in standing) / len(standing)
    expanded = standing[0].expanded_um if len(standing) == 1 else _of_mean(standing)
    dispute = _open_dispute(place, bench) if bench.pair else bench.settled
    steps = tuple(step for one in standing for step in one.steps)
    if len(standing) > 1:
        steps = (*steps, _mean_step(place, standing, mean, expanded))
    cautions = tuple(dict.fromkeys(text for one in standing for text in one.cautions))
    last = standing[-1]
    return Weighed(
        place,
        mean,
        expanded,
        last.reading.text,
        dispute,
        steps,
        cautions,
        count=len(standing),
        gauge=last.reading.gauge,
        own_um=last.own_um,
        calibration_um=min(last.reading.gauge_calibration_um, last.own_um),
        thermal_um=last.thermal_um,
    )


def mean_expanded_um(own_um: float, calibration_um: float, thermal_um: float, count: int) -> float:
    """U (k = 2) of the mean of repeats with one gauge: calibration and warmth are in each, the rest is not.

    >>> round(mean_expanded_um(5.0, 3.0, 0.0, 4), 3)
    3.606
    """
    rest = max(0.0, own_um**2 - calibration_um**2)
    return sqrt(calibration_um**2 + rest / count + thermal_um**2)


def _of_mean(standing: Sequence[_Reduced]) -> float:
    """U (k = 2) of the mean of readings with any gauges: what each gauge's readings share stays whole."""
    shared: dict[str, list[float]] = {}
    alone = 0.0
    for one in standing:
        calibration = min(one.reading.gauge_calibration_um, one.own_um)
        shared.setdefault(one.reading.gauge, []).append(calibration)
        alone += one.own_um**2 - calibration**2
    count = len(standing)
    common = sum((len(rows) * max(rows) / count) ** 2 for rows in shared.values())
    thermal = max(one.thermal_um for one in standing)
    return sqrt(common + alone / count**2 + thermal**2)


def _lay_down(bench: _Bench, place: str, new: _Reduced) -> None:
    if bench.pair is not None:
        reason = _settles(bench.standing, new)
        if reason:
            keys = (*(one.reading.key for one in bench.standing), new.reading.key)
            words = f"{_where(place)}settled by {reason}; the earlier readings stay listed."
            bench.settled = Dispute(place, keys, words, settled_by=new.reading.key)
            bench.pair = None
            bench.standing = [new]
            return
    else:
        bench.pair = next(((one, new) for one in bench.standing if _differ(one, new)), None)
    bench.standing.append(new)


def _settles(standing: Sequence[_Reduced], new: _Reduced) -> str:
    if new.reading.lead:
        return f"a later reading by a lead, {new.reading.person}"
    best = min(one.expanded_um for one in standing)
    if new.expanded_um < best:
        return (
            f"a later reading with a better gauge, {new.reading.gauge}, "
            f"± {new.expanded_um:.1f} µm against ± {best:.1f} µm"
        )
    return ""


def _differ(one: _Reduced, other: _Reduced) -> bool:
    if one.reading.person == other.reading.person:
        return False
    shared = 0.0
    if one.reading.gauge and one.reading.gauge == other.reading.gauge:
        shared = min(one.reading.gauge_calibration_um, other.reading.gauge_calibration_um)
    us, them = one.expanded_um / 2000, other.expanded_um / 2000
    shared = min(shared / 2000, us, them)
    return disagree(one.value_mm, us, other.value_mm, them, shared).disagree


def _open_dispute(place: str, bench: _Bench) -> Dispute:
    assert bench.pair is not None
    one, other = bench.pair
    words = (
        f"{_where(place)}{one.reading.person} read {one.value_mm:.4f} mm and {other.reading.person} "
        f"{other.value_mm:.4f} mm. They differ beyond their joint uncertainty. "
        "A third reading settles it: a lead's, or one with a better gauge."
    )
    return Dispute(place, tuple(row.reading.key for row in bench.standing), words)


def _where(place: str) -> str:
    return f"At {place}: " if place else ""


def _mean_step(place: str, rows: Sequence[_Reduced], mean: float, expanded: float) -> Step:
    named = tuple(
        (f"reading {n}", f"{row.value_mm:.4f} mm ± {row.expanded_um:.1f} µm") for n, row in enumerate(rows, 1)
    )
    where = f" at {place}" if place else ""
    return Step(
        f"mean of {len(rows)} readings{where} = {mean:.4f} mm; U = √(calibration² + rest²/n + warmth²) "
        f"= {expanded:.1f} µm",
        named,
        "JCGM 100:2008 (GUM), 4.2.3 and 5.2.2",
    )
