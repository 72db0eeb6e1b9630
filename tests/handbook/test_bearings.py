"""Bearing life against published catalogue and textbook examples, and a duty against Miner's sum."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.bearings import (
    Duty,
    basic_life,
    duty_life,
    equivalent_load,
    groove_factors,
    needed_rating,
)
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import OutOfRange
from tests.handbook.checks import checks

CHECKS = {one.id: one for one in checks("bearings.csv")}
LBF = 4.4482216


def test_ball_bearing_of_the_catalogue_example() -> None:
    check = CHECKS["07-314"]
    found = basic_life(
        1000 * check.inputs["C_kN"], 1000 * check.inputs["P_kN"], "ball", check.inputs["n_rpm"]
    )
    assert found.l10_million_rev == pytest.approx(check.expected[0], abs=check.tolerance)
    assert found.l10_hours == pytest.approx(check.expected[1], abs=check.tolerance)


def test_a_small_axial_load_does_not_count() -> None:
    check = CHECKS["07-315"]
    load = equivalent_load(1000 * check.inputs["Fr_kN"], 1000 * check.inputs["Fa_kN"], 0.56, 1.9, e=0.23)
    assert load.equivalent_load_n == 1000 * check.inputs["P_kN"]
    assert not load.axial_counts
    found = basic_life(1000 * check.inputs["C_kN"], load.equivalent_load_n, "ball", check.inputs["n_rpm"])
    assert found.l10_hours == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize(("check", "speed"), [("07-320", 900), ("07-321", 500)])
def test_speed_factors_of_the_makers(check: str, speed: int) -> None:
    """fn = (L10h/500)^(1/3) for C = P: the speed factor is what a bearing at its rating reaches of 500 h."""
    hours = basic_life(1000, 1000, "ball", speed).l10_hours
    assert hours is not None
    assert (hours / 500) ** (1 / 3) == pytest.approx(CHECKS[check].expected, abs=CHECKS[check].tolerance)


def test_life_factor_of_the_makers() -> None:
    """fh = C/P for 6000 h at 33 1/3 rpm, where fn is 1."""
    check = CHECKS["07-323"]
    assert needed_rating(1, 6000, 100 / 3).dynamic_rating_n == pytest.approx(
        check.expected, abs=check.tolerance
    )


def test_rollers_have_their_own_exponent() -> None:
    check = CHECKS["07-324"]
    ratio = check.inputs["C_over_P"]
    assert basic_life(ratio, 1, "roller").l10_million_rev == pytest.approx(
        check.expected, abs=check.tolerance
    )
    assert basic_life(ratio, 1, "ball").l10_million_rev == pytest.approx(512)
    plain = CHECKS["07-a2"]
    found = basic_life(1000 * plain.inputs["C_kN"], 1000 * plain.inputs["P_kN"]).l10_million_rev
    assert found == pytest.approx(plain.expected, abs=plain.tolerance)


def test_another_maker_s_example() -> None:
    check = CHECKS["07-325"]
    found = basic_life(
        1000 * check.inputs["Cr_kN"], 1000 * check.inputs["P_kN"], "ball", check.inputs["n_rpm"]
    )
    assert found.l10_hours == pytest.approx(check.expected, abs=check.tolerance)
    assert found.working[-1].formula.startswith("L10h")


def test_factors_of_deep_groove_bearings() -> None:
    table, between = CHECKS["07-326"], CHECKS["07-327"]
    for (relative, e, y), wanted in zip(table.inputs["rows"], table.expected, strict=True):
        found = groove_factors(14, relative * 1000, 14_000)
        assert (found.e, found.y, found.x) == pytest.approx((e, wanted, 0.56))
        assert y == wanted
    given_ = between.inputs
    found = groove_factors(given_["f0"], 1000 * given_["Fa_kN"], 1000 * given_["C0_kN"])
    load = equivalent_load(1000 * given_["Fr_kN"], 1000 * given_["Fa_kN"], found.x, found.y, found.e)
    values = [found.e, found.y, load.equivalent_load_n / 1000]
    assert values == pytest.approx(between.expected, abs=between.tolerance)
    assert any("from memory" in one for one in found.cautions)
    assert len(rows("iso281_deep_groove.csv")) == len(table.expected)
    assert groove_factors(14, 0, 14_000).e == 0.19


def test_mean_load_of_a_textbook_duty() -> None:
    check = CHECKS["07-a1"]
    loads, minutes = check.inputs["loads_lbf"], check.inputs["minutes"]
    duties = [
        Duty(f"condition {n}", time / sum(minutes), check.inputs["n_rpm"], load * LBF)
        for n, (load, time) in enumerate(zip(loads, minutes, strict=True), 1)
    ]
    found = duty_life(32_000, duties)
    assert found.mean_load_n / LBF == pytest.approx(check.expected, abs=check.tolerance)
    assert found.mean_speed_rpm == pytest.approx(check.inputs["n_rpm"])


def test_every_check_value_is_used() -> None:
    used = {f"07-{n}" for n in (314, 315, 320, 321, 323, 324, 325, 326, 327, "a1", "a2")}
    assert set(CHECKS) == used


LINES = st.lists(
    st.tuples(st.floats(0.01, 1), st.floats(10, 3000), st.floats(100, 20_000)), min_size=1, max_size=6
)


@given(LINES, st.sampled_from(["ball", "roller"]))
def test_duty_is_miner_s_sum(lines: list[tuple[float, float, float]], kind: str) -> None:
    """Independent route: an hour of the duty uses Σ q/L10h of the life, each gear by its own basic life."""
    total = sum(share for share, _, _ in lines)
    duties = [
        Duty(f"gear {n}", share / total, speed, load) for n, (share, speed, load) in enumerate(lines, 1)
    ]
    found = duty_life(40_000, duties, kind)
    used = []
    for one in duties:
        hours = basic_life(40_000, one.load_n, kind, one.speed_rpm).l10_hours
        assert hours is not None
        used.append(one.share / hours)
    assert found.l10_hours == pytest.approx(1 / sum(used))
    assert [part for _, part in found.damage] == pytest.approx([part / sum(used) for part in used])


@given(st.floats(500, 20_000), st.floats(1.01, 2), st.sampled_from(["ball", "roller"]))
def test_life_falls_with_the_load(load: float, times: float, kind: str) -> None:
    light, heavy = (basic_life(40_000, one, kind).l10_million_rev for one in (load, load * times))
    assert heavy < light
    assert light / heavy == pytest.approx(times ** (3 if kind == "ball" else 10 / 3))


@given(
    st.floats(500, 20_000), st.floats(100, 50_000), st.floats(10, 5_000), st.sampled_from(["ball", "roller"])
)
def test_rating_and_life_go_both_ways(load: float, hours: float, speed: float, kind: str) -> None:
    rating = needed_rating(load, hours, speed, kind).dynamic_rating_n
    if rating < load:
        with pytest.raises(OutOfRange, match="load"):
            basic_life(rating, load, kind, speed)
    else:
        assert basic_life(rating, load, kind, speed).l10_hours == pytest.approx(hours)


def test_a_gear_in_which_the_bearing_stands_counts_for_time_only() -> None:
    turning = duty_life(30_000, [Duty("top", 1.0, 1500, 2000)])
    found = duty_life(30_000, [Duty("direct", 0.5, 0, 25_000), Duty("third", 0.5, 1500, 2000)])
    assert found.mean_load_n == pytest.approx(2000)
    assert found.l10_hours == pytest.approx(2 * turning.l10_hours)
    assert dict(found.damage) == {"direct": 0.0, "third": 1.0}
    assert not any("direct" in one for one in found.cautions)


def test_factors_without_e_are_used_as_given() -> None:
    found = equivalent_load(4000, 500, 0.56, 1.9)
    assert found.equivalent_load_n == pytest.approx(0.56 * 4000 + 1.9 * 500)
    assert any("below the radial load" in one for one in found.cautions)
    assert any("Without e" in one for one in found.cautions)
    assert equivalent_load(4000, 2000, 0.56, 1.9, e=0.23).axial_counts
    assert equivalent_load(0, 500, 0.56, 1.9, e=0.23).equivalent_load_n == pytest.approx(950)


def test_heavy_loads_are_outside_the_formula() -> None:
    assert any("above half" in one for one in basic_life(1000, 600).cautions)
    assert not any("above half" in one for one in basic_life(1000, 500).cautions)
    duty = duty_life(10_000, [Duty("first", 0.01, 300, 8000), Duty("top", 0.99, 1500, 1000)])
    assert any("In first" in one for one in duty.cautions)


@pytest.mark.parametrize(
    ("function", "given_", "name"),
    [
        (equivalent_load, (-1, 0), "radial"),
        (equivalent_load, (0, 0), "radial"),
        (equivalent_load, (1, math.inf), "axial"),
        (equivalent_load, (1, 1, 5), "x"),
        (equivalent_load, (1, 1, 1, 50), "y"),
        (equivalent_load, (1, 1, 1, 1, -1), "e"),
        (groove_factors, (5, 100, 1000), "f0"),
        (groove_factors, (14, 1000, 1000), "axial"),
        (basic_life, (0, 1), "dynamic_rating"),
        (basic_life, (10, 20), "load"),
        (basic_life, (10, 5, "ball", 0), "speed_rpm"),
        (needed_rating, (10, 0, 100), "hours"),
        (duty_life, (1000, []), "duties"),
        (duty_life, (1000, [Duty("a", 0.5, 100, 10)]), "duties"),
        (duty_life, (1000, [Duty("a", 1, 100, 0)]), "load in a"),
    ],
)
def test_what_is_out_of_range_is_named(function: object, given_: tuple[object, ...], name: str) -> None:
    assert callable(function)
    with pytest.raises(OutOfRange) as trouble:
        function(*given_)
    assert trouble.value.argument == name
    assert trouble.value.allowed


def test_what_is_refused() -> None:
    with pytest.raises(Refused, match="ball, roller"):
        basic_life(1000, 10, "needle")
    with pytest.raises(Refused, match="turns in none"):
        duty_life(1000, [Duty("a", 1, 0, 10)])
