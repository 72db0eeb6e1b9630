"""Gears and trains against published tables, and properties that hold for all of them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.gearchecks import backlash_of_spans
from shop.handbook.gears import Gear, forms, gear, module_of, pair, run_together, tooth_form
from shop.handbook.involute import inverse_involute, involute
from shop.handbook.quantities import Refused
from shop.handbook.trains import Stage, gear_train
from shop.handbook.working import OutOfRange
from tests.handbook.checks import checks, table

CHECKS = {one.id: one for one in checks("gears.csv")}
INCH = 25.4
SHIFTED = CHECKS["06-301"].inputs
ANGLES = st.floats(0.05, 80)


def _shifted() -> tuple[Gear, Gear]:
    one, two = (
        gear(z, SHIFTED["m"], SHIFTED["alpha"], shift=x)
        for z, x in zip(SHIFTED["z"], SHIFTED["x"], strict=True)
    )
    return one, two


def test_profile_shifted_pair_of_the_published_table() -> None:
    small, large = _shifted()
    met = pair(small, large, SHIFTED["a_w"])
    found = [met.standard_centre_mm, involute(20), involute(met.working_angle_deg), met.working_angle_deg]
    assert found == pytest.approx(CHECKS["06-301"].expected, abs=CHECKS["06-301"].tolerance)
    assert met.shift_sum == pytest.approx(CHECKS["06-302"].expected, abs=CHECKS["06-302"].tolerance)
    diameters = [small.base_mm, large.base_mm, *met.working_diameters_mm]
    assert diameters == pytest.approx(CHECKS["06-303"].expected, abs=CHECKS["06-303"].tolerance)
    ends = [*met.tip_diameters_mm, small.root_mm, large.root_mm]
    assert ends == pytest.approx(CHECKS["06-304"].expected, abs=CHECKS["06-304"].tolerance)
    assert met.contact_ratio == pytest.approx(CHECKS["06-305"].expected, abs=CHECKS["06-305"].tolerance)


def test_centre_distance_without_backlash_goes_with_the_library_value() -> None:
    """py_gearworks 0.0.24 has 56.49987 mm for Σx 0.96, as kept in verified_by of 06-301."""
    small, large = _shifted()
    met = pair(small, large)
    assert met.centre_mm == pytest.approx(56.49987, abs=2e-5)
    assert met.backlash_mm == pytest.approx(0, abs=1e-9)
    assert "56.49987" in _row("06-301")["verified_by"]


def _row(wanted: str) -> dict[str, str]:
    return next(row for row in table("gears.csv") if row["id"] == wanted)


def test_thickness_of_the_rack() -> None:
    check = CHECKS["06-298"]
    assert gear(40, check.inputs["m"]).thickness_mm == pytest.approx(check.expected, abs=check.tolerance)


def test_basic_rack_of_the_standard() -> None:
    found = tooth_form("full depth")
    values = [found.addendum, found.dedendum, found.fillet, found.pressure_angle_deg]
    assert values == CHECKS["06-313"].expected
    assert "from memory" in found.working[0].source


def test_tooth_sums_give_one_centre_distance() -> None:
    check = CHECKS["06-310"]
    module = module_of(check.inputs["DP"]).module_mm
    stages = [Stage(17, 31), Stage(15, 33), Stage(21, 27)]
    assert [one.driving + one.driven for one in stages] == check.inputs["tooth_sums"]
    found = gear_train(stages, module).centre_distances_mm
    assert found is not None
    assert [one / INCH for one in found] == pytest.approx([check.expected] * 3, abs=check.tolerance)


def test_ratios_of_the_sliding_mesh_boxes() -> None:
    first, third, reverse = CHECKS["06-306"], CHECKS["06-307"], CHECKS["06-308"]
    head = Stage(20, 40)
    assert gear_train([head, Stage(20, 40)]).ratio == pytest.approx(first.expected, abs=first.tolerance)
    found = [gear_train([head, Stage(*teeth)]).ratio for teeth in ((36, 24), (35, 25))]
    assert found == pytest.approx(third.expected, abs=third.tolerance)
    for idler in (12, 15, 40):
        train = gear_train([head, Stage(18, 38, (idler,))])
        assert train.ratio == pytest.approx(reverse.expected, abs=reverse.tolerance)
        assert not train.same_sense


def test_signs_of_the_three_speed_box() -> None:
    check = CHECKS["06-309"]
    head = Stage(17, 31)
    trains = [[head, Stage(15, 33)], [head, Stage(21, 27)], [], [head, Stage(13, 33, (15,))]]
    found = [gear_train(one).signed_ratio for one in trains]
    assert found == pytest.approx(check.expected, abs=check.tolerance)
    assert gear_train(trains[0]).stage_ratios == (31 / 17, 33 / 15)


@given(
    st.lists(st.tuples(st.integers(10, 80), st.integers(10, 80)), min_size=1, max_size=4), st.integers(5, 60)
)
def test_an_idler_changes_the_sign_and_nothing_else(pairs: list[tuple[int, int]], idler: int) -> None:
    plain = gear_train([Stage(*one) for one in pairs])
    turned = gear_train([Stage(*pairs[0], (idler,)), *(Stage(*one) for one in pairs[1:])])
    assert turned.ratio == plain.ratio
    assert turned.signed_ratio == -plain.signed_ratio


def test_a_wrong_count_shows_in_the_centre_distances() -> None:
    """20/40 and 36/24 have one tooth sum, 60; 36/25 has 61 and cannot be between the same shafts."""
    good = gear_train([Stage(20, 40), Stage(36, 24)], 4)
    bad = gear_train([Stage(20, 40), Stage(36, 25)], 4)
    assert not any("centre distances differ" in one for one in good.cautions)
    assert any("centre distances differ" in one for one in bad.cautions)
    helical = gear_train([Stage(20, 40)], 4, helix_deg=25).centre_distances_mm
    assert helical == pytest.approx((120 / math.cos(math.radians(25)),))


def test_centre_distance_changes_backlash_by_the_rule() -> None:
    """06-312: 2 Δa tan α; exact for module 3.175, 15 and 33 teeth 0.036511, in its verified_by."""
    check = CHECKS["06-312"]
    one, two = gear(15, 3.175, check.inputs["alpha"]), gear(33, 3.175, check.inputs["alpha"])
    met = pair(one, two, 76.2 + check.inputs["da_mm"])
    assert met.backlash_mm == pytest.approx(check.expected, abs=check.tolerance)
    assert met.backlash_mm == pytest.approx(0.036511, abs=1e-6)
    both = backlash_of_spans(one, two, first_thinning_mm=0.0, centre_mm=76.2 + check.inputs["da_mm"])
    assert both.circumferential_mm == pytest.approx(met.backlash_mm)


@given(st.integers(12, 60), st.integers(12, 60), st.floats(0, 30), st.floats(-0.1, 0.5), st.floats(-0.1, 0.5))
def test_pair_and_centre_distance_go_both_ways(z1: int, z2: int, helix: float, x1: float, x2: float) -> None:
    one = gear(z1, 2.5, helix_deg=helix, hand="left", shift=x1)
    two = gear(z2, 2.5, helix_deg=helix, hand="right", shift=x2)
    met = pair(one, two)
    again = pair(one, two, met.centre_mm)
    assert again.shift_sum == pytest.approx(x1 + x2, abs=1e-7)
    assert again.backlash_mm == pytest.approx(0, abs=1e-6)
    assert sum(met.working_diameters_mm) == pytest.approx(2 * met.centre_mm)


def test_what_runs_together_and_what_does_not() -> None:
    assert run_together(gear(20, 25.4 / 10), gear(31, 2.54)).runs
    assert run_together(gear(20, 3, helix_deg=23, hand="left"), gear(40, 3, helix_deg=23, hand="right")).runs
    wrong = [
        (gear(20, 4.25), gear(20, 25.4 / 6), "modules differ"),
        (gear(20, 3, 20), gear(20, 3, 14.5, form="full depth 14.5"), "pressure angles differ"),
        (gear(20, 3, helix_deg=23), gear(20, 3), "helix angles differ"),
        (
            gear(20, 3, helix_deg=23, hand="left"),
            gear(20, 3, helix_deg=23, hand="left"),
            "Both are left hand",
        ),
        (gear(20, 3, form="stub"), gear(20, 3), "depths differ"),
        (gear(20, 3, form="6/8"), gear(20, 3, form="5/7"), "depths differ"),
    ]
    for one, two, words in wrong:
        found = run_together(one, two)
        assert not found.runs
        assert any(words in reason for reason in found.reasons), words
        with pytest.raises(Refused, match="do not run together"):
            pair(one, two)


def test_all_that_is_wrong_is_said_and_a_hand_not_given_is_asked_for() -> None:
    found = run_together(gear(20, 3, form="stub"), gear(20, 4, 14.5))
    assert len(found.reasons) == 3
    helical = run_together(gear(20, 3, helix_deg=20), gear(20, 3, helix_deg=20))
    assert helical.runs
    assert any("hands were not given" in one for one in helical.cautions)


def test_stub_teeth_are_shorter() -> None:
    full, stub, two = (gear(20, 3, form=form) for form in ("full depth", "stub", "6/8"))
    assert full.tip_mm - full.root_mm == pytest.approx(2 * 3 * 2.25)
    assert stub.tip_mm - stub.root_mm == pytest.approx(2 * 3 * 1.8)
    assert two.tip_mm == pytest.approx(60 + 2 * 3 * 0.75)
    assert forms() == ("full depth", "full depth 14.5", "stub")
    for wrong in ("8/6", "2/9", "round", ""):
        with pytest.raises((Refused, OutOfRange)):
            tooth_form(wrong)


def test_few_teeth_are_undercut() -> None:
    """z ≥ 17 of theory, 14 in practice, at 20° full depth (common practice)."""
    assert not gear(17, 3).cautions
    assert not gear(15, 3).cautions
    assert any("undercut" in one for one in gear(12, 3).cautions)
    assert not gear(12, 3, shift=0.5).cautions


def test_pointed_teeth_end_where_their_flanks_meet() -> None:
    """At the tip the thickness is d (s/d0 + inv α − inv αa): nothing is left there, by plain geometry."""
    found = gear(10, 3, shift=1.2)
    assert any("pointed" in one for one in found.cautions)
    at_tip = math.degrees(math.acos(found.base_mm / found.tip_mm))
    left = found.thickness_mm / found.reference_mm + involute(20) - involute(at_tip)
    assert left == pytest.approx(0, abs=1e-9)
    assert not any("pointed" in one for one in gear(24, 3, shift=0.5).cautions)


@given(ANGLES)
def test_involute_there_and_back(angle: float) -> None:
    assert inverse_involute(involute(angle)) == pytest.approx(angle, rel=1e-6)


@given(st.floats(0, 50))
def test_inverse_involute_is_a_root(value: float) -> None:
    angle = math.radians(inverse_involute(value))
    # One step of the double beside the angle moves tan by its slope, 1 + tan².
    assert math.tan(angle) - angle == pytest.approx(value, abs=1e-12 * (1 + math.tan(angle) ** 2))


@pytest.mark.parametrize(
    ("given_", "name"),
    [
        ({"teeth": 4}, "teeth"),
        ({"teeth": 20.5}, "teeth"),
        ({"module_mm": 0}, "module_mm"),
        ({"pressure_angle_deg": 45}, "pressure_angle_deg"),
        ({"helix_deg": -5}, "helix_deg"),
        ({"shift": 3}, "shift"),
        ({"module_mm": math.nan}, "module_mm"),
    ],
)
def test_what_is_out_of_range_is_named(given_: dict[str, float], name: str) -> None:
    with pytest.raises(OutOfRange) as trouble:
        gear(**({"teeth": 20, "module_mm": 3} | given_))  # type: ignore[arg-type]
    assert trouble.value.argument == name
    assert trouble.value.allowed


def test_trains_and_pairs_out_of_range() -> None:
    with pytest.raises(OutOfRange, match="stage 2"):
        gear_train([Stage(20, 40), Stage(20, 3)])
    with pytest.raises(OutOfRange, match="idlers"):
        gear_train([Stage(20, 40, (10,) * 5)])
    with pytest.raises(OutOfRange, match="stages"):
        gear_train([Stage(20, 40)] * 13)
    with pytest.raises(OutOfRange, match="module_mm"):
        gear_train([Stage(20, 40)], module_mm=0)
    with pytest.raises(OutOfRange, match="centre_mm"):
        pair(gear(20, 3), gear(40, 3), 70)
    with pytest.raises(OutOfRange, match="above the base circle"):
        gear(5, 3, 10, shift=-1, form="6/8")
    with pytest.raises(OutOfRange, match="diametral_pitch"):
        module_of(0)
    with pytest.raises(Refused, match="hand"):
        gear(20, 3, helix_deg=20, hand="up")


def test_every_check_value_is_used() -> None:
    here = {"06-298", "06-301", "06-302", "06-303", "06-304", "06-305", "06-306", "06-307", "06-308"}
    here |= {"06-309", "06-310", "06-312", "06-313"}
    elsewhere = {"06-292", "06-295", "06-296", "06-a1", "06-a2", "06-a3", "06-a4", "06-a5"}
    assert set(CHECKS) == here | elsewhere
