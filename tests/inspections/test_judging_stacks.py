"""Stacks: needle rollers, a compressed gasket, limits by size, the part that would put it right."""

from dataclasses import replace
from math import asin, pi

import pytest

from inspections.building.floating import Chosen, Measured, fit_of
from inspections.document import Check
from inspections.judgement.judging import Finding, PieceRecord, judge
from inspections.judgement.too_close import Candidate
from tests.inspections.small import CASE, SHAFT, SMALL, Bench

ROLLERS = (
    SMALL.replace('name = "Seal"', 'name = "Rollers"', 1)
    + """
[[feature]]
code = "SEAL.D"
position = "SEAL"
name = "roller diameter"
rule = "simple"
spread = 0.003
limit = [{ new = [2.998, 3.000] }]

[[check]]
code = "ROLLER"
position = "SEAL"
kind = "measure"
title = "Rollers"
feature = "SEAL.D"
places = ["one", "two", "three"]

[[check]]
code = "TRACK"
position = "CASE"
kind = "measure"
title = "Track"
feature = "CASE.T"

[[feature]]
code = "CASE.T"
position = "CASE"
name = "needle track"
rule = "simple"
limit = [{ new = [32.020, 32.045], wear = 32.200 }]

[[check]]
code = "NEEDLES"
position = "SEAL"
kind = "stack"
title = "Needle rollers"
terms = [
  { feature = "CASE.T", factor = 1 },
  { feature = "SHAFT.D", factor = -1 },
  { feature = "SEAL.D", factor = -2 },
]
rollers = 30
gap = [0.20, 1.20]
min = 0.020
max = 0.250
"""
).replace('kind = "replaced"', 'kind = "look"', 1)


def needles(track: float, shaft: float = 25.985, roller: float = 2.999) -> Finding:
    made = Bench(ROLLERS, CASE, SHAFT, PieceRecord("P3", "SEAL"))
    made.read("TRACK", track)
    made.read("DIAMETER", shaft, pieces=(("P2", 1),))
    for place in ("one", "two", "three"):
        made.read("ROLLER", roller, pieces=(("P3", 1),), place=place)
    (found,) = made.judge().of_check("NEEDLES")
    return found


def gap_of(track: float, shaft: float, roller: float, count: int) -> float:
    """Plane geometry: each roller takes the angle 2 asin(roller/D) on the circle of diameter D."""
    middle = (track + shaft) / 2
    return (2 * pi - 2 * count * asin(roller / middle)) * middle / 2


def test_needle_rollers_are_bore_less_shaft_less_two_rollers_with_a_gap_round_the_circle() -> None:
    found = needles(32.030)
    assert found.value_mm == pytest.approx(32.030 - 25.985 - 2 * 2.999)
    gap = gap_of(32.030, 25.985, 2.999, 30)
    assert 0.20 < gap < 1.20
    assert found.state == "within"
    assert any(f"= {gap:.3f} mm" in step.formula for step in found.working)


def test_a_gap_beyond_its_limits_is_outside_in_its_own_words() -> None:
    gap = gap_of(32.190, 25.985, 2.999, 30)
    found = needles(32.190)
    assert found.value_mm is not None
    assert 0.020 <= found.value_mm <= 0.250
    assert found.state == "outside"
    assert f"{gap:.3f} mm gap round the circle, 0.200 to 1.200 mm allowed" in found.words


def test_rollers_of_a_set_that_differ_are_found() -> None:
    made = Bench(ROLLERS, CASE, SHAFT, PieceRecord("P3", "SEAL"))
    for place, value in (("one", 2.998), ("two", 3.0), ("three", 2.994)):
        made.read("ROLLER", value, pieces=(("P3", 1),), place=place)
    (found,) = made.judge().of_check("ROLLER")
    assert found.state == "outside"


GASKET = SMALL.replace(
    'factor = -1 }]\nfit = [0.007, 0.041]\nwear = 0.060',
    'factor = -1 }, { feature = "SEAL.T", factor = 1 }]\nmin = 0.400\nmax = 0.470',
) + """
[[feature]]
code = "SEAL.T"
position = "SEAL"
name = "gasket as compressed"
stated = true
limit = [{ new = [0.38, 0.44] }]
"""  # fmt: skip


def test_a_compressed_gasket_counts_as_stated_with_half_its_limits_as_doubt() -> None:
    made = Bench(GASKET, CASE, SHAFT, PieceRecord("P3", "SEAL"))
    made.read("BORE", 26.010, um=3.0)
    made.read("DIAMETER", 25.985, um=4.0)
    (found,) = made.judge().of_check("MATE")
    # 26.010 − 25.985 + 0.410; the gasket is even between its ends: U = 2 × 30/√3 = 34.64 µm
    assert found.value_mm == pytest.approx(0.435)
    assert found.expanded_um == pytest.approx((3**2 + 4**2 + 34.641**2) ** 0.5, abs=0.01)
    assert found.readings == ("R1", "R2")
    assert any("as stated" in figure for _, figure in found.working[0].inputs)


SIZED = SMALL.replace("wear = 0.060", 'sizes = [{ size = "oversize", fit = [0.0, 0.03], wear = 0.04 }]')


@pytest.mark.parametrize(("size", "limit"), [("oversize", 0.04), ("standard", 0.041)])
def test_a_mate_is_held_against_the_limits_of_its_size(size: str, limit: float) -> None:
    made = Bench(SIZED, CASE, replace(SHAFT, size=size))
    made.read("BORE", 26.120)
    made.read("DIAMETER", 26.083)
    (found,) = made.judge().of_check("MATE")
    assert found.upper_mm == limit
    assert ("(oversize)" in found.words) == (size == "oversize")


def test_a_mate_that_is_outside_names_the_size_that_would_put_it_right() -> None:
    made = Bench()
    made.read("BORE", 26.110)
    made.read("DIAMETER", 25.985)
    (found,) = made.judge().of_check("MATE")
    # 26.110 less an oversize shaft of 26.080 to 26.093 leaves 0.017 to 0.030, inside 0.007 to 0.060
    assert (found.state, found.suits) == ("outside", ("oversize",))
    assert "within with shaft diameter oversize" in found.words


def test_a_mate_that_no_size_puts_right_names_none() -> None:
    made = Bench()
    made.read("BORE", 26.200)
    made.read("DIAMETER", 25.985)
    (found,) = made.judge().of_check("MATE")
    assert (found.state, found.suits) == ("outside", ())


GUARDED = SMALL.replace("wear = 0.060", 'wear = 0.060\nrule = "guarded"')


def test_a_close_stack_names_the_term_that_is_most_in_doubt_and_a_gauge_for_it() -> None:
    made = Bench(GUARDED)
    made.read("BORE", 26.019, um=6.0)
    made.read("DIAMETER", 25.961, um=1.0)  # 0.058: 2 µm inside, U = √37 = 6.1 µm

    def candidates(check: Check, size: str) -> list[Candidate]:
        return [Candidate("FINE", 1.5)] if check.code == "BORE" else []

    (found,) = judge(made.guide, "FC", made.pieces, made.readings, candidates).of_check("MATE")
    assert found.state == "too close to call"
    assert found.settle == "To settle it: read casing bore again with FINE (± 1.5 µm)."
    (found,) = made.judge().of_check("MATE")
    assert found.settle == "Most of the doubt is in casing bore, ± 6.0 µm."


def test_the_build_holds_a_mate_by_the_limits_of_the_size_that_goes_in() -> None:
    guide = Bench(SIZED).guide
    chosen = {
        code: Chosen(code, "own", code, tag=code, size=size, measured={feature: Measured(value, 0.1, "read")})
        for code, size, feature, value in (
            ("CASE", "standard", "CASE.B", 26.120),
            ("SHAFT", "oversize", "SHAFT.D", 26.0795),
        )
    }
    fit = fit_of(guide, guide.check["MATE"], chosen)
    assert fit["upper_mm"] == 0.04
    assert fit["state"] == "outside"
