"""Balloons and leaders of a drawing, and what a verdict is called. Pure: no database, no Django.

Balloons stand in a row above and a row below, in the order of what they point at. A leader runs aslant from
its balloon to above its target, then straight to it: equal order at both ends means that no two cross.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import copysign

RADIUS = 18.0
PITCH = 48.0

FOUND: Mapping[str, str] = {
    "serviceable": "serviceable",
    "rework": "rework",
    "scrap": "scrap",
    "open": "open",
    "close": "too close to call",
    "replaced": "always replaced",
    "missing": "missing",
    "wrong": "wrong part",
}
PLANNED: Mapping[str, str] = {
    "own": "own piece",
    "reworked": "own piece, reworked",
    "used": "another used piece",
    "new": "new",
}
_SAID_OTHERWISE = {"wrong part": "wrong", "too close to call": "close", "always replaced": "replaced"}
LETTERS: Mapping[str, str] = {"missing": "M", "wrong": "W"}


def mark_of(verdict: str) -> tuple[str, str, str]:
    """The key, the class and the word of a verdict or of a planned choice; ValueError names an unknown one.

    >>> mark_of("wrong part")
    ('wrong', 'v-wrong', 'wrong part')
    """
    key = _SAID_OTHERWISE.get(verdict, verdict)
    if key in FOUND:
        return key, f"v-{key}", FOUND[key]
    if key in PLANNED:
        return key, f"p-{key}", PLANNED[key]
    raise ValueError(f"verdict: {verdict!r} is neither found nor planned; say one of {[*FOUND, *PLANNED]}.")


@dataclass(frozen=True, slots=True)
class Balloon:
    """Centre of a balloon and the corners of its leader, in drawing units."""

    code: str
    x: float
    y: float
    leader: tuple[tuple[float, float], ...]


def spread(wanted: Sequence[float], *, pitch: float, low: float, high: float) -> list[float]:
    """Places in the given order, at least ``pitch`` apart, inside low..high, near to what was wanted.

    Neighbours that are too close are joined to blocks and each block centred on its wishes (least squares,
    by pooling adjacent violators). Too many for the room widen it to the right: check the last place.

    >>> spread([10, 11, 50], pitch=10, low=0, high=100)
    [5.5, 15.5, 50.0]
    """
    blocks: list[tuple[float, int]] = []  # (sum of wishes less their offsets, how many)
    high = max(high, low + pitch * (len(wanted) - 1))
    for index, wish in enumerate(wanted):
        blocks.append((wish - index * pitch, 1))
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1] = (blocks[-1][0] + total, blocks[-1][1] + count)
    starts = [total / count for total, count in blocks for _ in range(count)]
    ceiling = high - pitch * (len(wanted) - 1)
    return [min(max(start, low), ceiling) + index * pitch for index, start in enumerate(starts)]


def balloons(
    targets: Mapping[str, tuple[float, float]],
    *,
    row_y: float,
    bend_y: float,
    low: float,
    high: float,
) -> list[Balloon]:
    """One row of balloons for the targets (drawing units), with their leaders."""
    order = sorted(targets, key=lambda code: (targets[code][0], code))
    places = spread([targets[code][0] for code in order], pitch=PITCH, low=low, high=high)
    found = []
    for code, place in zip(order, places, strict=True):
        x, y = targets[code]
        # From the balloon's side that faces the drawing: a flat leader would run through its neighbours.
        start_y = row_y + copysign(RADIUS, bend_y - row_y)
        found.append(Balloon(code, place, row_y, ((place, start_y), (x, bend_y), (x, y))))
    return found
