"""Survival, Weibull lives, comebacks; rows of data/survival.csv name their sources."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.handbook.quantities import Refused
from shop.handbook.survival import MOST_UNITS, comebacks, kaplan_meier, log_rank, weibull
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks

# Freireich et al. 1963, Blood 21:699: weeks of remission on placebo, all observed.
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def _six_mp() -> tuple[list[float], list[bool]]:
    row = next(check for check in checks("survival.csv") if check.id == "08-334")
    return row.inputs["t"], [one == 1 for one in row.inputs["status"]]


def _group(check: Check) -> tuple[list[float], list[bool]]:
    given = check.inputs
    if "failures" in given:  # and ten that ran on at 500 h
        return given["failures"] + [500] * 10, [True] * 10 + [False] * 10
    if "t" in given:
        return given["t"], [one == 1 for one in given["status"]]
    return _six_mp()


def _weibull(check: Check) -> Any:
    found = weibull(*_group(check))
    if "AIC" in check.quantity:
        return [-found.log_likelihood, 2 * 2 - 2 * found.log_likelihood]
    if "mean life" in check.quantity:
        return [found.mean, found.standard_deviation]
    if "B10" in check.quantity:
        return found.b10
    if "expected failures" in check.quantity:
        return comebacks([500.0] * 10, 600.0, found.shape, found.scale).expected
    return [found.scale, found.shape]


def _answer(check: Check) -> Any:
    durations, observed = _group(check)
    if "log-rank" in check.quantity:
        return log_rank(durations, observed, PLACEBO, [True] * 21).chi_squared
    if "median" in check.quantity:
        medians = [kaplan_meier(durations, observed).median, kaplan_meier(PLACEBO, [True] * 21).median]
        return medians
    if "band" in check.quantity:
        curve = kaplan_meier(durations, observed, check.inputs["confidence"])
        places = [curve.times.index(time) for time in check.inputs.get("at", curve.times)]
        return [[side[place] for place in places] for side in (curve.lower, curve.upper)]
    if "KM" in check.quantity:
        return list(kaplan_meier(durations, observed).survival)
    return _weibull(check)


@pytest.mark.parametrize("check", checks("survival.csv"), ids=str)
def test_published_value(check: Check) -> None:
    found = _answer(check)
    if "band" in check.quantity:
        for side, wanted in zip(found, check.expected, strict=True):
            assert side == pytest.approx(wanted, abs=check.tolerance), check.source
    else:
        assert found == pytest.approx(check.expected, abs=check.tolerance), check.source


def test_every_check_value_names_its_source() -> None:
    found = checks("survival.csv")
    assert len(found) == 13
    assert all(check.source and check.source_status for check in found)


def test_a_unit_last_seen_at_a_failure_time_is_at_risk_then() -> None:
    """By hand: at 6 all four are at risk, (1 − 1/4); at 7 two are, (1 − 1/2)."""
    found = kaplan_meier([6, 6, 7, 10], [True, False, True, False])
    assert found.at_risk == (4, 2)
    assert found.failed == (1, 1)
    assert found.survival == pytest.approx((0.75, 0.375))
    assert found.median == 7


def test_the_band_has_no_value_where_its_formula_has_none() -> None:
    found = kaplan_meier([1, 2, 3], [True] * 3)
    assert found.survival[-1] == pytest.approx(0, abs=1e-15)
    assert (found.lower[-1], found.upper[-1]) == (None, None)
    assert any("no value" in one for one in found.cautions)
    assert any("Greenwood" in step.formula for step in found.working)


def test_nothing_has_failed_yet() -> None:
    found = kaplan_meier([5.0, 6.0], [False, False])
    assert (found.times, found.survival, found.median) == ((), (), None)
    assert "Nothing has failed" in found.cautions[0]


def test_an_old_unit_has_already_lasted() -> None:
    """By hand: with shape 1 age does not matter, 1 − e^(−1/10); with shape 3 the older is worse."""
    young, old = comebacks([0.0, 90.0], 100.0, 3.0, 200.0).probabilities
    assert young == pytest.approx(1 - math.exp(-0.125))
    assert old == pytest.approx(1 - math.exp(0.45**3 - 0.125))
    flat = [comebacks([age], age + 10.0, 1.0, 100.0).expected for age in (0.0, 50.0, 1000.0)]
    assert flat == pytest.approx([1 - math.exp(-0.1)] * 3)
    assert comebacks([100.0, 120.0], 100.0, 3.0, 200.0).expected == 0


def test_the_range_of_comebacks_is_that_of_the_binomial_when_all_are_alike() -> None:
    from scipy.stats import binom

    chance = 1 - math.exp(-0.125)
    found = comebacks([0.0] * 40, 100.0, 3.0, 200.0)
    assert (found.low, found.high) == (binom.ppf(0.05, 40, chance), binom.ppf(0.95, 40, chance))


@pytest.mark.parametrize("censored", [False, True])
def test_the_weibull_life_solves_the_likelihood_equations(censored: bool) -> None:
    """Σ tᵝ ln t/Σ tᵝ − 1/β = mean ln t of the failures; ηᵝ = Σ tᵝ/failures (NIST 8.4.1.3), by bracketing."""
    from scipy.optimize import brentq

    durations, observed = _six_mp() if censored else ([float(one) for one in PLACEBO], [True] * 21)
    failed = [time for time, seen in zip(durations, observed, strict=True) if seen]

    def slope(shape: float) -> float:
        powers = [math.pow(time, shape) for time in durations]
        logs = sum(power * math.log(time) for power, time in zip(powers, durations, strict=True))
        return logs / sum(powers) - 1 / shape - sum(map(math.log, failed)) / len(failed)

    shape = brentq(slope, 0.2, 5.0, xtol=1e-13)
    found = weibull(durations, observed)
    assert found.shape == pytest.approx(shape, rel=1e-6)
    scale = (sum(time**shape for time in durations) / len(failed)) ** (1 / shape)
    assert found.scale == pytest.approx(scale, rel=1e-6)


@pytest.mark.parametrize(
    ("durations", "observed", "words"),
    [
        ([10, 20, 30], [True, False, False], "two failures"),
        ([30, 30, 20], [True, True, False], "longest time"),
        ([30, 30.0000001], [True, True], "too close together"),
    ],
)
def test_a_weibull_life_that_cannot_be_found(
    durations: list[float], observed: list[bool], words: str
) -> None:
    with pytest.raises(Refused, match=words):
        weibull(durations, observed)


def test_what_is_out_of_range_is_named() -> None:
    for bad in ([], [1.0] * (MOST_UNITS + 1), [-1.0], [math.nan], [math.inf]):
        with pytest.raises(OutOfRange, match="durations"):
            kaplan_meier(bad, [True] * len(bad))
    with pytest.raises(OutOfRange, match="observed"):
        kaplan_meier([1.0, 2.0], [True])
    with pytest.raises(OutOfRange, match="confidence"):
        kaplan_meier([1.0], [True], 1.0)
    with pytest.raises(OutOfRange, match="durations"):
        weibull([0.0, 1.0], [True, True])
    changes: tuple[dict[str, Any], ...] = (
        {"ages": []},
        {"ages": [-1.0]},
        {"term": 0.0},
        {"shape": 99.0},
        {"scale": 0.0},
    )
    for change in changes:
        good: dict[str, Any] = {"ages": [1.0], "term": 2.0, "shape": 1.0, "scale": 10.0}
        with pytest.raises(OutOfRange, match=next(iter(change))):
            comebacks(**(good | change))
    with pytest.raises(Refused, match="Nothing failed"):
        log_rank([1, 2], [False, False], [1, 2], [False, False])
    with pytest.raises(Refused, match="both groups"):
        log_rank([1, 1], [True, True], [1, 1], [True, True])


units = st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=40)


@settings(max_examples=60, deadline=None)
@given(units)
def test_the_share_never_rises_and_the_band_holds_it(rows: list[tuple[int, bool]]) -> None:
    found = kaplan_meier([float(time) for time, _ in rows], [seen for _, seen in rows])
    assert list(found.survival) == sorted(found.survival, reverse=True)
    assert list(found.times) == sorted({float(time) for time, seen in rows if seen})
    for low, share, high in zip(found.lower, found.survival, found.upper, strict=True):
        assert (low is None) == (high is None)
        if low is not None and high is not None:
            assert low <= share + 1e-12
            assert share <= high + 1e-12


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=1, max_size=40))
def test_with_nothing_censored_it_is_the_share_that_lasted_longer(times: list[int]) -> None:
    found = kaplan_meier([float(one) for one in times], [True] * len(times))
    plain = [sum(one > time for one in times) / len(times) for time in found.times]
    assert found.survival == pytest.approx(plain, abs=1e-12)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.001, 1000))
def test_a_weibull_life_follows_the_unit_of_time(factor: float) -> None:
    hours = [54.0, 187.0, 216.0, 240.0, 500.0, 500.0]
    seen = [True] * 4 + [False] * 2
    one, other = weibull(hours, seen), weibull([factor * hour for hour in hours], seen)
    assert other.shape == pytest.approx(one.shape, rel=1e-5)
    assert other.scale == pytest.approx(factor * one.scale, rel=1e-5)
