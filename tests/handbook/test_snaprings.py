"""Snap rings and squeezed gaskets: by hand, and against every ring tried one by one."""

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.endfloat import end_float
from shop.handbook.packs import Washer
from shop.handbook.quantities import Refused
from shop.handbook.snaprings import snap_ring, squeezed_gasket
from shop.handbook.working import OutOfRange

LISTED = [Washer(f"R{n}", n / 100, 0.01) for n in range(140, 185, 5)]


def test_thickest_that_enters_by_hand() -> None:
    """1.58 of room ± 0.01: 1.60 is too thick, 1.55 enters with (0.03/0.00764) = 3.9 standard deviations."""
    found = snap_ring(1.58, LISTED, 0.01)
    assert found.choice == "R155"
    assert found.play_mm == pytest.approx(0.03)
    u = math.sqrt(0.005**2 + 0.01**2 / 3)
    assert found.enters == pytest.approx(NormalDist(0, u).cdf(0.03))
    assert found.others[0].code == "R180"


def test_exactly_its_room_without_uncertainty() -> None:
    exact = [Washer("A", 1.5), Washer("B", 1.6)]
    assert snap_ring(1.6, exact).choice == "B"
    assert snap_ring(1.5999, exact).choice == "A"


def test_none_enters() -> None:
    found = snap_ring(1.0, LISTED)
    assert (found.choice, found.play_mm, found.enters) == ("", None, 0.0)
    assert "No ring at hand" in found.cautions[0]
    assert snap_ring(1.6, [Washer("A", 1.5, count=0), Washer("B", 1.4)]).choice == "B"


@given(
    st.floats(0.5, 3.0),
    st.lists(st.tuples(st.floats(0.3, 3.2), st.floats(0, 0.05)), min_size=1, max_size=12),
    st.floats(0, 0.1),
)
def test_no_thicker_ring_would_do(groove: float, rows: list[tuple[float, float]], spread: float) -> None:
    rings = [Washer(f"R{n}", t, tolerance) for n, (t, tolerance) in enumerate(rows)]
    found = snap_ring(groove, rings, spread)

    def enters(ring: Washer) -> bool:
        u = math.hypot(spread / 2, ring.tolerance / math.sqrt(3))
        play = groove - ring.thickness
        return play >= 0 if u == 0 else NormalDist(0, u).cdf(play) >= 0.95

    able = [ring.thickness for ring in rings if enters(ring)]
    if not able:
        assert found.choice == ""
        return
    assert found.play_mm == pytest.approx(groove - max(able))


def test_what_rings_are_refused() -> None:
    with pytest.raises(Refused, match="1 to 60"):
        snap_ring(1.5, [])
    with pytest.raises(Refused, match="once"):
        snap_ring(1.5, [Washer("A", 1.0), Washer("A", 1.1)])
    with pytest.raises(OutOfRange, match="groove"):
        snap_ring(math.nan, LISTED)


def test_a_squeezed_gasket_is_a_term_of_the_stack() -> None:
    """Faces 50.00 + gasket 0.50 × 0.8 = 50.40 of room; 50.00 in it and a 0.20 washer leave 0.20."""
    gasket = squeezed_gasket(0.5, 0.2)
    found = end_float(
        gap=50.0,
        stack=[50.0, (-gasket.thickness_mm, gasket.expanded_mm)],
        washers=[Washer("W20", 0.20), Washer("W35", 0.35)],
        target_min=0.15,
        target_max=0.25,
    )
    assert found.choice == ("W20",)
    assert found.float_mm == pytest.approx(0.20)
    assert found.rss_max_mm == pytest.approx(0.25)
    with pytest.raises(OutOfRange, match="compression"):
        squeezed_gasket(0.5, 0.7)
