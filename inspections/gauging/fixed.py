"""What a plug or ring gauge proves about a limit: it goes, or it does not go. Pure. mm, µm (k = 2).

A plug that goes shows that the bore is at least the plug's size, one that does not go that it is at most
that; a ring shows the same of a shaft, the other way about (Taylor's principle of limit gauging, common
practice). The gauge's own uncertainty counts: a bound decides by the check's rule, as a measured value does.

1. Readings become bounds by place, at 20 °C.
2. Two people whom one gauge told the opposite are in dispute until a lead tries it.
3. A place is outside when a bound lies beyond a limit, within when both sides are proved.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import Literal

from inspections.judgement.judged import Dispute, FindingState, ReadingRecord
from inspections.judgement.weighing import Decision, Weighed, decide, weigh
from shop.handbook.working import COMMON_PRACTICE, Step

GOES, DOES_NOT_GO = "goes", "does not go"
PLUG, RING = "plug gauge", "ring gauge"
CONFIDENCE = 0.95
Side = Literal["least", "most"]


@dataclass(frozen=True, slots=True)
class Bound:
    """The feature is at least (``least``) or at most (``most``) this size."""

    side: Side
    value_mm: float
    expanded_um: float
    reading: ReadingRecord
    steps: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        what = "at least" if self.side == "least" else "at most"
        return (
            f"{self.reading.gauge} {self.reading.outcome}: {what} {self.value_mm:.4f} mm "
            f"± {self.expanded_um:.1f} µm"
        )


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one size and the rule of the check."""

    lower_mm: float | None
    upper_mm: float | None
    rule: str


@dataclass(frozen=True, slots=True)
class Proved:
    """What the fixed gauges show: the state, and the words that say by what."""

    state: FindingState
    words: str
    dispute: Dispute | None = None
    probability: float | None = None
    working: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()


def is_fixed(reading: ReadingRecord) -> bool:
    return reading.gauge_kind in {PLUG, RING} and reading.outcome in {GOES, DOES_NOT_GO}


def bound_of(reading: ReadingRecord, material: str) -> Bound | None:
    """The bound that one reading shows; None if the gauge's size is not known."""
    if not is_fixed(reading) or reading.gauge_size_mm is None:
        return None
    sized = replace(reading, value_mm=reading.gauge_size_mm, resolution_um=0.0)
    cold = weigh([sized], material)[0]
    goes, plug = reading.outcome == GOES, reading.gauge_kind == PLUG
    side: Side = "least" if goes == plug else "most"
    return Bound(side, cold.value_mm, cold.expanded_um, reading, cold.steps, cold.cautions)


def prove(
    readings: Iterable[ReadingRecord], material: str, places: Sequence[str], limits: Limits
) -> Proved | None:
    """What the fixed gauges among the readings show of these limits; None if there are none."""
    rows = sorted(readings, key=lambda row: row.sequence)
    bounds = [one for one in (bound_of(row, material) for row in rows) if one is not None]
    if not bounds:
        return None
    by_place: dict[str, list[Bound]] = {}
    for one in bounds:
        by_place.setdefault(one.reading.place, []).append(one)
    weighed = {place: _stand(place, some) for place, some in by_place.items()}
    settled: Dispute | None = None
    for _, dispute in weighed.values():
        if dispute is not None and dispute.open:
            return Proved("too close to call", dispute.words, dispute)
        settled = dispute or settled
    parts = [_place(place, some, limits) for place, (some, _) in weighed.items()]
    unread = [one for one in places if one not in weighed]
    whole = _together(parts, unread, limits)
    return replace(whole, dispute=settled)


# --- who says the opposite of whom


def _stand(place: str, bounds: Sequence[Bound]) -> tuple[list[Bound], Dispute | None]:
    """The bounds that stand at a place: one's own later word counts; a lead settles a dispute."""
    standing: list[Bound] = []
    clash: list[Bound] = []
    settled: Dispute | None = None
    for new in bounds:
        against = [one for one in standing if _opposite(one, new)]
        if clash and new.reading.lead and new.reading.gauge in {one.reading.gauge for one in clash}:
            keys = tuple(one.reading.key for one in (*clash, new))
            who = f"settled by a later reading by a lead, {new.reading.person}"
            words = f"{_where(place)}{who}; the earlier readings stay listed."
            settled, clash = Dispute(place, keys, words, settled_by=new.reading.key), []
            standing = [one for one in standing if one not in against]
        elif others := [one for one in against if one.reading.person != new.reading.person]:
            clash = [*others, new]
        else:
            standing = [one for one in standing if one not in against]
        standing.append(new)
    if not clash:
        return standing, settled
    said = " and ".join(
        f"{one.reading.gauge} {one.reading.outcome} for {one.reading.person}" for one in clash
    )
    words = f"{_where(place)}{said}: both cannot be right. A lead tries it."
    return standing, Dispute(place, tuple(one.reading.key for one in clash), words)


def _opposite(one: Bound, other: Bound) -> bool:
    """One gauge that did both, or two whose bounds leave no size between them."""
    if one.side == other.side:
        return False
    if one.reading.gauge == other.reading.gauge:
        return True
    least, most = (one, other) if one.side == "least" else (other, one)
    return (least.value_mm - most.value_mm) * 1000 > hypot(one.expanded_um, other.expanded_um)


def _where(place: str) -> str:
    return f"At {place}: " if place else ""


# --- against the limits


@dataclass(frozen=True, slots=True)
class _Part:
    """One place: its state, the bounds that speak, what is still to prove."""

    state: FindingState
    words: str
    open: tuple[str, ...] = ()
    probability: float | None = None
    steps: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()


def _tightest(bounds: Iterable[Bound], side: Side) -> Bound | None:
    own = [one for one in bounds if one.side == side]
    if side == "least":
        return max(own, key=lambda one: one.value_mm - one.expanded_um / 1000, default=None)
    return min(own, key=lambda one: one.value_mm + one.expanded_um / 1000, default=None)


def _held(bound: Bound, lower: float | None, upper: float | None, rule: str) -> Decision:
    return decide(bound.value_mm, bound.expanded_um, lower, upper, rule)


def _place(place: str, bounds: Sequence[Bound], limits: Limits) -> _Part:
    least, most = _tightest(bounds, "least"), _tightest(bounds, "most")
    speaking = [one for one in (least, most) if one is not None]
    said = _where(place) + "; ".join(one.words for one in speaking)
    steps = tuple(step for one in speaking for step in one.steps)
    cautions = tuple(dict.fromkeys(text for one in speaking for text in one.cautions))
    beyond = None
    if least is not None and limits.upper_mm is not None:
        beyond = _held(least, None, limits.upper_mm, limits.rule)
    if (beyond is None or beyond.state != "outside") and most is not None and limits.lower_mm is not None:
        beyond = _held(most, limits.lower_mm, None, limits.rule)
    if beyond is not None and beyond.state == "outside":
        return _Part("outside", said, (), beyond.probability, (*steps, *beyond.steps), cautions)
    chance, proofs, missing = 1.0, list(steps), []
    for bound, limit, word in ((least, limits.lower_mm, "at least"), (most, limits.upper_mm, "at most")):
        if limit is None:
            continue
        if bound is None:
            missing.append(f"{word} {limit:.3f} mm")
            continue
        low, high = (limit, None) if word == "at least" else (None, limit)
        held = _held(bound, low, high, limits.rule)
        proofs.extend(held.steps)
        chance = max(0.0, chance - (1 - held.probability))
        if held.state == "outside":
            # The plain value is short of the limit: this gauge cannot prove the side, nothing is outside yet.
            missing.append(f"{word} {limit:.3f} mm")
    if missing:
        return _Part("not examined", said, tuple(missing), None, tuple(proofs), cautions)
    if limits.rule == "simple" or chance >= CONFIDENCE:
        return _Part("within", said, (), chance, tuple(proofs), cautions)
    return _Part("too close to call", said, (), chance, tuple(proofs), cautions)


def _together(parts: Sequence[_Part], unread: Sequence[str], limits: Limits) -> Proved:
    """The worst place speaks for all; nothing is within before every place and both sides are proved."""
    said = ". ".join(one.words for one in parts)
    steps = (
        Step(
            "goes: a bore at least the plug's size, a shaft at most the ring's; does not go: the reverse",
            (),
            COMMON_PRACTICE,
        ),
        *(step for one in parts for step in one.steps),
    )
    cautions = tuple(dict.fromkeys(text for one in parts for text in one.cautions))
    chances = [one.probability for one in parts if one.probability is not None]
    chance = min(chances, default=None)
    states = {one.state for one in parts}
    if "outside" in states:
        return Proved("outside", f"{said}. Outside", None, chance, steps, cautions)
    if unread:
        words = f"{said}. Not all places are tried; still to try: {', '.join(unread)}."
        return Proved("not examined", words, None, None, steps, cautions)
    missing = tuple(dict.fromkeys(text for one in parts for text in one.open))
    if missing:
        words = f"{said}. Not decided: nothing shows yet that it is {' and '.join(missing)}."
        return Proved("not examined", words, None, None, steps, cautions)
    if "too close to call" in states:
        words = f"{said}. Too close to call: the gauge is too near its limit. Measure it"
        return Proved("too close to call", words, None, chance, steps, cautions)
    return Proved("within", f"{said}. Within", None, chance, steps, cautions)


def at_odds(readings: Iterable[ReadingRecord], places: Sequence[Weighed], material: str) -> tuple[str, ...]:
    """Where a fixed gauge and a measured value cannot both be right, in sentences."""
    found = []
    measured = {one.place: one for one in places}
    for row in readings:
        bound, there = bound_of(row, material), measured.get(row.place)
        if bound is None or there is None:
            continue
        gap = (bound.value_mm - there.value_mm) * (1 if bound.side == "least" else -1) * 1000
        if gap > hypot(bound.expanded_um, there.expanded_um):
            found.append(f"{bound.words}. That does not agree with what was measured: look again.")
    return tuple(found)
