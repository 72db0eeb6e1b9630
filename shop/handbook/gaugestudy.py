"""How much of what a gauge shows is the gauge and the people: the study of pieces × people × repeats.

Values are plain numbers in one unit of the caller's (mm); deviations come back in the same unit. Source of
method and terms: AIAG, Measurement Systems Analysis, 4th edition, chapter III, section B.
"""

import itertools
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import erfc, fsum, sqrt
from statistics import NormalDist, fmean

from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step, within

MSA = "AIAG, Measurement Systems Analysis, 4th edition, III-B (analysis of variance)"
RISK = "JCGM 106:2012, 9.5"
SPREADS = (6.0, 5.15)
MOST_READINGS = 2000
_MOST = 1e6
Cells = dict[tuple[str, str], list[float]]


@dataclass(frozen=True, slots=True)
class Trial:
    """One reading of a piece by a person; the same pair comes again for each repeat."""

    piece: str
    person: str
    value: float


@dataclass(frozen=True, slots=True)
class Source:
    """One line of the analysis of variance; F and p are None for the repeats.

    Pieces and people are tested against the interaction, or against what it was pooled into.
    """

    name: str
    degrees_of_freedom: int
    sum_of_squares: float
    mean_square: float
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Standard deviations of each cause, in the unit of the readings; percents of variation and tolerance.

    ``interaction`` is 0 where it was pooled. ``distinct_categories`` is None where the gauge shows no
    variation at all.
    """

    repeatability: float
    reproducibility: float
    interaction: float
    gauge_rr: float
    part_variation: float
    total_variation: float
    gauge_rr_percent: float
    percent_of_tolerance: float | None
    distinct_categories: int | None
    spread: float
    pooled: bool
    table: tuple[Source, ...]
    pieces: int
    people: int
    repeats: int
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AcceptanceRisk:
    """Chance that a piece taken at random is bad and accepted (consumer), or good and rejected (producer)."""

    consumer: float
    producer: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def gauge_study(
    readings: Sequence[Trial],
    tolerance: float | None = None,
    *,
    spread: float = 6.0,
    pool_above: float = 0.25,
) -> GaugeStudy:
    """Repeatability and reproducibility by two-way analysis of variance, pieces and people both at random.

    σ²(repeats) = MS_e, σ²(interaction) = (MS_pe − MS_e)/r, σ²(people) = (MS_o − MS_pe)/(p r), σ²(pieces) =
    (MS_p − MS_pe)/(o r); where the interaction has p above ``pool_above`` it goes into the repeats and
    MS_pooled stands for both. A negative component counts as 0. Unbalanced readings are refused: the mean
    squares of an unbalanced study have no such simple meaning.

    :param readings: one for each piece, person and repeat, all pairs equally often, at least 2 × 2 × 2
    :param tolerance: width of the limits [unit of the readings], above 0, or None
    :param spread: deviations in a study variation: 6 (99.73 %) or 5.15 (99 %)
    :param pool_above: the interaction is pooled when its p is above this, 0 to 1

    Reference: AIAG, Measurement Systems Analysis, 4th edition, III-B (analysis of variance).

    >>> values = {"A": (10.1, 10.2, 12.0, 12.1), "B": (10.3, 10.2, 12.2, 12.3)}
    >>> rows = [Trial(str(n // 2), who, v) for who, four in values.items() for n, v in enumerate(four)]
    >>> found = gauge_study(rows, tolerance=2.0)
    >>> found.pooled, round(found.repeatability, 4), round(found.percent_of_tolerance, 1)
    (True, 0.0707, 36.7)
    """
    if tolerance is not None and not 0 < tolerance <= _MOST:
        raise OutOfRange("tolerance", tolerance, f"above 0, to {_MOST:g}")
    if spread not in SPREADS:
        raise OutOfRange("spread", spread, "6 or 5.15")
    within("pool_above", pool_above, 0.0, 1.0, "")
    cells, pieces, people, repeats = _balanced(readings)
    table = _analysis(cells, pieces, people, repeats)
    pooled = (table[2].p or 0.0) > pool_above
    if pooled:
        table = _against_pooled(table)
    shares, negative = _components(table, pooled, len(pieces), len(people), repeats)
    part, person, both, repeat = shares
    gauge = repeat + person + both
    total = gauge + part
    if total <= 0:
        raise Refused("All the readings are the same: the gauge is too coarse for these pieces")
    categories = max(1, int(1.41 * sqrt(part / gauge))) if gauge > 0 else None
    percent = None if tolerance is None else 100 * spread * sqrt(gauge) / tolerance
    share = 100 * sqrt(gauge / total)
    steps = (
        _table_step(table, len(pieces), len(people), repeats),
        _pooling_step(table[2], pooled, pool_above),
        _component_step(shares),
        Step(
            f"study variation = {spread:g} σ; gauge = {share:.4g} % of it",
            (("categories", "1.41 σ(pieces)/σ(gauge), cut to a whole number, at least 1"),),
            MSA,
        ),
    )
    cautions = _study_cautions(negative, share, categories, len(pieces), len(people))
    return GaugeStudy(
        sqrt(repeat),
        sqrt(person + both),
        sqrt(both),
        sqrt(gauge),
        sqrt(part),
        sqrt(total),
        share,
        percent,
        categories,
        spread,
        pooled,
        table,
        len(pieces),
        len(people),
        repeats,
        steps,
        cautions,
    )


def acceptance_risk(
    process_mean: float,
    process_sd: float,
    gauge_sd: float,
    lower: float,
    upper: float,
    accept_lower: float | None = None,
    accept_upper: float | None = None,
) -> AcceptanceRisk:
    """How often a gauge lets a bad piece through or turns a good one away, over all pieces that come.

    ∫ φ((η − μ)/s)/s · P(accepted | η) dη beyond the limits for the consumer; the same within them, with
    P(rejected | η), for the producer. Pieces and gauge are normal.

    :param process_mean: mean μ of the pieces [any unit]
    :param process_sd: standard deviation s of the pieces, above 0
    :param gauge_sd: standard uncertainty of a reading, above 0
    :param lower: lower limit of the piece
    :param upper: upper limit of the piece
    :param accept_lower: a reading from here is accepted; None = the lower limit
    :param accept_upper: a reading up to here is accepted; None = the upper limit

    Reference: JCGM 106:2012, 9.5.

    >>> found = acceptance_risk(0.0, 0.12, 0.04, -0.2, 0.2)
    >>> round(found.consumer, 6), round(found.producer, 6)
    (0.018942, 0.037208)
    """
    for name, value in (("process_mean", process_mean), ("lower", lower), ("upper", upper)):
        within(name, value, -_MOST, _MOST, "")
    for name, value in (("process_sd", process_sd), ("gauge_sd", gauge_sd)):
        within(name, value, 1e-9, _MOST, "")
    if not lower < upper:
        raise OutOfRange("lower", lower, f"below the upper limit, {upper:g}")
    low = lower if accept_lower is None else within("accept_lower", accept_lower, -_MOST, _MOST, "")
    high = upper if accept_upper is None else within("accept_upper", accept_upper, low, _MOST, "")

    def accepted(true: float) -> float:
        return _normal((high - true) / gauge_sd) - _normal((low - true) / gauge_sd)

    def rejected(true: float) -> float:
        return _normal((low - true) / gauge_sd) + _normal((true - high) / gauge_sd)

    reach = (process_mean - 9 * process_sd, process_mean + 9 * process_sd)
    edges = sorted(limit + k * gauge_sd for limit in (low, high) for k in (-8, -3, -1, 0, 1, 3, 8))
    over = _integral(accepted, process_mean, process_sd, max(upper, reach[0]), reach[1], edges)
    under = _integral(accepted, process_mean, process_sd, reach[0], min(lower, reach[1]), edges)
    turned = _integral(rejected, process_mean, process_sd, max(lower, reach[0]), min(upper, reach[1]), edges)
    inputs = (
        ("pieces", f"{process_mean:g} ± {process_sd:g}"),
        ("gauge", f"{gauge_sd:g}"),
        ("limits", f"{lower:g} to {upper:g}"),
        ("accepted", f"{low:g} to {high:g}"),
    )
    steps = (
        Step(f"bad and accepted: ∫ outside φ P(accepted) dη = {over + under:.5g}", inputs, RISK),
        Step(f"good and rejected: ∫ inside φ P(rejected) dη = {turned:.5g}", inputs, RISK),
    )
    return AcceptanceRisk(over + under, turned, steps, ("Holds for pieces that scatter as stated",))


def shown_p(value: float | None) -> str:
    """A probability in words of at most six figures.

    :param value: 0 to 1, or None

    >>> shown_p(0.97411), shown_p(1e-19)
    ('0.974', '< 0.0001')
    """
    if value is None:
        return ""
    return "< 0.0001" if value < 0.0001 else f"{value:.3g}"


def _balanced(readings: Sequence[Trial]) -> tuple[Cells, list[str], list[str], int]:
    """The readings by piece and person; refused unless every pair was read equally often."""
    if not 8 <= len(readings) <= MOST_READINGS:
        raise OutOfRange("readings", f"{len(readings)} readings", f"8 to {MOST_READINGS} readings")
    cells: Cells = {}
    for trial in readings:
        within("readings", trial.value, -_MOST, _MOST, "")
        cells.setdefault((trial.piece, trial.person), []).append(trial.value)
    pieces, people = sorted({piece for piece, _ in cells}), sorted({person for _, person in cells})
    if len(people) < 2:
        raise Refused("A study needs two people or more: with one, reproducibility cannot be seen")
    if len(pieces) < 2:
        raise Refused("A study needs two pieces or more")
    repeats = Counter(len(values) for values in cells.values()).most_common(1)[0][0]
    for piece in pieces:
        for person in people:
            count = len(cells.get((piece, person), ()))
            if count != repeats:
                raise Refused(
                    f"Unbalanced: piece {piece} was read {count} times by {person}, most pairs {repeats} "
                    "times. Read what is lacking, or leave out that piece or that person"
                )
    if repeats < 2:
        raise Refused("A study needs each piece read twice or more by each person")
    return cells, pieces, people, repeats


def _analysis(cells: Cells, pieces: list[str], people: list[str], repeats: int) -> tuple[Source, ...]:
    """Two-way analysis of variance with interaction, pieces and people both at random."""
    # From the first reading on: lengths that agree in four figures would lose the rest in their squares.
    origin = next(iter(cells.values()))[0]
    values = {pair: [value - origin for value in row] for pair, row in cells.items()}
    mean = {pair: fmean(row) for pair, row in values.items()}
    by_piece = {piece: fmean(mean[piece, person] for person in people) for piece in pieces}
    by_person = {person: fmean(mean[piece, person] for piece in pieces) for person in people}
    grand = fmean(by_piece.values())
    p, o = len(pieces), len(people)
    raw = (
        o * repeats * fsum((one - grand) ** 2 for one in by_piece.values()),
        p * repeats * fsum((one - grand) ** 2 for one in by_person.values()),
        repeats
        * fsum(
            (mean[piece, person] - by_piece[piece] - by_person[person] + grand) ** 2
            for piece in pieces
            for person in people
        ),
        fsum((value - mean[pair]) ** 2 for pair, row in values.items() for value in row),
    )
    # What is below the last place of the readings is rounding, not variation.
    noise = (1e-12 * max(abs(value) for row in cells.values() for value in row)) ** 2 * p * o * repeats
    squares = tuple(0.0 if one <= noise else one for one in raw)
    freedoms = (p - 1, o - 1, (p - 1) * (o - 1), p * o * (repeats - 1))
    means = [square / freedom for square, freedom in zip(squares, freedoms, strict=True)]
    names = ("pieces", "people", "pieces × people")
    lines = [
        _line(name, freedoms[n], squares[n], means[against], freedoms[against])
        for n, (name, against) in enumerate(zip(names, (2, 2, 3), strict=True))
    ]
    lines.append(Source("repeats", freedoms[3], squares[3], means[3], None, None))
    return tuple(lines)


def _against_pooled(table: tuple[Source, ...]) -> tuple[Source, ...]:
    """The same table with pieces and people held against interaction and repeats together."""
    freedom = table[2].degrees_of_freedom + table[3].degrees_of_freedom
    mean = (table[2].sum_of_squares + table[3].sum_of_squares) / freedom
    tested = (_line(one.name, one.degrees_of_freedom, one.sum_of_squares, mean, freedom) for one in table[:2])
    return (*tested, *table[2:])


def _line(name: str, freedom: int, squares: float, against: float, freedom_against: int) -> Source:
    """A line whose mean square is tested against another; without scatter to test against F has no value."""
    from scipy.special import fdtrc

    mean = squares / freedom
    if against > 0:
        f = mean / against
        return Source(name, freedom, squares, mean, f, float(fdtrc(freedom, freedom_against, f)))
    return Source(name, freedom, squares, mean, None, 1.0 if mean == 0 else 0.0)


def _components(
    table: tuple[Source, ...], pooled: bool, p: int, o: int, r: int
) -> tuple[tuple[float, float, float, float], list[str]]:
    """Variances of pieces, people, interaction and repeats, and which of them came out negative."""
    repeat = table[3].mean_square
    if pooled:
        squares = table[2].sum_of_squares + table[3].sum_of_squares
        repeat = squares / (table[2].degrees_of_freedom + table[3].degrees_of_freedom)
    base = repeat if pooled else table[2].mean_square
    found = {
        "pieces": (table[0].mean_square - base) / (o * r),
        "people": (table[1].mean_square - base) / (p * r),
        "pieces × people": 0.0 if pooled else (base - repeat) / r,
    }
    negative = [name for name, value in found.items() if value < 0]
    part, person, both = (max(0.0, value) for value in found.values())
    return (part, person, both, repeat), negative


def _table_step(table: tuple[Source, ...], p: int, o: int, r: int) -> Step:
    inputs = [("readings", f"{p} pieces × {o} people × {r} repeats")]
    for line in table:
        tested = "" if line.p is None else f", p {shown_p(line.p)}"
        shown = f"SS {line.sum_of_squares:.6g}, {line.degrees_of_freedom} df, MS {line.mean_square:.6g}"
        inputs.append((line.name, shown + tested))
    return Step("analysis of variance, two ways, both at random", tuple(inputs), MSA)


def _pooling_step(line: Source, pooled: bool, above: float) -> Step:
    if pooled:
        words = f"pieces × people: p {shown_p(line.p)} is above {above:g}, so it is pooled with the repeats"
    else:
        words = f"pieces × people: p {shown_p(line.p)} is not above {above:g}, so it stands by itself"
    return Step(words, (), MSA)


def _component_step(shares: tuple[float, float, float, float]) -> Step:
    names = ("pieces", "people", "pieces × people", "repeats")
    inputs = tuple((name, f"σ = {sqrt(share):.5g}") for name, share in zip(names, shares, strict=True))
    return Step("σ² from the mean squares; gauge = repeats + people + pieces × people", inputs, MSA)


def _study_cautions(
    negative: list[str], share: float, categories: int | None, pieces: int, people: int
) -> tuple[str, ...]:
    cautions = [f"The variance of {name} came out below 0 and counts as 0" for name in negative]
    if categories is None:
        cautions.append("No two repeats differ: the gauge may be too coarse to show its own scatter")
    elif share > 30 or categories < 5:
        cautions.append(
            "The gauge takes a large share of what it shows: under 10 % is good, over 30 % is poor"
        )
    if pieces < 5 or people < 3:
        cautions.append("Few pieces or people: the usual study has ten pieces and three people")
    return tuple(cautions)


def _normal(z: float) -> float:
    return 0.5 * erfc(-z / sqrt(2))


def _integral(
    chance: Callable[[float], float], mean: float, sd: float, low: float, high: float, edges: list[float]
) -> float:
    """∫ N(mean, sd) × chance from ``low`` to ``high``, split where the gauge turns from yes to no."""
    if not low < high:
        return 0.0
    from scipy.integrate import quad

    density = NormalDist(mean, sd).pdf
    cuts = [low, *(edge for edge in edges if low < edge < high), high]
    pieces = (
        quad(lambda true: density(true) * chance(true), start, end, epsabs=1e-13, epsrel=1e-11, limit=100)[0]
        for start, end in itertools.pairwise(cuts)
    )
    return min(1.0, max(0.0, fsum(pieces)))
