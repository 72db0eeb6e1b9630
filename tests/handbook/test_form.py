"""Form of a bore or journal, by arithmetic shown here."""

import math

import pytest

from shop.handbook.form import Place, roundness
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
