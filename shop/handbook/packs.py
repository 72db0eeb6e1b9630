"""Every way to fill the places with washers, ranked. Exact: what is left out cannot be inside the limits.

Lengths are mm.
"""

import math
from bisect import bisect_left, bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, within

# Beyond this many steps a search is no longer quick; the shop is asked for a shorter list.
MOST_STEPS = 400_000
MOST_PLACES = 12
KEPT = 6
# Far below what any gauge shows; keeps a float on the limit inside it.
HAIR = 1e-9
# Thicknesses are added as whole nanometres: sums that are equal are then the same number.
NM = 1_000_000

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

    1. A narrow window about the middle of the limits; what is outside it is worse than what it holds, if it
       holds enough and nothing out there can be likelier.
    2. Otherwise the whole width of the limits.
    3. With nothing inside, the nearest.

    :param want: room, uncertainties and limits
    :param washers: what there is to choose from
    :param places: how many are fitted, names of the places, or None for any number
    """
    usable, size, names = _usable(washers, places)
    half = (want.most - want.least) / 2
    seen = 0
    for share in (0.25, 1.0) if want.threshold is None else (1.0,):
        best = _Best(want, names)
        seen += _walk(usable, size, want.room - want.middle, share * half + HAIR, best)
        if share == 1.0 or best.beats(share * half, _likeliest(want, share * half)):
            break
    found = best.packs()
    return Packs(found, () if found else _nearest(want, usable, size, names), seen)


class _Best:
    """The best packs so far. Most packs are turned away by their key alone, before anything is built."""

    def __init__(self, want: Want, names: tuple[str, ...] | None) -> None:
        self.want, self.names = want, names
        self._kept: list[tuple[Order, tuple[Washer, ...]]] = []
        self._ranks: dict[tuple[int, float], tuple[float, float]] = {}
        self._own = math.fsum(spread * spread for spread in want.spreads) / 4
        self._worst: tuple[float, float] = (math.inf, math.inf)
        self._worst_cost = math.inf

    def offer(self, chosen: Sequence[Washer], total: int, variance: float, cost: float) -> None:
        rank = self._ranks.get((total, variance))
        if rank is None:
            rank = self._ranks[total, variance] = self._rank(total, variance)
        # Without a threshold the rank comes first and the cost after it: this is where nearly all packs end.
        if rank >= self._worst and (rank > self._worst or cost > self._worst_cost + HAIR):
            return
        cost = round(cost, 6)
        likely = self.want.threshold is not None and -rank[0] >= self.want.threshold
        # Where cost decides, the likely ones come first by cost, then all the others as usual.
        pack = tuple(chosen)
        key = (not likely, cost if likely else 0.0, *rank, cost, _placed(pack, self.names))
        insort(self._kept, (key, pack), key=lambda one: one[0])
        del self._kept[KEPT:]
        if len(self._kept) == KEPT and self.want.threshold is None:
            worst = self._kept[-1][0]
            self._worst, self._worst_cost = (worst[2], worst[3]), worst[4]

    def _rank(self, total: int, variance: float) -> tuple[float, float]:
        """Less likely is worse, then farther from the middle."""
        left = self.want.room - total / NM
        chance = _probability(left, math.sqrt(variance + self._own), self.want)
        return -round(chance, 6), round(abs(left - self.want.middle), 6)

    def beats(self, off: float, probability: float) -> bool:
        """Is what is kept full, and better than anything as far off as this and no likelier?"""
        return len(self._kept) == KEPT and (-probability, round(off, 6)) > self._kept[-1][0][2:4]

    def packs(self) -> tuple[Pack, ...]:
        return tuple(_pack(self.want, chosen, self.names) for _, chosen in self._kept)


def _likeliest(want: Want, off: float) -> float:
    """No pack farther than ``off`` from the middle is likelier: the washers' own spread only takes away."""
    u = math.sqrt(math.fsum(spread * spread for spread in want.spreads)) / 2
    return round(_probability(want.middle + off, u, want), 6)


class _Closest:
    """The pack whose thickness is nearest to the ideal; of equals the first by its codes."""

    def __init__(self, ideal: float, names: tuple[str, ...] | None) -> None:
        self.ideal, self.names = ideal, names
        self.pack: tuple[Washer, ...] | None = None
        self._key: tuple[float, tuple[str, ...]] = (math.inf, ())

    def offer(self, chosen: Sequence[Washer], total: int, variance: float, cost: float) -> None:
        off = round(abs(total / NM - self.ideal), 6)
        if off <= self._key[0]:
            key = off, _placed(tuple(chosen), self.names)
            if key < self._key:
                self.pack, self._key = tuple(chosen), key


class _Keeper(Protocol):
    """What a walk offers its packs to: thickness in nm, variance of the washers in mm², cost."""

    def offer(self, chosen: Sequence[Washer], total: int, variance: float, cost: float) -> None: ...


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


def _walk(usable: list[Washer], size: int | None, ideal: float, half: float, best: _Keeper) -> int:
    """Offer every pack whose thickness is within ``half`` of the ideal, each once; how many there were."""
    thicknesses = [round(washer.thickness * NM) for washer in usable]
    variances = [washer.tolerance**2 / 3 for washer in usable]
    thickest = thicknesses[-1] if usable else 0
    low, high = (ideal - half) * NM - 1, (ideal + half) * NM + 1
    chosen: list[Washer] = []
    kinds = len(usable)
    steps = seen = 0

    def fill(first: int, used: int, total: int, variance: float, cost: float) -> None:
        """``used``: how many of the washer at ``first`` are in already."""
        nonlocal steps, seen
        left = (MOST_PLACES if size is None else size) - len(chosen)
        if (size is None or left == 0) and low <= total <= high:
            seen += 1
            best.offer(chosen, total, variance, cost)
        if left == 0:
            return
        # What follows is at least as thick as this one and at most the thickest: both ends can be cut off.
        most = (high - total) / (1 if size is None else left)
        start = max(first, bisect_left(thicknesses, low - total - (left - 1) * thickest))
        stop = bisect_right(thicknesses, most)
        steps += max(0, stop - start)
        if steps > MOST_STEPS:
            raise OutOfRange(
                "washers", f"{len(usable)} kinds", "fewer kinds or places: too many combinations"
            )
        for index in range(start, stop):
            washer = usable[index]
            already = used if index == first else 0
            if already >= washer.count:
                continue
            if washer.place and any(other.place == washer.place for other in chosen):
                continue
            chosen.append(washer)
            thick, spread = total + thicknesses[index], variance + variances[index]
            if left == 2 and size is not None:
                finish(index, already + 1, thick, spread, cost + washer.price)
            else:
                fill(index, already + 1, thick, spread, cost + washer.price)
            chosen.pop()

    def finish(first: int, used: int, total: int, variance: float, cost: float) -> None:
        """The last washer: only those whose thickness is what is missing, nothing else is looked at."""
        nonlocal seen
        index = bisect_left(thicknesses, low - total, first)
        while index < kinds and thicknesses[index] <= high - total:
            washer = usable[index]
            if (index != first or used < washer.count) and not (
                washer.place and any(other.place == washer.place for other in chosen)
            ):
                seen += 1
                chosen.append(washer)
                best.offer(
                    chosen, total + thicknesses[index], variance + variances[index], cost + washer.price
                )
                chosen.pop()
            index += 1

    fill(0, 0, 0, 0.0, 0.0)
    return seen


def _nearest(
    want: Want, usable: list[Washer], size: int | None, names: tuple[str, ...] | None
) -> tuple[Pack, ...]:
    """The pack nearest the middle of the limits, looked for in a window that doubles until it holds one."""
    ideal = want.room - want.middle
    half = max(want.most - want.least, 0.01)
    reach = abs(ideal) + MOST_PLACES * (usable[-1].thickness if usable else 0.0)
    while True:
        closest = _Closest(want.room - want.middle, names)
        _walk(usable, size, ideal, half, closest)
        if closest.pack is not None:
            return (_pack(want, closest.pack, names),)
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
