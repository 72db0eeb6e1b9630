"""Full-complement needle rollers: clearances of the ring, spread of the set. Lengths in mm."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import asin, pi
from statistics import fmean

from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, OutOfRange, Step, within

ONE_SET = "The rollers of a bearing are one set: never top it up, never mix two"


@dataclass(frozen=True, slots=True)
class NeedleRollers:
    """Clearances of a full complement of needle rollers [mm]."""

    diametral_clearance_mm: float
    radial_clearance_mm: float
    total_gap_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spread:
    """Spread of a set of rollers [mm], and whether it is inside what is allowed (None: no limit given)."""

    spread_mm: float
    mean_mm: float
    smallest_mm: float
    largest_mm: float
    inside: bool | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def needle_rollers(bore: float, shaft: float, roller: float, count: int) -> NeedleRollers:
    """Radial clearance and total gap round the circle of a full complement of needle rollers.

    Diametral clearance = bore − shaft − 2 roller, radial = half of it. On the pitch circle, of diameter
    D = (bore + shaft)/2, each roller takes an angle 2 asin(roller/D); the gap is what is left of the circle,
    as an arc on D.

    :param bore: bore of the outer part [mm]
    :param shaft: diameter of the shaft [mm]
    :param roller: diameter of a roller [mm]
    :param count: number of rollers, 3 or more

    Reference: common practice, no source, for the clearance; plane geometry for the gap.

    >>> found = needle_rollers(31.04, 25.0, 3.0, 29)
    >>> round(found.radial_clearance_mm, 3), round(found.total_gap_mm, 2)
    (0.02, 0.86)
    """
    for name, value in (("shaft", shaft), ("roller", roller)):
        if not 0 < value <= 500:
            raise OutOfRange(name, value, "above 0, to 500 mm")
    within("bore", bore, shaft, 1_000.0, "mm (at least the shaft)")
    within("count", count, 3, 1_000, "")
    diametral = bore - shaft - 2 * roller
    pitch = (bore + shaft) / 2
    if roller >= pitch:
        raise OutOfRange("roller", roller, f"less than the pitch circle, {pitch:g} mm")
    gap = (2 * pi - count * 2 * asin(roller / pitch)) * pitch / 2
    cautions = [ONE_SET]
    if diametral < 0:
        cautions.append("No radial clearance: these rollers do not go in")
    if gap < 0:
        cautions.append("No gap round the circle: there is one roller too many or they are too large")
    elif gap >= roller:
        cautions.append("The gap would take another roller: one is missing or the rollers are too small")
    inputs = (
        ("bore", f"{bore:g} mm"),
        ("shaft", f"{shaft:g} mm"),
        ("roller", f"{roller:g} mm"),
        ("count", f"{count:g}"),
    )
    steps = (
        Step(
            f"radial clearance = (bore − shaft − 2 roller)/2 = {diametral / 2:.4f} mm",
            inputs,
            COMMON_PRACTICE,
        ),
        Step(
            f"gap = (2π − 2 n asin(roller/D)) D/2 = {gap:.3f} mm", (("D", f"{pitch:g} mm"),), "plane geometry"
        ),
    )
    return NeedleRollers(diametral, diametral / 2, gap, steps, tuple(cautions))


def roller_spread(diameters: Sequence[float], allowed: float | None = None) -> Spread:
    """Spread of diameters within one set of rollers: the largest carry the load, the smallest do not.

    spread = largest − smallest.

    :param diameters: diameters of the rollers that were measured [mm], two or more
    :param allowed: largest spread that the maker allows [mm], or None

    Reference: common practice, no source.

    >>> found = roller_spread([2.998, 3.000, 2.999], 0.003)
    >>> round(found.spread_mm, 4), found.inside
    (0.002, True)
    """
    if not 2 <= len(diameters) <= 500:
        raise Refused("A spread needs 2 to 500 diameters")
    for value in diameters:
        within("diameters", value, 0.1, 50.0, "mm")
    if allowed is not None:
        within("allowed", allowed, 0.0, 1.0, "mm")
    low, high = min(diameters), max(diameters)
    spread = round(high - low, 9)  # below a picometre the subtraction of doubles is noise
    inputs = (("largest", f"{high:g} mm"), ("smallest", f"{low:g} mm"), ("rollers", str(len(diameters))))
    step = Step(f"spread = largest − smallest = {spread:.4f} mm", inputs, COMMON_PRACTICE)
    inside = None if allowed is None else spread <= allowed
    return Spread(spread, fmean(diameters), low, high, inside, (step,), (ONE_SET,))
