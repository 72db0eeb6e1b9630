"""What would decide a value that is too close to call, and many readings judged in one call.

Lengths are mm, a gauge's own figures µm. Decisions as in :mod:`shop.handbook.conformity`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, TypeAlias

from shop.handbook.conformity import CONFORMITY, conformity
from shop.handbook.quantities import Refused
from shop.handbook.uncertainty import GUM
from shop.handbook.working import OutOfRange, Step, within

if TYPE_CHECKING:
    from numpy import float64, int8
    from numpy.typing import ArrayLike, NDArray

    Limit: TypeAlias = ArrayLike | None
else:  # numpy is loaded where it is used
    ArrayLike = Limit = object

MOST_REPEATS = 20
WITHIN, OUTSIDE, CLOSE = 1, -1, 0


@dataclass(frozen=True, slots=True)
class Repeats:
    """How many repeats of one place would decide, and the decision then; None if none would."""

    count: int | None
    decision: str
    standard_uncertainty_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """Probabilities that the readings conform, and decisions: 1 within, −1 outside, 0 too close to call."""

    probability: NDArray[float64]
    decision: NDArray[int8]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def repeats_needed(
    value: float,
    lower: float | None,
    upper: float | None,
    calibration_um: float,
    resolution_um: float,
    spread_um: float,
    confidence: float = 0.95,
) -> Repeats:
    """The fewest repeats whose mean would decide, if it stays where the value is now.

    u(n)² = (U/2)² + r²/12 + s²/n. More repeats wear down the spread s and nothing else: where the gauge's own
    part is too large, no number of them decides.

    :param value: the mean as known so far [mm]
    :param lower: lower limit [mm], or None
    :param upper: upper limit [mm], or None
    :param calibration_um: expanded uncertainty of the gauge on its certificate, k = 2 [µm]
    :param resolution_um: smallest step of the gauge [µm]
    :param spread_um: standard deviation of single repeats [µm]
    :param confidence: least probability that a decision needs, 0.5 to 0.9999

    Reference: JCGM 100:2008, 4.2.3 (mean of repeats) and 5.1.2; JCGM 106:2012, 8.3.

    >>> repeats_needed(25.018, 25.0, 25.021, 2.0, 1.0, 3.0).count
    5
    """
    for name, given in (
        ("calibration_um", calibration_um),
        ("resolution_um", resolution_um),
        ("spread_um", spread_um),
    ):
        within(name, given, 0.0, 1e6, "µm")
    own = (calibration_um / 2) ** 2 + resolution_um**2 / 12
    u = sqrt(own + spread_um**2) / 1000
    decision = conformity(value, u, lower, upper, confidence).decision
    count: int | None = 1
    while decision == "too close to call" and count is not None:
        count = count + 1 if count < MOST_REPEATS else None
        if count is not None:
            u = sqrt(own + spread_um**2 / count) / 1000
            decision = conformity(value, u, lower, upper, confidence).decision
    inputs = (
        ("U", f"{calibration_um:g} µm"),
        ("r", f"{resolution_um:g} µm"),
        ("s", f"{spread_um:g} µm"),
        ("n", "none" if count is None else str(count)),
    )
    step = Step(f"u(n) = √((U/2)² + r²/12 + s²/n) = {u * 1000:.3g} µm", inputs, f"{GUM}, 4.2.3 and 5.1.2")
    cautions = ["The new readings decide, not this forecast: their mean may fall elsewhere"]
    if count is None:
        cautions = [f"{MOST_REPEATS} repeats would not decide with this gauge. Use a finer one"]
    return Repeats(count, decision, u, (step,), tuple(cautions))


def judge_many(
    values: ArrayLike,
    standard_uncertainty: ArrayLike,
    lower: Limit = None,
    upper: Limit = None,
    confidence: float = 0.95,
) -> Judged:
    """Judge many readings at once under the guarded rule; shapes broadcast as numpy's do.

    P = Φ((U − y)/u) − Φ((L − y)/u). Decisions are those of :func:`shop.handbook.conformity.conformity`.

    :param values: measured values at 20 °C [mm]
    :param standard_uncertainty: standard uncertainties [mm], above 0
    :param lower: lower limits [mm], or None
    :param upper: upper limits [mm], or None
    :param confidence: least probability that a decision needs, 0.5 to 0.9999

    Reference: JCGM 106:2012, 7.3 and 7.4; the normal distribution is scipy.special.ndtr.

    >>> found = judge_many([25.010, 25.019, 25.030], 0.002, 25.0, 25.021)
    >>> found.decision.tolist()
    [1, 0, -1]
    """
    import numpy as np
    from scipy.special import ndtr

    within("confidence", confidence, 0.5, 0.9999, "")
    if lower is None and upper is None:
        raise Refused("A decision needs a lower limit, an upper limit or both")
    y, u = np.asarray(values, float), np.asarray(standard_uncertainty, float)
    if not u.size or not (float(u.min()) > 0 and np.isfinite(u.max())):
        raise OutOfRange("standard_uncertainty", "not above 0 or not finite", "above 0 mm")
    # Tails rather than a difference of two numbers near 1; one array is reused for speed.
    outside = np.zeros(np.broadcast(y, u).shape, bool)
    tails: NDArray[float64] | None = None
    for limit, sign in ((upper, -1.0), (lower, 1.0)):
        if limit is None:
            continue
        past = (np.asarray(limit, float) - y) * sign
        outside = outside | (past > 0)
        tail = ndtr(past / u)
        tails = tail if tails is None else tails + tail
    assert tails is not None
    chance = np.maximum(1.0 - tails, 0.0)
    decision = np.zeros(chance.shape, np.int8)
    decision[~outside & (chance >= confidence)] = WITHIN
    decision[outside & (1.0 - chance >= confidence - 1e-12)] = OUTSIDE
    if not np.isfinite(chance).all():
        raise OutOfRange("values", "not finite", "finite lengths in mm")
    step = Step(
        "P = Φ((U − y)/u) − Φ((L − y)/u)",
        (("readings", str(chance.size)), ("confidence", f"{confidence:g}")),
        f"{CONFORMITY}, 7.3 and 7.4",
    )
    return Judged(chance, decision, (step,), ())
