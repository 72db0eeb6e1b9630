"""Mean, out-of-round, taper and spread from the places of one check, each against its own limit. Pure. mm.

A place "front, upright" is a depth and a direction. Without a comma a place is a direction, or a depth where
the feature has a limit for taper and none for out-of-round; in a set each place is another of its parts.
Form is held by plain values: a gauge's calibration cancels in a difference (JCGM 100:2008, 5.2.2).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from inspections.judgement.holding import Held, Zone
from inspections.judgement.weighing import Weighed
from shop.handbook.form import Place, roundness
from shop.handbook.working import COMMON_PRACTICE, Step

HAIR_MM = 1e-9  # what subtracting two doubles may leave


@dataclass(frozen=True, slots=True)
class Form:
    """What the places show together; None where they do not show it. ``faults``: in words, each by itself."""

    mean_mm: float
    out_of_round_mm: float | None = None
    taper_mm: float | None = None
    spread_mm: float | None = None
    faults: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()


def form_of(held: Held, limit: Zone, places: Sequence[Weighed]) -> Form:
    """Form of the places that are read. One place has a mean and nothing else."""
    if len(places) < 2:
        value = places[0].value_mm
        return Form(value, faults=_mean_fault(limit, value))
    if held.spread_mm is not None:
        return _set(held, limit, places)
    shown = roundness([_place(held, one) for one in places])
    mean = sum(one.value_mm for one in places) / len(places)
    oval, taper = shown.out_of_round_mm, shown.taper_mm
    faults = (
        *_fault("out of round", oval, held.form_mm),
        *_fault("taper", taper, held.taper_mm),
        *_mean_fault(limit, mean),
    )
    return Form(
        mean_mm=mean,
        out_of_round_mm=oval,
        taper_mm=taper,
        faults=faults,
        steps=(_step(held, places, mean, oval, taper),),
    )


def _place(held: Held, one: Weighed) -> Place:
    depth, comma, direction = one.place.partition(",")
    if comma:
        return Place(depth.strip(), direction.strip(), one.value_mm)
    if held.taper_mm is not None and held.form_mm is None:
        return Place(one.place, "", one.value_mm)
    return Place("", one.place, one.value_mm)


def _fault(name: str, found: float | None, allowed: float | None) -> tuple[str, ...]:
    if found is None or allowed is None or found <= allowed + HAIR_MM:
        return ()
    return (f"{found:.3f} mm {name}, {allowed:.3f} mm allowed",)


def _mean_fault(limit: Zone, mean: float) -> tuple[str, ...]:
    if limit.mean_mm is None or limit.mean_mm[0] - HAIR_MM <= mean <= limit.mean_mm[1] + HAIR_MM:
        return ()
    low, high = limit.mean_mm
    return (f"mean {mean:.4f} mm, {low:.3f} to {high:.3f} mm allowed for the mean",)


def _set(held: Held, limit: Zone, places: Sequence[Weighed]) -> Form:
    mean = sum(one.value_mm for one in places) / len(places)
    spread = max(one.value_mm for one in places) - min(one.value_mm for one in places)
    formula = f"spread of {len(places)} = largest − smallest = {spread:.4f} mm; mean {mean:.4f} mm"
    step = Step(formula, (*_named(places), ("allowed", f"{held.spread_mm:.3f} mm")), COMMON_PRACTICE)
    faults = (*_fault("spread in the set", spread, held.spread_mm), *_mean_fault(limit, mean))
    return Form(mean, spread_mm=spread, faults=faults, steps=(step,))


def _step(
    held: Held, places: Sequence[Weighed], mean: float, oval: float | None, taper: float | None
) -> Step:
    parts = [f"mean {mean:.4f} mm"]
    if oval is not None:
        parts.append(f"out-of-round = largest − smallest at one depth = {oval:.4f} mm")
    if taper is not None:
        parts.append(f"taper = largest − smallest mean of a depth = {taper:.4f} mm")
    allowed = [
        (f"{name} allowed", f"{value:.3f} mm")
        for name, value in (("out-of-round", held.form_mm), ("taper", held.taper_mm))
        if value is not None
    ]
    parts.append("the extreme place is judged")
    return Step("; ".join(parts), (*_named(places), *allowed), COMMON_PRACTICE)


def _named(places: Sequence[Weighed]) -> tuple[tuple[str, str], ...]:
    return tuple((one.place or "anywhere", f"{one.value_mm:.4f} mm") for one in places)
