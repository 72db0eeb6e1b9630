"""Zones of a photograph, as on the frame of a drawing: letters downward, numbers across. Pure.

A place can be said in words without pointing at it: by keyboard, over the telephone, on paper. Letters
leave out I and O (ISO 5457:1999, 4.4, from memory).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

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


def _balloon(number: str, x: float, y: float, width: float, height: float, size: float) -> str:
    """A dot at the place and a leader to its balloon, which keeps clear of the picture's edges."""
    radius, reach = _BALLOON * size, _REACH * size
    over = reach + radius
    side = -1 if x + over > width else 1
    rise = 1 if y - over < 0 else -1
    bx = min(max(x + side * reach, radius + 2), max(width - radius - 2, radius + 2))
    by = min(max(y + rise * reach, radius + 2), max(height - radius - 2, radius + 2))
    line = f"M{_n(x)} {_n(y)}L{_n(bx)} {_n(by)}"
    return (
        f'<path class="mark-halo" d="{line}"/><path class="mark-leader" d="{line}"/>'
        f'<circle class="mark-spot" cx="{_n(x)}" cy="{_n(y)}" r="{_n(6 * size)}"/>'
        f'<g class="balloon"><circle cx="{_n(bx)}" cy="{_n(by)}" r="{_n(radius)}"/>'
        f'<text x="{_n(bx)}" y="{_n(by)}">{escape(number)}</text></g>'
    )


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
    drawn = "".join(_balloon(number, x * wide, y * high, wide, high, size) for number, x, y in marks)
    said = "; ".join(f"{number} in zone {grid.zone(x, y)}" for number, x, y in marks)
    label = f"Marked: {said}" if said else "Nothing is marked"
    kind = "marks marks-small" if size > 1 else "marks"
    return (
        f'<svg class="{kind}" viewBox="0 0 {_n(wide)} {_n(high)}" role="img" aria-label="{escape(label)}">'
        f'<path class="mark-halo" d="{ticks}"/><path class="mark-leader" d="{ticks}"/>{drawn}</svg>'
    )
