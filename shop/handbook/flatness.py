"""Flatness of a joint face by straight-edge and feelers or by heights; runout of a shaft. Lengths in mm."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, isfinite, radians, sin

from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, OutOfRange, Step, within

LINES = "A straight-edge shows lines. Lay it along, across and on both diagonals"
MOST = 400


@dataclass(frozen=True, slots=True)
class Feeler:
    """What the feelers say at one place of a line: the thickest that enters, the thinnest that does not [mm].

    ``refuses`` is None when no thicker one was tried.
    """

    line: str
    place: str
    enters: float
    refuses: float | None = None


@dataclass(frozen=True, slots=True)
class FlatByFeeler:
    """The largest gap under the straight-edge lies between these two [mm]; the line and place of it."""

    at_least_mm: float
    at_most_mm: float | None
    line: str
    place: str
    by_line: tuple[tuple[str, float], ...]
    inside: bool | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FlatByHeight:
    """Flatness [mm] against the least-squares plane; the tilt of it along x and y [mm/m]."""

    flatness_mm: float
    highest: str
    lowest: str
    tilt_x_mm_m: float
    tilt_y_mm_m: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Runout:
    """Total reading of the dial [mm], the eccentricity in it and its direction, and what is left of it."""

    runout_mm: float
    eccentricity_mm: float | None
    direction_deg: float | None
    form_mm: float | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def flat_by_feeler(readings: Sequence[Feeler], allowed: float | None = None) -> FlatByFeeler:
    """The largest gap under a straight-edge laid along several lines of a face.

    gap ≥ the thickest feeler that enters, gap < the thinnest that does not, at the worst place.

    :param readings: feelers tried at each place of each line, 1 to 400
    :param allowed: largest gap allowed [mm], or None. Inside only if the gap is surely not above it

    Reference: common practice, no source.

    >>> gaps = [Feeler("long", "middle", 0.05, 0.06), Feeler("across", "end", 0.03, 0.04)]
    >>> found = flat_by_feeler(gaps, 0.05)
    >>> found.at_least_mm, found.at_most_mm, found.line, found.inside
    (0.05, 0.06, 'long', None)
    """
    if not 1 <= len(readings) <= MOST:
        raise Refused(f"Give 1 to {MOST} places under the straight-edge")
    for one in readings:
        within("enters", one.enters, 0.0, 10.0, "mm")
        if one.refuses is not None and not one.enters < one.refuses <= 10.0:
            raise OutOfRange("refuses", one.refuses, f"above {one.enters:g}, to 10 mm")
    if allowed is not None:
        within("allowed", allowed, 0.0, 10.0, "mm")
    worst = max(readings, key=lambda one: (one.enters, one.refuses or 0.0))
    bounds = [one.refuses for one in readings]
    known = [one for one in bounds if one is not None]
    most = max(known) if len(known) == len(bounds) else None
    lines: dict[str, float] = {}
    for one in readings:
        lines[one.line] = max(lines.get(one.line, 0.0), one.enters)
    cautions = [] if len(lines) > 3 else [LINES]
    if most is None:
        cautions.append(
            "At some place no thicker feeler was tried: how large the gap is at most is not known"
        )
    inputs = tuple((line, f"{gap:g} mm enters") for line, gap in lines.items())
    step = Step("gap = thickest feeler that enters, less than the next", inputs, COMMON_PRACTICE)
    return FlatByFeeler(
        worst.enters, most, worst.line, worst.place, tuple(lines.items()),
        _inside(worst.enters, most, allowed), (step,), tuple(cautions),
    )  # fmt: skip


def flat_by_height(points: Sequence[tuple[str, float, float, float]]) -> FlatByHeight:
    """Flatness from heights over a grid: peak to valley from the least-squares plane.

    z ≈ a + b x + c y with Σ(z − a − b x − c y)² least; flatness = largest − smallest residual.

    :param points: name, x, y and height z [mm] of 4 to 400 points that are not in one line

    Reference: ISO 12781-1:2011, 3.1.2.1.1 (least squares reference plane) and 3.3.1 (FLTt), from memory:
    check before relying on it.

    >>> tilted = [("A", 0, 0, 0.00), ("B", 100, 0, 0.10), ("C", 0, 100, 0.20), ("D", 100, 100, 0.34)]
    >>> round(flat_by_height(tilted).flatness_mm, 3)
    0.02
    """
    if not 4 <= len(points) <= MOST:
        raise Refused(f"Give 4 to {MOST} points")
    for name, *numbers in points:
        for value in numbers:
            within(f"point {name}", value, -10_000.0, 10_000.0, "mm")
    a, b, c = _plane([(x, y, z) for _, x, y, z in points])
    left = {name: z - a - b * x - c * y for name, x, y, z in points}
    if len(left) < len(points):
        raise Refused("Give each point a name of its own")
    high, low = max(left, key=lambda one: left[one]), min(left, key=lambda one: left[one])
    inputs = ((high, f"{left[high]:+.4f} mm"), (low, f"{left[low]:+.4f} mm"))
    step = Step("largest − smallest distance from the least-squares plane", inputs, "ISO 12781-1:2011, FLTt")
    cautions = ("Points between those measured may be higher or lower",)
    return FlatByHeight(left[high] - left[low], high, low, b * 1000, c * 1000, (step,), cautions)


def runout(readings: Sequence[tuple[float, float]]) -> Runout:
    """Runout of a shaft turned between centres or in vee blocks, and the eccentricity in it.

    Runout = largest − smallest reading. With three directions or more: a = 2/n Σ r cos θ, b = 2/n Σ r sin θ,
    eccentricity = √(a² + b²) toward atan2(b, a); what is left of the readings is form.

    :param readings: direction [°] and dial reading [mm], evenly spaced directions of one turn, 2 to 360

    Reference: total reading as ISO 1101:2017, 17.15 (circular runout); least-squares circle as
    ISO 12181-1:2011; both from memory: check before relying on them.

    >>> found = runout([(0, 0.00), (90, 0.02), (180, 0.04), (270, 0.02)])
    >>> found.runout_mm, round(found.eccentricity_mm, 3), round(found.direction_deg)
    (0.04, 0.02, 180)
    """
    if not 2 <= len(readings) <= 360:
        raise Refused("Give 2 to 360 readings round one turn")
    for angle, value in readings:
        within("direction", angle, -360.0, 360.0, "°")
        within("reading", value, -100.0, 100.0, "mm")
    values = [value for _, value in readings]
    total = round(max(values) - min(values), 9)
    inputs = (("largest", f"{max(values):g} mm"), ("smallest", f"{min(values):g} mm"))
    steps = [Step(f"runout = {total:.4f} mm", inputs, "ISO 1101:2017, circular runout")]
    cautions = ["In vee blocks a shaft that is out of round shows less or more than it has"]
    if not _even([angle for angle, _ in readings]):
        cautions.append("The directions are not evenly spaced round the turn: eccentricity is not worked out")
        return Runout(total, None, None, None, tuple(steps), tuple(cautions))
    n = len(readings)
    mean = sum(values) / n
    a = 2 / n * sum(value * cos(radians(angle)) for angle, value in readings)
    b = 2 / n * sum(value * sin(radians(angle)) for angle, value in readings)
    left = [value - mean - a * cos(radians(angle)) - b * sin(radians(angle)) for angle, value in readings]
    size, form = hypot(a, b), max(left) - min(left)
    way = _direction(a, b)
    steps.append(
        Step(
            "e = √(a² + b²), a = 2/n Σ r cos θ, b = 2/n Σ r sin θ",
            (("a", f"{a:.4f} mm"), ("b", f"{b:.4f} mm"), ("n", str(n))),
            "ISO 12181-1:2011, least-squares circle",
        )
    )
    return Runout(total, size, way, form, tuple(steps), tuple(cautions))


def _inside(least: float, most: float | None, allowed: float | None) -> bool | None:
    """Surely inside, surely not, or not known."""
    if allowed is None:
        return None
    if least > allowed:
        return False
    return True if most is not None and most <= allowed else None


def _even(angles: Sequence[float]) -> bool:
    """Three or more directions, evenly round one turn."""
    places = sorted(angle % 360 for angle in angles)
    if len(places) < 3:
        return False
    step = 360 / len(places)
    return all(abs(place - places[0] - n * step) < 0.5 for n, place in enumerate(places))


def _direction(a: float, b: float) -> float:
    return degrees(atan2(b, a)) % 360


def _plane(points: Sequence[tuple[float, float, float]]) -> tuple[float, float, float]:
    """a, b, c of z = a + b x + c y by least squares about the middle of the points."""
    n = len(points)
    mx, my, mz = (sum(point[k] for point in points) / n for k in range(3))
    shifted = [(x - mx, y - my, z - mz) for x, y, z in points]
    sxx, sxy, syy, sxz, syz = (
        sum(point[i] * point[j] for point in shifted) for i, j in ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2))
    )
    span = sxx * syy - sxy * sxy
    if not isfinite(span) or span <= 1e-9 * max(sxx, syy, 1e-12) ** 2:
        raise Refused("The points are in one line. Measure along and across the face")
    b = (sxz * syy - syz * sxy) / span
    c = (syz * sxx - sxz * sxy) / span
    return mz - b * mx - c * my, b, c
