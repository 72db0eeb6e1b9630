"""How good were the forecasts: quantiles held against what came, over a history that they had not seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from shop.handbook.resampling import LONGEST_DAYS, MOST_PAST, QUANTILE, quantile
from shop.handbook.working import OutOfRange, Step, within

KOENKER = "Koenker and Bassett 1978, Econometrica 46:33 (from memory)"
MOST_STAGES = 12
MOST_UNITS = 200


@dataclass(frozen=True, slots=True)
class Score:
    """One level: mean pinball loss [unit of the values], share that came at or below, and its doubt.

    ``p_value``: exact two-sided binomial test that the share is what the level says.
    """

    level: float
    pinball: float
    coverage: float
    p_value: float


@dataclass(frozen=True, slots=True)
class BackTest:
    """Scores of each level over the held-out part of a history."""

    scores: tuple[Score, ...]
    held_out: int
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def back_test(
    history: Sequence[Sequence[float]],
    levels: Sequence[float] = (0.5, 0.85, 0.95),
    train: int | None = None,
    *,
    draws: int = 500,
    seed: int = 1,
) -> BackTest:
    """Forecast each unit of the later history from the units before it, and hold the forecast against it.

    The forecast of a unit is the sum of durations drawn from each stage's past on its own, as in
    ``finish_dates`` without waiting; what came is the sum of its own.

    :param history: units in the order in which they were finished, each with its days in every stage
    :param levels: shares that the quantiles are to hold, each 0.01 to 0.99, at most 9
    :param train: units that the first forecast sees, 2 or more; None = half of them
    :param draws: for each forecast, 100 to 2000
    :param seed: beginning of the random numbers, 0 to 4294967295

    Reference: Koenker and Bassett 1978, Econometrica 46:33 (from memory), for the loss; common
    practice, no source, for the order of the history.

    >>> found = back_test([[1.0]] * 10, [0.5])
    >>> found.held_out, found.scores[0].pinball, found.scores[0].coverage
    (5, 0.0, 1.0)
    """
    seen = _check(history, levels, train, draws, seed)
    import numpy

    random = numpy.random.default_rng(seed)
    days = numpy.asarray(history, dtype=float)
    forecasts = []
    for unit in range(seen, len(days)):
        drawn = sum(days[random.integers(0, unit, size=draws), stage] for stage in range(days.shape[1]))
        ordered = numpy.sort(drawn).tolist()
        forecasts.append([quantile(ordered, level) for level in levels])
    return score(forecasts, days[seen:].sum(axis=1).tolist(), levels)


def score(forecasts: Sequence[Sequence[float]], came: Sequence[float], levels: Sequence[float]) -> BackTest:
    """Mean pinball loss and coverage of quantile forecasts, level by level.

    Loss at level τ: τ (y − q) for y ≥ q, else (1 − τ)(q − y). Coverage: share with y ≤ q.

    :param forecasts: for each case its quantiles, one for each level
    :param came: what came in each case
    :param levels: the levels of the quantiles, each 0.01 to 0.99

    Reference: Koenker and Bassett 1978, Econometrica 46:33 (from memory).

    >>> found = score([[2671.0]] * 3, [2700.0] * 3, [0.1])
    >>> round(found.scores[0].pinball * 3, 9), found.scores[0].coverage
    (8.7, 0.0)
    """
    if not 1 <= len(came) <= MOST_PAST:
        raise OutOfRange("came", f"{len(came)} cases", f"1 to {MOST_PAST}")
    if len(forecasts) != len(came) or any(len(row) != len(levels) for row in forecasts):
        raise OutOfRange("forecasts", "of another shape", "one quantile a level for each case")
    for level in levels:
        within("levels", level, 0.01, 0.99, "")
    from scipy.stats import binomtest

    scores = []
    for n, level in enumerate(levels):
        losses = [pinball(y, row[n], level) for row, y in zip(forecasts, came, strict=True)]
        # Two sums of the same days may differ in their last place.
        held = sum(y <= row[n] + 1e-9 for row, y in zip(forecasts, came, strict=True))
        doubt = float(binomtest(held, len(came), level).pvalue)
        scores.append(Score(level, fmean(losses), held / len(came), doubt))
    inputs = tuple(
        (f"level {one.level:g}", f"loss {one.pinball:.4g}, coverage {one.coverage:.3g}, p {one.p_value:.3g}")
        for one in scores
    )
    steps = (
        Step("loss = τ (y − q) for y ≥ q, else (1 − τ)(q − y); mean over the cases", inputs, KOENKER),
        Step(
            "coverage = share with y ≤ q; p by the exact binomial test",
            (("cases", f"{len(came)}"),),
            QUANTILE,
        ),
    )
    poor = [one for one in scores if one.p_value < 0.05]
    cautions = [
        f"At level {one.level:g} the dates held {one.coverage * 100:.0f} % of the time" for one in poor
    ]
    if len(came) < 20:
        cautions.append(f"Only {len(came)} cases: a back-test of so few says little")
    return BackTest(tuple(scores), len(came), steps, tuple(cautions))


def pinball(y: float, q: float, level: float) -> float:
    """Pinball loss of one quantile forecast.

    :param y: what came
    :param q: the quantile that was forecast
    :param level: its level, 0 to 1

    >>> pinball(12.0, 10.0, 0.9)
    1.8
    """
    within("level", level, 0.0, 1.0, "")
    return level * (y - q) if y >= q else (1 - level) * (q - y)


def _check(
    history: Sequence[Sequence[float]], levels: Sequence[float], train: int | None, draws: int, seed: int
) -> int:
    """The number of units that the first forecast sees."""
    if not 4 <= len(history) <= MOST_UNITS:
        raise OutOfRange("history", f"{len(history)} units", f"4 to {MOST_UNITS}")
    width = len(history[0])
    if not 1 <= width <= MOST_STAGES:
        raise OutOfRange("history", f"{width} stages", f"1 to {MOST_STAGES}")
    for row in history:
        if len(row) != width:
            raise OutOfRange("history", f"{len(row)} stages in one unit", f"{width}, as in the first")
        for one in row:
            within("history", one, 0.0, LONGEST_DAYS, "working days")
    if not 1 <= len(levels) <= 9:
        raise OutOfRange("levels", f"{len(levels)} levels", "1 to 9")
    for level in levels:
        within("levels", level, 0.01, 0.99, "")
    within("draws", draws, 100, 2000, "")
    within("seed", seed, 0, 2**32 - 1, "")
    seen = len(history) // 2 if train is None else train
    within("train", seen, 2, len(history) - 1, "units")
    return seen
