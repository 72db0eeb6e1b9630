"""Readings to findings to verdicts, without a database. Limits are invented; rules name their source."""

from dataclasses import replace

import pytest

from inspections.judgement.judging import Finding, PieceRecord
from tests.inspections.small import CASE, SHAFT, SMALL, Bench


def sound_bench() -> Bench:
    """A unit on which everything is right."""
    bench = Bench()
    bench.say("ID", "x1 101")
    bench.say("TEETH", "18")
    bench.say("LOOK", "sound")
    bench.say("THREAD", "sound")
    bench.read("BORE", 26.010)
    bench.read("WIDTH", 100.05, place="left")
    bench.read("WIDTH", 100.06, place="right")
    bench.read("DIAMETER", 25.985)
    return bench


def one(bench: Bench, check: str, variant: str = "FC") -> Finding:
    (found,) = bench.judge(variant).of_check(check)
    return found


def test_a_sound_unit_is_serviceable_throughout() -> None:
    judged = sound_bench().judge()
    assert {row.verdict for row in judged.verdicts} == {"serviceable"}
    assert judged.status == {"CASE": "serviceable", "SHAFT": "serviceable", "SEAL": "replaced"}


def test_nothing_read_is_open_and_nothing_there_is_missing() -> None:
    judged = Bench(SMALL, CASE).judge("RC")
    assert judged.verdict["P1"].verdict == "open"
    assert not judged.verdict["P1"].close
    assert judged.status == {"CASE": "open", "SHAFT": "missing", "SEAL": "replaced", "LID": "missing"}


def test_a_piece_marked_missing_needs_no_examination() -> None:
    judged = Bench(SMALL, replace(CASE, missing=True), SHAFT).judge()
    assert {row.state for row in judged.findings if row.piece == "P1"} == {"not applicable"}
    assert judged.status["CASE"] == "missing"


# ISO 14253-1:2017 as the handbook holds it: within needs 95 % probability, w = 1.645 u.
@pytest.mark.parametrize(
    ("value", "state"),
    [
        (26.0100, "within"),
        (26.0191, "within"),
        (26.0195, "too close to call"),
        (26.0225, "too close to call"),
        (26.0230, "outside"),
    ],
)
def test_guarded_rule_holds_the_gauge_against_acceptance(value: float, state: str) -> None:
    bench = Bench()
    bench.read("BORE", value, um=2.0)  # u = 1 µm, w = 1.645 µm: 26.01936 and 26.02264
    assert one(bench, "BORE").state == state


def test_resolution_counts_beside_the_gauge() -> None:
    bench = Bench()
    bench.read("BORE", 26.010, um=3.0, resolution_um=10.0)
    # U = √(3² + (2 × 10/√12)²) = √(9 + 33.33) = 6.506 µm
    assert one(bench, "BORE").expanded_um == pytest.approx(6.506, abs=0.001)


def test_too_close_to_call_leaves_the_piece_open_and_says_so() -> None:
    bench = sound_bench()
    bench.readings = [row for row in bench.readings if row.check != "BORE"]
    bench.read("BORE", 26.0205)
    verdict = bench.judge().verdict["P1"]
    assert (verdict.verdict, verdict.close) == ("open", True)


def test_worn_past_standard_but_right_for_the_oversize_shaft() -> None:
    bench = sound_bench()
    bench.readings = [row for row in bench.readings if row.check != "BORE"]
    bench.read("BORE", 26.110)
    judged = bench.judge()
    found = one(bench, "BORE")
    assert (found.state, found.suits, found.condemns) == ("outside", ("oversize",), False)
    assert judged.verdict["P1"].sizes == (("BORE", ("oversize",)),)
    assert judged.verdict["P1"].verdict == "serviceable"


def test_a_bore_that_suits_no_size_and_has_no_remedy_condemns() -> None:
    bench = sound_bench()
    bench.readings = [row for row in bench.readings if row.check != "BORE"]
    bench.read("BORE", 26.060)
    assert one(bench, "BORE").condemns
    assert bench.judge().verdict["P1"].verdict == "scrap"


def test_an_oversize_piece_is_held_against_its_own_size() -> None:
    bench = Bench(SMALL, CASE, PieceRecord("P2", "SHAFT", size="oversize"))
    bench.read("DIAMETER", 26.085)
    found = one(bench, "DIAMETER")
    assert (found.state, found.lower_mm, found.upper_mm) == ("within", 26.060, 26.093)


def test_the_extreme_place_is_judged_not_the_mean() -> None:
    bench = Bench()
    bench.read("WIDTH", 100.20, place="left")
    bench.read("WIDTH", 100.31, place="right")  # mean 100.255 is inside 100.0 to 100.3
    found = one(bench, "WIDTH")
    assert (found.state, found.value_mm, found.remedies) == ("outside", 100.31, ("FACE",))


def test_out_of_round_beyond_the_form_limit_is_outside_and_no_dispute() -> None:
    bench = Bench()
    bench.read("BORE", 26.003, place="upright")
    bench.read("BORE", 26.017, "Ben", place="across")  # both inside; 14 µm out of round, 12 allowed
    found = one(bench, "BORE")
    assert (found.state, found.dispute, found.suits) == ("outside", None, ())
    assert "0.014 mm out of round" in found.words


def test_a_place_that_is_not_read_leaves_the_check_open() -> None:
    bench = Bench()
    bench.read("WIDTH", 100.05, place="left")
    found = one(bench, "WIDTH")
    assert found.state == "not examined"
    assert "still to read: right" in found.words


def test_a_warm_part_is_brought_to_20_degrees() -> None:
    bench = Bench()
    bench.read("BORE", 26.0236, part_temperature_c=35.0)
    # Grey iron 11.4e-6/K (Callister, table B.6): 26.0236 / (1 + 11.4e-6 × 15) = 26.01915
    found = one(bench, "BORE")
    assert found.value_mm == pytest.approx(26.01915, abs=1e-5)
    assert found.state != "outside"
    assert found.expanded_um is not None
    assert found.expanded_um > 2.0
    assert any("L₂₀" in step.formula for step in found.working)


def test_withdrawn_readings_and_earlier_conditions_are_history() -> None:
    bench = Bench(SMALL, replace(CASE, condition=2), SHAFT)
    old = bench.read("BORE", 26.060)
    slip = bench.read("BORE", 62.01, withdrawn=True, pieces=(("P1", 2),))
    new = bench.read("BORE", 26.010, pieces=(("P1", 2),))
    found = one(bench, "BORE")
    assert (found.state, found.readings, found.superseded) == ("within", (new,), (old, slip))


def test_an_assembled_reading_is_history_when_any_piece_in_it_has_changed() -> None:
    bench = Bench(SMALL, CASE, replace(SHAFT, condition=2))
    bench.read("BORE", 26.010, pieces=(("P1", 1), ("P2", 1)))
    assert one(bench, "BORE").state == "not examined"


# JCGM 100:2008, 5.2.2: U of the difference = √(2² + 2²) = 2.83 µm with two gauges.
def test_two_people_who_differ_beyond_their_joint_uncertainty_are_in_dispute() -> None:
    bench = Bench()
    bench.read("BORE", 26.010, "Ann", gauge="A")
    bench.read("BORE", 26.013, "Ben", gauge="B")
    found = one(bench, "BORE")
    assert found.state == "too close to call"
    assert found.dispute is not None
    assert found.dispute.open
    assert found.dispute.readings == ("R1", "R2")


def test_two_people_who_agree_are_taken_together() -> None:
    bench = Bench()
    bench.read("BORE", 26.010, "Ann", gauge="A")
    bench.read("BORE", 26.012, "Ben", gauge="B")
    found = one(bench, "BORE")
    assert (found.state, found.dispute) == ("within", None)
    assert found.value_mm == pytest.approx(26.011)


def test_a_shared_gauge_leaves_its_calibration_out_of_the_joint_uncertainty() -> None:
    bench = Bench()
    # √(2² + 2² − 2 × 1.9²) = 0.88 µm
    bench.read("BORE", 26.010, "Ann", gauge="A", gauge_calibration_um=1.9)
    bench.read("BORE", 26.012, "Ben", gauge="A", gauge_calibration_um=1.9)
    assert one(bench, "BORE").dispute is not None


def test_one_person_twice_is_no_dispute() -> None:
    bench = Bench()
    bench.read("BORE", 26.008)
    bench.read("BORE", 26.014)
    assert one(bench, "BORE").dispute is None


def disputed() -> Bench:
    bench = Bench()
    bench.read("BORE", 26.010, "Ann", gauge="A")
    bench.read("BORE", 26.017, "Ben", gauge="B")
    return bench


def test_a_later_reading_by_a_lead_settles_and_all_stay_listed() -> None:
    bench = disputed()
    bench.read("BORE", 26.016, "Lea", gauge="A", lead=True)
    found = one(bench, "BORE")
    assert (found.state, found.value_mm, found.readings) == ("within", 26.016, ("R1", "R2", "R3"))
    assert found.dispute is not None
    assert found.dispute.settled_by == "R3"
    assert "by a lead, Lea" in found.decided_by


def test_a_better_gauge_settles_and_a_like_one_does_not() -> None:
    bench = disputed()
    bench.read("BORE", 26.0165, "Cy", gauge="C")
    assert one(bench, "BORE").state == "too close to call"
    bench.read("BORE", 26.0161, "Cy", um=1.0)
    found = one(bench, "BORE")
    assert (found.state, found.value_mm) == ("within", 26.0161)
    assert "a better gauge" in found.decided_by


def test_a_reading_that_contradicts_the_settled_one_opens_it_again() -> None:
    bench = disputed()
    bench.read("BORE", 26.016, "Lea", lead=True)
    bench.read("BORE", 26.008, "Ben")
    assert one(bench, "BORE").state == "too close to call"


def test_a_withdrawn_reading_disputes_nothing() -> None:
    bench = disputed()
    bench.readings[1] = replace(bench.readings[1], withdrawn=True)
    assert one(bench, "BORE").dispute is None


def test_two_people_see_it_differently_until_a_lead_looks() -> None:
    bench = Bench()
    bench.say("LOOK", "sound", "Ann")
    bench.say("LOOK", "CRACK", "Ben")
    assert one(bench, "LOOK").state == "too close to call"
    bench.say("LOOK", "CRACK", "Lea", lead=True)
    found = one(bench, "LOOK")
    assert (found.state, found.defects, found.remedies) == ("defect", ("CRACK",), ("BRAZE",))
    assert found.readings == ("R1", "R2", "R3")


def test_two_defects_of_one_check_are_both_kept() -> None:
    bench = Bench()
    bench.say("LOOK", "CRACK")
    bench.say("LOOK", "RUST")
    found = one(bench, "LOOK")
    assert (found.defects, found.remedies, found.condemns) == (("CRACK", "RUST"), ("BRAZE",), False)


@pytest.mark.parametrize(
    ("outcome", "verdict"), [("CRACK", "rework"), ("GONE", "scrap"), ("RUST", "serviceable")]
)
def test_what_is_seen_decides_the_verdict(outcome: str, verdict: str) -> None:
    bench = sound_bench()
    bench.readings = [row for row in bench.readings if row.check != "LOOK"]
    bench.say("LOOK", outcome)
    found = bench.judge().verdict["P1"]
    assert found.verdict == verdict
    assert found.needs == ((("LOOK", ("BRAZE",)),) if outcome == "CRACK" else ())


def test_another_variant_s_part_is_named_and_its_measures_do_not_apply() -> None:
    bench = sound_bench()
    bench.readings[0] = replace(bench.readings[0], outcome="X1-102")
    judged = bench.judge()
    found = judged.finding["ID", "P1"]
    assert found.state == "wrong part"
    assert "belongs to the remote change" in found.words
    assert judged.finding["BORE", "P1"].state == "not applicable"
    assert judged.finding["MATE", "P2"].state == "not examined"
    assert judged.status["CASE"] == "wrong part"


def test_a_second_source_with_the_right_part_fills_the_position() -> None:
    bench = sound_bench()
    bench.pieces = (PieceRecord("P0", "CASE"), *bench.pieces)
    bench.say("ID", "X1-999", pieces=(("P0", 1),))
    assert bench.judge().status["CASE"] == "serviceable"


def test_a_wrong_count_of_teeth_is_a_wrong_part() -> None:
    bench = Bench()
    bench.say("TEETH", "19")
    assert one(bench, "TEETH").state == "wrong part"
    assert bench.judge().status["SHAFT"] == "wrong part"


@pytest.mark.parametrize(
    ("outcome", "state", "remedies"),
    [
        ("sound", "sound", ()),
        ("3/8-16 UNC", "sound", ()),
        ("STRIPPED", "defect", ("INSERT",)),
        ("3/8-20 BSF", "outside", ("INSERT",)),
    ],
)
def test_threads(outcome: str, state: str, remedies: tuple[str, ...]) -> None:
    bench = Bench()
    bench.say("THREAD", outcome)
    found = one(bench, "THREAD")
    assert (found.state, found.remedies) == (state, remedies)


def test_a_stack_is_the_signed_sum_with_joint_uncertainty() -> None:
    bench = Bench()
    bench.read("BORE", 26.010, um=3.0)
    bench.read("DIAMETER", 25.985, um=4.0)
    found = one(bench, "MATE")
    # 26.010 − 25.985 = 0.025; U = √(3² + 4²) = 5 µm (JCGM 100:2008, 5.1.2)
    assert found.state == "within"
    assert found.value_mm == pytest.approx(0.025)
    assert found.expanded_um == pytest.approx(5.0)
    assert found.readings == ("R1", "R2")
    assert "casing bore − shaft diameter = 0.0250 mm" in found.working[0].formula


def test_a_stack_waits_for_every_term_and_for_disputes() -> None:
    bench = disputed()
    assert one(bench, "MATE").state == "not examined"
    bench.read("DIAMETER", 25.985)
    assert one(bench, "MATE").state == "too close to call"


def test_a_mate_outside_without_remedy_asks_for_another_mate() -> None:
    bench = sound_bench()
    bench.readings = [row for row in bench.readings if row.check not in {"BORE", "DIAMETER"}]
    bench.read("BORE", 26.018)
    bench.read("DIAMETER", 25.945)
    bench.guide = Bench(SMALL.replace("wear = 25.960", "wear = 25.940")).guide
    judged = bench.judge()
    assert judged.finding["MATE", "P2"].state == "outside"  # 0.073 against a wear limit of 0.060
    assert judged.verdict["P2"].mates == ("MATE",)
    assert judged.verdict["P2"].verdict == "serviceable"


def test_a_bare_withdrawal_says_nothing_by_itself() -> None:
    bench = Bench()
    bench.say("LOOK", "GONE", withdrawn=True)
    bench.say("LOOK", "")
    found = one(bench, "LOOK")
    assert (found.state, found.readings, found.superseded) == ("not examined", (), ("R1", "R2"))


@pytest.mark.parametrize("outcome", ["CRAK", "STRIPPED"])
def test_an_outcome_that_the_check_does_not_know_is_never_taken_for_sound(outcome: str) -> None:
    bench = Bench()
    bench.say("LOOK", "sound")
    bench.say("LOOK", outcome)
    found = one(bench, "LOOK")
    assert found.state == "not examined"
    assert f"{outcome} is not in the guide" in found.words


def test_what_is_always_replaced_is_never_used_again() -> None:
    bench = Bench(SMALL, CASE, SHAFT, PieceRecord("P3", "SEAL"))
    judged = bench.judge()
    assert judged.verdict["P3"].verdict == "scrap"
    assert judged.status["SEAL"] == "replaced"


def test_a_piece_that_the_variant_does_not_examine_stays_open() -> None:
    judged = Bench(SMALL, CASE, SHAFT, PieceRecord("P4", "LID")).judge("FC")
    assert judged.verdict["P4"].verdict == "open"
    assert judged.verdict["P4"].because == ("The guide has no check for it on this variant.",)


def test_a_gauge_coarser_than_the_check_asks_for_is_cautioned() -> None:
    bench = Bench(SMALL.replace('feature = "CASE.B"\n', 'feature = "CASE.B"\ngauge_um = 3.0\n', 1))
    bench.read("BORE", 26.010, um=4.0, part_temperature_c=20.0)
    caution, *_ = one(bench, "BORE").cautions
    assert "asks for ± 3 µm" in caution
    bench = Bench(SMALL.replace('feature = "CASE.B"\n', 'feature = "CASE.B"\ngauge_um = 4.0\n', 1))
    bench.read("BORE", 26.010, um=4.0)
    assert not any("asks for" in caution for caution in one(bench, "BORE").cautions)


def test_of_two_mates_the_sound_one_is_taken_for_a_stack() -> None:
    bench = Bench(SMALL, PieceRecord("P0", "CASE"), CASE, SHAFT)
    bench.read("BORE", 26.060, pieces=(("P0", 1),))
    bench.read("BORE", 26.010)
    bench.read("DIAMETER", 25.985)
    assert one(bench, "MATE").value_mm == pytest.approx(0.025)


def test_complaints_are_explained_by_what_was_found() -> None:
    bench = sound_bench()
    bench.say("LOOK", "CRACK")
    assert bench.judge().complaints_explained(["LEAKS", "NOISY"]) == {"LEAKS": ("LOOK",), "NOISY": ()}


def test_readings_of_unknown_checks_or_pieces_change_nothing() -> None:
    bench = sound_bench()
    before = bench.judge().findings
    bench.say("NO-SUCH", "sound")
    bench.read("BORE", 99.0, pieces=(("P9", 1),))
    assert bench.judge().findings == before


def test_a_thread_is_chased_before_it_is_looked_at() -> None:
    bench = Bench(SMALL.replace('designation = "3/8-16 UNC"', 'designation = "3/8-16 UNC"\nchase = true', 1))
    found = one(bench, "THREAD")
    assert (found.state, found.words) == (
        "not examined",
        "Cover holes: chase it first, then look. Not examined yet.",
    )


def test_a_taper_plug_in_a_parallel_boss_is_cautioned() -> None:
    bench = Bench(SMALL.replace('"3/8-16 UNC"', '"G 1/2"', 1))
    bench.say("THREAD", "1/2-14 NPT")
    found = one(bench, "THREAD")
    assert found.state == "outside"
    assert any("splits it" in caution for caution in found.cautions)
