"""Needle rollers, by plane geometry and by arithmetic shown here."""

import math

import pytest

from shop.handbook.quantities import Refused
from shop.handbook.rollers import ONE_SET, needle_rollers, roller_spread
from shop.handbook.working import OutOfRange


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
    assert found.cautions == (ONE_SET,)


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


def test_spread_of_a_set_by_hand() -> None:
    """3.0005 − 2.9980 = 0.0025; the mean of four is 2.99925."""
    found = roller_spread([2.9980, 3.0005, 2.9990, 2.9995])
    assert found.spread_mm == pytest.approx(0.0025)
    assert found.mean_mm == pytest.approx(2.99925)
    assert found.inside is None
    assert roller_spread([2.998, 3.001], 0.003).inside is True
    assert roller_spread([2.998, 3.0011], 0.003).inside is False
    assert ONE_SET in found.cautions


def test_spread_refuses_one_roller_and_odd_sizes() -> None:
    with pytest.raises(Refused, match="2 to 500"):
        roller_spread([3.0])
    with pytest.raises(OutOfRange, match="diameters"):
        roller_spread([3.0, math.nan])
    with pytest.raises(OutOfRange, match="allowed"):
        roller_spread([3.0, 3.0], -1)
