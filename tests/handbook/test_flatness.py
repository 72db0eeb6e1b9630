"""Flatness and runout: by arithmetic shown here, and against numpy's least squares and a fitted circle."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.flatness import Feeler, flat_by_feeler, flat_by_height, runout
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange

GRID = [
    Feeler("along", "front", 0.03, 0.04),
    Feeler("along", "rear", 0.05, 0.06),
    Feeler("across", "left", 0.02, 0.03),
    Feeler("diagonal 1", "middle", 0.04, 0.05),
    Feeler("diagonal 2", "middle", 0.04, 0.05),
]


def test_the_worst_place_under_the_straight_edge() -> None:
    found = flat_by_feeler(GRID, 0.06)
    assert (found.at_least_mm, found.at_most_mm) == (0.05, 0.06)
    assert (found.line, found.place) == ("along", "rear")
    assert found.inside is True
    assert dict(found.by_line)["across"] == 0.02
    assert found.cautions == ()


@pytest.mark.parametrize(("allowed", "inside"), [(0.04, False), (0.055, None), (0.06, True)])
def test_inside_only_where_it_is_sure(allowed: float, inside: bool | None) -> None:
    assert flat_by_feeler(GRID, allowed).inside is inside


def test_what_was_not_tried_is_said() -> None:
    found = flat_by_feeler([Feeler("along", "front", 0.03)], 0.05)
    assert found.at_most_mm is None
    assert found.inside is None
    assert len(found.cautions) == 2


def test_feelers_that_contradict() -> None:
    with pytest.raises(OutOfRange, match="refuses"):
        flat_by_feeler([Feeler("along", "front", 0.05, 0.05)])
    with pytest.raises(Refused, match="1 to 400"):
        flat_by_feeler([])


def test_heights_against_numpy() -> None:
    """The least-squares plane by numpy.linalg.lstsq (numpy 2)."""
    dice = random.Random(4)
    points = [
        (f"{i}/{j}", 40.0 * i, 25.0 * j, 0.002 * i - 0.003 * j + dice.gauss(0, 0.01))
        for i in range(6)
        for j in range(4)
    ]
    table = np.array([[1.0, x, y] for _, x, y, _ in points])
    heights = np.array([z for *_, z in points])
    solved = np.linalg.lstsq(table, heights, rcond=None)[0]
    left = heights - table @ solved
    found = flat_by_height(points)
    assert found.flatness_mm == pytest.approx(float(left.max() - left.min()), abs=1e-12)
    assert found.tilt_x_mm_m == pytest.approx(float(solved[1]) * 1000, abs=1e-9)
    assert found.tilt_y_mm_m == pytest.approx(float(solved[2]) * 1000, abs=1e-9)


@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(-5, 5))
def test_a_tilted_plane_is_flat(b: float, c: float, a: float) -> None:
    corners = [(f"{x}/{y}", float(x), float(y), a + b * x + c * y) for x in (0, 50, 100) for y in (0, 80)]
    assert flat_by_height(corners).flatness_mm == pytest.approx(0, abs=1e-9)


def test_points_in_one_line_have_no_plane() -> None:
    with pytest.raises(Refused, match="one line"):
        flat_by_height([(str(n), n, 2.0 * n, 0.0) for n in range(5)])
    with pytest.raises(Refused, match="4 to 400"):
        flat_by_height([("A", 0, 0, 0)])
    with pytest.raises(Refused, match="name of its own"):
        flat_by_height([("A", 0, 0, 0), ("A", 9, 0, 0), ("B", 0, 9, 0), ("C", 9, 9, 0)])
    with pytest.raises(OutOfRange, match="point A"):
        flat_by_height([("A", 0, 0, math.nan), ("B", 9, 0, 0), ("C", 0, 9, 0), ("D", 9, 9, 0)])


@given(st.floats(0.001, 0.5), st.floats(0, 359), st.integers(3, 36))
def test_a_bent_shaft_shows_twice_its_bend(bend: float, way: float, n: int) -> None:
    """r(θ) = e cos(θ − φ): eccentricity e toward φ, no form left; total reading at most 2 e."""
    turn = [(360 * k / n, bend * math.cos(math.radians(360 * k / n - way))) for k in range(n)]
    found = runout(turn)
    assert found.eccentricity_mm == pytest.approx(bend, rel=1e-9)
    assert found.form_mm == pytest.approx(0, abs=1e-9)
    assert found.runout_mm <= 2 * bend + 1e-9
    assert found.direction_deg is not None
    assert min(abs(found.direction_deg - way), 360 - abs(found.direction_deg - way)) < 1e-6


def test_an_oval_is_form_and_not_bend() -> None:
    turn = [(angle, 0.01 * math.cos(math.radians(2 * angle))) for angle in range(0, 360, 30)]
    found = runout(turn)
    assert found.eccentricity_mm == pytest.approx(0, abs=1e-12)
    assert found.form_mm == pytest.approx(0.02)
    assert found.runout_mm == pytest.approx(0.02)


def test_uneven_directions_give_the_total_only() -> None:
    found = runout([(0, 0.0), (10, 0.02), (200, 0.05)])
    assert found.runout_mm == 0.05
    assert (found.eccentricity_mm, found.direction_deg, found.form_mm) == (None, None, None)
    assert any("not evenly spaced" in one for one in found.cautions)
    with pytest.raises(Refused, match="2 to 360"):
        runout([(0, 0.0)])
    with pytest.raises(OutOfRange, match="reading"):
        runout([(0, 0.0), (180, math.inf)])
