"""Measured features: repeats, places in depth and direction, form by its own limits, what would settle it."""

from dataclasses import replace
from math import sqrt
from typing import Any

import pytest

from inspections.document import Check
from inspections.judgement.judging import Finding, Judgement, judge
from inspections.judgement.too_close import Candidate
from tests.inspections.small import SMALL, Bench

BORE = 'title = "Bore"\nfeature = "CASE.B"\n'
DEEP = 'places = ["front, upright", "front, across", "rear, upright", "rear, across"]\n'
FRONT_UP, FRONT_ACROSS, REAR_UP, REAR_ACROSS = (
    "front, upright",
    "front, across",
    "rear, upright",
    "rear, across",
)


def bench(*pairs: tuple[str, str]) -> Bench:
    text = SMALL
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    return Bench(text)


def one(made: Bench, check: str = "BORE") -> Finding:
    (found,) = made.judge().of_check(check)
    return found


def test_a_check_wants_its_repeats_at_each_place() -> None:
    made = bench(('places = ["left", "right"]', 'places = ["left", "right"]\nrepeats = 2'))
    for place, value in (("left", 100.15), ("left", 100.15), ("right", 100.05)):
        made.read("WIDTH", value, place=place)
    found = one(made, "WIDTH")
    assert found.state == "not examined"
    assert "still to read: right (1 of 2)" in found.words
    made.read("WIDTH", 100.07, place="right")
    found = one(made, "WIDTH")
    assert found.state == "within"
    assert found.value_mm == pytest.approx(100.06)


def test_one_bad_reading_of_two_decides_nothing_yet() -> None:
    made = bench((BORE, BORE + "repeats = 2\n"))
    made.read("BORE", 26.060)
    assert one(made).state == "not examined"
    made.read("BORE", 26.061)
    assert one(made).state == "outside"


# JCGM 100:2008, 4.2.3 and 5.2.2: U² = calibration² + (U² − calibration²)/n; √(3² + (5² − 3²)/4) = √13.
def test_repeats_lessen_what_is_not_the_gauges_calibration() -> None:
    made = Bench()
    for _ in range(4):
        made.read("BORE", 26.010, um=5.0, gauge_calibration_um=3.0)
    assert one(made).expanded_um == pytest.approx(sqrt(13))


def test_two_gauges_do_not_share_their_calibration() -> None:
    made = Bench()
    made.read("BORE", 26.010, um=5.0, gauge="A", gauge_calibration_um=5.0)
    made.read("BORE", 26.010, "Ben", um=5.0, gauge="B", gauge_calibration_um=5.0)
    assert one(made).expanded_um == pytest.approx(5 / sqrt(2))


def deep(limits: str = "form = 0.012\ntaper = 0.010", *pairs: tuple[str, str]) -> Bench:
    return bench(("form = 0.012", limits), (BORE, BORE + DEEP), *pairs)


def read_deep(made: Bench, *values: float) -> Finding:
    for place, value in zip((FRONT_UP, FRONT_ACROSS, REAR_UP, REAR_ACROSS), values, strict=True):
        made.read("BORE", value, place=place, um=0.4)
    return one(made)


def test_depths_and_directions_give_mean_out_of_round_and_taper() -> None:
    found = read_deep(deep(), 26.004, 26.010, 26.008, 26.012)
    # front 4 and 10, rear 8 and 12 µm above 26: mean 8.5, out-of-round 6, taper 10 − 7 = 3 µm
    assert found.state == "within"
    assert (found.mean_mm, found.out_of_round_mm, found.taper_mm) == pytest.approx((26.0085, 0.006, 0.003))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((26.002, 26.015, 26.002, 26.015), "0.013 mm out of round, 0.012 mm allowed"),
        ((26.004, 26.004, 26.016, 26.016), "0.012 mm taper, 0.010 mm allowed"),
        ((26.002, 26.015, 26.015, 26.020), "out of round, 0.012 mm allowed"),
    ],
)
def test_each_form_is_held_by_its_own_limit_in_its_own_words(values: tuple[float, ...], words: str) -> None:
    found = read_deep(deep(), *values)
    assert (found.state, found.suits, found.condemns) == ("outside", (), True)
    assert words in found.words


def test_oval_and_tapered_are_both_said() -> None:
    found = read_deep(deep("form = 0.005\ntaper = 0.005"), 26.002, 26.008, 26.012, 26.019)
    assert "0.007 mm out of round, 0.005 mm allowed; 0.011 mm taper, 0.005 mm allowed" in found.words


def test_taper_is_no_ovality_where_only_one_of_them_is_limited() -> None:
    # The places differ by 13 µm, all of it taper; only out-of-round has a limit.
    assert read_deep(deep("form = 0.012"), 26.003, 26.003, 26.016, 26.016).state == "within"


def test_places_without_a_comma_are_depths_where_only_taper_is_limited() -> None:
    made = bench(("form = 0.012", "taper = 0.010"), (BORE, BORE + 'places = ["front", "rear"]\n'))
    made.read("BORE", 26.003, place="front")
    made.read("BORE", 26.015, place="rear")
    assert "0.012 mm taper, 0.010 mm allowed" in one(made).words


@pytest.mark.parametrize(("top", "state"), [(26.014, "within"), (26.016, "outside")])
def test_the_mean_has_limits_of_its_own(top: float, state: str) -> None:
    sized = ("{ new = [26.000, 26.021] }", "{ new = [26.000, 26.021], mean = [26.002, 26.010] }")
    found = read_deep(deep("form = 0.020", sized), 26.006, top, 26.006, top)
    assert found.state == state
    assert ("allowed for the mean" in found.words) == (state == "outside")


@pytest.mark.parametrize(("last", "state"), [(25.988, "within"), (25.990, "outside")])
def test_the_parts_of_a_set_have_a_spread(last: float, state: str) -> None:
    made = bench(
        ('name = "shaft diameter"\n', 'name = "shaft diameter"\nspread = 0.003\n'),
        ('feature = "SHAFT.D"\n\n', 'feature = "SHAFT.D"\nplaces = ["one", "two", "three"]\n\n'),
    )
    for place, value in (("one", 25.985), ("two", 25.986), ("three", last)):
        made.read("DIAMETER", value, place=place)
    found = one(made, "DIAMETER")
    assert found.state == state
    if state == "outside":
        assert "0.005 mm spread in the set, 0.003 mm allowed" in found.words


def test_the_sizes_that_would_suit_name_the_part_that_comes_in_them() -> None:
    made = Bench()
    made.read("BORE", 26.110)
    assert "It suits oversize (Shaft in that size)." in one(made).words


def settled(made: Bench, *gauges: Candidate) -> Finding:
    asked: list[tuple[str, str]] = []

    def candidates(check: Check, size: str) -> tuple[Candidate, ...]:
        asked.append((check.code, size))
        return gauges

    judged: Judgement = judge(made.guide, "FC", made.pieces, made.readings, candidates)
    (found,) = judged.of_check("BORE")
    assert ("BORE", "standard") in asked
    return found


def close(**more: Any) -> Bench:
    made = Bench()
    made.read("BORE", 26.0190, um=4.0, **more)  # 2 µm below the limit; w = 1.645 × 2 = 3.3 µm
    return made


# w = 1.645 U/2 ≤ 2 µm needs U ≤ 2.43 µm (ISO 14253-1:2017).
def test_the_coarsest_gauge_that_would_settle_it_is_named() -> None:
    found = settled(close(), Candidate("M1", 1.0), Candidate("M2", 2.4), Candidate("M3", 3.0))
    assert found.state == "too close to call"
    assert "a reading with M2 (± 2.4 µm)" in found.settle
    assert found.words.endswith(found.settle)


def test_the_number_of_repeats_that_would_settle_it_is_named() -> None:
    # U of the mean is 4/√n ≤ 2.43 from n = 3 on
    assert "3 readings in all with G4 that agree" in settled(close()).settle


def test_repeats_do_not_help_against_the_calibration() -> None:
    found = settled(close(gauge_calibration_um=3.9), Candidate("M3", 3.0))
    assert found.settle == "No gauge in use would settle it: take it as not proved."


# 26.0265 / (1 + 11.4e-6 × 25) = 26.01908 mm, 1.92 µm inside: w = 1.645 U/2 needs U ≤ 2.33 µm. The correction
# leaves 0.92 µm: √(2.2² + 0.92²) = 2.38 µm is too much, though 2.2 µm alone would do.
@pytest.mark.parametrize(("value", "warm_c", "named"), [(26.0265, 45.0, False), (26.019085, None, True)])
def test_what_a_warm_part_leaves_in_doubt_no_gauge_takes_away(
    value: float, warm_c: float | None, named: bool
) -> None:
    made = Bench()
    made.read("BORE", value, um=4.0, part_temperature_c=warm_c, gauge_calibration_um=4.0)
    found = settled(made, Candidate("M1", 2.2))
    assert found.state == "too close to call"
    assert ("M1" in found.settle) == named


def test_what_is_decided_needs_no_settling() -> None:
    made = Bench()
    made.read("BORE", 26.010)
    made.readings = [replace(row, part_temperature_c=20.0) for row in made.readings]
    assert one(made).settle == ""


@pytest.mark.parametrize(("warm_c", "said"), [(None, True), (20.0, False)])
def test_a_sensitive_check_read_without_its_temperature_says_what_that_may_hide(
    warm_c: float | None, said: bool
) -> None:
    made = Bench()
    made.read("BORE", 26.010, part_temperature_c=warm_c)
    # 26.121 mm × 11.4e-6/K × 10 K = 2.98 µm (grey iron: Callister, table B.6)
    told = [text for text in one(made).cautions if "would shift it by 3.0 µm" in text]
    assert bool(told) == said


def test_a_check_that_is_not_sensitive_says_nothing_of_temperature() -> None:
    made = Bench()
    made.read("WIDTH", 100.05, place="left")
    assert not any("temperature" in text for text in one(made, "WIDTH").cautions)
