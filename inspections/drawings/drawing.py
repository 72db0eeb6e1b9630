"""The unit drawing: a family's section as SVG, every position a link, hatched by its verdict.

Pure: no database, no Django. The text has classes only; the page's style sheet gives it ink, and the filter
``for_paper`` makes the same text stand alone in a PDF. Hatchings come from ``shop/parts/patterns.html``.
"""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from inspections.document import Position
from inspections.drawings.lettering import FOUND, LETTERS, PITCH, PLANNED, RADIUS, Balloon, balloons, mark_of
from inspections.drawings.outlines import (
    Disc,
    Figure,
    Point,
    Row,
    Shape,
    centre_of,
    extent,
    figure_of,
    radius_of,
)

SCALE = 2.3  # drawing units (px at full size) for one mm
MARGIN = 30.0
BEND = 26.0  # from the drawing's edge to where leaders turn
ROW = 56.0  # from there to the balloons
ROW_Y = MARGIN  # centre of the upper row
TABLE = 190.0  # width of the table of pairs


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


class Frame:
    """Turns mm of the guide's tables into drawing units, and knows how large the sheet is.

    ``room`` is the number of balloons in the longer row: a short unit with many positions gets wider margins.
    """

    def __init__(self, drawing: Row, figures: Iterable[Figure], variant: str, *, room: int = 0) -> None:
        boxes = [extent(one) for one in figures]
        lines = [(one[1], one[2]) for one in drawing.get("centrelines", ()) if _drawn_in(one, variant)]
        table = [float(drawing["table_at"][0])] if "table_at" in drawing else []
        self.x0 = min([box[0] for box in boxes] + [start for start, _ in lines] + table)
        self.x1 = max(
            [box[2] for box in boxes] + [end for _, end in lines] + [x + TABLE / SCALE for x in table]
        )
        self.y0 = min(box[1] for box in boxes)
        lowest = [float(one["at"]) for one in drawing.get("dimension", ()) if one["along"] == "x"]
        self.y1 = max([box[3] for box in boxes] + lowest)
        self.top = MARGIN + ROW + BEND
        drawn = (self.x1 - self.x0) * SCALE
        self.width = max(drawn, PITCH * (room - 1)) + 2 * MARGIN
        self.left = (self.width - drawn) / 2
        self.bottom = self.top + (self.y1 - self.y0) * SCALE
        self.height = self.bottom + BEND + ROW + MARGIN

    def at(self, point: Point) -> Point:
        return (point[0] - self.x0) * SCALE + self.left, (point[1] - self.y0) * SCALE + self.top

    def path(self, points: Sequence[Point], *, close: bool) -> str:
        placed = [self.at(one) for one in points]
        return "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in placed) + ("Z" if close else "")


def _drawn_in(centreline: Sequence[Any], variant: str) -> bool:
    return len(centreline) < 4 or variant in centreline[3:]


def _cut(points: Sequence[Point], size_mm: float = 4.5) -> tuple[Point, ...]:
    """The outline with its upper right corner cut off: scrap, also where a hatching is hard to see."""
    corner = max(range(len(points)), key=lambda n: points[n][0] - points[n][1])
    before, here, after = points[corner - 1], points[corner], points[(corner + 1) % len(points)]

    def towards(end: Point) -> Point:
        dx, dy = end[0] - here[0], end[1] - here[1]
        length = (dx * dx + dy * dy) ** 0.5 or 1.0
        share = min(size_mm / length, 0.45)
        return here[0] + dx * share, here[1] + dy * share

    return (*points[:corner], towards(before), towards(after), *points[corner + 1 :])


def _soft(frame: Frame, points: Sequence[Point], round_mm: float) -> str:
    """A closed path with rounded corners."""
    steps: list[str] = []
    for index, here in enumerate(points):
        before, after = points[index - 1], points[(index + 1) % len(points)]
        ends = []
        for end in (before, after):
            dx, dy = end[0] - here[0], end[1] - here[1]
            length = (dx * dx + dy * dy) ** 0.5 or 1.0
            share = min(round_mm / length, 0.5)
            ends.append(frame.at((here[0] + dx * share, here[1] + dy * share)))
        (x1, y1), (x, y), (x2, y2) = ends[0], frame.at(here), ends[1]
        start = "L" if steps else "M"
        steps.append(f"{start}{_n(x1)} {_n(y1)}Q{_n(x)} {_n(y)} {_n(x2)} {_n(y2)}")
    return "".join(steps) + "Z"


def _shapes(frame: Frame, figure: Figure, key: str, css: str, *, first: bool) -> str:
    """The outlines of a figure; all that carry one class are one path, so that hatching runs through."""
    found: dict[str, list[str]] = {}
    for index, shape in enumerate(figure.shapes):
        points = _cut(shape.points) if key == "scrap" and first and index == 0 else shape.points
        name = f"part {'cast ' if shape.cast else ''}{css}"
        text = _soft(frame, points, shape.round_mm) if shape.round_mm else frame.path(points, close=True)
        found.setdefault(name, []).append(text)
    parts = [f'<path class="{name}" d="{"".join(texts)}"/>' for name, texts in found.items()]
    parts += [_disc(frame, disc, css) for disc in figure.discs]
    if figure.lines:
        lines = "".join(frame.path(one, close=False) for one in figure.lines)
        parts.append(f'<path class="fine" d="{lines}"/>')
    return "".join(parts)


def _disc(frame: Frame, disc: Disc, css: str) -> str:
    x, y = frame.at((disc.x, disc.y))
    name = "part" if disc.plain else f"part {css}"
    return f'<circle class="{name}" cx="{_n(x)}" cy="{_n(y)}" r="{_n(disc.r * SCALE)}"/>'


def _balloon(balloon: Balloon, number: int, key: str, css: str) -> str:
    """A divided balloon: the number above, the verdict's hatching (or its letter) below."""
    x, y, r = balloon.x, balloon.y, RADIUS
    half, drop = (r * r - 9) ** 0.5, 3.0
    lower = f"M{_n(x - half)} {_n(y + drop)}A{_n(r)} {_n(r)} 0 0 0 {_n(x + half)} {_n(y + drop)}Z"
    letter = f'<text x="{_n(x)}" y="{_n(y + 9)}">{LETTERS[key]}</text>' if key in LETTERS else ""
    tab = "v-serviceable" if key in LETTERS else css
    return (
        f'<circle class="hit" fill="none" pointer-events="all" cx="{_n(x)}" cy="{_n(y)}" r="24"/>'
        f'<g class="balloon"><circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}"/>'
        f'<path class="{tab}" d="{lower}"/>'
        f'<text x="{_n(x)}" y="{_n(y - 6)}">{number}</text>{letter}</g>'
    )


def _leader(balloon: Balloon) -> str:
    corners = "L".join(f"{_n(x)} {_n(y)}" for x, y in balloon.leader)
    x, y = balloon.leader[-1]
    return f'<path class="leader" d="M{corners}"/><circle class="solid" cx="{_n(x)}" cy="{_n(y)}" r="2"/>'


def _anchor(rows: Sequence[tuple[Row, Figure]]) -> Point:
    for row, _ in rows:
        if "at" in row:
            x, y = row["at"]
            return float(x), float(y)
    x0, y0, x1, _ = extent(rows[0][1])
    return (x0 + x1) / 2, y0 + 1


def _rows_of(drawing: Row, codes: set[str]) -> dict[str, list[tuple[Row, Figure]]]:
    found: dict[str, list[tuple[Row, Figure]]] = {}
    for row in drawing.get("part", ()):
        if row["position"] in codes:
            found.setdefault(row["position"], []).append((row, figure_of(drawing, row)))
    return found


Anchors = dict[str, Point]


def _sides(drawing: Row, rows: Mapping[str, list[tuple[Row, Figure]]]) -> tuple[Anchors, Anchors]:
    """What balloons point at [mm]: above the middle of the unit, and below it."""
    middle = float(drawing.get("divide", float(drawing["centre_mm"]) / 4))
    anchors = {code: _anchor(one) for code, one in rows.items()}
    above = {code: one for code, one in anchors.items() if one[1] < middle}
    return above, {code: one for code, one in anchors.items() if code not in above}


def _place_balloons(frame: Frame, sides: tuple[Anchors, Anchors]) -> dict[str, Balloon]:
    """Balloons by position: above for what lies above the middle of the unit, below for the rest."""
    above, below = ({code: frame.at(one) for code, one in side.items()} for side in sides)
    low, high = MARGIN, frame.width - MARGIN
    found = balloons(above, row_y=ROW_Y, bend_y=frame.top - BEND / 2, low=low, high=high)
    found += balloons(below, row_y=frame.height - MARGIN, bend_y=frame.bottom + BEND / 2, low=low, high=high)
    return {one.code: one for one in found}


def _dimension(frame: Frame, row: Row, text: str) -> str:
    (x1, y1), (x2, y2) = (frame.at((float(x), float(y))) for x, y in row["ends"])
    if row["along"] == "x":
        _, y = frame.at((0.0, float(row["at"])))
        lift = f"M{_n(x1)} {_n(y1)}V{_n(y + 5)}M{_n(x2)} {_n(y2)}V{_n(y + 5)}"
        middle = frame.at((float(row["text_at"]), 0.0))[0] if "text_at" in row else (x1 + x2) / 2
        reach, (x, top) = f"M{_n(x1)} {_n(y)}H{_n(x2)}", (middle, y)
        turn = ""
    else:
        x, _ = frame.at((float(row["at"]), 0.0))
        lift = f"M{_n(x1)} {_n(y1)}H{_n(x - 5)}M{_n(x2)} {_n(y2)}H{_n(x - 5)}"
        reach, top = f"M{_n(x)} {_n(y1)}V{_n(y2)}", (y1 + y2) / 2
        turn = f' transform="rotate(-90 {_n(x)} {_n(top)})"'
    return (
        f'<g class="dimension"><path d="{lift}"/><path class="reach" d="{reach}"/>'
        f"<g{turn}>{_lifted(x, top, text)}</g></g>"
    )


def _pair_table(frame: Frame, drawing: Row) -> str:
    """The pairs and their teeth, ruled, where a drawing office would letter them."""
    rows = [one for row in drawing.get("part", ()) for one in (row, *row.get("wheels", ()))]
    pairs = [one for one in rows if "pair" in one]
    if "table_at" not in drawing or not pairs:
        return ""
    x, y = frame.at((float(drawing["table_at"][0]), float(drawing["table_at"][1])))
    lines = [f'<text x="{_n(x)}" y="{_n(y)}">teeth, module {drawing["module_mm"]}</text>']
    rules = []
    for index, one in enumerate(pairs, 1):
        base = y + index * 20
        rules.append(f"M{_n(x)} {_n(base - 15)}H{_n(x + TABLE)}")
        lines.append(f'<text x="{_n(x)}" y="{_n(base)}">{escape(one["pair"])}</text>')
        teeth = f"{one['teeth']} / {one['mates']}"
        lines.append(f'<text x="{_n(x + TABLE)}" y="{_n(base)}" text-anchor="end">{teeth}</text>')
    return f'<g class="teeth"><path class="fine" d="{"".join(rules)}"/>{"".join(lines)}</g>'


def _ground(frame: Frame, drawing: Row, variant: str) -> str:
    """Centrelines, and the broken-out line round what is drawn out of its place."""
    lines = []
    for one in drawing.get("centrelines", ()):
        if _drawn_in(one, variant):
            y = float(drawing["lines"][one[0]])
            lines.append(frame.path([(float(one[1]), y), (float(one[2]), y)], close=False))
    text = f'<path class="centreline" d="{"".join(lines)}"/>' if lines else ""
    out = drawing.get("broken_out")
    if out:
        points = [(float(x), float(y)) for x, y in out["points"]]
        text += f'<path class="fine" d="{_soft(frame, points, 99)}"/>'
    return text


def _out_of_place(frame: Frame, drawing: Row) -> str:
    """The words at the broken-out line, lifted off the leaders that run behind them."""
    out = drawing.get("broken_out")
    if not out:
        return ""
    x, y = frame.at((float(out["at"][0]), float(out["at"][1])))
    return f'<g class="dimension">{_lifted(x, y - 5, out["text"])}</g>'


def _lifted(x: float, middle: float, text: str) -> str:
    """Text on a piece of bare ground, its middle at x and ``middle``."""
    half = 3.0 * len(text) + 5
    box = f"M{_n(x - half)} {_n(middle - 9)}H{_n(x + half)}V{_n(middle + 9)}H{_n(x - half)}Z"
    return f'<path class="lift" d="{box}"/><text x="{_n(x)}" y="{_n(middle + 5)}">{escape(text)}</text>'


def _linked(body: str, *, label: str, link: str | None, current: bool) -> str:
    if link is None:
        return f'<g role="img" aria-label="{label}">{body}</g>'
    here = ' aria-current="true"' if current else ""
    return f'<a href="{escape(link)}" aria-label="{label}"{here}>{body}</a>'


def unit_drawing(
    drawing: Mapping[str, Any],
    positions: Sequence[Position],
    verdicts: Mapping[str, str],
    links: Mapping[str, str],
    *,
    variant: str,
    current: str | None = None,
    dimensions: Mapping[str, str] | None = None,
) -> str:
    """SVG of the unit in the variant. Everything is keyed by position code; no verdict means open.

    ``dimensions`` gives the text of dimension lines by key; one without text of its own is left out.
    """
    here = sorted((one for one in positions if one.exists_in(variant)), key=lambda one: one.number)
    rows = _rows_of(drawing, {one.code for one in here})
    if not rows:
        return ""
    sides = _sides(drawing, rows)
    figures = [figure for one in rows.values() for _, figure in one]
    frame = Frame(drawing, figures, variant, room=max(map(len, sides)))
    placed = _place_balloons(frame, sides)
    body, leaders = [], []
    for position in here:
        if position.code not in rows:
            continue
        key, css, word = mark_of(verdicts.get(position.code, "open"))
        shapes = "".join(
            _shapes(frame, figure, key, css, first=n == 0)
            for n, (_, figure) in enumerate(rows[position.code])
        )
        label = escape(f"{position.number} {position.name}: {word}")
        text = shapes + _balloon(placed[position.code], position.number, key, css)
        leaders.append(_leader(placed[position.code]))
        link = links.get(position.code)
        body.append(_linked(text, label=label, link=link, current=position.code == current))
    texts = dimensions or {}
    for row in drawing.get("dimension", ()):
        words = texts.get(row["key"], row.get("text", ""))
        if words:
            leaders.append(_dimension(frame, row, words))
    leaders.append(_out_of_place(frame, drawing))
    name = escape(f"Section of {drawing.get('title', 'the unit')}. Each position is marked with its verdict.")
    return (
        f'<svg class="drawing" viewBox="0 0 {_n(frame.width)} {_n(frame.height)}" '
        f'role="group" aria-label="{name}">'
        f"{_ground(frame, drawing, variant)}{_pair_table(frame, drawing)}{''.join(body)}"
        f'<g class="leaders" aria-hidden="true">{"".join(leaders)}</g></svg>'
    )


def legend(kinds: Sequence[str]) -> str:
    """A row of swatches with their words, for the verdicts or choices that a drawing uses."""
    width, parts = 190.0, []
    for index, kind in enumerate(kinds):
        key, css, word = mark_of(kind)
        x, y = index % 5 * width + 2, index // 5 * 34 + 4
        box: tuple[Point, ...] = ((x, y), (x + 34, y), (x + 34, y + 20), (x, y + 20))
        if key == "scrap":
            box = _cut(box, 8)
        corners = "L".join(f"{_n(a)} {_n(b)}" for a, b in box)
        letter = LETTERS.get(key, "")
        mark = (
            f'<text x="{_n(x + 17)}" y="{_n(y + 15)}" text-anchor="middle">{letter}</text>' if letter else ""
        )
        parts.append(f'<path class="part {css}" d="M{corners}Z"/>{mark}')
        parts.append(f'<text x="{_n(x + 42)}" y="{_n(y + 15)}">{escape(word)}</text>')
    rows = (len(kinds) + 4) // 5
    said = escape(", ".join(mark_of(kind)[2] for kind in kinds))
    return (
        f'<svg class="drawing drawing-legend" viewBox="0 0 950 {rows * 34}" role="img" '
        f'aria-label="Marks: {said}">{"".join(parts)}</svg>'
    )


def _meshes(drawing: Row, wheel: Row) -> list[tuple[int, float]]:
    """Teeth and centre distance [mm] of each wheel that this one runs with; an idler runs with two."""
    rows = [wheel, *wheel.get("also", ())] if "mates" in wheel else []
    return [(int(one["mates"]), centre_of(drawing, one)) for one in rows]


def _check_wheels(drawing: Row) -> list[str]:
    """Every pair's radii against its centre distance and the module, and every wheel against its mate."""
    wheels = [(row["position"], row["on"], row) for row in drawing.get("part", ()) if "teeth" in row]
    for row in drawing.get("part", ()):
        wheels += [(row["position"], row["on"], one) for one in row.get("wheels", ())]
    faults: list[str] = []
    for position, on, wheel in wheels:
        for mates, centre in _meshes(drawing, wheel):
            others = [
                other_on for _, other_on, one in wheels
                if other_on != on and one["teeth"] == mates
                and (wheel["teeth"], centre) in _meshes(drawing, one)
            ]  # fmt: skip
            faults += _check_pair(drawing, position, on, others, (int(wheel["teeth"]), mates, centre))
    return faults


def _check_pair(
    drawing: Row, position: str, on: str, others: Sequence[str], mesh: tuple[int, int, float]
) -> Iterable[str]:
    teeth, mates, centre = mesh
    lines = drawing["lines"]
    if not others:
        yield f"{position}: {teeth} teeth run with {mates}, which no wheel has."
    elif all(abs(abs(lines[other] - lines[on]) - centre) > 0.0005 for other in others):
        yield f"{position}: its shaft and its mate's are not {centre} mm apart."
    own, other = (float(drawing["module_mm"]) * count / 2 for count in (teeth, mates))
    if abs(own + other - centre) > 0.0005:
        yield (
            f"{position}: pitch radii {own:.3f} and {other:.3f} mm make {own + other:.3f} mm, "
            f"not the centre distance {centre:.3f} mm."
        )


def check_drawing(drawing: Mapping[str, Any], positions: Sequence[Position]) -> list[str]:
    """What is wrong with a guide's drawing tables, in words; empty when they can be drawn."""
    codes, faults, drawn = {one.code for one in positions}, [], set()
    for key in ("centre_mm", "module_mm", "lines", "part"):
        if key not in drawing:
            faults.append(f"drawing: {key} is missing.")
    if faults:
        return faults
    for number, row in enumerate(drawing["part"], 1):
        code = str(row.get("position", ""))
        if code not in codes:
            faults.append(f"drawing part {number}: position {code!r} is not in this guide.")
        drawn.add(code)
        try:
            figure_of(drawing, row)
        except (KeyError, TypeError, ValueError) as error:
            faults.append(f"drawing part {number} ({code}): cannot be drawn: {error}.")
    faults += [f"{one.code}: never drawn." for one in positions if one.code not in drawn]
    return faults if any("cannot be drawn" in one for one in faults) else faults + _check_wheels(drawing)


__all__ = ["FOUND", "PLANNED", "Shape", "check_drawing", "legend", "radius_of", "unit_drawing"]
