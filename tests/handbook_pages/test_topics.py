"""The Handbook's topics through the API and on their pages: same table, same answer, problems by field."""

from __future__ import annotations

import html
import json
import math
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client

from shop.access import make_token
from shop.topics.all import TOPICS
from tests.conftest import Cast, SignedIn
from tests.handbook_pages.cases import BAD, GOOD

pytestmark = pytest.mark.django_db
NAMES = sorted(TOPICS)


@pytest.fixture
def bearer(cast: Cast) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=cast.technician, label='test')}"}


def post(bearer: dict[str, str], topic: str, body: Any) -> Any:
    return Client().post(
        f"/api/v1/handbook/{topic}", json.dumps(body), content_type="application/json", headers=bearer
    )


def test_every_topic_has_cases() -> None:
    assert set(GOOD) == set(NAMES)
    assert {topic for topic, _, _ in BAD} == set(NAMES)


@pytest.mark.parametrize("topic", NAMES)
def test_the_api_answers_as_the_contract_says(bearer: dict[str, str], topic: str) -> None:
    body, wanted = GOOD[topic]
    answer = post(bearer, topic, body)
    assert answer.status_code == 200, answer.content
    said = answer.json()
    for key, value in wanted.items():
        if isinstance(value, float):
            assert said[key] == pytest.approx(value, rel=2e-3, abs=1e-6), key
        else:
            assert said[key] == value, key
    assert said["working"]
    assert {"formula", "inputs", "source"} == set(said["working"][0])
    assert isinstance(said["cautions"], list)


@pytest.mark.parametrize(("topic", "change", "name"), BAD)
def test_what_is_wrong_is_named_by_its_field(
    bearer: dict[str, str], topic: str, change: dict[str, Any], name: str
) -> None:
    body = {key: value for key, value in (GOOD[topic][0] | change).items() if value is not None}
    answer = post(bearer, topic, body)
    assert answer.status_code == 422, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    problem = answer.json()
    fields = [one["field"].split(".")[0] for one in problem["errors"]]
    assert name in fields, problem
    assert all(one["message"] for one in problem["errors"])


@pytest.mark.parametrize("body", ["", "[]", "{", '"x"', '{"diameter": NaN, "zone": "H7"}'])
def test_no_body_breaks_it(bearer: dict[str, str], body: str) -> None:
    answer = Client().post("/api/v1/handbook/limits", body, content_type="application/json", headers=bearer)
    assert answer.status_code in {400, 422}
    assert answer["Content-Type"] == "application/problem+json"


def test_the_trial_way_of_end_float(bearer: dict[str, str]) -> None:
    """Trial float 0.45 with 1.00 in: 1.45 of room; 1.25 leaves 0.20."""
    body = {
        "trial_float": "0.45 mm",
        "stack": ["1.00 mm"],
        "target_min": "0.10 mm",
        "target_max": "0.25 mm",
        "washers": [{"code": "C", "thickness": "1.25 mm"}],
    }
    said = post(bearer, "end-float", body).json()
    assert said["choice"] == ["C"]
    assert said["float_mm"] == pytest.approx(0.20)


def test_places_by_name_or_by_count(bearer: dict[str, str]) -> None:
    body = GOOD["end-float"][0] | {
        "places": ["front", "rear"],
        "gap": "32.5 mm",
        "washers": [
            {"code": "A", "thickness": "1.00 mm", "place": "front"},
            {"code": "B", "thickness": "1.10 mm", "place": "rear"},
        ],
    }
    assert post(bearer, "end-float", body).json()["choice"] == ["A", "B"]
    two = body | {"places": 2, "washers": [{"code": "A", "thickness": "1.05 mm", "count": 2}]}
    assert post(bearer, "end-float", two).json()["choice"] == ["A", "A"]


def test_who_may_ask(cast: Cast) -> None:
    body = GOOD["limits"][0]
    assert post({}, "limits", body).status_code == 401
    supplier = {"Authorization": f"Bearer {make_token(user=cast.supplier, label='test')}"}
    assert post(supplier, "limits", body).status_code == 404
    for name in ("front_desk", "lead", "stores", "manager", "owner"):
        token = {"Authorization": f"Bearer {make_token(user=getattr(cast, name), label='test')}"}
        assert post(token, "limits", body).status_code == 200, name


def test_the_document_lists_every_topic(cast: Cast, client: Client) -> None:
    document = client.get("/api/v1/openapi.json").json()
    for name in NAMES:
        operation = document["paths"][f"/api/v1/handbook/{name}"]["post"]
        reference = operation["requestBody"]["content"]["application/json"]["schema"]["$ref"]
        schema = document["components"]["schemas"][reference.rsplit("/", 1)[1]]
        assert tuple(schema["properties"]) == TOPICS[name].names


# --- pages


def test_the_index_leads_to_every_topic(cast: Cast, signed_in: SignedIn) -> None:
    text = signed_in(cast.stores).get("/handbook/").content.decode()
    for name in NAMES:
        assert f'href="/handbook/{name}"' in text


@pytest.mark.parametrize("topic", NAMES)
def test_the_example_of_each_page_has_an_answer(cast: Cast, signed_in: SignedIn, topic: str) -> None:
    client = signed_in(cast.technician)
    empty = client.get(f"/handbook/{topic}")
    assert empty.status_code == 200
    answer = client.get(f"/handbook/{topic}?{urlencode(TOPICS[topic].example)}")
    text = html.unescape(answer.content.decode())
    assert answer.status_code == 200, text
    assert '<dl class="facts">' in text
    assert "Source:" in text or 'class="source"' in text


def test_page_and_api_say_the_same(cast: Cast, signed_in: SignedIn, bearer: dict[str, str]) -> None:
    said = post(bearer, "tightening", GOOD["tightening"][0]).json()
    page = signed_in(cast.technician).get(f"/handbook/tightening?{urlencode(GOOD['tightening'][0])}")
    assert f"{said['torque_nm']:.1f} N·m" in page.content.decode()
    assert math.isclose(said["torque_nm"], 41.86, rel_tol=1e-3)


@pytest.mark.parametrize(
    ("query", "name", "words"),
    [
        ("diameter=25&zone=H7", "diameter", "has no unit. Write it like"),
        ("diameter=25+mm&zone=", "zone", "This is needed"),
        ("diameter=900+mm&zone=H7", "diameter", "Allowed: above 0, to 500 mm. This is 900."),
    ],
)
def test_an_error_stands_beside_its_field(
    cast: Cast, signed_in: SignedIn, query: str, name: str, words: str
) -> None:
    answer = signed_in(cast.technician).get(f"/handbook/limits?{query}")
    text = html.unescape(answer.content.decode())
    assert answer.status_code == 422
    message = text.split(f'id="id_{name}_error"')[1].split("</div>")[0]
    assert words in message
    assert message.count("<p>") == 1
    assert 'aria-invalid="true"' in text


def test_a_persons_own_decimal_mark_is_read(cast: Cast, signed_in: SignedIn) -> None:
    cast.technician.decimal_mark = ","
    cast.technician.save(update_fields=["decimal_mark"])
    answer = signed_in(cast.technician).get("/handbook/limits?diameter=28,540+mm&zone=H7")
    assert answer.status_code == 200
    assert signed_in(cast.lead).get("/handbook/limits?diameter=28,540+mm&zone=H7").status_code == 422


def test_who_may_read(cast: Cast, signed_in: SignedIn, client: Client) -> None:
    for page in ("/handbook/", "/handbook/fit"):
        assert client.get(page).status_code == 302
        assert signed_in(cast.supplier).get(page).status_code == 404
        for name in ("front_desk", "technician", "lead", "stores", "manager", "owner"):
            assert signed_in(getattr(cast, name)).get(page).status_code == 200
        assert signed_in(cast.owner).post(page).status_code == 405
    assert signed_in(cast.owner).get("/handbook/alchemy").status_code == 404
