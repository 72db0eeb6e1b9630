"""Form and needle rollers, by arithmetic shown here and by plane geometry."""

import math

import pytest

from shop.handbook.form import Place, needle_rollers, roundness
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange


def test_bore_read_at_two_depths_and_two_directions() -> None:
    """Front 40.012, 40.034, rear 40.008, 40.010: oval 0.022, taper 40.023 − 40.009, mean 40.016."""
    found = roundness(
        [
            Place("front", "0°", 40.012),
            Place("front", "90°", 40.034),
            Place("rear", "0°", 40.008),
            Place("rear", "90°", 40.010),
        ]
    )
    assert found.mean_mm == pytest.approx(40.016)
    assert found.out_of_round_mm == pytest.approx(0.022)
    assert found.taper_mm == pytest.approx(0.014)
    assert (found.smallest_mm, found.largest_mm) == (40.008, 40.034)
    assert found.cautions == ("Two-point readings do not show a three-lobed form",)


def test_taper_uses_directions_that_every_depth_has() -> None:
    found = roundness([Place("front", "0°", 40.0), Place("front", "90°", 40.2), Place("rear", "0°", 40.0)])
    assert found.taper_mm == pytest.approx(0)
    apart = roundness([Place("front", "0°", 40.0), Place("rear", "90°", 40.2)])
    assert apart.taper_mm == pytest.approx(0.2)
    assert "The depths share no direction: an oval bore would show as taper" in apart.cautions


def test_repeats_of_one_place_are_averaged() -> None:
    found = roundness(
        [Place("front", "0°", 40.00), Place("front", "0°", 40.02), Place("front", "90°", 40.05)]
    )
    assert found.out_of_round_mm == pytest.approx(0.04)
    assert found.smallest_mm == pytest.approx(40.01)


def test_what_the_places_do_not_show_is_none() -> None:
    found = roundness([Place("front", "0°", 40.0)])
    assert (found.out_of_round_mm, found.taper_mm) == (None, None)
    assert found.cautions == (
        "One depth: taper is not known",
        "One direction at each depth: out-of-round is not known",
    )
    with pytest.raises(Refused, match="at least one reading"):
        roundness([])
    with pytest.raises(OutOfRange, match="front, 0°"):
        roundness([Place("front", "0°", math.nan)])


@pytest.mark.parametrize("count", [5, 17, 29, 40])
def test_a_closed_ring_of_rollers_has_no_gap(count: int) -> None:
    """Plane geometry: n touching circles of diameter d stand on a circle of d/sin(π/n)."""
    roller = 3.0
    pitch = roller / math.sin(math.pi / count)
    found = needle_rollers(pitch + roller, pitch - roller, roller, count)
    assert found.total_gap_mm == pytest.approx(0, abs=1e-9)
    assert found.radial_clearance_mm == pytest.approx(0, abs=1e-9)
    wider = needle_rollers(pitch + roller + 0.1, pitch - roller + 0.1, roller, count)
    assert wider.total_gap_mm > 0
    # For many rollers the chord and the arc agree: gap ≈ π × 0.1.
    assert wider.total_gap_mm == pytest.approx(math.pi * 0.1, rel=0.2 if count < 10 else 0.02)


def test_clearances_by_hand() -> None:
    """31.04 − 25 − 2 × 3 = 0.04 over the diameter, 0.02 to a side."""
    found = needle_rollers(31.04, 25.0, 3.0, 29)
    assert found.diametral_clearance_mm == pytest.approx(0.04)
    assert found.radial_clearance_mm == pytest.approx(0.02)
    assert found.cautions == ()


@pytest.mark.parametrize(
    ("bore", "roller", "count", "caution"),
    [
        (30.99, 3.0, 29, "No radial clearance"),
        (31.04, 3.0, 30, "No gap round the circle"),
        (31.04, 3.0, 28, "would take another roller"),
    ],
)
def test_rollers_that_do_not_belong(bore: float, roller: float, count: int, caution: str) -> None:
    found = needle_rollers(bore, 25.0, roller, count)
    assert any(caution in one for one in found.cautions)


def test_rollers_out_of_range() -> None:
    with pytest.raises(OutOfRange, match="count"):
        needle_rollers(31.04, 25.0, 3.0, 2)
    with pytest.raises(OutOfRange, match="bore"):
        needle_rollers(24.0, 25.0, 3.0, 29)
    with pytest.raises(OutOfRange, match="pitch circle"):
        needle_rollers(6.0, 5.0, 6.0, 3)
    with pytest.raises(OutOfRange, match="roller"):
        needle_rollers(31.0, 25.0, 0.0, 3)
