"""Plug and ring gauges: what goes and does not go proves about a limit.

The logic is Taylor's principle of limit gauging (common practice); the decisions are those of JCGM 106:2012
as in the other judging tests, worked out here by hand with the standard normal distribution.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist
from typing import Any

import pytest

from inspections.gauging.fixed import DOES_NOT_GO, GOES, PLUG, RING, Limits, bound_of, prove
from inspections.judgement.judged import Finding, ReadingRecord
from inspections.judgement.measuring import judge_measure
from shop.handbook.materials import expansion
from tests.inspections.small import CASE, SHAFT, Bench, index

LIMITS = Limits(26.000, 26.021, "guarded")
SIMPLE = Limits(26.000, 26.021, "simple")


def said(
    outcome: str, size: float, *, kind: str = PLUG, um: float = 0.8, number: int = 1, **more: Any
) -> ReadingRecord:
    row = ReadingRecord(
        key=f"R{number}",
        check="BORE",
        pieces=(("P1", 1),),
        person="Ann",
        sequence=number,
        gauge=f"G{size:g}",
        gauge_expanded_um=um,
        gauge_calibration_um=um,
        gauge_kind=kind,
        gauge_size_mm=size,
        outcome=outcome,
        text=outcome,
    )
    return replace(row, **more)


def shown(*rows: ReadingRecord, limits: Limits = LIMITS, places: tuple[str, ...] = ()) -> Any:
    found = prove(rows, "grey iron", places, limits)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("kind", "outcome", "side"),
    [(PLUG, GOES, "least"), (PLUG, DOES_NOT_GO, "most"), (RING, GOES, "most"), (RING, DOES_NOT_GO, "least")],
)
def test_what_each_shows(kind: str, outcome: str, side: str) -> None:
    """A plug that goes: the bore is at least its size. A ring that goes: the shaft is at most its size."""
    found = bound_of(said(outcome, 26.0, kind=kind), "steel")
    assert found is not None
    assert (found.side, found.value_mm, found.expanded_um) == (side, 26.0, 0.8)


def test_a_go_that_goes_and_a_not_go_that_does_not_are_within() -> None:
    found = shown(said(GOES, 26.002), said(DOES_NOT_GO, 26.019, number=2))
    assert found.state == "within"
    # Both sides are 2 µm inside with u = 0.4 µm: 5 u each, and the chances of both tails add.
    assert found.probability == pytest.approx(1 - 2 * NormalDist().cdf(-5), abs=1e-9)
    assert "G26.002 goes: at least 26.0020 mm ± 0.8 µm" in found.words
    assert "G26.019 does not go: at most 26.0190 mm" in found.words


def test_one_side_alone_decides_nothing() -> None:
    found = shown(said(GOES, 26.002))
    assert found.state == "not examined"
    assert "nothing shows yet that it is at most 26.021 mm" in found.words


def test_a_plug_above_the_upper_limit_that_goes_is_outside() -> None:
    assert shown(said(GOES, 26.023)).state == "outside"
    assert shown(said(DOES_NOT_GO, 25.998)).state == "outside"


def test_a_not_go_that_goes_inside_the_zone_leaves_the_upper_side_open() -> None:
    """It is at least 26.019; the upper limit is 26.021: it may still be within."""
    found = shown(said(GOES, 26.019))
    assert found.state == "not examined"
    assert "at most 26.021 mm" in found.words


def test_a_gauge_at_the_limit_itself_is_too_close_under_the_guarded_rule() -> None:
    rows = (said(GOES, 26.000), said(DOES_NOT_GO, 26.015, number=2))
    found = shown(*rows)
    assert found.state == "too close to call"
    assert found.probability == pytest.approx(0.5, abs=1e-6)
    assert shown(*rows, limits=SIMPLE).state == "within"


def test_the_gauges_own_uncertainty_decides_how_near_it_may_be() -> None:
    """u = U/2; 95 % on both sides together needs each tail at 2.5 % here: 1.96 u inside either limit."""
    near = NormalDist().inv_cdf(0.975) * 0.4 / 1000
    inside = (said(GOES, 26.0 + near + 1e-5), said(DOES_NOT_GO, 26.021 - near - 1e-5, number=2))
    beyond = (said(GOES, 26.0 + near - 1e-5), said(DOES_NOT_GO, 26.021 - near + 1e-5, number=2))
    assert shown(*inside).state == "within"
    assert shown(*beyond).state == "too close to call"


def test_a_plug_that_is_too_small_to_prove_the_lower_limit_proves_nothing_of_it() -> None:
    found = shown(said(GOES, 25.990), said(DOES_NOT_GO, 26.019, number=2))
    assert found.state == "not examined"
    assert "at least 26.000 mm" in found.words


def test_the_tightest_of_several_plugs_speaks() -> None:
    rows = [said(GOES, size, number=n) for n, size in enumerate((25.99, 26.002, 26.001), 1)]
    found = shown(*rows, said(DOES_NOT_GO, 26.018, number=9))
    assert found.state == "within"
    assert "26.0020" in found.words


def test_every_place_has_to_be_tried() -> None:
    front = (said(GOES, 26.002, place="front"), said(DOES_NOT_GO, 26.019, number=2, place="front"))
    found = shown(*front, places=("front", "rear"))
    assert (found.state, "still to try: rear" in found.words) == ("not examined", True)
    rear = said(GOES, 26.025, number=3, place="rear")
    assert shown(*front, rear, places=("front", "rear")).state == "outside"


def test_a_warm_bore_is_brought_to_twenty_degrees() -> None:
    """L₂₀ = L / (1 + α · 40 K), ISO 1: a plug of 26.023 that goes at 60 °C says less at 20 °C."""
    cold = bound_of(said(GOES, 26.023), "aluminium")
    warm = bound_of(said(GOES, 26.023, part_temperature_c=60.0), "aluminium")
    assert cold is not None
    assert warm is not None
    alpha = expansion("aluminium").per_kelvin
    assert cold.value_mm - warm.value_mm == pytest.approx(26.023 - 26.023 / (1 + alpha * 40), abs=1e-9)
    assert warm.expanded_um > cold.expanded_um


# who says the opposite


def test_two_people_whom_one_plug_told_the_opposite_are_in_dispute_until_a_lead_tries_it() -> None:
    ann, ben = said(GOES, 26.019), said(DOES_NOT_GO, 26.019, number=2, person="Ben")
    found = shown(ann, ben)
    assert found.state == "too close to call"
    assert found.dispute.open
    assert found.dispute.readings == ("R1", "R2")
    lead = said(DOES_NOT_GO, 26.019, number=3, person="Jo", lead=True)
    go = said(GOES, 26.002, number=4)
    settled = shown(ann, ben, lead, go)
    assert settled.state == "within"
    assert (settled.dispute.open, settled.dispute.settled_by) == (False, "R3")


def test_ones_own_later_word_counts() -> None:
    found = shown(said(GOES, 26.019), said(DOES_NOT_GO, 26.019, number=2), said(GOES, 26.002, number=3))
    assert (found.state, found.dispute) == ("within", None)


def test_bounds_that_leave_no_size_between_them_are_in_dispute() -> None:
    rows = (said(GOES, 26.020), said(DOES_NOT_GO, 26.005, number=2, person="Ben"))
    assert shown(*rows).dispute.open


# in the finding


def bore(*rows: ReadingRecord, **more: Any) -> Finding:
    guide = index()
    return judge_measure(guide, guide.check["BORE"], CASE, rows, **more)


def test_the_finding_says_what_went_and_shows_its_working() -> None:
    found = bore(said(GOES, 26.002), said(DOES_NOT_GO, 26.019, number=2))
    assert (found.state, found.value_mm, found.typed) == ("within", None, "does not go")
    assert found.words.endswith("Within: limits 26.000 to 26.021 mm (standard).")
    assert (found.lower_mm, found.upper_mm) == (26.0, 26.021)
    assert any("JCGM 106" in step.source for step in found.working)
    assert found.suits == ("standard",)


def test_a_bore_that_suits_another_size_is_not_condemned() -> None:
    """Between 26.102 and 26.119: outside for the standard size, within for the oversize one."""
    found = bore(said(GOES, 26.102), said(DOES_NOT_GO, 26.119, number=2))
    assert (found.state, found.suits, found.condemns) == ("outside", ("oversize",), False)
    gone = bore(said(GOES, 26.2))
    assert (gone.state, gone.suits, gone.condemns) == ("outside", (), True)


def test_a_measured_value_goes_before_a_plug_and_what_does_not_agree_is_said() -> None:
    measured = ReadingRecord(
        "R9",
        "BORE",
        (("P1", 1),),
        "Ann",
        9,
        gauge="B1",
        gauge_expanded_um=2.0,
        value_mm=26.010,
        text="26.010",
    )
    found = bore(said(GOES, 26.019), measured)
    assert (found.state, found.value_mm) == ("within", 26.010)
    assert any("does not agree with what was measured" in line for line in found.cautions)
    assert not any("does not agree" in line for line in bore(said(GOES, 26.009), measured).cautions)


def test_a_ring_judges_a_shaft() -> None:
    bench = Bench()
    bench.say("DIAMETER", GOES, gauge="RG", gauge_kind=RING, gauge_size_mm=25.992, gauge_expanded_um=0.8)
    bench.say(
        "DIAMETER", DOES_NOT_GO, gauge="RN", gauge_kind=RING, gauge_size_mm=25.961, gauge_expanded_um=0.8
    )
    found = bench.judge().finding["DIAMETER", SHAFT.key]
    assert found.state == "within"
    mate = bench.judge().finding["MATE", SHAFT.key]
    assert mate.state == "not examined"  # a sum needs a size, and no fixed gauge gives one


def test_a_lead_s_reason_for_a_gauge_past_due_stands_on_the_finding() -> None:
    bench = Bench()
    bench.read("BORE", 26.010, gauge="B1", overdue_reason="certificate is in the post")
    found = bench.judge().finding["BORE", CASE.key]
    assert "B1 was past due when Ann read it: certificate is in the post." in found.cautions
