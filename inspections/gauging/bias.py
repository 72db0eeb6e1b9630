"""A watch on bias: how far each gauge and each person reads from the settled value. It is no study.

The settled value of a spot (one check, place and condition of its pieces) is the reading that settled a
dispute there; where nothing was disputed, the mean of what the *other* gauges, or the other people, read. A
spot that only one gauge or one person read says nothing and is left out. Values are at 20 °C, in µm.

Interval: mean ± t(n − 1; 95 %) s/√n, Student (JCGM 100:2008, G.3). The spots were not chosen at random and
nobody read them blind on purpose, so it warns and proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from inspections.judgement.judged import ReadingRecord
from inspections.judgement.weighing import weigh
from inspections.readings.findings import Examined

MOST_EXAMINATIONS = 200
LEAST_FOR_INTERVAL = 3


@dataclass(frozen=True, slots=True)
class Difference:
    """One reading less the settled value of its spot, µm."""

    who: str
    um: float


@dataclass(frozen=True, slots=True)
class Bias:
    """How one gauge or person stood to the settled values."""

    who: str
    count: int
    mean_um: float
    half_um: float | None  # half of the 95 % interval; none below three readings

    @property
    def low_um(self) -> float | None:
        return None if self.half_um is None else self.mean_um - self.half_um

    @property
    def high_um(self) -> float | None:
        return None if self.half_um is None else self.mean_um + self.half_um

    @property
    def mean_told(self) -> str:
        return _signed(self.mean_um)

    @property
    def interval_told(self) -> str:
        if self.low_um is None or self.high_um is None:
            return "—"
        return f"{_signed(self.low_um)} to {_signed(self.high_um)}"

    @property
    def off(self) -> bool:
        """Is zero outside the interval?"""
        return self.half_um is not None and abs(self.mean_um) > self.half_um

    @property
    def words(self) -> str:
        if self.half_um is None:
            return "too few readings to say"
        if not self.off:
            return "no sign of bias"
        return "reads large" if self.mean_um > 0 else "reads small"


def _signed(um: float) -> str:
    """One place and a true minus.

    >>> _signed(-0.04), _signed(-1.26)
    ('0.0', '−1.3')
    """
    return f"{round(um, 1) + 0.0:.1f}".replace("-", "−")


def differences(several: Iterable[Examined], who: Callable[[ReadingRecord], str]) -> list[Difference]:
    """Every reading that can be held against what others read at its spot. ``who``: gauge or person."""
    found: list[Difference] = []
    for whole in several:
        settled = {
            one.dispute.settled_by
            for one in whole.judgement.findings
            if one.dispute is not None and not one.dispute.open
        }
        for spot in _spots(whole):
            found.extend(_of_spot(spot, settled, who))
    return found


@dataclass(frozen=True, slots=True)
class _Seen:
    record: ReadingRecord
    value_mm: float


def _spots(whole: Examined) -> list[list[_Seen]]:
    """Readings of one check, of the same pieces in the same condition, at one place, at 20 °C."""
    guide = whole.judgement.guide
    spots: dict[tuple[object, ...], list[_Seen]] = {}
    for one in whole.records:
        if one.value_mm is None or one.withdrawn or not one.gauge or one.check not in guide.check:
            continue
        material = guide.position[guide.check[one.check].position].material
        cold = weigh([one], material)[0]
        spots.setdefault((one.check, one.pieces, one.place), []).append(_Seen(one, cold.value_mm))
    return list(spots.values())


def _of_spot(
    spot: Sequence[_Seen], settled: set[str], who: Callable[[ReadingRecord], str]
) -> list[Difference]:
    decider = next((one for one in spot if one.record.key in settled), None)
    found = []
    for one in spot:
        if decider is not None:
            if one is not decider:
                found.append(Difference(who(one.record), (one.value_mm - decider.value_mm) * 1000))
            continue
        others = [other.value_mm for other in spot if who(other.record) != who(one.record)]
        if others:
            found.append(Difference(who(one.record), (one.value_mm - fmean(others)) * 1000))
    return found


def biases(rows: Iterable[Difference]) -> list[Bias]:
    """Mean difference with its interval by gauge or person, the farthest from nothing first."""
    by_who: dict[str, list[float]] = {}
    for one in rows:
        by_who.setdefault(one.who, []).append(one.um)
    found = [_bias(who, values) for who, values in by_who.items()]
    return sorted(found, key=lambda one: (not one.off, -abs(one.mean_um), one.who))


def _bias(who: str, values: Sequence[float]) -> Bias:
    count, mean = len(values), fmean(values)
    if count < LEAST_FOR_INTERVAL:
        return Bias(who, count, mean, None)
    from scipy.special import stdtrit

    factor = float(stdtrit(count - 1, 0.975))
    return Bias(who, count, mean, factor * stdev(values) / count**0.5)
