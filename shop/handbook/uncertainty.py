"""Uncertainty of a reading from what a shop knows: certificate, resolution, repeats, temperature.

Contributions and results are in µm. Method: JCGM 100:2008 (GUM), root-sum-square of uncorrelated terms.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite, sqrt
from statistics import NormalDist, stdev

from shop.handbook.materials import expansion
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step, within

GUM = "JCGM 100:2008"
COVERAGE = 0.9545
_MOST = 1e6


@dataclass(frozen=True, slots=True)
class Term:
    """One contribution to an uncertainty: standard uncertainty [µm] and its degrees of freedom."""

    name: str
    standard_um: float
    degrees_of_freedom: float = inf
    source: str = ""


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Combined standard uncertainty [µm], expanded uncertainty [µm] at ``coverage_factor``."""

    standard_um: float
    expanded_um: float
    coverage_factor: float
    degrees_of_freedom: float
    terms: tuple[Term, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def combine_terms(terms: Sequence[Term], coverage: float = COVERAGE) -> Uncertainty:
    """Root-sum-square of uncorrelated terms; effective degrees of freedom by Welch and Satterthwaite.

    u² = Σ uᵢ²,  ν = u⁴ / Σ (uᵢ⁴/νᵢ) truncated to a whole number for k = t(ν).

    :param terms: standard uncertainties [µm], each already times its sensitivity
    :param coverage: coverage probability of the expanded uncertainty, 0.5 to 0.9999

    Reference: JCGM 100:2008, 5.1.2, G.4.1 and G.6.

    >>> combine_terms([Term("a", 3.0), Term("b", 4.0)]).standard_um
    5.0
    """
    if not terms:
        raise Refused("An uncertainty needs at least one term, such as the gauge's resolution")
    for term in terms:
        within(f"uncertainty of {term.name}", term.standard_um, 0.0, _MOST, "µm")
        if not term.degrees_of_freedom > 0:
            raise OutOfRange(f"degrees of freedom of {term.name}", term.degrees_of_freedom, "above 0")
    within("coverage", coverage, 0.5, 0.9999, "")
    total = sqrt(sum(term.standard_um**2 for term in terms))
    freedom = _effective(terms, total)
    factor = _student(freedom, coverage)
    inputs = tuple((term.name, f"{term.standard_um:.4g} µm") for term in terms)
    shown = "∞" if freedom == inf else f"{freedom:.1f}"
    steps = (
        Step(f"u = √Σu² = {total:.4g} µm", inputs, f"{GUM}, 5.1.2"),
        Step(f"ν = u⁴/Σ(u⁴/ν) = {shown}", (), f"{GUM}, G.4.1"),
        Step(
            f"U = k u = {factor * total:.4g} µm",
            (("k", f"{factor:.3f}"), ("p", f"{coverage:.4g}")),
            f"{GUM}, G.6",
        ),
    )
    few = factor > 3
    cautions = ("Few repeats: the uncertainty itself is uncertain; take more readings",) if few else ()
    return Uncertainty(total, factor * total, factor, freedom, tuple(terms), steps, cautions)


def combine(
    calibration_um: float,
    resolution_um: float,
    repeats_mm: Sequence[float] = (),
    temperature_um: Sequence[float] = (),
    *,
    calibration_factor: float = 2.0,
    coverage: float = COVERAGE,
) -> Uncertainty:
    """Uncertainty of a reading (or of the mean of repeats) from what a shop knows of gauge and part.

    Resolution counts as rectangular, r/√12; repeats as s/√n with n − 1 degrees of freedom. Both count, which
    is on the cautious side where the repeats already show the resolution.

    :param calibration_um: expanded uncertainty of the gauge on its certificate [µm]
    :param resolution_um: smallest step of the gauge [µm]
    :param repeats_mm: repeated readings of one place [mm], none or at least two
    :param temperature_um: standard uncertainties from temperature [µm], as of :func:`thermal`
    :param calibration_factor: coverage factor of the certificate, 1 to 4
    :param coverage: coverage probability of the expanded uncertainty

    Reference: JCGM 100:2008, 4.2.3, 4.3.7, 5.1.2 and G.4.1.

    >>> round(combine(2.0, 1.0).standard_um, 3)
    1.041
    """
    within("calibration_um", calibration_um, 0.0, _MOST, "µm")
    within("resolution_um", resolution_um, 0.0, _MOST, "µm")
    within("calibration_factor", calibration_factor, 1.0, 4.0, "")
    terms = [
        Term("calibration", calibration_um / calibration_factor, inf, "certificate, U/k"),
        Term("resolution", resolution_um / sqrt(12), inf, "rectangular, r/√12"),
    ]
    if len(repeats_mm) == 1:
        raise Refused("One repeat shows no spread. Give at least two readings of the place, or none")
    if repeats_mm:
        for value in repeats_mm:
            within("repeats_mm", value, -_MOST, _MOST, "mm")
        count = len(repeats_mm)
        terms.append(Term("repeats", stdev(repeats_mm) * 1000 / sqrt(count), count - 1, "s/√n"))
    terms.extend(Term(f"temperature {n}", value, inf, "thermal") for n, value in enumerate(temperature_um, 1))
    return combine_terms(terms, coverage)


def thermal(
    length: float,
    temperature_c: float,
    material: str,
    thermometer_c: float = 1.0,
    expansion_spread: float = 0.1,
) -> Uncertainty:
    """Standard uncertainty that temperature leaves in a corrected length.

    u² = (L α a/√3)² + (L θ δα/√3)² with θ = T − 20, half-widths a of the temperature and δα of α.

    :param length: length [mm], 0 to 20000
    :param temperature_c: temperature of the part [°C], −30 to 150
    :param material: name in the table of expansion
    :param thermometer_c: half-width of what the part's temperature may be off [K]
    :param expansion_spread: half-width of α as a share of α, 0 to 0.5; 0.1 is common practice, no source

    Reference: JCGM 100:2008, H.1; ISO/TR 16015:2003 (from memory).

    >>> round(thermal(100.0, 30.0, "steel").standard_um, 3)
    0.955
    """
    within("length", length, 0.0, 20_000.0, "mm")
    within("temperature_c", temperature_c, -30.0, 150.0, "°C")
    within("thermometer_c", thermometer_c, 0.0, 50.0, "K")
    within("expansion_spread", expansion_spread, 0.0, 0.5, "")
    alpha = expansion(material)
    scale = length * 1000 * alpha.per_kelvin / sqrt(3)
    terms = (
        Term("part temperature", scale * thermometer_c, inf, "rectangular"),
        Term("expansion coefficient", scale * abs(temperature_c - 20) * expansion_spread, inf, "rectangular"),
    )
    found = combine_terms(terms)
    return replace(found, working=(*alpha.working, *found.working), cautions=alpha.cautions)


def _effective(terms: Sequence[Term], total: float) -> float:
    spread = sum(
        (term.standard_um / total) ** 4 / term.degrees_of_freedom
        for term in terms
        if term.standard_um and isfinite(term.degrees_of_freedom)
    )
    return 1 / spread if spread else inf


def _student(freedom: float, coverage: float) -> float:
    """Two-sided coverage factor; ν is truncated to the next lower whole number (JCGM 100:2008, G.4.1)."""
    if freedom == inf:
        return NormalDist().inv_cdf((1 + coverage) / 2)
    from scipy.special import stdtrit

    return float(stdtrit(max(1, int(freedom + 1e-9)), (1 + coverage) / 2))
