"""Repeats that would decide, and many readings judged as one by one."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.handbook.conformity import conformity
from shop.handbook.deciding import judge_many, repeats_needed
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange

WORDS = {1: "within", -1: "outside", 0: "too close to call"}


def test_repeats_by_hand() -> None:
    """One limit, 3 µm away: needs u ≤ 3/1.6449 = 1.8239 µm; u² = 1 + 1/12 + 9/n, so n ≥ 9/2.2433 = 4.01."""
    found = repeats_needed(25.018, None, 25.021, 2.0, 1.0, 3.0)
    assert found.count == 5
    assert found.decision == "within"
    assert found.standard_uncertainty_mm * 1000 == pytest.approx(math.sqrt(1 + 1 / 12 + 9 / 5))


def test_no_repeats_help_a_coarse_gauge() -> None:
    found = repeats_needed(25.020, None, 25.021, 4.0, 1.0, 3.0)
    assert found.count is None
    assert found.decision == "too close to call"
    assert "finer" in found.cautions[0]
    assert repeats_needed(25.050, None, 25.021, 4.0, 1.0, 3.0).count == 1
    with pytest.raises(OutOfRange, match="spread_um"):
        repeats_needed(25.0, None, 25.1, 1.0, 1.0, -1.0)


LENGTH = st.floats(24.9, 25.1)


@settings(deadline=None)  # the first example loads scipy
@given(
    st.lists(st.tuples(LENGTH, st.floats(1e-5, 0.02)), min_size=1, max_size=30), st.booleans(), st.booleans()
)
def test_many_are_judged_as_one_by_one(rows: list[tuple[float, float]], low: bool, high: bool) -> None:
    lower, upper = (25.0 if low or not high else None), (25.021 if high else None)
    found = judge_many([y for y, _ in rows], [u for _, u in rows], lower, upper)
    for (y, u), chance, decision in zip(rows, found.probability, found.decision, strict=True):
        one = conformity(y, u, lower, upper)
        assert chance == pytest.approx(one.probability, abs=1e-12)
        assert WORDS[int(decision)] == one.decision


def test_limits_of_their_own_broadcast() -> None:
    found = judge_many(np.array([1.0, 2.0]), 0.001, np.array([0.9, 2.1]), np.array([1.1, 2.2]))
    assert found.decision.tolist() == [1, -1]


def test_what_it_refuses() -> None:
    with pytest.raises(Refused, match="needs a lower limit"):
        judge_many([1.0], 0.1)
    for u in (0.0, -1.0, math.nan):
        with pytest.raises(OutOfRange, match="standard_uncertainty"):
            judge_many([1.0], u, 0.0)
    with pytest.raises(OutOfRange, match="values"):
        judge_many([math.nan], 0.1, 0.0)
