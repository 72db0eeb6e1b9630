"""How long rebuilds last: survival with units still running, Weibull, and comebacks within the warranty term.

Times are plain numbers in one unit of the caller's (days, km, hours). A unit that still runs, or whose term
ended without a comeback, is censored: it counts as at risk up to and including its last time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, expm1, inf, isfinite, log
from typing import Any

from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step, within

MOST_UNITS = 2000
_LONGEST = 1e7
_LARGEST = 1e12  # of a scale: beyond it the failures say nothing about the units that run
KAPLAN_MEIER = "Kaplan and Meier 1958, J. Amer. Statist. Assoc. 53:457 (from memory)"
LOG_LOG = "Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data (from memory)"
NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3 and 8.1.6.2"


@dataclass(frozen=True, slots=True)
class Survival:
    """Share still running after each failure time; the band is None where its formula has no value."""

    times: tuple[float, ...]
    survival: tuple[float, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    at_risk: tuple[int, ...]
    failed: tuple[int, ...]
    median: float | None
    confidence: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Weibull:
    """Two-parameter Weibull life; ``b10`` is the life that one in ten does not reach."""

    shape: float
    scale: float
    mean: float
    standard_deviation: float
    b10: float
    log_likelihood: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comebacks:
    """Comebacks to expect before the term ends; ``low`` and ``high`` hold the count nine times in ten."""

    expected: float
    low: int
    high: int
    probabilities: tuple[float, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Whether two groups last equally long; a small ``p_value`` says that they do not."""

    chi_squared: float
    p_value: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def kaplan_meier(durations: Sequence[float], observed: Sequence[bool], confidence: float = 0.95) -> Survival:
    """Share of units still running, with units that have not failed counted for as long as they were seen.

    S(t) = Π (1 − dᵢ/nᵢ) over the failure times up to t. Band at each time by itself, exponential Greenwood
    (log-log): S^exp(∓z s/ln S) with s² = Σ dᵢ/(nᵢ (nᵢ − dᵢ)); it has no value where S is 0.

    :param durations: time of each unit until it failed or was last seen, 0 or more
    :param observed: True where the unit failed, False where it was last seen running
    :param confidence: of the band, 0.5 to 0.999

    Reference: Kaplan and Meier 1958, J. Amer. Statist. Assoc. 53:457; band as Kalbfleisch and Prentice,
    The Statistical Analysis of Failure Time Data (both from memory); the estimator is that of
    scipy.stats.

    >>> found = kaplan_meier([6, 6, 7, 10], [True, False, True, False])
    >>> found.times, found.survival
    ((6.0, 7.0), (0.75, 0.375))
    """
    _check(durations, observed, 0.0)
    within("confidence", confidence, 0.5, 0.999, "")
    times, shares, lower, upper, at_risk, failed = _estimate(durations, observed, confidence)
    median = next((time for time, share in zip(times, shares, strict=True) if share <= 0.5 + 1e-12), None)
    inputs = (
        ("units", f"{len(durations)}"),
        ("failed", f"{sum(observed)}"),
        ("still running when last seen", f"{len(observed) - sum(observed)}"),
    )
    steps = (
        Step("S(t) = Π (1 − d/n) over the failure times up to t", inputs, KAPLAN_MEIER),
        Step(
            "band = S^exp(∓z s/ln S), s² = Σ d/(n (n − d)): exponential Greenwood (log-log)",
            (("confidence", f"{confidence:g}"), ("holds", "at each time by itself")),
            LOG_LOG,
        ),
    )
    cautions = _curve_cautions(times, shares, at_risk)
    return Survival(times, shares, lower, upper, at_risk, failed, median, confidence, steps, cautions)


def weibull(durations: Sequence[float], observed: Sequence[bool]) -> Weibull:
    """Weibull life by maximum likelihood with right censoring, beginning at 0 (``floc=0``).

    S(t) = exp(−(t/η)^β). A shape β below 1 means early failures, near 1 chance, above 1 wear.

    :param durations: time of each unit until it failed or was last seen, above 0
    :param observed: True where the unit failed, False where it was last seen running

    Reference: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3 and 8.1.6.2; the estimator is
    that of scipy.stats.

    >>> hours = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    >>> found = weibull(hours + [500] * 10, [True] * 10 + [False] * 10)
    >>> round(found.scale, 1), round(found.shape, 3)
    (606.5, 1.721)
    """
    _check(durations, observed, 1e-9)
    failures = [float(time) for time, seen in zip(durations, observed, strict=True) if seen]
    if len(failures) < 2:
        raise Refused("A Weibull life needs at least two failures")
    # With every failure at the longest time the likelihood has no greatest value: the shape runs away.
    if min(failures) == max(failures) == max(durations):
        raise Refused("All the failures are at the longest time: a Weibull life cannot be found from them")
    shape, scale, likelihood = _fit(durations, observed)
    if not (0.05 <= shape <= 50 and 1e-9 <= scale <= _LARGEST):
        raise Refused("The failures are too close together, or too far apart, for a Weibull life")
    mean, deviation = _moments(shape, scale)
    tenth = scale * exp(log(-log(0.9)) / shape)
    inputs = (("failed", f"{len(failures)}"), ("still running", f"{len(durations) - len(failures)}"))
    steps = (
        Step(
            f"largest likelihood of S(t) = exp(−(t/η)^β): β = {shape:.5g}, η = {scale:.6g}",
            inputs,
            f"{NIST}; scipy.stats.weibull_min, floc = 0",
        ),
        Step(f"B10 = η (−ln 0.9)^(1/β) = {tenth:.5g}", (), NIST),
    )
    few = () if len(failures) >= 5 else (f"Only {len(failures)} failures: take shape and scale as a hint",)
    return Weibull(shape, scale, mean, deviation, tenth, likelihood, steps, few)


def comebacks(ages: Sequence[float], term: float, shape: float, scale: float) -> Comebacks:
    """Comebacks to expect from units that run today, before each reaches the end of its warranty.

    A unit of age a has already lasted a: P = 1 − S(T)/S(a) = 1 − exp((a/η)^β − (T/η)^β), and 0 from T on.

    :param ages: age of each unit that runs today, 0 or more
    :param term: warranty term T, above 0
    :param shape: Weibull shape β, 0.05 to 50
    :param scale: Weibull scale η, above 0

    Reference: NIST/SEMATECH e-Handbook of Statistical Methods, 8.1.6.2, for the distribution;
    conditional on having lasted so long (common practice, no source).

    >>> round(comebacks([500.0] * 10, 600.0, 1.7207971807, 606.5275652695).expected, 5)
    2.32274
    """
    if not 1 <= len(ages) <= MOST_UNITS:
        raise OutOfRange("ages", f"{len(ages)} units", f"1 to {MOST_UNITS} units")
    for age in ages:
        within("ages", age, 0.0, _LONGEST, "")
    within("term", term, 1e-9, _LONGEST, "")
    within("shape", shape, 0.05, 50.0, "")
    within("scale", scale, 1e-9, _LARGEST, "")
    end = _hazard(term, shape, scale)
    chances = tuple(-expm1(_hazard(age, shape, scale) - end) if age < term else 0.0 for age in ages)
    low, high = _count_range(chances)
    expected = sum(chances)
    inputs = (
        ("units", f"{len(ages)}"),
        ("still within the term", f"{sum(age < term for age in ages)}"),
        ("T", f"{term:g}"),
        ("β", f"{shape:.5g}"),
        ("η", f"{scale:.6g}"),
    )
    steps = (
        Step(
            f"Σ (1 − S(T)/S(age)) = {expected:.4g}", inputs, "conditional probability: units that run today"
        ),
        Step(f"nine times in ten {low} to {high}", (), "exact sum of unequal chances (Poisson binomial)"),
    )
    return Comebacks(
        expected,
        low,
        high,
        chances,
        steps,
        ("The range holds for the given Weibull: its own doubt is not in it",),
    )


def log_rank(
    durations: Sequence[float],
    observed: Sequence[bool],
    other_durations: Sequence[float],
    other_observed: Sequence[bool],
) -> Comparison:
    """Whether two groups of units last equally long, by the log-rank test (two-sided).

    χ² = (O − E)²/V summed over the failure times, one degree of freedom.

    :param durations: times of the first group, as in :func:`kaplan_meier`
    :param observed: True where a unit of the first group failed
    :param other_durations: times of the second group
    :param other_observed: True where a unit of the second group failed

    Reference: Mantel 1966 (from memory); by scipy.stats.

    >>> found = log_rank([6, 6, 7, 10], [True] * 4, [20, 22, 23, 25], [True] * 4)
    >>> found.p_value < 0.05
    True
    """
    _check(durations, observed, 0.0)
    _check(other_durations, other_observed, 0.0, "other_")
    if not (any(observed) or any(other_observed)):
        raise Refused("Nothing failed in either group: there is nothing to compare")
    if min(len(durations), len(other_durations)) < 2:
        raise Refused("A comparison needs at least two units in each group")
    import numpy
    from scipy.stats import logrank

    with numpy.errstate(invalid="ignore", divide="ignore"):  # said in words below
        found = logrank(_censored(durations, observed), _censored(other_durations, other_observed))
    if not isfinite(found.statistic):
        raise Refused("No failure came while both groups still ran: there is nothing to compare")
    chi = float(found.statistic) ** 2
    inputs = (
        ("first group", f"{len(durations)} units, {sum(observed)} failed"),
        ("second group", f"{len(other_durations)} units, {sum(other_observed)} failed"),
    )
    step = Step(f"χ² = (O − E)²/V = {chi:.4g}, p = {found.pvalue:.3g}", inputs, "Mantel 1966 (from memory)")
    return Comparison(chi, float(found.pvalue), (step,), ("Equal is never proved: few failures show little",))


def _check(durations: Sequence[float], observed: Sequence[bool], least: float, whose: str = "") -> None:
    if not 1 <= len(durations) <= MOST_UNITS:
        raise OutOfRange(f"{whose}durations", f"{len(durations)} units", f"1 to {MOST_UNITS} units")
    if len(observed) != len(durations):
        raise OutOfRange(
            f"{whose}observed", f"{len(observed)} values", f"one for each duration, {len(durations)}"
        )
    for duration in durations:
        within(f"{whose}durations", duration, least, _LONGEST, "")


def _censored(durations: Sequence[float], observed: Sequence[bool]) -> Any:
    from scipy.stats import CensoredData

    return CensoredData.right_censored([float(one) for one in durations], [not seen for seen in observed])


def _estimate(
    durations: Sequence[float], observed: Sequence[bool], confidence: float
) -> tuple[
    tuple[float, ...],
    tuple[float, ...],
    tuple[float | None, ...],
    tuple[float | None, ...],
    tuple[int, ...],
    tuple[int, ...],
]:
    """Times of failure with share, band, units at risk and failures, from scipy's product-limit estimate."""
    import warnings

    from scipy.stats import ecdf

    counts: dict[float, int] = {}
    for time, seen in zip(durations, observed, strict=True):
        if seen:
            counts[float(time)] = counts.get(float(time), 0) + 1
    if not counts:
        return (), (), (), (), (), ()
    curve = ecdf(_censored(durations, observed)).sf
    with warnings.catch_warnings():  # scipy warns where the band has no value; None says it here
        warnings.simplefilter("ignore", RuntimeWarning)
        band = curve.confidence_interval(confidence, method="log-log")
    place = {float(time): n for n, time in enumerate(curve.quantiles)}
    times = tuple(sorted(counts))
    rows = [place[time] for time in times]
    limits = [tuple(_known(float(side.probabilities[row])) for row in rows) for side in (band.low, band.high)]
    at_risk = tuple(sum(1 for one in durations if one >= time) for time in times)
    shares = tuple(float(curve.probabilities[row]) for row in rows)
    return times, shares, limits[0], limits[1], at_risk, tuple(counts[time] for time in times)


def _known(value: float) -> float | None:
    return value if 0.0 <= value <= 1.0 else None


def _curve_cautions(
    times: tuple[float, ...], shares: tuple[float, ...], at_risk: tuple[int, ...]
) -> tuple[str, ...]:
    if not times:
        return ("Nothing has failed yet: the share still running is 1 for as long as units were seen",)
    cautions = []
    if min(at_risk) < 5:
        cautions.append("Fewer than five units were at risk at the end: read the tail of the curve with care")
    if shares[-1] == 0:
        cautions.append("The last unit failed: the band has no value there")
    return tuple(cautions)


def _fit(durations: Sequence[float], observed: Sequence[bool]) -> tuple[float, float, float]:
    """Shape, scale and log-likelihood. Times are divided by their mean first: every unit then fits alike."""
    from scipy.optimize import minimize
    from scipy.stats import weibull_min

    middle = sum(durations) / len(durations)
    data = _censored([one / middle for one in durations], observed)

    def find(function: Any, start: Any, args: Any = (), disp: Any = 0) -> Any:
        limits = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 250}
        return minimize(function, start, args=args, method="Nelder-Mead", options=limits).x

    shape, _, scale = weibull_min.fit(data, 1.2, floc=0, scale=1.2, optimizer=find)
    life = weibull_min(shape, scale=scale * middle)
    failed = [one for one, seen in zip(durations, observed, strict=True) if seen]
    running = [one for one, seen in zip(durations, observed, strict=True) if not seen]
    likelihood = float(life.logpdf(failed).sum() + life.logsf(running).sum())
    return float(shape), float(scale) * middle, likelihood


def _moments(shape: float, scale: float) -> tuple[float, float]:
    from scipy.stats import weibull_min

    mean, variance = weibull_min.stats(shape, scale=scale, moments="mv")
    return float(mean), float(variance) ** 0.5


def _hazard(time: float, shape: float, scale: float) -> float:
    """Cumulative hazard (t/η)^β, held below what a double can exponentiate."""
    power = shape * log(time / scale) if time > 0 else -inf
    return exp(min(power, 700.0))


def _count_range(chances: Sequence[float]) -> tuple[int, int]:
    """The 5 % and 95 % quantiles of the number of units that come back: smallest count with F ≥ p."""
    import numpy

    counts = numpy.zeros(len(chances) + 1)
    counts[0] = 1.0
    for n, chance in enumerate(chances, 1):
        counts[1 : n + 1] = counts[1 : n + 1] * (1 - chance) + counts[:n] * chance
        counts[0] *= 1 - chance
    running = numpy.cumsum(counts)
    top = len(chances)
    return min(top, int(numpy.searchsorted(running, 0.05))), min(top, int(numpy.searchsorted(running, 0.95)))
