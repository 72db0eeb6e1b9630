"""Zones of a photograph, as on the frame of a drawing: letters downward, numbers across. Pure.

A place can be said in words without pointing at it: by keyboard, over the telephone, on paper. Letters
leave out I and O (ISO 5457:1999, 4.4, from memory).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import hypot

Spot = tuple[float, float]

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
LONG = 8  # zones along the longer side
_SAID = re.compile(r"\s*([A-Za-z])\s*([0-9]{1,2})\s*")


@dataclass(frozen=True, slots=True)
class Grid:
    """The zones of one picture: ``rows`` lettered from the top, ``columns`` numbered from the left."""

    columns: int
    rows: int

    @property
    def letters(self) -> str:
        return LETTERS[: self.rows]

    @property
    def numbers(self) -> range:
        return range(1, self.columns + 1)

    @property
    def last(self) -> str:
        return f"{self.letters[-1]}{self.columns}"

    def zone(self, across: float, down: float) -> str:
        """The zone of a place given as shares of width and height.

        >>> Grid(8, 6).zone(0.5, 0.0), Grid(8, 6).zone(1.0, 1.0)
        ('A5', 'F8')
        """
        column = min(int(across * self.columns), self.columns - 1)
        row = min(int(down * self.rows), self.rows - 1)
        return f"{LETTERS[row]}{column + 1}"

    def middle(self, said: str) -> tuple[float, float] | None:
        """The middle of a zone as shares of width and height; nothing for what is no zone here.

        >>> Grid(8, 6).middle(" b3 "), Grid(8, 6).middle("I3"), Grid(8, 6).middle("A9")
        ((0.3125, 0.25), None, None)
        """
        found = _SAID.fullmatch(said)
        if found is None or found[1].upper() not in self.letters or int(found[2]) not in self.numbers:
            return None
        row, column = self.letters.index(found[1].upper()), int(found[2]) - 1
        return (column + 0.5) / self.columns, (row + 0.5) / self.rows


def grid_of(width: int, height: int) -> Grid:
    """About square zones, eight along the longer side.

    >>> grid_of(4000, 3000), grid_of(1500, 3000), grid_of(4000, 10)
    (Grid(columns=8, rows=6), Grid(columns=4, rows=8), Grid(columns=8, rows=1))
    """
    short = max(1, round(LONG * min(width, height) / max(width, height)))
    return Grid(LONG, short) if width >= height else Grid(short, LONG)


_BALLOON, _REACH, _SPAN = 24.0, 62.0, 1000.0  # radius, leader and the longer side, in the picture's own units


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0").replace("-0.0", "0")


# Where a balloon may stand from its place, the first choice first: up right, up left, and so on round.
_WAYS = ((1, -1), (-1, -1), (1, 1), (-1, 1), (0, -1.4), (1.4, 0), (0, 1.4), (-1.4, 0))


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The picture in its own units, and how large balloons are on it."""

    wide: float
    high: float
    size: float

    @property
    def radius(self) -> float:
        return _BALLOON * self.size

    def stands(self, place: Spot, way: Spot) -> Spot:
        """Where the balloon stands, kept on the picture."""
        reach, edge = _REACH * self.size, self.radius + 2
        x, y = place[0] + way[0] * reach, place[1] + way[1] * reach
        return min(max(x, edge), max(self.wide - edge, edge)), min(max(y, edge), max(self.high - edge, edge))


def _clear(at: Spot, taken: Sequence[Spot], enough: float) -> float:
    """How far a balloon keeps from what is taken; beyond ``enough`` farther is no better."""
    return min((min(hypot(at[0] - x, at[1] - y), enough) for x, y in taken), default=enough)


def _balloons(sheet: _Sheet, marks: Sequence[tuple[str, float, float]]) -> str:
    """A dot at each place and a leader to its balloon, which keeps clear of other places and balloons."""
    places = [(x * sheet.wide, y * sheet.high) for _, x, y in marks]
    stood: list[Spot] = []
    for place in places:
        choices = [sheet.stands(place, way) for way in _WAYS]
        taken = [*places, *stood]
        room = [_clear(at, taken, sheet.radius * 2.2) for at in choices]
        stood.append(choices[room.index(max(room))])
    leaders = "".join(
        f"M{_n(x)} {_n(y)}L{_n(bx)} {_n(by)}" for (x, y), (bx, by) in zip(places, stood, strict=True)
    )
    spots = "".join(
        f'<circle class="mark-spot" cx="{_n(x)}" cy="{_n(y)}" r="{_n(6 * sheet.size)}"/>' for x, y in places
    )
    named = "".join(
        f'<g class="balloon"><circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(sheet.radius)}"/>'
        f'<text x="{_n(x)}" y="{_n(y)}">{escape(number)}</text></g>'
        for (number, _, _), (x, y) in zip(marks, stood, strict=True)
    )
    return f'<path class="mark-halo" d="{leaders}"/><path class="mark-leader" d="{leaders}"/>{spots}{named}'


def marks_drawing(
    width: int, height: int, marks: Sequence[tuple[str, float, float]], size: float = 1.0
) -> str:
    """The numbered balloons of a photograph as SVG that lies over it, with the ticks of its zones.

    ``size``: how much larger the balloons are than on the picture in full, for a small one.
    """
    scale = _SPAN / max(width, height)
    wide, high = width * scale, height * scale
    grid, tick = grid_of(width, height), 14.0
    ticks = "".join(
        f"M{_n(wide * n / grid.columns)} 0v{_n(tick)}m0 {_n(high - 2 * tick)}v{_n(tick)}"
        for n in range(1, grid.columns)
    ) + "".join(
        f"M0 {_n(high * n / grid.rows)}h{_n(tick)}m{_n(wide - 2 * tick)} 0h{_n(tick)}"
        for n in range(1, grid.rows)
    )
    drawn = _balloons(_Sheet(wide, high, size), marks) if marks else ""
    said = "; ".join(f"{number} in zone {grid.zone(x, y)}" for number, x, y in marks)
    label = f"Marked: {said}" if said else "Nothing is marked"
    kind = "marks marks-small" if size > 1 else "marks"
    return (
        f'<svg class="{kind}" viewBox="0 0 {_n(wide)} {_n(high)}" role="img" aria-label="{escape(label)}">'
        f'<path class="mark-halo" d="{ticks}"/><path class="mark-leader" d="{ticks}"/>{drawn}</svg>'
    )
