"""Outlines of the parts of a section drawing, in mm, from the ``[drawing]`` tables of a guide.

Pure: no database, no Django. x runs from front to rear, y downward. Wheels are drawn at their pitch radius:
both radii of a pair divide the stated centre distance by the teeth, so a pair meets at the pitch line.
KeyError, TypeError or ValueError mean tables that ``drawing.check_drawing`` refuses.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import cos, radians, sin
from typing import Any

Point = tuple[float, float]
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Shape:
    """One closed outline; ``round_mm`` softens its corners as a casting's are."""

    points: tuple[Point, ...]
    round_mm: float = 0.0
    cast: bool = False


@dataclass(frozen=True, slots=True)
class Disc:
    x: float
    y: float
    r: float
    plain: bool = False  # a ball: stays the colour of the paper whatever the verdict


@dataclass(slots=True)
class Figure:
    """What is drawn of one row: outlines that carry the verdict, thin lines that do not."""

    shapes: list[Shape] = field(default_factory=list)
    discs: list[Disc] = field(default_factory=list)
    lines: list[tuple[Point, ...]] = field(default_factory=list)


def pitch_radius(*, centre_mm: float, teeth: int, mates: int) -> float:
    """Pitch radius [mm] of a wheel: r = a z / (z + z_mate), the centre distance divided by the teeth.

    Follows from r1 + r2 = a and r1/r2 = z1/z2; for uncorrected teeth it equals m z / 2 (ISO 21771, from
    memory).

    >>> pitch_radius(centre_mm=84.0, teeth=22, mates=26)
    38.5
    """
    if teeth <= 0 or mates <= 0:
        raise ValueError(f"teeth: {teeth} and {mates} do not make a pair; both must be above 0.")
    return centre_mm * teeth / (teeth + mates)


def centre_of(drawing: Row, wheel: Row) -> float:
    """Centre distance [mm] of a wheel and its mate: the wheel's own, else that of the drawing."""
    return float(wheel.get("centre", drawing["centre_mm"]))


def radius_of(drawing: Row, wheel: Row) -> float:
    """Pitch radius of a wheel by the centre distance, or by the module when it stands on a third shaft."""
    if "mates" in wheel:
        centre = centre_of(drawing, wheel)
        return pitch_radius(centre_mm=centre, teeth=wheel["teeth"], mates=wheel["mates"])
    return float(drawing["module_mm"]) * int(wheel["teeth"]) / 2


def _axis(drawing: Row, row: Row) -> float:
    return float(drawing["lines"][row["on"]])


def _halves(
    points: Sequence[Point], axis: float, *, round_mm: float = 0.0, cast: bool = False
) -> list[Shape]:
    """The outline above a shaft line and its reflection below; points are (x, distance from the line)."""
    return [
        Shape(tuple((x, axis - r) for x, r in points), round_mm, cast),
        Shape(tuple((x, axis + r) for x, r in points), round_mm, cast),
    ]


def _both(figure: Figure, axis: float, *points: Point) -> None:
    figure.lines.append(tuple((x, axis - r) for x, r in points))
    figure.lines.append(tuple((x, axis + r) for x, r in points))


def _outline(drawing: Row, row: Row) -> Figure:
    points = [(float(x), float(y)) for x, y in row["points"]]
    soft, cast = float(row.get("round", 0)), bool(row.get("cast", False))
    if "on" in row:
        return Figure(_halves(points, _axis(drawing, row), round_mm=soft, cast=cast))
    return Figure([Shape(tuple(points), soft, cast)])


def _shaft(drawing: Row, row: Row) -> Figure:
    """Steps are (start, end, radius); a fourth figure is the radius at the end of a cone."""
    axis, upper, figure = _axis(drawing, row), [], Figure()
    steps = [(float(x0), float(x1), float(r), float(rest[0]) if rest else float(r))
             for x0, x1, r, *rest in row["steps"]]  # fmt: skip
    for start, end, r, last in steps:
        upper += [(start, axis - r), (end, axis - last)]
    for (_, before, _, r1), (start, _, r2, _) in pairwise(steps):
        low = min(r1, r2)
        figure.lines.append(((start, axis - low), (start, axis + low)))
        if before != start:
            raise ValueError(f"steps of {row['position']}: one ends at {before}, the next begins at {start}.")
    figure.shapes.append(Shape(tuple(upper) + tuple((x, 2 * axis - y) for x, y in reversed(upper))))
    for start, end, r in row.get("splines", ()):
        for share in (0.32, 0.72):
            _both(figure, axis, (start, r * share), (end, r * share))
    return figure


def _ring(drawing: Row, row: Row) -> Figure:
    x, width, low, high = (float(row[key]) for key in ("x", "width", "bore", "top"))
    return Figure(_halves([(x, low), (x, high), (x + width, high), (x + width, low)], _axis(drawing, row)))


def _rollers(drawing: Row, row: Row) -> Figure:
    figure, axis = _ring(drawing, row), _axis(drawing, row)
    x, width, low, high = (float(row[key]) for key in ("x", "width", "bore", "top"))
    for end in (x + 2, x + width - 2):
        _both(figure, axis, (end, low), (end, high))
    return figure


def _bearing(drawing: Row, row: Row) -> Figure:
    figure, axis = _ring(drawing, row), _axis(drawing, row)
    low, high = float(row["bore"]), float(row["top"])
    x, middle = float(row["x"]) + float(row["width"]) / 2, (low + high) / 2
    figure.discs += [Disc(x, axis + side * middle, (high - low) * 0.27, plain=True) for side in (-1, 1)]
    return figure


def _taper(drawing: Row, row: Row) -> Figure:
    """A taper roller bearing: ``wide`` says on which side the rollers' large ends are."""
    figure, axis = _ring(drawing, row), _axis(drawing, row)
    x, width, low, high = (float(row[key]) for key in ("x", "width", "bore", "top"))
    tall, inset = high - low, width * 0.16
    near = [(x + inset, low + tall * 0.40), (x + inset, low + tall * 0.66)]
    far = [(x + width - inset, low + tall * 0.80), (x + width - inset, low + tall * 0.30)]
    corners = [*near, *far, near[0]]
    if row["wide"] == "front":
        corners = [(2 * x + width - px, r) for px, r in corners]
    elif row["wide"] != "rear":
        raise ValueError(f"wide of {row['position']} is front or rear, not {row['wide']!r}")
    _both(figure, axis, *corners)
    return figure


def _crown(drawing: Row, row: Row) -> Figure:
    """A crown wheel seen along its axis: the part of its rim that faces the pinion, broken off."""
    x, y, r, inner = float(row["x"]), _axis(drawing, row), float(row["r"]), float(row["inner"])
    spread = float(row.get("spread", 70))
    turn = [radians(180 + spread * (n / 12 - 1)) for n in range(25)]

    def arc(radius: float) -> list[Point]:
        return [(x + radius * cos(a), y + radius * sin(a)) for a in turn]

    figure = Figure([Shape((*arc(r), *reversed(arc(inner))))])
    figure.lines.append(tuple(arc(r - 0.3 * (r - inner))))
    return figure


def _seal(drawing: Row, row: Row) -> Figure:
    x, width, low, high = (float(row[key]) for key in ("x", "width", "bore", "top"))
    wall = width * 0.3
    points = [
        (x, high), (x + width, high), (x + width, high - wall), (x + wall, high - wall),
        (x + wall, low + wall * 1.6), (x + width * 0.9, low), (x, low + wall * 0.6),
    ]  # fmt: skip
    return Figure(_halves(points, _axis(drawing, row)))


def _wheel_profile(x: float, width: float, r: float, bore: float, tooth: float) -> list[Point]:
    """A wheel's half section: rim, thinner web where there is room for one, hub."""
    rim, hub, waist = r - tooth - 4, bore + 5, width * 0.22
    outer = [(x, r), (x + width, r)]
    if rim - hub < 8:
        return [(x, bore), *outer, (x + width, bore)]
    right = [(x + width, rim), (x + width - waist, rim - 2), (x + width - waist, hub + 2), (x + width, hub)]
    left = [(2 * x + width - px, pr) for px, pr in reversed(right)]
    return [*outer, *right, (x + width, bore), (x, bore), *left]


def _dogs(x: float, width: float, bore: float, top: float, side: str) -> list[Point]:
    start, step = (x, -1) if side == "front" else (x + width, 1)
    return [
        (start, bore), (start, top), (start + step * 3, top), (start + step * 3, top - 4),
        (start + step * 8, top - 7), (start + step * 8, bore),
    ]  # fmt: skip


def _gear(drawing: Row, row: Row) -> Figure:
    axis, r, tooth = _axis(drawing, row), radius_of(drawing, row), 2.25 * float(drawing["module_mm"]) * 0.5
    x, width, bore = float(row["x"]), float(row["width"]), float(row["bore"])
    figure = Figure(_halves(_wheel_profile(x, width, r, bore, tooth), axis))
    if "dogs" in row:
        figure.shapes += _halves(_dogs(x, width, bore, float(row["dog_top"]), row["dogs"]), axis)
    _both(figure, axis, (x, r - tooth), (x + width, r - tooth))
    return figure


def _cluster(drawing: Row, row: Row) -> Figure:
    """One piece with several wheels on a tube: a single outline, as it is one position."""
    axis, tooth = _axis(drawing, row), 2.25 * float(drawing["module_mm"]) * 0.5
    start, end, bore, tube = (
        float(row["x"]),
        float(row["x"] + row["width"]),
        float(row["bore"]),
        float(row["tube"]),
    )
    figure, top = Figure(), [(start, bore), (start, tube)]
    for wheel in sorted(row["wheels"], key=lambda one: float(one["x"])):
        x, width, r = float(wheel["x"]), float(wheel["width"]), radius_of(drawing, wheel)
        top += [(x, tube), (x, r), (x + width, r), (x + width, tube)]
        _both(figure, axis, (x, r - tooth), (x + width, r - tooth))
    figure.shapes += _halves([*top, (end, tube), (end, bore)], axis)
    return figure


def _input(drawing: Row, row: Row) -> Figure:
    """The input shaft with the wheel cut on it, bored at the rear for the spigot."""
    axis, r, tooth = _axis(drawing, row), radius_of(drawing, row), 2.25 * float(drawing["module_mm"]) * 0.5
    x, width, bore, depth = (float(row[key]) for key in ("x", "width", "bore", "depth"))
    end, dog = x + width, float(row["dog_top"])
    upper: list[Point] = []
    for start, stop, radius in row["steps"]:
        upper += [(float(start), float(radius)), (float(stop), float(radius))]
    upper += [
        (x, r),
        (end, r),
        (end, dog),
        (end + 3, dog),
        (end + 3, dog - 4),
        (end + 8, dog - 7),
        (end + 8, bore),
    ]
    upper += [(end + 8 - depth, bore)]
    points = [(px, axis - pr) for px, pr in upper] + [(px, axis + pr) for px, pr in reversed(upper)]
    figure = Figure([Shape(tuple(points))])
    _both(figure, axis, (x, r - tooth), (end, r - tooth))
    for start, stop, radius in row.get("splines", ()):
        for share in (0.32, 0.72):
            _both(figure, axis, (start, radius * share), (stop, radius * share))
    return figure


def _rail(drawing: Row, row: Row) -> Figure:
    y, x, end, r = _axis(drawing, row), float(row["x"]), float(row["x"] + row["width"]), float(row["r"])
    upper: list[Point] = [(x, y - r)]
    for notch in row.get("notches", ()):
        upper += [(notch - 2.4, y - r), (notch, y - r + 2), (notch + 2.4, y - r)]
    points = [*upper, (end, y - r), (end, y + r), (x, y + r)]
    return Figure([Shape(tuple(points))])


def _detent(drawing: Row, row: Row) -> Figure:
    """A spring over its ball. The ball sits in the rail's notch, the spring is a zigzag in its hole."""
    figure = Figure()
    for x, foot, head in row["at_each"]:
        turns = 5
        step = (foot - 5 - head) / (2 * turns)
        zigzag = [(x + (-3.0, 3.0)[n % 2], head + n * step) for n in range(2 * turns + 1)]
        figure.shapes.append(
            Shape(((x - 3.6, head), (x + 3.6, head), (x + 3.6, foot - 5), (x - 3.6, foot - 5)))
        )
        figure.lines.append(tuple(zigzag))
        figure.discs.append(Disc(x, foot - 2.6, 2.6))
    return figure


def _plug(drawing: Row, row: Row) -> Figure:
    figure = Figure()
    for x, y, turn in row["at_each"]:
        body = [
            (-5.0, -11.0),
            (5.0, -11.0),
            (4.4, 0.0),
            (8.0, 0.0),
            (8.0, 5.0),
            (-8.0, 5.0),
            (-8.0, 0.0),
            (-4.4, 0.0),
        ]
        placed = [(x + px, y + py) if turn == "down" else (x + py, y - px) for px, py in body]
        figure.shapes.append(Shape(tuple(placed)))
        threads = [((-4.6, -a), (4.6, -a - 1.6)) for a in (2.0, 5.0, 8.0)]
        for pair in threads:
            figure.lines.append(
                tuple((x + px, y + py) if turn == "down" else (x + py, y - px) for px, py in pair)
            )
    return figure


def _disc(drawing: Row, row: Row) -> Figure:
    x, y, r = float(row["x"]), float(row["y"]), float(row["r"])
    figure = Figure(discs=[Disc(x, y, r)])
    if row.get("cross"):
        figure.lines += [((x - r - 2, y), (x + r + 2, y)), ((x, y - r - 2), (x, y + r + 2))]
    return figure


KINDS: Mapping[str, Callable[[Row, Row], Figure]] = {
    "outline": _outline,
    "shaft": _shaft,
    "ring": _ring,
    "rollers": _rollers,
    "bearing": _bearing,
    "taper": _taper,
    "crown": _crown,
    "seal": _seal,
    "gear": _gear,
    "cluster": _cluster,
    "input": _input,
    "rail": _rail,
    "detent": _detent,
    "plug": _plug,
    "disc": _disc,
}


def figure_of(drawing: Row, row: Row) -> Figure:
    """What is drawn for one ``[[drawing.part]]`` row."""
    return KINDS[row["kind"]](drawing, row)


def extent(figure: Figure) -> tuple[float, float, float, float]:
    """Smallest and largest x and y of a figure's outlines: x0, y0, x1, y1 [mm]."""
    points = [point for shape in figure.shapes for point in shape.points]
    points += [(disc.x + a * disc.r, disc.y + a * disc.r) for disc in figure.discs for a in (-1, 1)]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)
