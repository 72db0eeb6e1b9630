"""Every way to fill the places with washers, ranked. Exact: what is left out cannot be inside the limits.

Lengths are mm.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import nsmallest
from typing import TypeAlias

from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, within

# Beyond this many steps a search is no longer quick; the shop is asked for a shorter list.
MOST_STEPS = 400_000
MOST_PLACES = 12
KEPT = 6
# Far below what any gauge shows; keeps a float on the limit inside it.
HAIR = 1e-9

Order: TypeAlias = tuple[bool, float, float, float, float, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Washer:
    """A washer, shim or snap ring to choose: thickness ± tolerance [mm], how many there are, price of one.

    ``place`` names the only place it fits; None fits any.
    """

    code: str
    thickness: float
    tolerance: float = 0.0
    count: int = 1
    price: float = 0.0
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Want:
    """Room for washers, its expanded uncertainties, limits of the float [mm]; a threshold if cost decides."""

    room: float
    spreads: tuple[float, ...]
    least: float
    most: float
    threshold: float | None = None

    @property
    def middle(self) -> float:
        return (self.least + self.most) / 2


@dataclass(frozen=True, slots=True)
class Pack:
    """One way to fill the places, with the float [mm] it leaves and half the width of its intervals."""

    codes: tuple[str, ...]
    float_mm: float
    worst_mm: float
    rss_mm: float
    probability: float
    cost: float


@dataclass(frozen=True, slots=True)
class Packs:
    """The best ways inside the limits, best first; else the nearest one; and how many were looked at."""

    inside: tuple[Pack, ...]
    nearest: tuple[Pack, ...]
    seen: int


def search(want: Want, washers: Sequence[Washer], places: int | Sequence[str] | None) -> Packs:
    """The best packs that leave a float inside the limits, of every pack there is.

    :param want: room, uncertainties and limits
    :param washers: what there is to choose from
    :param places: how many are fitted, names of the places, or None for any number
    """
    usable, size, names = _usable(washers, places)
    seen = 0

    def looked_at() -> Iterator[Pack]:
        nonlocal seen
        for chosen in _within(usable, size, want.room - want.most - HAIR, want.room - want.least + HAIR):
            seen += 1
            yield _pack(want, chosen, names)

    found = nsmallest(KEPT, looked_at(), key=lambda pack: _rank(pack, want))
    return Packs(tuple(found), () if found else _nearest(want, usable, size, names), seen)


def _rank(pack: Pack, want: Want) -> Order:
    cost, off = round(pack.cost, 6), round(abs(pack.float_mm - want.middle), 6)
    likely = want.threshold is not None and pack.probability >= want.threshold
    # Where cost decides, the likely ones come first by cost, then all the others as usual.
    return (not likely, cost if likely else 0.0, -pack.probability, off, cost, pack.codes)


def _usable(
    washers: Sequence[Washer], places: int | Sequence[str] | None
) -> tuple[list[Washer], int | None, tuple[str, ...] | None]:
    """The washers that fit a place, thinnest first; how many are fitted; the names of the places."""
    codes = set()
    for washer in washers:
        within(f"thickness of {washer.code}", washer.thickness, 0.001, 200.0, "mm")
        within(f"tolerance of {washer.code}", washer.tolerance, 0.0, 5.0, "mm")
        within(f"count of {washer.code}", washer.count, 0, 1e6, "")
        within(f"price of {washer.code}", washer.price, 0.0, 1e9, "")
        if washer.code in codes:
            raise Refused(f'"{washer.code}" is listed twice. List each washer once, with its count')
        codes.add(washer.code)
    if places is None or isinstance(places, int):
        names = None
        size = None if places is None else int(within("places", places, 0, MOST_PLACES, ""))
    else:
        names, size = tuple(places), len(places)
        within("places", size, 0, MOST_PLACES, "")
        if len(set(names)) != size or isinstance(places, str):
            raise Refused("Each place needs a name of its own")
    fits = [
        washer
        for washer in washers
        if washer.count > 0 and (names is None or washer.place is None or washer.place in names)
    ]
    return sorted(fits, key=lambda washer: (washer.thickness, washer.code)), size, names


def _within(usable: list[Washer], size: int | None, low: float, high: float) -> Iterator[tuple[Washer, ...]]:
    """Every pack whose thicknesses add up to ``low`` to ``high``; each pack once, thinnest washer first."""
    thicknesses = [washer.thickness for washer in usable]
    thickest = thicknesses[-1] if usable else 0.0
    steps = 0

    def fill(first: int, chosen: tuple[Washer, ...], total: float) -> Iterator[tuple[Washer, ...]]:
        nonlocal steps
        left = (MOST_PLACES if size is None else size) - len(chosen)
        if (size is None or left == 0) and low <= total <= high:
            yield chosen
        if left == 0:
            return
        # What follows is at least as thick as this one and at most the thickest: both ends can be cut off.
        most = (high - total) / (1 if size is None else left)
        start = max(first, bisect_left(thicknesses, low - total - (left - 1) * thickest - HAIR))
        for index in range(start, bisect_right(thicknesses, most + HAIR)):
            steps += 1
            if steps > MOST_STEPS:
                raise OutOfRange(
                    "washers", f"{len(usable)} kinds", "fewer kinds or places: too many combinations"
                )
            washer = usable[index]
            if chosen.count(washer) < washer.count and not (
                washer.place and any(other.place == washer.place for other in chosen)
            ):
                yield from fill(index, (*chosen, washer), total + washer.thickness)

    yield from fill(0, (), 0.0)


def _nearest(
    want: Want, usable: list[Washer], size: int | None, names: tuple[str, ...] | None
) -> tuple[Pack, ...]:
    """The pack nearest the middle of the limits, looked for in a window that doubles until it holds one."""
    ideal = want.room - want.middle
    half = max(want.most - want.least, 0.01)
    reach = abs(ideal) + MOST_PLACES * (usable[-1].thickness if usable else 0.0)
    while True:
        packs = [_pack(want, chosen, names) for chosen in _within(usable, size, ideal - half, ideal + half)]
        if packs:
            return (min(packs, key=lambda pack: (round(abs(pack.float_mm - want.middle), 6), pack.codes)),)
        if half > reach:
            return ()
        half *= 2


def _pack(want: Want, chosen: tuple[Washer, ...], names: tuple[str, ...] | None) -> Pack:
    left = want.room - math.fsum(washer.thickness for washer in chosen)
    tolerances = [washer.tolerance for washer in chosen]
    u = math.hypot(*(spread / 2 for spread in want.spreads), *(t / math.sqrt(3) for t in tolerances))
    return Pack(
        _placed(chosen, names),
        left,
        math.fsum([*want.spreads, *tolerances]),
        math.hypot(*want.spreads, *tolerances),
        round(_probability(left, u, want), 6),
        math.fsum(washer.price for washer in chosen),
    )


def _probability(left: float, u: float, want: Want) -> float:
    if u == 0.0:
        return 1.0 if want.least - HAIR <= left <= want.most + HAIR else 0.0
    root = u * math.sqrt(2)
    # erfc keeps the small tails that 1 − erf would lose.
    below = math.erfc((left - want.least) / root) / 2
    above = math.erfc((want.most - left) / root) / 2
    return max(0.0, 1.0 - below - above)


def _placed(chosen: tuple[Washer, ...], names: tuple[str, ...] | None) -> tuple[str, ...]:
    """Codes in the order of the places: those tied to a place there, the others into the rest, by code."""
    if names is None:
        return tuple(sorted(washer.code for washer in chosen))
    tied = {washer.place: washer.code for washer in chosen if washer.place}
    free = iter(sorted(washer.code for washer in chosen if not washer.place))
    return tuple(tied[name] if name in tied else next(free) for name in names)
