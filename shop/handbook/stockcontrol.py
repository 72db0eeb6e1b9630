"""When to order: reorder point and safety stock, what runs short, and demand that comes now and then.

Demand is in pieces a period, the lead time in the same periods. A reorder point is compared with what is on
hand and on order, less what is promised; it is held against demand during the lead time alone, so stock must
be looked at whenever a piece goes out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import erfc, exp, pi, sqrt

from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step, within

MODELS = ("normal", "poisson", "negative binomial")
VARIANTS = ("croston", "syntetos-boylan")
MOST_PERIODS = 1000
_MOST = 1e6
LEAD_TIME = "Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains (from memory)"
CROSTON = "Croston 1972, Oper. Res. Quarterly 23:289 (from memory)"
SYNTETOS = "Syntetos and Boylan 2005, Int. J. Forecasting 21:303 (from memory)"


@dataclass(frozen=True, slots=True)
class Reorder:
    """Reorder point and the part of it that is safety; pieces."""

    reorder_point: float
    safety_stock: float
    lead_time_demand: float
    lead_time_variance: float
    service_level: float
    model: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Short:
    """Pieces that run short in one order cycle, on the average."""

    expected_short: float
    model: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Intermittent:
    """Demand to expect each period; ``size`` when there is demand and ``interval`` periods between."""

    per_period: float
    size: float
    interval: float
    variant: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def reorder(
    mean_demand: float,
    sd_demand: float,
    lead_time: float,
    service_level: float,
    model: str = "normal",
    lead_time_sd: float = 0.0,
) -> Reorder:
    """Reorder point that meets all demand of the lead time with a stated probability.

    Lead-time demand: μ = d L, σ² = L σ_d² + d² σ_L². Normal: r = μ + z σ. Poisson and negative binomial: the
    smallest whole r with F(r) ≥ service level; negative binomial has n = μ²/(σ² − μ), p = μ/σ².

    :param mean_demand: mean demand d [pieces a period], above 0
    :param sd_demand: its standard deviation σ_d [pieces a period]; Poisson does not use it
    :param lead_time: mean lead time L [periods], above 0
    :param service_level: least probability of no shortage in an order cycle, 0.01 to 0.99999
    :param model: "normal", "poisson" or "negative binomial"
    :param lead_time_sd: standard deviation σ_L of the lead time [periods]

    Reference: Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains (from
    memory).

    >>> round(reorder(20, 4, 9, 0.95, lead_time_sd=2).reorder_point, 4)
    248.6911
    >>> reorder(0.8, 0, 1, 0.95, "poisson").reorder_point
    2
    """
    within("mean_demand", mean_demand, 1e-6, _MOST, "pieces a period")
    within("sd_demand", sd_demand, 0.0, _MOST, "pieces a period")
    within("lead_time", lead_time, 1e-3, 1e4, "periods")
    within("lead_time_sd", lead_time_sd, 0.0, 1e4, "periods")
    within("service_level", service_level, 0.01, 0.99999, "")
    mean = mean_demand * lead_time
    spread = (mean_demand * lead_time_sd) ** 2
    variance = lead_time * sd_demand**2 + spread
    cautions = []
    if model == "poisson":
        if lead_time_sd > 0:
            raise OutOfRange("lead_time_sd", lead_time_sd, "0 for Poisson: take the negative binomial")
        if sd_demand > 0 and not 0.8 <= variance / mean <= 1.25:
            cautions.append("The variance of this demand is not near its mean: Poisson does not fit it well")
        variance = mean
    point, how = _point(model, mean, variance, service_level)
    safety = point - mean
    if safety < 0:
        cautions.append("Safety stock is below 0: at this service level most cycles run short")
    inputs = (
        ("d", f"{mean_demand:g} a period"),
        ("σ_d", f"{sd_demand:g} a period"),
        ("L", f"{lead_time:g} periods"),
        ("σ_L", f"{lead_time_sd:g} periods"),
        ("service level", f"{service_level:g}"),
    )
    steps = (
        Step(f"μ = d L = {mean:.6g}, σ² = {_spread_words(model)} = {variance:.6g}", inputs, LEAD_TIME),
        Step(how, (("model", model),), LEAD_TIME),
        Step(f"safety stock = r − μ = {safety:.6g}", (), LEAD_TIME),
    )
    cautions.append("The level is the share of order cycles without shortage, not of pieces served at once")
    return Reorder(point, safety, mean, variance, service_level, model, steps, tuple(cautions))


def expected_short(reorder_point: float, mean: float, variance: float, model: str = "normal") -> Short:
    """Pieces by which demand of the lead time exceeds the reorder point, on the average: E[(D − r)⁺].

    Normal: σ (φ(z) − z (1 − Φ(z))). Poisson: (μ − r)(1 − F(r)) + μ f(r). Negative binomial, with
    b = (1 − p)/p: (μ − r)(1 − F(r)) + (r + n) b f(r).

    :param reorder_point: r [pieces]; a whole number unless the model is normal
    :param mean: mean μ of the demand of the lead time [pieces]
    :param variance: its variance [pieces²]; Poisson does not use it
    :param model: "normal", "poisson" or "negative binomial"

    Reference: Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains (from
    memory).

    >>> round(expected_short(1, 2.0, 2.0, "poisson").expected_short, 6)
    1.135335
    """
    within("reorder_point", reorder_point, -1e12, 1e12, "pieces")
    within("mean", mean, 1e-9, 1e12, "pieces")
    within("variance", variance, 0.0, 1e24, "pieces²")
    if model not in MODELS:
        raise Refused(f"The model of demand is one of {', '.join(MODELS)}")
    if model == "normal":
        found = _normal_loss(reorder_point, mean, sqrt(variance))
        formula = f"σ (φ(z) − z (1 − Φ(z))) = {found:.6g}"
    else:
        if reorder_point != int(reorder_point):
            raise OutOfRange("reorder_point", reorder_point, "a whole number of pieces for this model")
        found = _counted_loss(int(reorder_point), mean, variance, model)
        formula = f"Σ (x − r) f(x) over x > r = {found:.6g}"
    inputs = (("r", f"{reorder_point:g}"), ("μ", f"{mean:g}"), ("σ²", f"{variance:g}"), ("model", model))
    return Short(
        found,
        model,
        (Step(formula, inputs, "Zipkin, Foundations of Inventory Management (from memory)"),),
        (),
    )


def intermittent(
    history: Sequence[float], smoothing: float = 0.1, variant: str = "syntetos-boylan"
) -> Intermittent:
    """Mean demand a period of a part that is asked for now and then.

    Size and interval are smoothed apart, only in periods with demand: z ← z + α (x − z), q ← q + α (t − q);
    the first demand and the periods up to and including it begin them. Croston: z/q. That is too high on
    the average; Syntetos and Boylan take (1 − α/2) z/q.

    :param history: demand of each period, oldest first, 0 or more, at most 1000 periods
    :param smoothing: α, 0.01 to 1
    :param variant: "croston" or "syntetos-boylan"

    Reference: Croston 1972, Oper. Res. Quarterly 23:289; Syntetos and Boylan 2005, Int. J. Forecasting
    21:303 (both from memory).

    >>> found = intermittent([0, 0, 3, 0, 0, 3, 0, 0, 3], 0.1, "croston")
    >>> found.size, found.interval, found.per_period
    (3.0, 3.0, 1.0)
    """
    if not 1 <= len(history) <= MOST_PERIODS:
        raise OutOfRange("history", f"{len(history)} periods", f"1 to {MOST_PERIODS} periods")
    for demand in history:
        within("history", demand, 0.0, _MOST, "pieces")
    within("smoothing", smoothing, 0.01, 1.0, "")
    if variant not in VARIANTS:
        raise Refused(f"The variant is one of {', '.join(VARIANTS)}")
    hits = [(period, demand) for period, demand in enumerate(history, 1) if demand > 0]
    if not hits:
        raise Refused("The history has no demand at all: there is nothing to expect from it")
    size, interval = float(hits[0][1]), float(hits[0][0])
    for (before, _), (period, demand) in pairwise(hits):
        size += smoothing * (demand - size)
        interval += smoothing * (period - before - interval)
    factor = 1.0 if variant == "croston" else 1 - smoothing / 2
    found = factor * size / interval
    inputs = (
        ("α", f"{smoothing:g}"),
        ("periods", f"{len(history)}"),
        ("periods with demand", f"{len(hits)}"),
    )
    shown = "z/q" if variant == "croston" else "(1 − α/2) z/q"
    steps = (
        Step(f"z = {size:.6g} pieces, q = {interval:.6g} periods", inputs, CROSTON),
        Step(f"{shown} = {found:.6g} a period", (), CROSTON if variant == "croston" else SYNTETOS),
    )
    return Intermittent(
        found, size, interval, variant, steps, _scarce(len(hits), len(history) - hits[-1][0], interval)
    )


def _spread_words(model: str) -> str:
    return "μ" if model == "poisson" else "L σ_d² + d² σ_L²"


def _point(model: str, mean: float, variance: float, level: float) -> tuple[float, str]:
    """The reorder point and how it was found."""
    if model == "normal":
        from scipy.special import ndtri

        z = float(ndtri(level))
        point = mean + z * sqrt(variance)
        return point, f"r = μ + z σ = {point:.6g}, z = {z:.5g}"
    if model == "poisson":
        from scipy.stats import poisson

        whole = int(poisson.ppf(level, mean))
    elif model == "negative binomial":
        from scipy.stats import nbinom

        whole = int(nbinom.ppf(level, *_negative(mean, variance)))
    else:
        raise Refused(f"The model of demand is one of {', '.join(MODELS)}")
    return whole, f"smallest whole r with F(r) ≥ {level:g}: {whole}"


def _negative(mean: float, variance: float) -> tuple[float, float]:
    """n and p of the negative binomial in scipy's terms."""
    if not variance > mean * (1 + 1e-9):
        needed = f"such that the variance of the lead time, {variance:g}, is above its mean, {mean:g}"
        raise OutOfRange("sd_demand", f"{sqrt(variance):g} over the lead time", needed)
    return mean**2 / (variance - mean), mean / variance


def _normal_loss(point: float, mean: float, sigma: float) -> float:
    if sigma == 0:
        return max(0.0, mean - point)
    z = (point - mean) / sigma
    density = exp(-z * z / 2) / sqrt(2 * pi) if abs(z) < 40 else 0.0
    return max(0.0, sigma * (density - z * 0.5 * erfc(z / sqrt(2))))


def _counted_loss(point: int, mean: float, variance: float, model: str) -> float:
    if point < 0:
        return mean - point
    if model == "poisson":
        from scipy.stats import poisson

        found = (mean - point) * poisson.sf(point, mean) + mean * poisson.pmf(point, mean)
    else:
        from scipy.stats import nbinom

        n, p = _negative(mean, variance)
        weight = (point + n) * (1 - p) / p
        found = (mean - point) * nbinom.sf(point, n, p) + weight * nbinom.pmf(point, n, p)
    return max(0.0, float(found))


def _scarce(hits: int, since: int, interval: float) -> tuple[str, ...]:
    cautions = []
    if hits < 5:
        cautions.append(f"Only {hits} periods with demand: take this as a hint")
    if since > 3 * interval:
        cautions.append("No demand for more than three of its usual intervals: the part may have died out")
    return tuple(cautions)
