"""Uncertainty, decisions, temperature and disputes; rows of data/uncertainty.csv name their sources."""

import math
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.handbook.conformity import Term, combine, combine_terms, conformity, disagree, temperature, thermal
from shop.handbook.conformity import which_gauge as choose
from shop.handbook.materials import expansion, materials
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks

MATERIALS = {
    "gray cast iron G1800/G3000/G4000": "gray cast iron",
    "ductile iron 60-40-18": "ductile iron",
    "steel 1020": "steel",
    "steel 1040": "steel 1040",
    "steel 4140/4340": "steel 4140",
    "Al 356.0 (cast)": "Al 356",
    "bearing bronze C93200": "bearing bronze",
}


def _end_gauge(check: Check) -> float:
    """The terms of JCGM 100:2008, H.1, first order, in nm, from the inputs of the row."""
    given = check.inputs
    master, comparator, wobble, offset = (
        given[name][-3:] for name in ("l_s_nm", "d_nm", "comparator_random_nm", "comparator_systematic_nm")
    )
    length = master[0]
    terms = [
        Term("master", master[1], master[2]),
        Term("comparator", comparator[1], comparator[2]),
        Term("comparator, random", wobble[0], wobble[1]),
        Term("comparator, systematic", offset[0], offset[1]),
        Term("difference of expansion", length * 0.1 * 1e-6 / math.sqrt(3), 50),
        Term("difference of temperature", length * 11.5e-6 * 0.05 / math.sqrt(3), 2),
    ]
    found = combine_terms(terms, coverage=0.99)
    if "U99" in check.quantity:
        return found.expanded_um
    return found.degrees_of_freedom if "degrees" in check.quantity else found.standard_um


def _guard_band(check: Check) -> list[float | None]:
    given = check.inputs
    confidence = NormalDist().cdf(2) if given["rule"].startswith("w=U") else 0.95
    found = conformity(25.01, given["U_k2_um"] / 2000, given["TL_mm"], given["TU_mm"], confidence)
    return [found.acceptance_lower_mm, found.acceptance_upper_mm]


def _temperature(check: Check) -> float:
    given = check.inputs
    if "reading_mm" in given:
        found = temperature(
            given["reading_mm"], given["T_work"], "aluminium", given["T_gauge"], "gauge steel"
        )
    else:
        found = temperature(given["L_T_mm"], given["T_C"], "aluminium")
    return found.length_at_20_mm


def _answer(check: Check) -> Any:
    given = check.inputs
    if "l_s_nm" in given:
        return _end_gauge(check)
    if "nu" in given:
        return combine_terms([Term("one", 1.0, given["nu"])], given["coverage"]).coverage_factor
    if "pc" in given:
        return conformity(0, 1, upper=10, confidence=given["pc"]).guard_band_mm
    if "U_k2_um" in given:
        return _guard_band(check)
    if "y" in given:
        return conformity(given["y"], given["u"], given.get("TL"), given["TU"]).probability
    if "material" in given:
        return expansion(MATERIALS[given["material"]]).per_kelvin * 1e6
    return _temperature(check)


@pytest.mark.parametrize("check", checks("uncertainty.csv"), ids=str)
def test_published_value(check: Check) -> None:
    assert _answer(check) == pytest.approx(check.expected, abs=check.tolerance), check.source


def test_every_check_value_names_its_source() -> None:
    found = checks("uncertainty.csv")
    assert len(found) == 27
    assert all(check.source and check.source_status for check in found)


def test_a_reading_with_certificate_resolution_and_repeats() -> None:
    """By hand: (2/2)² + 1²/12 + (1.5811/√5)² = 1 + 0.08333 + 0.5; repeats 0 to 4 µm have s = 1.5811."""
    repeats = [30.000, 30.001, 30.002, 30.003, 30.004]
    found = combine(2.0, 1.0, repeats)
    assert found.standard_um == pytest.approx(math.sqrt(1 + 1 / 12 + 0.5))
    assert found.degrees_of_freedom == pytest.approx((1 + 1 / 12 + 0.5) ** 2 / (0.25 / 4))
    assert found.coverage_factor == pytest.approx(2.05, abs=0.03)
    assert [term.name for term in found.terms] == ["calibration", "resolution", "repeats"]
    assert combine(2.0, 1.0).coverage_factor == pytest.approx(2.0, abs=1e-4)
    warmer = combine(2.0, 1.0, repeats, [3.0])
    assert warmer.standard_um == pytest.approx(math.sqrt(found.standard_um**2 + 9))


def test_uncertainty_refuses_what_it_cannot_use() -> None:
    with pytest.raises(Refused, match="at least two readings"):
        combine(2.0, 1.0, [30.0])
    with pytest.raises(Refused, match="at least one term"):
        combine_terms([])
    with pytest.raises(OutOfRange, match="calibration_um"):
        combine(math.nan, 1.0)
    with pytest.raises(OutOfRange, match="degrees of freedom"):
        combine_terms([Term("one", 1.0, 0)])
    two = combine(0.0, 0.0, [30.0, 30.01])
    assert two.cautions == ("Few repeats: the uncertainty itself is uncertain; take more readings",)
    assert combine(0.0, 0.0).standard_um == 0


def test_temperature_leaves_an_uncertainty() -> None:
    """By hand, 100 mm of steel at 30 ± 1 °C, α 11.7 ± 1.17: 1.17 µm/√3 twice, so 1.17 √(2/3)."""
    assert thermal(100.0, 30.0, "steel").standard_um == pytest.approx(1.17 * math.sqrt(2 / 3))
    assert thermal(100.0, 20.0, "steel", thermometer_c=0.0).standard_um == 0


def test_decisions_for_one_upper_limit() -> None:
    """w = 1.645 × 0.002 = 0.00329 (z of JCGM 106:2012, Table 1)."""
    decide = [conformity(value, 0.002, upper=25.021).decision for value in (25.017, 25.018, 25.024, 25.025)]
    assert decide == ["within", "too close to call", "too close to call", "outside"]
    found = conformity(25.017, 0.002, upper=25.021)
    assert found.acceptance_lower_mm is None
    assert found.acceptance_upper_mm == pytest.approx(25.01771, abs=1e-5)


def test_decisions_for_one_lower_limit() -> None:
    decide = [conformity(value, 0.002, lower=24.98).decision for value in (24.976, 24.977, 24.983, 24.984)]
    assert decide == ["outside", "too close to call", "too close to call", "within"]


def test_both_tails_count() -> None:
    """Limits 4 u apart: one tail at the middle is 2.3 %, both are 4.6 % (normal table)."""
    found = conformity(0.002, 0.001, 0.0, 0.004)
    assert found.probability == pytest.approx(0.9545, abs=1e-4)
    assert conformity(0.002, 0.001, 0.0, 0.004, 0.96).decision == "too close to call"
    # Each tail alone would accept 1.645 u from its limit: at 0.95 the room left by both is smaller.
    assert found.acceptance_upper_mm is not None
    assert found.acceptance_upper_mm < 0.004 - 1.645 * 0.001
    assert conformity(found.acceptance_upper_mm, 0.001, 0.0, 0.004).probability == pytest.approx(0.95)


def test_a_gauge_too_coarse_for_its_limits() -> None:
    found = conformity(0.002, 0.01, 0.0, 0.004)
    assert (found.acceptance_lower_mm, found.acceptance_upper_mm) == (None, None)
    assert found.decision == "too close to call"
    assert found.cautions == ("The gauge is too coarse for these limits: no value could be proved within",)
    # A value in the middle is never called outside, however coarse the gauge.
    assert conformity(0.002, 1.0, 0.0, 0.004).decision == "too close to call"


def test_simple_rule_takes_the_plain_value() -> None:
    for value, decision in ((25.021, "within"), (25.0211, "outside"), (25.0, "within"), (24.9999, "outside")):
        found = conformity(value, 0.002, 25.0, 25.021, rule="simple")
        assert (found.decision, found.acceptance_upper_mm, found.guard_band_mm) == (decision, 25.021, 0)
    fine = conformity(25.01, 0.002, 25.0, 25.021, rule="simple")
    assert fine.cautions == ()
    coarse = conformity(25.01, 0.003, 25.0, 25.021, rule="simple")
    assert coarse.cautions == ("The gauge is less than four times finer than the zone: use a better one",)
    assert conformity(25.0, 0.003, lower=24.9, rule="simple").cautions != ()


def test_a_value_known_exactly() -> None:
    assert conformity(25.021, 0.0, 25.0, 25.021).decision == "within"
    assert conformity(25.022, 0.0, 25.0, 25.021).decision == "outside"


@pytest.mark.parametrize(
    "arguments",
    [
        {"value": math.nan, "upper": 1.0},
        {"value": 1.0, "lower": 2.0, "upper": 1.0},
        {"value": 1.0, "upper": 1.0, "standard_uncertainty": -0.1},
        {"value": 1.0, "upper": math.inf},
        {"value": 1.0, "upper": 1.0, "confidence": 1.0},
        {"value": 1.0, "upper": 1.0, "confidence": 0.4},
    ],
)
def test_arguments_out_of_range(arguments: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        conformity(**{"standard_uncertainty": 0.01, **arguments})  # type: ignore[arg-type]


def test_a_decision_needs_a_limit_and_a_known_rule() -> None:
    with pytest.raises(Refused, match="lower limit, an upper limit or both"):
        conformity(1.0, 0.1)
    with pytest.raises(Refused, match="guarded"):
        conformity(1.0, 0.1, upper=2.0, rule="hopeful")


SMALL = st.floats(0.0001, 0.01)


@settings(deadline=None)  # no clock in tests
@given(st.floats(-0.05, 0.05), SMALL, st.floats(0.001, 0.05), st.floats(0.8, 0.99))
def test_decision_agrees_with_the_acceptance_zone(
    value: float, u: float, half: float, confidence: float
) -> None:
    found = conformity(value, u, -half, half, confidence)
    assert 0 <= found.probability <= 1
    low, high = found.acceptance_lower_mm, found.acceptance_upper_mm
    assert (low is None) == (high is None)
    if low is not None and high is not None:
        assert -half <= low <= high <= half
        margin = 1e-9
        if low + margin < value < high - margin:
            assert found.decision == "within"
        if value > high + margin or value < low - margin:
            assert found.decision != "within"
    else:
        assert found.decision != "within"
    if abs(value) <= half:
        assert found.decision != "outside"


@settings(deadline=None)  # no clock in tests
@given(st.floats(-0.05, 0.05), SMALL, st.floats(0.001, 0.05))
def test_probability_agrees_with_an_independent_normal(value: float, u: float, half: float) -> None:
    """Python's statistics.NormalDist as the independent library."""
    bell = NormalDist(value, u)
    found = conformity(value, u, -half, half)
    assert found.probability == pytest.approx(bell.cdf(half) - bell.cdf(-half), abs=1e-12)


def test_warm_part_with_a_gauge_of_the_same_kind() -> None:
    """Same material, same temperature: nothing to correct, whatever the temperature."""
    found = temperature(80.0, 33.0, "steel", 33.0, "steel")
    assert found.correction_um == pytest.approx(0, abs=1e-9)
    assert temperature(80.0, 20.0, "steel").correction_um == 0


def test_temperature_says_what_is_missing_or_doubtful() -> None:
    with pytest.raises(Refused, match="needs its material"):
        temperature(80.0, 28.0, "steel", 24.0)
    with pytest.raises(Refused, match="not in the table"):
        temperature(80.0, 28.0, "unobtainium")
    with pytest.raises(OutOfRange, match="temperature_c"):
        temperature(80.0, 500.0, "steel")
    apart = temperature(80.0, 30.0, "steel", 20.0, "gauge steel")
    assert any("stand together" in caution for caution in apart.cautions)
    assert any("from memory" in caution for caution in apart.cautions)


def test_materials_carry_a_source() -> None:
    assert len(materials()) >= 10
    for name in materials():
        found = expansion(name)
        assert found.source
        assert 1e-6 < found.per_kelvin < 4e-5
        assert bool(found.cautions) == ("from memory" in found.source)


GAUGES = [("M1", 0.002), ("V1", 0.03), ("M2", 0.006)]


@pytest.mark.parametrize(
    ("value", "code", "decision"),
    [
        (25.0105, "M2", "within"),  # 0.0105 from both limits: M2 guards 0.0049, V1 0.0247
        (25.018, "M1", "within"),  # 0.003 from the limit: M1 guards 0.0016
        (25.0212, None, "too close to call"),
        (25.060, "V1", "outside"),  # 0.039 beyond
    ],
)
def test_the_coarsest_gauge_that_decides(value: float, code: str | None, decision: str) -> None:
    found = choose(value, 25.0, 25.021, GAUGES)
    assert (found.code, found.decision) == (code, decision)
    assert found.expanded_uncertainty == dict(GAUGES).get(code or "")


def test_no_gauge_at_hand() -> None:
    assert choose(25.0, 24.0, 26.0, []).code is None


def test_two_readings_that_differ() -> None:
    """By hand: 2 √(0.002² + 0.002²) = 0.00566."""
    assert not disagree(38.142, 0.002, 38.1476, 0.002).disagree
    assert disagree(38.142, 0.002, 38.1477, 0.002).disagree
    assert disagree(38.142, 0.002, 38.1477, 0.002).allowed_mm == pytest.approx(0.0056569, abs=1e-7)


def test_a_shared_calibration_does_not_excuse_a_difference() -> None:
    """By hand: 2 √(2 × 0.002² − 2 × 0.0015²) = 0.00374."""
    found = disagree(38.142, 0.002, 38.146, 0.002, 0.0015)
    assert found.allowed_mm == pytest.approx(0.0037417, abs=1e-7)
    assert found.disagree
    assert not disagree(38.142, 0.002, 38.146, 0.002).disagree
    with pytest.raises(OutOfRange, match="shared_calibration"):
        disagree(38.142, 0.002, 38.146, 0.001, 0.0015)


def test_equal_readings_never_disagree() -> None:
    assert not disagree(38.142, 0.0, 38.142, 0.0).disagree
    assert not disagree(0.1 + 0.2, 0.0, 0.3, 0.0).disagree
