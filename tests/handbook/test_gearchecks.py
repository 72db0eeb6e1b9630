"""Span, over pins, chords and backlash: published values, and the same sizes by plain geometry in numbers."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize

from shop.handbook.gearchecks import (
    WAYS,
    backlash_of_dial,
    backlash_of_spans,
    chordal,
    over_pins,
    span,
    thinning,
)
from shop.handbook.gears import Gear, gear, pair
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks

CHECKS = {one.id: one for one in checks("gears.csv")}
INCH = 25.4
PINS = [one for one in CHECKS.values() if one.quantity.startswith("M over 1.728 pins")]
SPANS = [one for one in CHECKS.values() if one.quantity.startswith("span")]
SHAPES = [(20, 0.0, 0.0), (21, 0.0, 0.3), (33, 0.0, -0.2), (24, 25.0, 0.4), (41, 15.0, 0.0), (18, 32.0, 0.25)]


@pytest.mark.parametrize("check", PINS, ids=str)
def test_over_pins_of_the_table(check: Check) -> None:
    assert len(PINS) == 3
    module = INCH / check.inputs["DP"]
    found = over_pins(gear(check.inputs["z"], module), check.inputs["pin_in"] * INCH)
    assert found.over_pins_mm / INCH == pytest.approx(check.expected, abs=check.tolerance)


def test_the_printed_example_at_four_diametral_pitch() -> None:
    """34.4130/4 = 8.6032 in (Machinery's Handbook, same example; kept in the note of 06-a1)."""
    assert over_pins(gear(32, INCH / 4)).over_pins_mm / INCH == pytest.approx(8.6032, abs=6e-5)


@pytest.mark.parametrize("check", SPANS, ids=str)
def test_spans_of_the_handbooks(check: Check) -> None:
    assert len(SPANS) == 2
    one = gear(
        check.inputs["z"],
        check.inputs["m"],
        check.inputs["alpha"],
        helix_deg=check.inputs["beta"],
        shift=check.inputs["x"],
    )
    assert span(one, check.inputs["k"]).span_mm == pytest.approx(check.expected, abs=check.tolerance)
    assert span(one).spanned == check.inputs["k"]


def test_chordal_thickness_of_the_tables() -> None:
    spur, helical = CHECKS["06-296"], CHECKS["06-a2"]
    given_ = spur.inputs
    found = chordal(gear(given_["z"], given_["m"], given_["alpha"], shift=given_["x"]), given_["ha"])
    values = [found.thickness_mm, found.half_angle_deg, found.chord_mm, found.height_mm]
    assert values == pytest.approx(spur.expected, abs=spur.tolerance)
    given_ = helical.inputs
    one = gear(given_["z"], given_["m"], given_["alpha"], helix_deg=given_["beta"], shift=given_["x"])
    found = chordal(one, given_["ha"])
    values = [found.thickness_mm, one.virtual_teeth, found.half_angle_deg, found.chord_mm, found.height_mm]
    assert values == pytest.approx(helical.expected, abs=helical.tolerance)


# --- the same by plain geometry


def _half_gap(one: Gear) -> float:
    """Angle from the middle of a gap to the flank at the base circle."""
    transverse = math.radians(one.transverse_angle_deg)
    thickness = one.thickness_mm / math.cos(math.radians(one.helix_deg))
    gap = math.pi * one.reference_mm / one.teeth - thickness
    return gap / one.reference_mm - (math.tan(transverse) - transverse)


def _flank(one: Gear, roll: float, along: float) -> tuple[float, float, float]:
    """A point of the flank right of a gap that is centred on the y axis: involute, turned with the helix."""
    base = one.base_mm / 2
    turn = along * math.tan(math.radians(one.helix_deg)) / (one.reference_mm / 2)
    start = _half_gap(one) + turn
    # The involute leaves the base circle at `start` from the y axis and opens away from the gap.
    angle = start + roll - math.atan(roll)
    radius = base * math.sqrt(1 + roll**2)
    return radius * math.sin(angle), radius * math.cos(angle), along


def _distance(one: Gear, height: float) -> float:
    """From a ball's centre at this height on the y axis to the nearest point of the flank."""

    def squared(point: np.ndarray) -> float:
        x, y, z = _flank(one, abs(float(point[0])), float(point[1]) if one.helix_deg else 0.0)
        return x * x + (y - height) ** 2 + z * z

    start = np.array([math.tan(math.radians(one.transverse_angle_deg)), 0.1])
    return math.sqrt(
        minimize(squared, start, method="Nelder-Mead", options={"xatol": 1e-11, "fatol": 1e-13}).fun
    )


@pytest.mark.parametrize(("teeth", "helix", "shift"), SHAPES)
def test_over_pins_by_the_distance_of_a_ball_from_the_flank(teeth: int, helix: float, shift: float) -> None:
    """Independent route: a ball is moved, in three dimensions, until it touches the flank."""
    one = gear(teeth, 3, helix_deg=helix, shift=shift)
    found = over_pins(one)
    height = brentq(
        lambda at: _distance(one, at) - found.pin_mm / 2, one.reference_mm / 2 - 2, one.tip_mm / 2 + 6
    )
    other = math.cos(math.pi / 2 / teeth) if teeth % 2 else 1.0
    assert found.over_pins_mm == pytest.approx(2 * height * other + found.pin_mm, abs=2e-5)


@pytest.mark.parametrize(("teeth", "helix", "shift"), [shape for shape in SHAPES if not shape[1]])
def test_span_by_the_width_of_a_block_of_teeth(teeth: int, helix: float, shift: float) -> None:
    """Independent route: the flank of the outermost tooth is rolled out in points, the widest is taken."""
    one = gear(teeth, 3, helix_deg=helix, shift=shift)
    found = span(one)
    pitch = 2 * math.pi / teeth
    # Half of k teeth and k − 1 gaps lies right of the middle; the flank faces away from it.
    base_half = pitch / 2 - _half_gap(one)
    start = (found.spanned - 1) * pitch / 2 + base_half
    roll = np.linspace(0, 1.2, 400_001)
    angle = start - (roll - np.arctan(roll))
    widest = float(np.max(one.base_mm / 2 * np.sqrt(1 + roll**2) * np.sin(angle)))
    assert found.span_mm == pytest.approx(2 * widest, abs=1e-6)


@given(st.integers(14, 199), st.floats(0.5, 10))
def test_span_grows_with_the_teeth(teeth: int, module: float) -> None:
    fewer = span(gear(teeth, module))
    more = span(gear(teeth + 1, module), fewer.spanned)
    assert more.span_mm > fewer.span_mm


@given(st.integers(14, 120), st.floats(0, 35), st.floats(-0.1, 0.5))
def test_one_more_tooth_is_one_base_pitch(teeth: int, helix: float, shift: float) -> None:
    one = gear(teeth, 3, helix_deg=helix, shift=shift)
    found = span(one)
    assume(found.spanned < found.most_spanned)
    more = span(one, found.spanned + 1).span_mm - found.span_mm
    assert more == pytest.approx(math.pi * 3 * math.cos(math.radians(20)))


@given(st.integers(8, 150), st.floats(0, 35), st.floats(-0.1, 0.5))
def test_what_is_proposed_touches_the_flank(teeth: int, helix: float, shift: float) -> None:
    one = gear(teeth, 3, helix_deg=helix, shift=shift)
    pins = over_pins(one)
    assert one.base_mm <= pins.contact_mm <= one.tip_mm
    assert pins.over_pins_mm > one.tip_mm * (math.cos(math.pi / 2 / teeth) if teeth % 2 else 1) - 1e-6
    spanned = span(one)
    assert spanned.least_spanned <= spanned.spanned <= spanned.most_spanned
    assert one.base_mm <= spanned.contact_mm <= one.tip_mm + 1e-9


def test_spans_and_pins_that_do_not_touch_are_refused_with_what_does() -> None:
    one = gear(24, 3)
    with pytest.raises(OutOfRange, match="spanned is 6; allowed: 1 to 4"):
        span(one, 6)
    with pytest.raises(OutOfRange, match="pin_mm"):
        over_pins(one, 3.0)
    with pytest.raises(OutOfRange, match="pin_mm"):
        over_pins(one, 12.0)
    least = over_pins(one).least_pin_mm
    assert over_pins(one, least).over_pins_mm >= one.tip_mm - 1e-6
    with pytest.raises(OutOfRange, match="measure it over pins"):
        span(gear(6, 3, 10, shift=-1, form="full depth 14.5"))
    with pytest.raises(OutOfRange, match="addendum_mm"):
        chordal(one, -1)


def test_a_helical_gear_says_what_it_needs() -> None:
    found = span(gear(24, 3, helix_deg=25))
    assert any("needs a face of about" in one for one in found.cautions)
    assert found.face_needed_mm > found.span_mm * math.sin(
        math.radians(gear(24, 3, helix_deg=25).base_helix_deg)
    )
    assert any("over balls" in one for one in over_pins(gear(25, 3, helix_deg=25)).cautions)


# --- backlash


@given(st.floats(0, 0.3), st.floats(0, 30))
def test_thinning_from_a_span_comes_back(less: float, helix: float) -> None:
    one = gear(30, 3, helix_deg=helix, shift=0.2)
    full = span(one)
    measured = full.span_mm - less * math.cos(math.radians(20))
    found = thinning(one, full.spanned, measured)
    assert found.thinning_mm == pytest.approx(less, abs=1e-9)
    assert found.thickness_mm == pytest.approx(one.thickness_mm - less)


def test_backlash_from_spans_by_hand() -> None:
    """Spur pair at its standard centre: each span 0.10 mm short, so jn = 0.10 + 0.10, j = 0.20/cos 20°."""
    one, two = gear(20, 3), gear(40, 3)
    less = [thinning(each, span(each).spanned, span(each).span_mm - 0.10).thinning_mm for each in (one, two)]
    found = backlash_of_spans(one, two, first_thinning_mm=less[0], second_thinning_mm=less[1])
    assert found.normal_mm == pytest.approx(0.20)
    assert found.circumferential_mm == pytest.approx(0.20 / math.cos(math.radians(20)))
    tight = backlash_of_spans(one, two, first_thinning_mm=0.0, centre_mm=89.9)
    assert tight.circumferential_mm < 0
    assert any("bind" in word for word in tight.cautions)


def test_helical_backlash_is_larger_round_the_circle() -> None:
    """ISO 21771, 5.5 (from memory): jn = j cos αn cos β; at the standard centre both spans short by 0.1."""
    one = gear(20, 3, helix_deg=25, hand="left")
    two = gear(40, 3, helix_deg=25, hand="right")
    less = 0.1 / math.cos(math.radians(20))
    found = backlash_of_spans(one, two, first_thinning_mm=less, second_thinning_mm=less)
    assert found.normal_mm == pytest.approx(0.2)
    turn = math.cos(math.radians(20)) * math.cos(math.radians(25))
    assert found.circumferential_mm == pytest.approx(0.2 / turn)


def test_backlash_from_a_dial_by_the_lever() -> None:
    """0.30 at 60 mm on a gear of 40 mm pitch radius is 0.20 round the circle."""
    one = gear(40, 2, helix_deg=0)
    found = backlash_of_dial(0.30, 60.0, one)
    assert found.circumferential_mm == pytest.approx(0.20)
    assert found.normal_mm == pytest.approx(0.20 * math.cos(math.radians(20)))
    square = backlash_of_dial(found.normal_mm, 40.0, one, way=WAYS[1])
    assert square.circumferential_mm == pytest.approx(0.20)
    assert any("hardly square" in word for word in backlash_of_dial(0.1, 60, one, way=WAYS[1]).cautions)


def test_backlash_out_of_range() -> None:
    one = gear(40, 2)
    for given_, name in (
        ({"reading_mm": 9.0}, "reading_mm"),
        ({"radius_mm": 2.0}, "radius_mm"),
        ({"pitch_diameter_mm": 40.0}, "pitch_diameter_mm"),
    ):
        with pytest.raises(OutOfRange) as trouble:
            backlash_of_dial(**({"reading_mm": 0.1, "radius_mm": 40.0, "one": one} | given_))  # type: ignore[arg-type]
        assert trouble.value.argument == name
    with pytest.raises(Refused, match="dial reads"):
        backlash_of_dial(0.1, 40, one, way="across")
    with pytest.raises(OutOfRange, match="measured_mm"):
        thinning(one, 5, 20.0)
    with pytest.raises(OutOfRange, match="first_thinning_mm"):
        backlash_of_spans(one, one, first_thinning_mm=2.0)
    assert any(
        "larger than that of full" in word for word in thinning(one, 5, span(one, 5).span_mm + 0.01).cautions
    )
    assert pair(one, one).backlash_mm == pytest.approx(0)
