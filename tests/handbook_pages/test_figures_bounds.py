"""No body sent to the topics of figures breaks them: each field in turn, the hostile, the most allowed."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from shop.access import make_token
from tests.conftest import Cast
from tests.handbook_pages.cases import GOOD
from tests.handbook_pages.cases.forecasting import GOOD as TIME
from tests.handbook_pages.cases.stocking import GOOD as STOCK
from tests.handbook_pages.cases.studying import GOOD as STUDY
from tests.handbook_pages.cases.surviving import GOOD as SURVIVAL

pytestmark = pytest.mark.django_db
NAMES = sorted({*TIME, *STOCK, *STUDY, *SURVIVAL})
HOSTILE: tuple[Any, ...] = (
    *(None, "", [], {}, True, -1, 0, -0.0, 1e308, -1e308, 1e-300, 999_999_999, 10**400),
    *(
        "1e9",
        "nan",
        "−5",
        "0.000000001",
        "999999999",
        "x" * 61,
        "x" * 60,
        "\x00",
        "½",
        "0001-01-01",
        "9999-12-31",
    ),
    *([1] * 3000, [{}], ["a"], [None], [1e308], [[1]], [0], [0, 0, 0], [-1], [True, False], [999_999_999]),
)


@pytest.fixture
def bearer(cast: Cast) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=cast.technician, label='test')}"}


def sent(bearer: dict[str, str], topic: str, body: Any) -> Any:
    answer = Client(raise_request_exception=False).post(
        f"/api/v1/handbook/{topic}", json.dumps(body), content_type="application/json", headers=bearer
    )
    assert answer.status_code in {200, 400, 422}, (topic, str(body)[:300], answer.content[:300])
    said = json.loads(answer.content, parse_constant=lambda word: pytest.fail(f"{topic} replied {word}"))
    if answer.status_code != 200:
        assert answer["Content-Type"] == "application/problem+json"
        assert all(one["message"] for one in said["errors"])
    return answer


def _put(body: dict[str, Any], field: str) -> list[dict[str, Any]]:
    """The body with the field, and each key of its rows, replaced by everything hostile."""
    made = [body | {field: value} for value in HOSTILE]
    rows = body.get(field)
    if isinstance(rows, list) and rows and isinstance(rows[0], dict):
        made += [body | {field: [rows[0] | {key: value}, *rows[1:]]} for key in rows[0] for value in HOSTILE]
    return made


@pytest.mark.parametrize("topic", NAMES)
def test_no_value_of_any_field_breaks_it(bearer: dict[str, str], topic: str) -> None:
    from shop.topics.all import TOPICS

    good = GOOD[topic][0]
    bodies = [body for field in TOPICS[topic].names for body in _put(good, field)]
    seen = {sent(bearer, topic, body).status_code for body in bodies}
    assert 422 in seen
    assert sent(bearer, topic, good).status_code == 200


def test_the_most_that_may_be_asked_is_answered(bearer: dict[str, str]) -> None:
    units = {"durations": [n % 97 + 1 for n in range(2000)], "observed": [n % 3 == 0 for n in range(2000)]}
    others = {f"other_{name}": values for name, values in units.items()}
    survival = {**units, **others, "ages": [n % 50 for n in range(2000)], "term": 60}
    assert sent(bearer, "survival", survival).json()["log_rank_chi_squared"] == pytest.approx(0, abs=1e-9)
    readings = [
        {"piece": f"{piece}", "person": f"{person}", "value": (piece * 7 + person * 3 + n) % 11}
        for piece in range(100)
        for person in range(10)
        for n in range(2)
    ]
    assert sent(bearer, "gauge-study", {"readings": readings}).status_code == 200
    names = [f"stage {n}" for n in range(12)]
    forecast = {
        "stages": [{"stage": name, "benches": 10} for name in names],
        "history": [
            {"stage": name, "days": (unit * 5 + n) % 9, "unit": f"{unit}"}
            for unit in range(125)
            for n, name in enumerate(names)
        ],
        "jobs": [{"code": f"T-{n}", "stage": names[0], "promised": "2027-01-01"} for n in range(60)],
        "start": "2026-01-05",
        "levels": [n / 10 for n in range(1, 10)],
        "draws": 2000,
    }
    found = sent(bearer, "forecast", forecast).json()
    assert len(found["finishes"]) == 60
    assert len(found["back_test"]) == 9


@pytest.mark.parametrize("model", ["normal", "poisson", "negative binomial"])
def test_the_largest_and_the_smallest_demand_have_a_reorder_point(bearer: dict[str, str], model: str) -> None:
    for mean, sd, time, spread in (
        (1e6, 1e6, 1e4, 1e4),
        (1e6, 1e6, 1e-3, 0),
        (1e-6, 1e6, 1e4, 0),
        (1e-6, 1e-2, 1e-3, 0),
    ):
        body = {
            "mean_demand": mean,
            "sd_demand": sd,
            "lead_time": time,
            "service_level": 0.99999,
            "model": model,
        }
        more = {} if model == "poisson" else {"lead_time_sd": spread}
        found = sent(bearer, "reorder", body | more).json()
        assert found["reorder_point"] >= 0
        assert found["expected_short"] >= 0


def test_codes_are_written_and_never_run(bearer: dict[str, str], client: Client, cast: Cast) -> None:
    client.force_login(cast.technician)
    query = {
        "stages": "one; 1",
        "history": "one; 2",
        "jobs": "<script>x</script>; one",
        "start": "2026-01-05",
    }
    text = client.get("/handbook/forecast", query).content.decode()
    assert "<script>x" not in text
    assert "&lt;script&gt;" in text
