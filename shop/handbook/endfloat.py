"""End float: which washers to fit so that it is most likely inside its limits, and stacks of lengths.

Lengths are mm. A preload is set by rolling torque, never by length, and is refused here.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from shop.handbook.packs import Pack, Want, Washer, search
from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, Step, within

Length: TypeAlias = float | tuple[float, float]

MEASURE_AGAIN = "Measure the float again after fitting: the figure is a forecast, the reading decides"


class PreloadByTorque(Refused):
    """A preload was asked for: it is set by rolling torque, not by length."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to fill the places: codes, the float [mm] they leave, how likely it is inside, the cost."""

    choice: tuple[str, ...]
    float_mm: float
    probability: float
    cost: float


@dataclass(frozen=True, slots=True)
class EndFloat:
    """The washers chosen and the float [mm] they leave: worst case, root sum square, and how likely inside.

    ``choice`` is empty and the floats are None when nothing in the list reaches the limits.
    ``shim_change_mm`` is what must be added to (or taken from, if negative) the washers now in to reach the
    middle of the limits.
    """

    choice: tuple[str, ...]
    float_mm: float | None
    float_min_mm: float | None
    float_max_mm: float | None
    rss_min_mm: float | None
    rss_max_mm: float | None
    probability: float
    cost: float | None
    shim_change_mm: float
    others: tuple[Choice, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Term:
    """One length [mm] of a stack: sign +1 opens the gap, −1 closes it; plus and minus are not below 0."""

    name: str
    sign: int
    length_mm: float
    plus_mm: float = 0.0
    minus_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class StackUp:
    """What a stack of lengths leaves [mm]: as drawn, worst case, and root sum square."""

    nominal_mm: float
    worst_min_mm: float
    worst_max_mm: float
    rss_min_mm: float
    rss_max_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def stack_up(terms: Sequence[Term]) -> StackUp:
    """What a signed stack of lengths leaves, in the worst case and by root sum square.

    Worst case: every length at the end that counts against it. Root sum square: unequal tolerances are
    centred first, m = Σ s (l + (plus − minus)/2), half = √Σ ((plus + minus)/2)².

    :param terms: one to 60 terms

    Reference: common practice, no source (as in texts on tolerance stacks).

    >>> gap = stack_up([Term("bore", 1, 40, 0.1, 0.1), Term("gear", -1, 37, 0.2, 0.0)])
    >>> round(gap.nominal_mm, 3), round(gap.worst_min_mm, 3), round(gap.worst_max_mm, 3)
    (3.0, 2.7, 3.1)
    >>> round(gap.rss_min_mm, 3), round(gap.rss_max_mm, 3)
    (2.759, 3.041)
    """
    if not 1 <= len(terms) <= 60:
        raise Refused("A stack has 1 to 60 lengths")
    for term in terms:
        if term.sign not in {1, -1}:
            raise Refused(f'"{term.name}" needs the sign +1 if it opens the gap, −1 if it closes it')
        within(f"length of {term.name}", term.length_mm, 0.0, 1e4, "mm")
        within(f"plus of {term.name}", term.plus_mm, 0.0, 100.0, "mm")
        within(f"minus of {term.name}", term.minus_mm, 0.0, 100.0, "mm")
    nominal = math.fsum(term.sign * term.length_mm for term in terms)
    opens = math.fsum(term.plus_mm if term.sign > 0 else term.minus_mm for term in terms)
    closes = math.fsum(term.minus_mm if term.sign > 0 else term.plus_mm for term in terms)
    middle = nominal + (opens - closes) / 2
    half = math.hypot(*((term.plus_mm + term.minus_mm) / 2 for term in terms))
    inputs = tuple(
        (
            term.name,
            f"{'+' if term.sign > 0 else '−'}{term.length_mm:g} (+{term.plus_mm:g} −{term.minus_mm:g}) mm",
        )
        for term in terms
    )
    steps = (
        Step("nominal = Σ s l; worst case: every tolerance against it", inputs, COMMON_PRACTICE),
        Step(
            "m ± √Σ ((plus + minus)/2)²",
            (("m", f"{middle:.4f} mm"), ("half", f"{half:.4f} mm")),
            COMMON_PRACTICE,
        ),
    )
    return StackUp(nominal, nominal - closes, nominal + opens, middle - half, middle + half, steps, ())


def end_float(
    *,
    target_min: float,
    target_max: float,
    washers: Sequence[Washer],
    places: int | Sequence[str] | None = 1,
    setting: str = "float",
    gap: float | None = None,
    gap_uncertainty: float = 0.0,
    stack: Sequence[Length] = (),
    trial_float: float | None = None,
    prefer: Literal["probability", "cost"] = "probability",
    threshold: float = 0.95,
) -> EndFloat:
    """Washers that leave an end float inside its limits, by exact search over every combination.

    float = gap − Σ stack − Σ washers; from a trial: float = trial float + Σ washers that were in − Σ washers.
    Most likely inside comes first (to six digits), then nearest the middle, then cheapest, then by code. Each
    uncertainty is expanded (k = 2, so u = U/2), each washer's tolerance is even between its ends (u = t/√3),
    and the float is taken as normal.

    :param target_min: least float wanted [mm], 0 to 20
    :param target_max: most float wanted [mm], not below ``target_min``
    :param washers: what there is to choose from; none listed twice
    :param places: how many washers are fitted, or the names of the places, one washer in each; None = any
        number
    :param setting: "float"; "preload" is refused
    :param gap: room between the faces [mm], 0 to 2000; this or ``trial_float``
    :param gap_uncertainty: expanded uncertainty of the gap or of the trial float [mm], 0 to 5
    :param stack: what fills the gap [mm], each a length or (length, expanded uncertainty), negative for what
        widens it; with ``trial_float`` the washers that were in for the trial and come out
    :param trial_float: float measured with known washers in [mm], −20 to 50
    :param prefer: "probability", or "cost" for the cheapest of those at least as likely as ``threshold``
    :param threshold: least probability when the cost decides, 0 to 1

    Reference: exact search; probability as JCGM 106:2012, 7.2; rectangular tolerance as JCGM 100:2008, 4.3.7.

    >>> listed = [Washer("A", 1.00), Washer("B", 1.10, count=2), Washer("C", 1.25)]
    >>> found = end_float(gap=31.48, stack=[30.2], washers=listed, target_min=0.10, target_max=0.25)
    >>> found.choice, round(found.float_mm, 3), round(found.shim_change_mm, 3)
    (('B',), 0.18, 1.105)
    """
    if setting != "float":
        raise _not_a_float(setting)
    within("target_min", target_min, 0.0, 20.0, "mm")
    within("target_max", target_max, target_min, 20.0, "mm")
    within("threshold", threshold, 0.0, 1.0, "")
    if prefer not in {"probability", "cost"}:
        raise Refused('Prefer "probability" or "cost"')
    room, now, spreads, steps = _room(gap, gap_uncertainty, stack, trial_float)
    want = Want(room, spreads, target_min, target_max, threshold if prefer == "cost" else None)
    packs = search(want, washers, places)
    shim_change = now - want.middle
    best = packs.inside[:1]
    cautions = [MEASURE_AGAIN]
    if best and prefer == "cost" and best[0].probability < threshold:
        cautions.append(
            f"No choice is {threshold * 100:.0f} % likely inside: the likeliest is given, not the cheapest"
        )
    if best and best[0].probability < 0.5 + 1e-9:
        cautions.append("Even this is no better than even. Measure closer or get another thickness")
    if not best:
        cautions.append(_nothing_fits(want, packs.nearest, shim_change))
    others = packs.inside[1:] if best else packs.nearest
    steps.append(
        Step(
            "P(least ≤ float ≤ most), normal",
            (("least", f"{target_min:g} mm"), ("most", f"{target_max:g} mm"), ("looked at", str(packs.seen))),
            "exact search; JCGM 106:2012, 7.2",
        )
    )
    chosen = best[0] if best else None
    return EndFloat(
        choice=chosen.codes if chosen else (),
        float_mm=chosen.float_mm if chosen else None,
        float_min_mm=chosen.float_mm - chosen.worst_mm if chosen else None,
        float_max_mm=chosen.float_mm + chosen.worst_mm if chosen else None,
        rss_min_mm=chosen.float_mm - chosen.rss_mm if chosen else None,
        rss_max_mm=chosen.float_mm + chosen.rss_mm if chosen else None,
        probability=chosen.probability if chosen else 0.0,
        cost=chosen.cost if chosen else None,
        shim_change_mm=shim_change,
        others=tuple(Choice(pack.codes, pack.float_mm, pack.probability, pack.cost) for pack in others),
        working=tuple(steps),
        cautions=tuple(cautions),
    )


def _not_a_float(setting: str) -> Refused:
    if setting == "preload":
        return PreloadByTorque(
            "A preload is set by rolling torque, not by length. Fit shims until the shaft turns with the "
            "torque that the maker gives, seals out, turned while tightening"
        )
    return Refused(f'"{setting}" is no setting. Write "float"')


def _room(
    gap: float | None, uncertainty: float, stack: Sequence[Length], trial: float | None
) -> tuple[float, float, tuple[float, ...], list[Step]]:
    """Room for new washers, the float as it stands, the uncertainties in both, and the working."""
    within("gap_uncertainty", uncertainty, 0.0, 5.0, "mm")
    pairs = [item if isinstance(item, tuple) else (item, 0.0) for item in stack]
    for length, spread in pairs:
        within("stack", length, -2000.0, 2000.0, "mm")
        within("uncertainty in stack", spread, 0.0, 5.0, "mm")
    filled = math.fsum(length for length, _ in pairs)
    spreads = (uncertainty, *(spread for _, spread in pairs))
    if (gap is None) == (trial is None):
        raise Refused("Give the gap, or the float measured in a trial, one of the two")
    if gap is not None:
        within("gap", gap, 0.0, 2000.0, "mm")
        step = Step(
            "room = gap − Σ stack", (("gap", f"{gap:g} mm"), ("Σ stack", f"{filled:g} mm")), COMMON_PRACTICE
        )
        return gap - filled, gap - filled, spreads, [step]
    assert trial is not None
    within("trial_float", trial, -20.0, 50.0, "mm")
    inputs = (("trial float", f"{trial:g} mm"), ("Σ washers in", f"{filled:g} mm"))
    return (
        trial + filled,
        trial,
        spreads,
        [Step("room = trial float + Σ washers in", inputs, COMMON_PRACTICE)],
    )


def _nothing_fits(want: Want, nearest: tuple[Pack, ...], change: float) -> str:
    way = "more" if change > 0 else "less"
    needed = f"{abs(change):.3f} mm {way} washer than now gives the middle of the limits"
    if not nearest:
        return f"The list does not fill the places. {needed}"
    one = nearest[0]
    off = one.float_mm - want.middle
    word = "thicker" if off > 0 else "thinner"
    return (
        f"Nothing in the list reaches {want.least:g} to {want.most:g} mm. {needed}; the nearest choice, "
        f"{', '.join(one.codes) or 'none at all'}, would have to be {abs(off):.3f} mm {word}"
    )


__all__ = [
    "Choice",
    "EndFloat",
    "PreloadByTorque",
    "StackUp",
    "Term",
    "Washer",
    "end_float",
    "stack_up",
]
