"""Whatever is sent for any argument of any topic, the API answers it or names the field; it never breaks."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from shop.access import make_token
from shop.topics.all import TOPICS
from tests.conftest import Cast
from tests.handbook_pages.cases import GOOD

pytestmark = pytest.mark.django_db
ODD: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    1e308,
    10**400,
    "",
    "NaN",
    "-5 mm",
    "0 mm",
    "999 m",
    "\u0000",
    "x" * 1_000_000,
    [],
    {},
    [[]],
    [None],
    ["1 mm"] * 5000,
    [{"unheard": 1}],
    {"unheard": 1},
)
BODIES = (
    "",
    "[]",
    "null",
    "1",
    '"x"',
    "{",
    "[" * 100_000,
    '{"' + "k" * 1_000_000 + '": 1}',
    '{"diameter": NaN}',
)


@pytest.fixture
def post(cast: Cast) -> Any:
    bearer = {"Authorization": f"Bearer {make_token(user=cast.technician, label='test')}"}
    client = Client(raise_request_exception=False)

    def send(topic: str, body: str) -> Any:
        path = f"/api/v1/handbook/{topic}"
        return client.post(path, body, content_type="application/json", headers=bearer)

    return send


def held(answer: Any, what: object, own: str = "") -> None:
    """Answered, or a problem whose every message names a field, never a part of the framework."""
    assert answer.status_code in {200, 422}, (what, answer.content[:300])
    if answer.status_code == 200:
        return
    assert answer["Content-Type"] == "application/problem+json", what
    errors = answer.json().get("errors")
    assert errors, (what, answer.content[:300])
    assert all(one["field"] and one["message"] for one in errors), (what, answer.content[:300])
    assert len(answer.content) < 10_000, what
    if own:
        assert any(one["field"].split(".")[0] == own for one in errors), (what, answer.content[:300])


@pytest.mark.parametrize("topic", sorted(TOPICS))
def test_an_odd_value_is_answered_or_named(post: Any, topic: str) -> None:
    good = GOOD[topic][0]
    for one in TOPICS[topic].arguments:
        for odd in ODD:
            own = one.name if isinstance(odd, dict) or odd == [[]] else ""  # no argument takes these
            held(post(topic, json.dumps(good | {one.name: odd})), (one.name, str(odd)[:40]), own)


@pytest.mark.parametrize(
    "topic", sorted(one for one in TOPICS if any(a.columns for a in TOPICS[one].arguments))
)
def test_an_odd_value_in_a_row_is_answered_or_named(post: Any, topic: str) -> None:
    good = GOOD[topic][0]
    for one in TOPICS[topic].arguments:
        rows = good.get(one.name)
        if not one.columns or not rows:
            continue
        for column in one.columns:
            for odd in ODD:
                changed = [{**rows[0], column.name: odd}, *rows[1:]]
                body = json.dumps(good | {one.name: changed})
                held(post(topic, body), (one.name, column.name, str(odd)[:40]))


@pytest.mark.parametrize("topic", ["limits", "end-float", "forecast"])
def test_an_odd_body_is_a_problem(post: Any, topic: str) -> None:
    for body in BODIES:
        answer = post(topic, body)
        assert answer.status_code in {400, 413, 422}, (body[:20], answer.content[:300])
        assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("topic", sorted(TOPICS))
def test_a_name_that_is_not_known_is_named(post: Any, topic: str) -> None:
    answer = post(topic, json.dumps(GOOD[topic][0] | {"unheard": 1}))
    held(answer, topic, "unheard")
    assert answer.status_code == 422


def test_a_field_called_like_a_part_of_the_framework_keeps_its_name(post: Any) -> None:
    answer = post("bending", json.dumps(GOOD["bending"][0] | {"form": [1]}))
    assert [one["field"] for one in answer.json()["errors"]] == ["form"]
