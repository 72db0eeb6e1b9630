"""The page that lists every formula: it misses none, and each has its source, its words and its units."""

from __future__ import annotations

import html

import pytest

from shop.topics.all import TOPICS
from shop.topics.formulas import functions, rooms
from tests.conftest import Cast, SignedIn

FUNCTIONS = list(functions())


@pytest.mark.parametrize("room", rooms(), ids=lambda room: room.name)
def test_each_formula_has_its_source(room: object) -> None:
    for one in room.formulas:  # type: ignore[attr-defined]
        assert one.source, f"{one.room}.{one.name} has no Reference"
        assert one.summary.endswith("."), one.name


def test_every_function_with_a_working_is_there() -> None:
    listed = {(room.name, one.name) for room in rooms() for one in room.formulas}
    assert listed == {(room, function.__name__) for room, function in FUNCTIONS}
    assert len(listed) > 60


def test_every_topic_says_which_formulas_it_uses() -> None:
    known = {function for _, function in FUNCTIONS}
    for topic in TOPICS.values():
        assert topic.formulas, topic.name
        assert set(topic.formulas) <= known, topic.name


@pytest.mark.django_db
def test_the_page_lists_them_all(cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.technician).get("/handbook/formulas")
    text = html.unescape(answer.content.decode())
    assert answer.status_code == 200
    for room in rooms():
        for one in room.formulas:
            assert f'id="{one.key}"' in text
            assert f"Source: {one.source}" in text
    assert "JCGM 106:2012" in text
    assert signed_in(cast.supplier).get("/handbook/formulas").status_code == 404
    assert 'href="/handbook/formulas"' in signed_in(cast.technician).get("/handbook/").content.decode()
