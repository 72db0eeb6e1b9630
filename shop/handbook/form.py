"""Form of a bore or journal from readings at several places. Lengths in mm."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, Step, within


@dataclass(frozen=True, slots=True)
class Place:
    """One diameter [mm] read at a depth ("front") and in a direction ("90°")."""

    depth: str
    direction: str
    diameter: float


@dataclass(frozen=True, slots=True)
class Roundness:
    """Mean diameter, out-of-round and taper [mm]; None where the places read do not show it."""

    mean_mm: float
    smallest_mm: float
    largest_mm: float
    out_of_round_mm: float | None
    taper_mm: float | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def roundness(readings: Sequence[Place]) -> Roundness:
    """Mean, out-of-round and taper of a bore or journal from two-point readings.

    Out-of-round is the largest spread between directions at one depth, in diameter; taper is the spread of
    the mean diameters of the depths, each depth counting once.

    :param readings: diameters with depth and direction; repeats of one place are averaged first

    Reference: common practice, no source; two-point sizes as ISO 14405-1:2016.

    >>> front = [Place("front", "0°", 40.01), Place("front", "90°", 40.03)]
    >>> found = roundness([*front, Place("rear", "0°", 40.00)])
    >>> round(found.out_of_round_mm, 3), round(found.taper_mm, 3)
    (0.02, 0.01)
    """
    if not readings:
        raise Refused("Form needs at least one reading, with its depth and direction")
    by_depth = _by_depth(readings)
    means = {depth: fmean(row.values()) for depth, row in by_depth.items()}
    spreads = [max(row.values()) - min(row.values()) for row in by_depth.values() if len(row) > 1]
    values = [value for row in by_depth.values() for value in row.values()]
    taper, inputs, cautions = _taper(by_depth, means)
    shown = tuple((f"{place.depth}, {place.direction}", f"{place.diameter:g} mm") for place in readings)
    steps = (
        Step("mean of the depths' means", shown, COMMON_PRACTICE),
        Step("out-of-round = largest − smallest diameter at one depth", shown, COMMON_PRACTICE),
        Step("taper = largest − smallest mean of a depth", inputs, COMMON_PRACTICE),
    )
    if not spreads:
        cautions.append("One direction at each depth: out-of-round is not known")
    else:
        cautions.append("Two-point readings do not show a three-lobed form")
    oval = max(spreads) if spreads else None
    return Roundness(fmean(means.values()), min(values), max(values), oval, taper, steps, tuple(cautions))


def _by_depth(readings: Sequence[Place]) -> dict[str, dict[str, float]]:
    places: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for place in readings:
        within(f"diameter at {place.depth}, {place.direction}", place.diameter, 0.0, 20_000.0, "mm")
        places[place.depth][place.direction].append(place.diameter)
    return {depth: {way: fmean(values) for way, values in row.items()} for depth, row in places.items()}


def _taper(
    by_depth: dict[str, dict[str, float]], means: dict[str, float]
) -> tuple[float | None, tuple[tuple[str, str], ...], list[str]]:
    """Taper over the directions that every depth has; over all of them when none is shared."""
    if len(by_depth) < 2:
        return None, (), ["One depth: taper is not known"]
    shared = set.intersection(*(set(row) for row in by_depth.values()))
    if shared:
        means = {depth: fmean(row[way] for way in shared) for depth, row in by_depth.items()}
    cautions = [] if shared else ["The depths share no direction: an oval bore would show as taper"]
    inputs = tuple((depth, f"{mean:g} mm") for depth, mean in means.items())
    return max(means.values()) - min(means.values()), inputs, cautions
