"""Is it within limits, given the gauge that measured it: uncertainty, decision, temperature, disputes.

Lengths are in mm, uncertainties in µm where the name says ``_um`` and otherwise in mm. Decisions follow
JCGM 106:2012 with the guard bands of ISO 14253-1 (2017: 95 % conformance probability by default; the 2013
edition's w = U at k = 2 is ``confidence=0.97725``).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import erfc, sqrt
from statistics import NormalDist

from shop.handbook.materials import expansion
from shop.handbook.quantities import Refused
from shop.handbook.uncertainty import GUM, Term, Uncertainty, combine, combine_terms, thermal
from shop.handbook.working import OutOfRange, Step, within

__all__ = [
    "AtTwenty",
    "Conformity",
    "Disagreement",
    "GaugeChoice",
    "Term",
    "Uncertainty",
    "combine",
    "combine_terms",
    "conformity",
    "disagree",
    "temperature",
    "thermal",
    "which_gauge",
]

CONFORMITY = "JCGM 106:2012"
RULES = ("guarded", "simple")
_MOST = 1e6


@dataclass(frozen=True, slots=True)
class Conformity:
    """A decision on one value; the acceptance limits [mm] are None where there is no limit or no zone."""

    probability: float
    decision: str
    acceptance_lower_mm: float | None
    acceptance_upper_mm: float | None
    guard_band_mm: float
    rule: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AtTwenty:
    """A length brought to the reference temperature of 20 °C."""

    length_at_20_mm: float
    correction_um: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GaugeChoice:
    """The coarsest gauge at hand that would decide, or None; its expanded uncertainty [mm] and decision."""

    code: str | None
    expanded_uncertainty: float | None
    decision: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Whether two readings differ beyond their joint uncertainty [mm] at k = 2."""

    disagree: bool
    difference_mm: float
    allowed_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def conformity(
    value: float,
    standard_uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
    confidence: float = 0.95,
    *,
    rule: str = "guarded",
) -> Conformity:
    """Decide whether a measured value is within its limits.

    P = Φ((U − y)/u) − Φ((L − y)/u), both tails for two limits. Guarded: *within* when P ≥ confidence,
    *outside* when the value is beyond a limit and 1 − P ≥ confidence, otherwise *too close to call*; the
    acceptance limits are where P = confidence (one limit: w = z u). Simple: the plain value decides.

    :param value: measured value at 20 °C [mm]
    :param standard_uncertainty: standard uncertainty u [mm], 0 or more
    :param lower: lower limit [mm], or None
    :param upper: upper limit [mm], or None
    :param confidence: least probability that a decision needs, 0.5 to 0.9999
    :param rule: "guarded", or "simple" for wear limits read with a gauge at least four times finer

    Reference: JCGM 106:2012, 7.3, 7.4 and 8.2.1; guard bands as ISO 14253-1:2017 (rule from memory).

    >>> found = conformity(25.019, 0.002, 25.0, 25.021)
    >>> found.decision, round(found.probability, 4), round(found.acceptance_upper_mm, 5)
    ('too close to call', 0.8413, 25.01771)
    """
    _check_limits(value, standard_uncertainty, lower, upper)
    within("confidence", confidence, 0.5, 0.9999, "")
    if rule not in RULES:
        raise Refused('The decision rule is "guarded" or "simple"')
    chance = _probability(value, standard_uncertainty, lower, upper)
    inside = (lower is None or value >= lower) and (upper is None or value <= upper)
    if rule == "simple":
        zone, guard = (lower, upper), 0.0
        decision = "within" if inside else "outside"
    else:
        zone, guard = _acceptance(standard_uncertainty, lower, upper, confidence)
        decision = _guarded(chance, inside, confidence)
    bounds = tuple("none" if limit is None else f"{limit:g} mm" for limit in (lower, upper))
    inputs = (
        ("y", f"{value:g} mm"),
        ("u", f"{standard_uncertainty:g} mm"),
        ("lower", bounds[0]),
        ("upper", bounds[1]),
    )
    tails = Step(f"P = Φ((U − y)/u) − Φ((L − y)/u) = {chance:.4f}", inputs, f"{CONFORMITY}, 7.3 and 7.4")
    steps = (tails, _rule_step(rule, guard, confidence))
    cautions = _decision_cautions(standard_uncertainty, lower, upper, rule, zone)
    return Conformity(chance, decision, zone[0], zone[1], guard, rule, steps, cautions)


def temperature(
    length: float,
    temperature_c: float,
    material: str,
    gauge_temperature_c: float = 20.0,
    gauge_material: str | None = None,
) -> AtTwenty:
    """Bring a reading to 20 °C, correcting part and gauge each by its own temperature.

    L₂₀ = L (1 + α_g (T_g − 20)) / (1 + α (T − 20)); without a gauge material the gauge is taken to be true.

    :param length: what the gauge showed [mm]
    :param temperature_c: temperature of the part [°C], −30 to 150
    :param material: material of the part
    :param gauge_temperature_c: temperature of the gauge [°C], −30 to 150
    :param gauge_material: material of the gauge, or None

    Reference: ISO 1:2022 (20 °C); JCGM 100:2008, H.1 (end gauge calibration).

    >>> round(temperature(80.03, 28.0, "aluminium").length_at_20_mm, 6)
    80.016237
    """
    within("length", length, -20_000.0, 20_000.0, "mm")
    within("temperature_c", temperature_c, -30.0, 150.0, "°C")
    within("gauge_temperature_c", gauge_temperature_c, -30.0, 150.0, "°C")
    part = expansion(material)
    steps, cautions, grown = [*part.working], [*part.cautions], 1.0
    if gauge_material is not None:
        gauge = expansion(gauge_material)
        grown = 1 + gauge.per_kelvin * (gauge_temperature_c - 20)
        steps.extend(gauge.working)
        cautions.extend(gauge.cautions)
    elif gauge_temperature_c != 20:
        raise Refused("A gauge away from 20 °C needs its material. Give gauge_material, such as gauge steel")
    at_20 = length * grown / (1 + part.per_kelvin * (temperature_c - 20))
    correction = (at_20 - length) * 1000
    if abs(temperature_c - gauge_temperature_c) > 5:
        cautions.append("Part and gauge are more than 5 °C apart: let them stand together and measure again")
    inputs = (
        ("L", f"{length:g} mm"),
        ("T part", f"{temperature_c:g} °C"),
        ("T gauge", f"{gauge_temperature_c:g} °C"),
    )
    formula = f"L₂₀ = L (1 + α_g (T_g − 20)) / (1 + α (T − 20)) = {at_20:.5f} mm"
    steps.append(Step(formula, inputs, f"ISO 1:2016 (20 °C); {GUM}, H.1"))
    return AtTwenty(at_20, correction, tuple(steps), tuple(cautions))


def which_gauge(
    value: float,
    lower: float | None,
    upper: float | None,
    gauges: Sequence[tuple[str, float]],
    confidence: float = 0.95,
) -> GaugeChoice:
    """The coarsest gauge at hand that would decide a value, if any would.

    :param value: the value as known so far [mm]
    :param lower: lower limit [mm], or None
    :param upper: upper limit [mm], or None
    :param gauges: code and expanded uncertainty at k = 2 [mm] of each gauge at hand
    :param confidence: as in :func:`conformity`

    Reference: JCGM 106:2012, 8.3.

    >>> which_gauge(25.018, 25.0, 25.021, [("M1", 0.002), ("M2", 0.006)]).code
    'M1'
    """
    steps = []
    for code, expanded in sorted(gauges, key=lambda gauge: -gauge[1]):
        found = conformity(value, expanded / 2, lower, upper, confidence)
        steps.append(Step(f"{code}: {found.decision}", (("U (k = 2)", f"{expanded:g} mm"),), CONFORMITY))
        if found.decision != "too close to call":
            cautions = ("The new reading decides, not this one: it may fall elsewhere",)
            return GaugeChoice(code, expanded, found.decision, tuple(steps), cautions)
    cautions = ("No gauge at hand would decide this value: treat it as not proved",)
    return GaugeChoice(None, None, "too close to call", tuple(steps), cautions)


def disagree(a: float, ua: float, b: float, ub: float, shared_calibration: float = 0.0) -> Disagreement:
    """Whether two readings of one place differ beyond their joint uncertainty at k = 2.

    |a − b| > 2 √(ua² + ub² − 2 c²): what both take from one gauge's calibration cancels in the difference.

    :param a: first reading [mm]
    :param ua: its standard uncertainty, calibration included [mm]
    :param b: second reading [mm]
    :param ub: its standard uncertainty, calibration included [mm]
    :param shared_calibration: standard uncertainty c of the calibration of a gauge used for both [mm], else 0

    Reference: JCGM 100:2008, 5.2.2 (correlated inputs).

    >>> disagree(38.142, 0.002, 38.149, 0.002).disagree
    True
    >>> disagree(38.142, 0.002, 38.147, 0.002).disagree
    False
    """
    for name, reading in (("a", a), ("b", b)):
        within(name, reading, -_MOST, _MOST, "mm")
    for name, reading in (("ua", ua), ("ub", ub)):
        within(name, reading, 0.0, _MOST, "mm")
    within("shared_calibration", shared_calibration, 0.0, min(ua, ub), "mm (no more than either uncertainty)")
    # Below a nanometre the subtraction of doubles is noise, not difference.
    difference = round(abs(a - b), 9)
    allowed = 2 * sqrt(max(0.0, ua**2 + ub**2 - 2 * shared_calibration**2))
    inputs = (
        ("a", f"{a:g} ± {ua:g} mm"),
        ("b", f"{b:g} ± {ub:g} mm"),
        ("shared calibration", f"{shared_calibration:g} mm"),
    )
    formula = f"|a − b| = {difference:.5g} mm against 2 √(ua² + ub² − 2c²) = {allowed:.5g} mm"
    step = Step(formula, inputs, f"{GUM}, 5.2.2 (correlated inputs)")
    return Disagreement(difference > allowed, difference, allowed, (step,), ())


def _check_limits(value: float, u: float, lower: float | None, upper: float | None) -> None:
    within("value", value, -_MOST, _MOST, "mm")
    within("standard_uncertainty", u, 0.0, _MOST, "mm")
    for name, limit in (("lower", lower), ("upper", upper)):
        if limit is not None:
            within(name, limit, -_MOST, _MOST, "mm")
    if lower is None and upper is None:
        raise Refused("A decision needs a lower limit, an upper limit or both")
    if lower is not None and upper is not None and lower > upper:
        raise OutOfRange("lower", lower, f"at most the upper limit, {upper:g} mm")


def _above(limit: float, value: float, u: float) -> float:
    """Probability that the true value lies above ``limit``."""
    if u == 0:
        return 1.0 if value > limit else 0.0
    return 0.5 * erfc((limit - value) / u / sqrt(2))


def _probability(value: float, u: float, lower: float | None, upper: float | None) -> float:
    """Probability that the true value is within the limits, from its two tails."""
    over = 0.0 if upper is None else _above(upper, value, u)
    under = 0.0 if lower is None else _above(-lower, -value, u)
    return max(0.0, 1.0 - over - under)


@lru_cache(maxsize=8192)  # one gauge and one limit come again at every reading of a guide
def _acceptance(
    u: float, lower: float | None, upper: float | None, confidence: float
) -> tuple[tuple[float | None, float | None], float]:
    """Acceptance limits and the guard band: where the probability of conformity equals the confidence."""
    guard = NormalDist().inv_cdf(confidence) * u
    if lower is None or upper is None:
        return (None if lower is None else lower + guard, None if upper is None else upper - guard), guard
    middle = (lower + upper) / 2
    if _probability(middle, u, lower, upper) < confidence:
        return (None, None), guard
    # Bisect from the middle, where it conforms, to the limit, where it does not or only just does.
    inside, outside = 0.0, (upper - lower) / 2
    for _ in range(80):
        half = (inside + outside) / 2
        if _probability(middle + half, u, lower, upper) >= confidence:
            inside = half
        else:
            outside = half
    return (middle - inside, middle + inside), (upper - lower) / 2 - inside


def _guarded(chance: float, inside: bool, confidence: float) -> str:
    if inside and chance >= confidence:
        return "within"
    # Two doubles that should be equal may differ in the last place; the band is far wider than this.
    return "outside" if not inside and 1 - chance >= confidence - 1e-12 else "too close to call"


def _rule_step(rule: str, guard: float, confidence: float) -> Step:
    if rule == "simple":
        return Step("simple rule: the plain value decides", (), f"{CONFORMITY}, 8.2.1")
    shown = (("confidence", f"{confidence:g}"),)
    return Step(f"guard band w = {guard:.5g} mm", shown, "ISO 14253-1:2017 (rule from memory)")


def _decision_cautions(
    u: float, lower: float | None, upper: float | None, rule: str, zone: tuple[float | None, float | None]
) -> tuple[str, ...]:
    if rule == "guarded":
        coarse = lower is not None and upper is not None and zone == (None, None)
        return (
            ("The gauge is too coarse for these limits: no value could be proved within",) if coarse else ()
        )
    if lower is None or upper is None:
        return ("The simple rule needs a gauge at least four times finer than the zone",)
    coarse = 8 * u > upper - lower
    return ("The gauge is less than four times finer than the zone: use a better one",) if coarse else ()
