"""Rolling bearings: equivalent load, basic rating life, and a duty made of several gears.

Loads and ratings N, speed rpm, life in millions of revolutions and hours. The dynamic rating belongs to one
catalogue edition of one maker, and basic life to clean oil, true fits and a bearing that is not used already.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import FROM_MEMORY, OutOfRange, Step, within

STANDARD = "ISO 281:2007"
KINDS = ("ball", "roller")
EXPONENT = {"ball": 3.0, "roller": 10 / 3}
MOST_LOAD = 1e7
MOST_DUTIES = 20
NEW_ONLY = (
    "Basic life is what nine of ten new bearings reach in clean oil: it says nothing of a used bearing, "
    "of dirt or of wrong fits"
)


@dataclass(frozen=True, slots=True)
class EquivalentLoad:
    """Dynamic equivalent radial load P [N]."""

    equivalent_load_n: float
    axial_counts: bool
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GrooveFactors:
    """Limit e and factors X, Y of a deep groove ball bearing."""

    e: float
    x: float
    y: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BasicLife:
    """Basic rating life; hours only where the speed is known."""

    l10_million_rev: float
    l10_hours: float | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NeededRating:
    """The dynamic rating C [N] that reaches a life at a load."""

    dynamic_rating_n: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Duty:
    """One gear of a duty: its share of the time (0 to 1), speed [rpm] and equivalent load [N]."""

    name: str
    share: float
    speed_rpm: float
    load_n: float


@dataclass(frozen=True, slots=True)
class DutyLife:
    """Life over a duty; ``damage`` is the share of the bearing's life that each gear uses."""

    mean_load_n: float
    mean_speed_rpm: float
    l10_million_rev: float
    l10_hours: float
    damage: tuple[tuple[str, float], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def equivalent_load(
    radial: float, axial: float, x: float = 1.0, y: float = 0.0, e: float | None = None
) -> EquivalentLoad:
    """Dynamic equivalent load: P = X Fr + Y Fa, but P = Fr where Fa/Fr ≤ e.

    :param radial: radial load Fr [N], 0 to 10 000 000
    :param axial: axial load Fa [N], its size without its sense, 0 to 10 000 000
    :param x: radial factor of the catalogue, 0 to 2
    :param y: axial factor of the catalogue, 0 to 10
    :param e: limit of Fa/Fr below which the axial load does not count, 0 to 5

    Reference: ISO 281:2007, 5.2 and 5.3 (clauses from memory).

    >>> equivalent_load(4000, 500, 0.56, 1.8, e=0.24).equivalent_load_n
    4000
    """
    within("radial", radial, 0.0, MOST_LOAD, "N")
    within("axial", axial, 0.0, MOST_LOAD, "N")
    within("x", x, 0.0, 2.0, "")
    within("y", y, 0.0, 10.0, "")
    counts = True
    if e is not None:
        counts = axial > within("e", e, 0.0, 5.0, "") * radial
    load = x * radial + y * axial if counts else radial
    if not load > 0:
        raise OutOfRange("radial", radial, "loads that come to more than nothing")
    inputs = [("Fr", f"{radial:.0f} N"), ("Fa", f"{axial:.0f} N")]
    if e is not None:
        inputs.append(("e", f"{e:g}"))
    if counts:
        inputs += [("X", f"{x:g}"), ("Y", f"{y:g}")]
    formula = "P = X Fr + Y Fa" if counts else "P = Fr, since Fa/Fr ≤ e"
    cautions = []
    if load < radial:
        cautions.append("P is below the radial load: where Fa/Fr is at most e, X is 1 and Y is 0")
    if e is None and axial:
        cautions.append("Without e the factors are used as given, whatever the share of the axial load")
    return EquivalentLoad(load, counts, (Step(formula, tuple(inputs), STANDARD),), tuple(cautions))


def groove_factors(f0: float, axial: float, static_rating: float) -> GrooveFactors:
    """Limit e and factors of a deep groove ball bearing by its relative axial load f0 Fa/C0.

    Linear between the rows of the table; below the first row its e and Y hold.

    :param f0: factor of the bearing by its maker, 10 to 18
    :param axial: axial load Fa [N]
    :param static_rating: static rating C0 [N], above 0

    Reference: ISO 281:2007, Table 3, from memory: check before relying on it.

    >>> found = groove_factors(14, 1500, 42000)
    >>> round(found.e, 5), round(found.y, 5)
    (0.23802, 1.86384)
    """
    within("f0", f0, 10.0, 18.0, "")
    within("axial", axial, 0.0, MOST_LOAD, "N")
    within("static_rating", static_rating, 1.0, MOST_LOAD, "N")
    points = [tuple(map(float, row.values())) for row in rows("iso281_deep_groove.csv")]
    relative = f0 * axial / static_rating
    if relative > points[-1][0]:
        raise OutOfRange("axial", axial, f"0 to {points[-1][0] * static_rating / f0:.0f} N for this bearing")
    e, y = _between(points, max(relative, points[0][0]))
    inputs = (("f0 Fa/C0", f"{relative:.4g}"), ("e", f"{e:.4g}"), ("X", "0.56"), ("Y", f"{y:.4g}"))
    step = Step("e and Y, linear between rows", inputs, f"{STANDARD}, Table 3 ({FROM_MEMORY})")
    return GrooveFactors(e, 0.56, y, (step,), (f"Factors of deep groove bearings: {FROM_MEMORY}",))


def basic_life(
    dynamic_rating: float, load: float, kind: str = "ball", speed_rpm: float | None = None
) -> BasicLife:
    """Basic rating life: L10 = (C/P)^p million revolutions, p = 3 for balls, 10/3 for rollers.

    Hours: L10h = 10⁶ L10/(60 n).

    :param dynamic_rating: dynamic rating C by the maker's catalogue [N], 1 to 10 000 000
    :param load: equivalent load P [N], above 0, to C
    :param kind: "ball" or "roller"
    :param speed_rpm: speed [rpm], 0.01 to 200 000

    Reference: ISO 281:2007, clause 5.

    >>> found = basic_life(55300, 10000, "ball", 3000)
    >>> round(found.l10_million_rev), round(found.l10_hours)
    (169, 940)
    """
    power = _exponent(kind)
    within("dynamic_rating", dynamic_rating, 1.0, MOST_LOAD, "N")
    if not 0 < load <= dynamic_rating:
        raise OutOfRange("load", load, f"above 0, to the dynamic rating, {dynamic_rating:g} N")
    life = (dynamic_rating / load) ** power
    inputs = [("C", f"{dynamic_rating:.0f} N"), ("P", f"{load:.0f} N"), ("p", _shown(kind))]
    steps = [Step("L10 = (C/P)^p", tuple(inputs), f"{STANDARD}, clause 5")]
    hours = None
    if speed_rpm is not None:
        within("speed_rpm", speed_rpm, 0.01, 200_000.0, "rpm")
        hours = 1e6 * life / (60 * speed_rpm)
        steps.append(Step("L10h = 10⁶ L10/(60 n)", (("n", f"{speed_rpm:g} rpm"),), f"{STANDARD}, clause 5"))
    return BasicLife(life, hours, tuple(steps), _life_cautions(dynamic_rating, load))


def needed_rating(load: float, hours: float, speed_rpm: float, kind: str = "ball") -> NeededRating:
    """The dynamic rating that lasts so many hours: C = P (60 n h/10⁶)^(1/p).

    :param load: equivalent load P [N], above 0
    :param hours: life that is wanted [h], 1 to 1 000 000
    :param speed_rpm: speed [rpm], 0.01 to 200 000
    :param kind: "ball" or "roller"

    Reference: ISO 281:2007, clause 5, turned round.

    >>> round(needed_rating(10000, 940, 3000).dynamic_rating_n, -2)
    55300.0
    """
    power = _exponent(kind)
    if not 0 < load <= MOST_LOAD:
        raise OutOfRange("load", load, f"above 0, to {MOST_LOAD:g} N")
    within("hours", hours, 1.0, 1e6, "h")
    within("speed_rpm", speed_rpm, 0.01, 200_000.0, "rpm")
    rating = load * (60 * speed_rpm * hours / 1e6) ** (1 / power)
    inputs = (
        ("P", f"{load:.0f} N"),
        ("h", f"{hours:g}"),
        ("n", f"{speed_rpm:g} rpm"),
        ("p", _shown(kind)),
    )
    step = Step("C = P (60 n h/10⁶)^(1/p)", inputs, f"{STANDARD}, clause 5")
    return NeededRating(rating, (step,), _life_cautions(rating, load))


def duty_life(dynamic_rating: float, duties: Sequence[Duty], kind: str = "ball") -> DutyLife:
    """Life over a duty of several gears with shares of time: damage adds up by revolutions (Miner).

    nm = Σ q n, Pm = (Σ q n P^p/Σ q n)^(1/p), L10 = (C/Pm)^p. A gear in which the bearing stands still counts
    for its time only.

    :param dynamic_rating: dynamic rating C by the maker's catalogue [N]
    :param duties: one line a gear; the shares of time come to 1, at most 20 lines
    :param kind: "ball" or "roller"

    Reference: Mott, Machine Elements in Mechanical Design, 4th ed., 14-11; the SEED guide on rolling element
    bearings has the same with speeds.

    >>> found = duty_life(30000, [Duty("first", 0.1, 600, 9000), Duty("top", 0.9, 1500, 2000)])
    >>> round(found.mean_load_n), round(found.l10_hours)
    (3382, 8251)
    """
    power = _exponent(kind)
    _check_duties(duties)
    turns = [one.share * one.speed_rpm for one in duties]
    speed = sum(turns)
    if not speed > 0:
        raise Refused("The bearing turns in none of these gears: give the speed of at least one")
    wear = [part * one.load_n**power for part, one in zip(turns, duties, strict=True)]
    mean = (sum(wear) / speed) ** (1 / power)
    life = basic_life(dynamic_rating, mean, kind, speed)
    assert life.l10_hours is not None
    inputs = tuple(
        (one.name, f"{one.share:.4g} of the time, {one.speed_rpm:g} rpm, {one.load_n:.0f} N")
        for one in duties
    )
    source = "Mott, Machine Elements in Mechanical Design, 4th ed., 14-11 (Miner's rule)"
    step = Step("Pm = (Σ q n P^p/Σ q n)^(1/p), nm = Σ q n", inputs, source)
    damage = tuple((one.name, part / sum(wear)) for one, part in zip(duties, wear, strict=True))
    cautions = list(life.cautions)
    cautions += [
        f"In {one.name} the load is above half the rating: the formula does not hold there"
        for one in duties
        if one.speed_rpm > 0 and one.load_n > 0.5 * dynamic_rating
    ]
    return DutyLife(
        mean, speed, life.l10_million_rev, life.l10_hours, damage, (step, *life.working), tuple(cautions)
    )


def _check_duties(duties: Sequence[Duty]) -> None:
    if not 1 <= len(duties) <= MOST_DUTIES:
        raise OutOfRange("duties", len(duties), f"1 to {MOST_DUTIES} lines")
    for one in duties:
        within(f"share of {one.name}", one.share, 0.0, 1.0, "of the time")
        within(f"speed of {one.name}", one.speed_rpm, 0.0, 200_000.0, "rpm")
        if not 0 < one.load_n <= MOST_LOAD:
            raise OutOfRange(f"load in {one.name}", one.load_n, f"above 0, to {MOST_LOAD:g} N")
    total = sum(one.share for one in duties)
    if abs(total - 1) > 0.001:
        raise OutOfRange("duties", f"shares that come to {total:.4g}", "shares of time that come to 1")


def _exponent(kind: str) -> float:
    if kind not in EXPONENT:
        raise Refused(f"A rolling bearing is one of: {', '.join(KINDS)}")
    return EXPONENT[kind]


def _shown(kind: str) -> str:
    return "3" if kind == "ball" else "10/3"


def _life_cautions(rating: float, load: float) -> tuple[str, ...]:
    cautions = [
        NEW_ONLY,
        "The rating belongs to the maker's own catalogue: take C, X, Y and e from one edition",
    ]
    if load > 0.5 * rating:
        cautions.append("The load is above half the rating: the formula does not hold there")
    return tuple(cautions)


def _between(points: Sequence[tuple[float, ...]], at: float) -> tuple[float, float]:
    for low, high in pairwise(points):
        if at <= high[0]:
            share = (at - low[0]) / (high[0] - low[0])
            return low[1] + share * (high[1] - low[1]), low[2] + share * (high[2] - low[2])
    raise AssertionError("the caller keeps within the table")
