"""The gauge study against a published one and an independent package; data/gauge_study.csv names sources."""

from __future__ import annotations

import math
import random
from typing import Any

import capstat_core
import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.handbook.conformity import temperature
from shop.handbook.gaugestudy import GaugeStudy, Trial, acceptance_risk, gauge_study
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks, table


def _published() -> list[Trial]:
    rows = table("gauge_study_msa4.csv")
    return [Trial(row["piece"], row["person"], float(row["value"])) for row in rows]


def _study(values: Any) -> list[Trial]:
    """Trials of an array of pieces × people × repeats."""
    return [
        Trial(f"{piece}", f"{person}", float(value))
        for piece, of_piece in enumerate(values)
        for person, repeats in enumerate(of_piece)
        for value in repeats
    ]


def _master(check: Check) -> float:
    """JCGM 100:2008, H.1, estimate: gauge block and master of one material at one temperature, in nm.

    l = l_s + d: the expansion is the same on both sides, so what the comparator shows is the length at 20 °C.
    """
    shown = (check.inputs["l_s_nm"][0] + check.inputs["d_nm"][0]) / 1e6
    return temperature(shown, 19.9, "steel", 19.9, "steel").length_at_20_mm * 1e6


def _from_study(found: GaugeStudy, quantity: str) -> list[float | int | None]:
    squares = {line.name: line.sum_of_squares for line in found.table}
    if quantity.startswith("F of"):
        return [line.f for line in found.table[:2]]
    if "pooled" in quantity:
        pooled = squares["pieces × people"] + squares["repeats"]
        return [squares["pieces"], squares["people"], pooled]
    if "interaction" in quantity:
        return [squares["pieces × people"], squares["repeats"]]
    if "variances" in quantity:
        sigmas = (found.repeatability, found.reproducibility, found.part_variation, found.gauge_rr)
        return [sigma**2 for sigma in sigmas]
    if "deviations" in quantity:
        return [found.repeatability, found.reproducibility, found.gauge_rr, found.part_variation]
    return [found.gauge_rr_percent, found.distinct_categories]


def _answer(check: Check) -> Any:
    if "study" in check.inputs:
        return _from_study(gauge_study(_published()), check.quantity)
    if "process" in check.inputs:
        assert check.inputs["process"] == "N(0,0.12)"
        low, high = check.inputs["tolerance"]
        risk = acceptance_risk(0.0, 0.12, check.inputs["u_m"], low, high, *check.inputs["acceptance"])
        return risk.consumer if "consumer" in check.quantity else risk.producer
    return _master(check)


@pytest.mark.parametrize("check", checks("gauge_study.csv"), ids=str)
def test_published_value(check: Check) -> None:
    assert _answer(check) == pytest.approx(check.expected, abs=check.tolerance), check.source


def test_every_check_value_names_its_source() -> None:
    found = checks("gauge_study.csv")
    assert len(found) == 9
    assert all(check.source and check.source_status for check in found)
    assert len(_published()) == 90


@pytest.mark.parametrize("seed", range(12))
def test_against_an_independent_package(seed: int) -> None:
    """capstat-core 0.4.3, gage_rr: pooling above 0.25, negative components count as 0."""
    draw = numpy.random.default_rng(seed)
    pieces, people, repeats = int(draw.integers(2, 9)), int(draw.integers(2, 5)), int(draw.integers(2, 5))
    values = (
        draw.normal(0, 3, (pieces, 1, 1))
        + draw.normal(0, 0.6, (1, people, 1))
        + draw.normal(0, 0.8 * (seed % 2), (pieces, people, 1))
        + draw.normal(0, 1, (pieces, people, repeats))
    )
    mine = gauge_study(_study(values), 20.0)
    theirs = capstat_core.gage_rr(values, tolerance=20.0)
    assert mine.pooled != theirs.interaction_included
    assert theirs.ndc is not None
    assert mine.distinct_categories == max(1, theirs.ndc)
    for sigma, variance in (
        (mine.repeatability, theirs.var_repeatability),
        (mine.reproducibility, theirs.var_reproducibility),
        (mine.part_variation, theirs.var_part),
        (mine.gauge_rr, theirs.var_gage_rr),
    ):
        assert sigma**2 == pytest.approx(variance, rel=1e-9, abs=1e-12)
    assert mine.gauge_rr_percent == pytest.approx(theirs.pct_study_var_gage_rr, rel=1e-9)
    assert mine.percent_of_tolerance == pytest.approx(theirs.pct_tolerance_gage_rr, rel=1e-9)


def test_an_interaction_that_stands_by_itself() -> None:
    """By hand: MS 600, 150, 48 and 2 give σ² 92, 17, 23 and 2; gauge 42, categories 1.41 √(92/42) = 2.09."""
    base, offset = (10, 20, 30), (0, 5, -5)
    both = ((4, -4, 0), (-4, 0, 4), (0, 4, -4))  # by person, then piece
    values = [
        [[base[p] + offset[o] + both[o][p] + noise for noise in (-1, 1)] for o in range(3)] for p in range(3)
    ]
    found = gauge_study(_study(values), 100.0)
    assert [line.mean_square for line in found.table] == pytest.approx([600, 150, 48, 2])
    assert not found.pooled
    assert found.part_variation**2 == pytest.approx(92)
    assert found.interaction**2 == pytest.approx(23)
    assert found.reproducibility**2 == pytest.approx(40)
    assert found.gauge_rr**2 == pytest.approx(42)
    assert found.distinct_categories == 2
    assert found.percent_of_tolerance == pytest.approx(6 * math.sqrt(42))
    assert "stands by itself" in found.working[1].formula


def test_a_negative_component_counts_as_nothing_and_is_said() -> None:
    """All pieces and people alike: their mean squares are below that of the repeats."""
    values = [[[-1.0, 1.0] for _ in range(3)] for _ in range(4)]
    found = gauge_study(_study(values))
    assert (found.part_variation, found.reproducibility) == (0.0, 0.0)
    assert found.distinct_categories == 1
    assert sum("below 0 and counts as 0" in one for one in found.cautions) == 2
    assert found.gauge_rr_percent == pytest.approx(100)


def test_five_deviations_and_fifteen_hundredths() -> None:
    six, less = gauge_study(_published(), 3.0), gauge_study(_published(), 3.0, spread=5.15)
    assert six.percent_of_tolerance is not None
    assert less.percent_of_tolerance == pytest.approx(six.percent_of_tolerance * 5.15 / 6)
    assert less.gauge_rr_percent == pytest.approx(six.gauge_rr_percent)


def test_a_gauge_without_scatter_has_no_count_of_categories() -> None:
    found = gauge_study(_study([[[1.0, 1.0]] * 2, [[2.0, 2.0]] * 2]))
    assert (found.gauge_rr, found.distinct_categories) == (0.0, None)
    with pytest.raises(Refused, match="too coarse"):
        gauge_study(_study([[[1.0, 1.0]] * 2] * 2))


def test_unbalanced_readings_are_refused_by_name() -> None:
    rows = _published()
    with pytest.raises(Refused, match=r"piece 10 was read 2 times by C, most pairs 3 times"):
        gauge_study(rows[:-1])
    without = [row for row in rows if (row.piece, row.person) != ("4", "B")]
    with pytest.raises(Refused, match=r"piece 4 was read 0 times by B"):
        gauge_study(without)


def test_what_is_too_little_is_said() -> None:
    rows = _published()
    with pytest.raises(Refused, match="two people"):
        gauge_study([row for row in rows if row.person == "A"])
    with pytest.raises(Refused, match="two pieces"):
        gauge_study([row for row in rows if row.piece == "1"])
    with pytest.raises(Refused, match="twice or more"):
        gauge_study(rows[:10] + rows[30:40])
    with pytest.raises(OutOfRange, match="readings"):
        gauge_study([])
    with pytest.raises(OutOfRange, match="readings"):
        gauge_study([*rows, Trial("1", "A", math.nan)])
    with pytest.raises(OutOfRange, match="tolerance"):
        gauge_study(rows, 0.0)
    with pytest.raises(OutOfRange, match=r"6 or 5\.15"):
        gauge_study(rows, spread=4.0)


studies = st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 3)).flatmap(
    lambda shape: st.lists(
        st.integers(-1000, 1000),
        min_size=shape[0] * shape[1] * shape[2],
        max_size=shape[0] * shape[1] * shape[2],
    ).map(lambda values: numpy.asarray(values, dtype=float).reshape(shape) / 1000)
)


@settings(max_examples=60, deadline=None)
@given(studies, st.floats(-500, 500))
def test_components_are_never_negative_and_do_not_depend_on_the_zero(values: Any, zero: float) -> None:
    if numpy.ptp(values) == 0:
        return
    found = gauge_study(_study(values))
    parts = (found.repeatability, found.reproducibility, found.part_variation)
    assert min(parts) >= 0
    assert sum(one**2 for one in parts) == pytest.approx(found.total_variation**2)
    total = sum(line.sum_of_squares for line in found.table)
    assert total == pytest.approx(((values - values.mean()) ** 2).sum(), rel=1e-9, abs=1e-15)
    moved = gauge_study(_study(values + zero))
    assert moved.gauge_rr == pytest.approx(found.gauge_rr, rel=1e-6, abs=1e-9)
    assert moved.part_variation == pytest.approx(found.part_variation, rel=1e-6, abs=1e-7)


def test_what_a_gauge_lets_through_against_random_pieces() -> None:
    """Two million pieces drawn: the shares lie within four of their own deviations."""
    found = acceptance_risk(0.03, 0.12, 0.05, -0.2, 0.25, -0.18, 0.22)
    draw = numpy.random.default_rng(1)
    true = draw.normal(0.03, 0.12, 2_000_000)
    read = true + draw.normal(0, 0.05, 2_000_000)
    good, taken = (true >= -0.2) & (true <= 0.25), (read >= -0.18) & (read <= 0.22)
    for chance, share in (
        (found.consumer, float((~good & taken).mean())),
        (found.producer, float((good & ~taken).mean())),
    ):
        assert share == pytest.approx(chance, abs=4 * math.sqrt(chance / 2_000_000))


def test_a_guard_band_moves_the_risk_from_one_to_the_other() -> None:
    wide = acceptance_risk(0, 0.12, 0.04, -0.2, 0.2)
    guarded = acceptance_risk(0, 0.12, 0.04, -0.2, 0.2, -0.14, 0.14)
    assert guarded.consumer < wide.consumer / 4
    assert guarded.producer > wide.producer


def test_risks_out_of_range_are_named() -> None:
    good = {"process_mean": 0.0, "process_sd": 1.0, "gauge_sd": 0.1, "lower": -1.0, "upper": 1.0}
    for name, value in (
        ("process_sd", 0.0),
        ("gauge_sd", math.inf),
        ("lower", 2.0),
        ("process_mean", math.nan),
    ):
        with pytest.raises(OutOfRange, match=name):
            acceptance_risk(**(good | {name: value}))
    with pytest.raises(OutOfRange, match="accept_upper"):
        acceptance_risk(**good, accept_lower=0.5, accept_upper=0.0)
    rest = random.Random(1)
    for _ in range(20):
        found = acceptance_risk(rest.uniform(-9, 9), rest.uniform(1e-6, 9), rest.uniform(1e-6, 9), -1.0, 1.0)
        assert 0 <= found.consumer <= 1
        assert 0 <= found.producer <= 1
