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
from shop.handbook_answers import TOPICS
from shop.handbook_views import example_of
from tests.conftest import Cast, SignedIn

pytestmark = pytest.mark.django_db
NAMES = ["quantity", "limits", "fit", "conformity", "temperature", "thread", "tightening", "end-float"]

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # An inch is 25.4 mm exactly (ISO 31-1, from memory): 1.125 in.
    "quantity": ({"text": "1 1/8 in", "kind": "length"}, {"canonical": 28.575, "unit": "in"}),
    # ISO 286-2, table 6: H7 at 25 mm is 0 to +21 µm.
    "limits": ({"diameter": "25 mm", "zone": "H7"}, {"lower_um": 0.0, "upper_um": 21.0}),
    # ISO 286-2, tables 6 and 27: H7 0/+21 with p6 +22/+35 gives −35 to −1.
    "fit": (
        {"diameter": "25 mm", "hole": "H7", "shaft": "p6"},
        {
            "hole": {"lower_um": 0.0, "upper_um": 21.0},
            "shaft": {"lower_um": 22.0, "upper_um": 35.0},
            "clearance_min_um": -35.0,
            "clearance_max_um": -1.0,
            "character": "interference",
        },
    ),
    # JCGM 106:2012, 7.3: one standard uncertainty below the limit, Φ(1) = 0.8413.
    "conformity": (
        {"value": "25.019 mm", "expanded_uncertainty": "0.004 mm", "upper": "25.021 mm"},
        {"probability": 0.841345, "decision": "too close to call", "acceptance_lower_mm": None},
    ),
    # ISO 1: 20 °C is the reference, so nothing is corrected there.
    "temperature": (
        {"length": "80.000 mm", "temperature": "20 °C", "material": "steel"},
        {"length_at_20_mm": 80.0, "correction_um": 0.0},
    ),
    # ASME B1.1-2003, table 2: 3/8-16 UNC, pitch diameter 0.3344 in.
    "thread": (
        {"designation": "3/8-16 UNC"},
        {"taper": False, "major_mm": 9.525, "pitch_diameter_mm": 0.3344 * 25.4},
    ),
    # T = K F d with K 0.2: F 0.75 × 586.05 MPa × 49.99 mm² = 21.97 kN (SAE J429, IFI N-12).
    "tightening": (
        {"thread": "3/8-16 UNC", "grade": "SAE 5", "condition": "dry"},
        {"torque_nm": 41.86, "torque_min_nm": 31.4, "torque_max_nm": 52.3, "limited_by": "bolt"},
    ),
    # 31.48 − 30.20 = 1.28 of room; 1.10 leaves 0.18 of the 0.10 to 0.25 that is wanted.
    "end-float": (
        {
            "gap": "31.48 mm",
            "stack": ["30.2 mm"],
            "target_min": "0.10 mm",
            "target_max": "0.25 mm",
            "washers": [
                {"code": "A", "thickness": "1.00 mm"},
                {"code": "B", "thickness": "1.10 mm", "count": 2, "price": "0.45 EUR"},
            ],
        },
        {"choice": ["B"], "float_mm": 0.18, "shim_change_mm": 1.105},
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("quantity", {"text": "28,540 mm"}, "text"),
    ("quantity", {"text": "3 thou", "kind": "colour"}, "kind"),
    ("limits", {"diameter": "25"}, "diameter"),
    ("limits", {"diameter": 25}, "diameter"),
    ("limits", {"diameter": "900 mm"}, "diameter"),
    ("limits", {"zone": "Q99"}, "zone"),
    ("limits", {"zone": None}, "zone"),
    ("limits", {"colour": "red"}, "colour"),
    ("fit", {"hole": "p6"}, "hole"),
    ("fit", {"shaft": "zz1"}, "shaft"),
    ("fit", {"temperature": "80 °C"}, "hole_material"),
    ("fit", {"temperature": "80 °C", "hole_material": "cheese", "shaft_material": "steel"}, "hole_material"),
    ("conformity", {"upper": None}, "lower"),
    ("conformity", {"coverage_factor": 0}, "coverage_factor"),
    ("conformity", {"coverage_factor": True}, "coverage_factor"),
    ("conformity", {"confidence": "1.5"}, "confidence"),
    ("conformity", {"expanded_uncertainty": "−0.1 mm"}, "expanded_uncertainty"),
    ("temperature", {"temperature": "300 °C"}, "temperature"),
    ("temperature", {"material": "cheese"}, "material"),
    ("temperature", {"gauge_temperature": "28 °C"}, "gauge_material"),
    ("thread", {"designation": "7/8-99 ODD"}, "designation"),
    ("tightening", {"thread": "1/2-14 NPT"}, "thread"),
    ("tightening", {"grade": "99"}, "grade"),
    ("tightening", {"condition": "sticky"}, "condition"),
    ("tightening", {"nut_factor": 0.2}, "nut_factor"),
    ("tightening", {"clamp_fraction": 2}, "clamp_fraction"),
    ("tightening", {"engagement": "12 mm"}, "tapped_material"),
    ("tightening", {"tapped_material": "grey iron", "engagement": "900 mm"}, "engagement"),
    ("end-float", {"gap": None}, "gap"),
    ("end-float", {"setting": "preload"}, "setting"),
    ("end-float", {"target_max": "0.05 mm"}, "target_max"),
    ("end-float", {"washers": []}, "washers"),
    ("end-float", {"washers": [{"code": "A", "thickness": "thick"}]}, "washers"),
    ("end-float", {"places": 0}, "places"),
    ("end-float", {"stack": ["30.2"]}, "stack"),
]


@pytest.fixture
def bearer(cast: Cast) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=cast.technician, label='test')}"}


def post(bearer: dict[str, str], topic: str, body: Any) -> Any:
    return Client().post(
        f"/api/v1/handbook/{topic}", json.dumps(body), content_type="application/json", headers=bearer
    )


def test_the_table_holds_the_topics_of_the_contract() -> None:
    assert list(TOPICS) == NAMES
    assert set(GOOD) == set(NAMES)


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
    answer = client.get(f"/handbook/{topic}?{urlencode(example_of(TOPICS[topic]))}")
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
        ("diameter=900+mm&zone=H7", "diameter", "allowed"),
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
