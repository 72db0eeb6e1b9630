"""Checks of pieces as assembled: turned, selected, or measured for backlash, gap and float. Pure."""

from dataclasses import replace

import pytest

from inspections.checking import check_document
from inspections.judgement.judging import Finding, PieceRecord
from tests.inspections.small import CASE, SHAFT, SMALL, Bench

TRIED = (
    SMALL
    + """
[[check]]
code = "TURNS"
position = "SHAFT"
kind = "try"
of = ["CASE"]
title = "Turns in its bore"

[[check]]
code = "LASH"
position = "SHAFT"
kind = "try"
of = ["CASE"]
title = "Backlash"
dimension = "movement"
min = 0.08
max = 0.20
wear = 0.30
remedies = ["SHIM"]

[[check]]
code = "GAP"
position = "SHAFT"
kind = "try"
of = ["CASE", "LID"]
title = "Ring gap"
places = ["one", "two", "three"]
min = 0.80
wear = 0.50

[[defect]]
code = "BINDS"
check = "TURNS"
name = "binds once a turn"
remedies = ["SHIM"]

[[remedy]]
code = "SHIM"
name = "Shim it"
minutes = 20
restores = ["TURNS", "LASH"]
"""
)
BOTH = (("P2", 1), ("P1", 1))


def one(bench: Bench, check: str) -> Finding:
    (found,) = bench.judge().of_check(check)
    return found


@pytest.mark.parametrize(("outcome", "state"), [("sound", "sound"), ("BINDS", "defect")])
def test_a_try_without_limits_is_sound_or_shows_a_defect(outcome: str, state: str) -> None:
    bench = Bench(TRIED)
    bench.say("TURNS", outcome, pieces=BOTH)
    found = one(bench, "TURNS")
    assert (found.state, found.piece) == (state, "P2")
    assert found.remedies == (() if outcome == "sound" else ("SHIM",))


@pytest.mark.parametrize(
    ("value", "state"),
    [(0.08, "within"), (0.30, "within"), (0.301, "outside"), (0.079, "outside")],
)
def test_a_measured_try_is_held_against_its_limits(value: float, state: str) -> None:
    bench = Bench(TRIED)
    bench.read("LASH", value, pieces=BOTH)
    found = one(bench, "LASH")
    assert (found.state, found.lower_mm, found.upper_mm) == (state, 0.08, 0.30)
    assert found.remedies == (("SHIM",) if state == "outside" else ())


def test_a_gap_wears_down_to_its_limit_and_every_place_is_read() -> None:
    bench = Bench(TRIED)
    bench.read("GAP", 0.9, pieces=BOTH, place="one")
    bench.read("GAP", 0.49, pieces=BOTH, place="two")
    found = one(bench, "GAP")
    assert (found.state, found.value_mm) == ("outside", 0.49)
    assert "limits at least 0.500 mm" in found.words


@pytest.mark.parametrize("changed", ["P1", "P2"])
def test_a_try_ends_when_any_piece_in_it_is_changed(changed: str) -> None:
    pieces = [replace(row, condition=2) if row.key == changed else row for row in (CASE, SHAFT)]
    bench = Bench(TRIED, *pieces)
    bench.read("LASH", 0.15, pieces=BOTH)
    found = one(bench, "LASH")
    assert (found.state, found.readings, found.superseded) == ("not examined", (), ("R1",))


def test_tried_in_another_company_the_earlier_reading_is_history() -> None:
    other = PieceRecord("P9", "CASE")
    bench = Bench(TRIED, CASE, other, SHAFT)
    bench.read("LASH", 0.35, pieces=BOTH)
    bench.read("LASH", 0.15, pieces=(("P2", 1), ("P9", 1)))
    found = one(bench, "LASH")
    assert (found.state, found.readings, found.superseded) == ("within", ("R2",), ("R1",))


@pytest.mark.parametrize("way", ["missing", "wrong", "scrap"])
def test_a_try_is_not_left_open_for_want_of_its_company(way: str) -> None:
    bench = Bench(TRIED, replace(CASE, missing=way == "missing"), SHAFT)
    if way == "wrong":
        bench.say("ID", "X1-999")
    elif way == "scrap":
        bench.say("LOOK", "GONE")
    found = one(bench, "TURNS")
    assert found.state == "not applicable"
    assert "Casing is not there to try it with" in found.words


def test_a_try_that_was_read_stands_though_its_company_is_scrap() -> None:
    bench = Bench(TRIED)
    bench.say("LOOK", "GONE")
    bench.say("TURNS", "BINDS", pieces=BOTH)
    assert one(bench, "TURNS").state == "defect"


def test_another_piece_of_the_position_is_company_enough() -> None:
    bench = Bench(TRIED, replace(CASE, missing=True), PieceRecord("P9", "CASE"), SHAFT)
    assert one(bench, "TURNS").state == "not examined"


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('of = ["CASE"]', 'of = ["CAGE"]', "of", "no position CAGE"),
        ('of = ["CASE"]', 'of = ["SHAFT"]', "of", "the piece itself"),
        ('of = ["CASE"]', 'of = ["CASE", "CASE"]', "of", "stands twice"),
        ('of = ["CASE"]', 'of = ["LID"]\nvariants = ["FC"]', "of", "nothing to try it with"),
        ('of = ["CASE"]', 'of = ["CASE"]\nplaces = ["here"]', "places", "needs a quantity"),
        ('of = ["CASE"]', 'of = ["CASE"]\nwear = 0.3', "wear", "give min or max"),
        ('of = ["CASE"]', 'of = ["CASE"]\nmax = 0.3', "check", "its limits say"),
    ],
)
def test_a_try_that_cannot_work_is_refused(old: str, new: str, key: str, words: str) -> None:
    _, found = check_document(TRIED.replace(old, new, 1))
    table = "defect BINDS" if key == "check" else "check TURNS"
    assert [row.severity for row in found if row.key == f"{table}.{key}" and words in row.message] == [
        "refused"
    ]


def test_the_tried_guide_itself_is_without_problems() -> None:
    assert check_document(TRIED)[1] == []
