"""The drawings of figures: as long as their data, named, and with nothing in them that a policy forbids."""

from __future__ import annotations

import re
from datetime import date
from xml.etree import ElementTree

import pytest

from shop.handbook.resampling import Job, Stage, finish_dates
from shop.handbook.survival import kaplan_meier
from shop.pictures import bolt_picture
from shop.topics.drawings_figures import FOOT, LEFT, RIGHT, TOP, finish_lines, step_curve
from shop.topics.shown import share


def drawn(text: str) -> ElementTree.Element:
    """The drawing as a tree; it needs no name space on a page."""
    assert " style=" not in text
    assert not re.search(r"\son\w+=", text)
    tree = ElementTree.fromstring(text)
    assert tree.get("role") == "img"
    assert tree.findtext("title") == tree.get("aria-label")
    return tree


def corners(path: str) -> list[tuple[float, float]]:
    """Every corner of a path of M, H and V."""
    x = y = 0.0
    found = []
    for word, rest in re.findall(r"([MHV])([^MHVZ]*)", path):
        numbers = [float(one) for one in rest.split()]
        x, y = numbers if word == "M" else ((numbers[0], y) if word == "H" else (x, numbers[0]))
        found.append((x, y))
    return found


def test_the_curve_steps_where_units_failed() -> None:
    """By hand: of four, one fails at 25 and one at 50 of 100: three quarters, then a half."""
    tree = drawn(step_curve(kaplan_meier([25, 50, 100, 100], [True, True, False, False]), 100))
    line = next(one for one in tree.iter("path") if one.get("class") == "mark")
    across, height = RIGHT - LEFT, FOOT - TOP
    wanted = [(0, 1), (25, 1), (25, 0.75), (50, 0.75), (50, 0.5), (100, 0.5)]
    assert corners(line.get("d", "")) == pytest.approx(
        [(LEFT + time / 100 * across, FOOT - share * height) for time, share in wanted], abs=0.06
    )


def test_the_band_ends_where_it_has_no_value() -> None:
    tree = drawn(step_curve(kaplan_meier([10, 20, 30], [True] * 3), 30))
    band = next(one for one in tree.iter("path") if one.get("class", "").startswith("band"))
    places = corners(band.get("d", ""))
    assert max(x for x, _ in places) == pytest.approx(RIGHT, abs=0.1)
    assert min(x for x, _ in places) == pytest.approx(LEFT + (RIGHT - LEFT) / 3, abs=0.1)
    assert all(TOP - 0.1 <= y <= FOOT + 0.1 for _, y in places)
    nothing = drawn(step_curve(kaplan_meier([10.0], [False]), 10))
    assert not [one for one in nothing.iter("path") if one.get("class", "").startswith("band")]


@pytest.mark.parametrize("until", [0.0, 1e-6, 0.7, 999.0, 1e7])
def test_any_length_of_time_fits_the_paper(until: float) -> None:
    tree = drawn(step_curve(kaplan_meier([until, until], [True, False]), until))
    line = next(one for one in tree.iter("path") if one.get("class") == "mark")
    assert all(LEFT - 0.1 <= x <= RIGHT + 0.1 for x, _ in corners(line.get("d", "")))


def test_a_line_for_each_unit_and_a_mark_for_each_promise() -> None:
    start = date(2026, 1, 5)
    jobs = [Job("A", "one", promised=date(2026, 1, 7)), Job('B<&"', "one"), Job("C" * 60, "one")]
    found = finish_dates([Stage("one", (1.0, 2.0, 6.0))], jobs, start)
    tree = drawn(finish_lines(found, start, [job.promised for job in jobs]))
    assert len([one for one in tree.iter("path") if one.get("class") == "bar"]) == 3
    assert len([one for one in tree.iter("path") if one.get("class") == "promise"]) == 1
    words = [one.text for one in tree.iter("text")]
    assert {"A", 'B<&"', "C" * 11 + "…"} <= set(words)
    for one in tree.iter("path"):
        if one.get("class") == "bar":
            assert all(LEFT <= x <= RIGHT for x, _ in corners(one.get("d", "")))


def test_a_promise_of_long_ago_stays_on_the_paper() -> None:
    start = date(2026, 1, 5)
    jobs = [Job("A", "one", promised=date(1, 1, 1)), Job("B", "one", promised=date(9999, 12, 31))]
    found = finish_dates([Stage("one", (1.0,))], jobs, start)
    assert [one.chance_kept for one in found.jobs] == [0.0, 1.0]
    tree = drawn(finish_lines(found, start, [job.promised for job in jobs]))
    for one in tree.iter("path"):
        if one.get("class") == "promise":
            assert all(LEFT <= x <= RIGHT for x, _ in corners(one.get("d", "")))


def test_names_of_bolts_that_sit_close_are_left_to_the_words() -> None:
    """Four bolts apart have their names; two that almost touch have their turns only."""
    apart = bolt_picture([("A", 0, 0, 1), ("B", 100, 0, 2), ("C", 100, 60, 3), ("D", 0, 60, 4)])
    assert all(f">{name}</text>" in apart for name in "ABCD")
    close = bolt_picture([("A", 0, 0, 1), ("B", 5, 0, 2), ("C", 100, 60, 3)])
    assert ">C</text>" in close
    assert ">A</text>" not in close
    assert ">B</text>" not in close
    assert "A, B, C" in close


@pytest.mark.parametrize(("value", "words"), [(0.0, "under 0.01 %"), (0.5, "50.00 %"), (1.0, "over 99.99 %")])
def test_a_share_is_never_said_to_be_none_or_all(value: float, words: str) -> None:
    assert share(value) == words
