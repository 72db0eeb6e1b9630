"""The API of the gauges: names of the contract, rights, once, versions, problems; warnings with readings."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from inspections.gauge_models import Gauge
from inspections.gauging.zeroing import zero_gauge
from shop import clock
from shop.access import make_token
from shop.models import User
from tests.conftest import Cast
from tests.inspections.shop import make_gauges, strip_unit, tag_in

pytestmark = pytest.mark.django_db
PATH = "/api/v1/gauges"
BORE = {
    "code": "BOR-9",
    "kind": "bore gauge",
    "name": "bore gauge",
    "expanded_uncertainty": "4 µm",
    "calibration_uncertainty": "0.002 mm",
    "resolution": "1",
    "range_from": "18",
    "range_to": "2 in",
    "due_on": "2999-01-01",
    "needs_zeroing": True,
}


class Caller:
    """A client with a person's token."""

    def __init__(self, user: User) -> None:
        self.client, self.auth = Client(), f"Bearer {make_token(user=user, label='test')}"

    def get(self, path: str) -> Any:
        return self.client.get(path, headers={"Authorization": self.auth})

    def send(self, verb: str, path: str, body: Any, **headers: str) -> Any:
        return getattr(self.client, verb)(
            path,
            json.dumps(body),
            content_type="application/json",
            headers={"Authorization": self.auth, **headers},
        )


def field_of(answer: Any) -> set[str]:
    assert answer["Content-Type"] == "application/problem+json"
    return {one["field"] for one in answer.json().get("errors", [])}


def test_the_register_is_listed_page_by_page(cast: Cast) -> None:
    make_gauges()
    caller = Caller(cast.technician)
    first = caller.get(f"{PATH}?limit=1").json()
    assert [one["code"] for one in first["items"]] == ["B1"]
    second = caller.get(f"{PATH}?limit=1&cursor={first['next']}").json()
    assert ([one["code"] for one in second["items"]], second["next"]) == (["T2"], None)
    assert caller.get(f"{PATH}?cursor=nonsense").status_code == 422
    assert caller.get(f"{PATH}?limit=1000").status_code == 422


def test_one_gauge_says_everything(cast: Cast) -> None:
    fine, _ = make_gauges()
    zero_gauge(gauge=fine, master="ring", key="k", by=cast.actor("technician"))
    answer = Caller(cast.stores).get(f"{PATH}/B1")
    body = answer.json()
    assert answer["ETag"] == '"1"'
    assert (body["expanded_uncertainty_um"], body["calibration_uncertainty_um"]) == (3, 2)
    assert (body["measures"], body["past_due"], body["retired"]) == (["any"], False, False)
    assert (body["zeroed"]["on"], body["zeroed"]["by"]) == ("ring", "Rune Okafor")
    assert Caller(cast.stores).get(f"{PATH}/NONE").status_code == 404


def test_who_may(cast: Cast) -> None:
    make_gauges()
    for name, reads, writes in (
        ("front_desk", 200, 403),
        ("technician", 200, 403),
        ("stores", 200, 403),
        ("lead", 200, 201),
        ("manager", 200, 201),
        ("supplier", 404, 404),
    ):
        caller = Caller(getattr(cast, name))
        assert caller.get(PATH).status_code == reads, name
        assert caller.get(f"{PATH}/B1").status_code == reads, name
        assert caller.send("post", PATH, BORE | {"code": f"X-{name[:4]}"}).status_code == writes, name
        changed = caller.send("patch", f"{PATH}/T2", {"name": "x"}, **{"If-Match": '"9"'}).status_code
        assert changed == (412 if writes == 201 else writes), name
    assert Client().get(PATH).status_code == 401


def test_a_gauge_is_added_once(cast: Cast) -> None:
    caller, key = Caller(cast.lead), {"Idempotency-Key": str(uuid4())}
    answers = [caller.send("post", PATH, BORE, **key) for _ in range(2)]
    assert [one.status_code for one in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert answers[0]["Location"] == f"{PATH}/BOR-9"
    made = Gauge.objects.get(code="BOR-9")
    assert made.to_mm == pytest.approx(50.8)
    assert (made.measures, made.needs_zeroing) == ("bore", True)
    assert caller.send("post", PATH, BORE | {"name": "other"}, **key).status_code == 422


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "wand"}, "kind"),
        ({"expanded_uncertainty": "wide"}, "expanded_uncertainty"),
        ({"expanded_uncertainty": None}, "expanded_um"),
        ({"range_to": "10"}, "to_mm"),
        ({"measures": ["weight"]}, "measures"),
        ({"first": "B1"}, "first"),
        ({"torque_percent": -1}, "torque_percent"),
        ({"colour": "red"}, "colour"),
        ({"due_on": "soon"}, "due_on"),
        ({"code": "x" * 21}, "code"),
    ],
)
def test_bad_figures_are_problems_by_field(cast: Cast, change: dict[str, Any], field: str) -> None:
    answer = Caller(cast.lead).send("post", PATH, BORE | change)
    assert answer.status_code == 422
    assert any(field in one for one in field_of(answer)), answer.json()
    assert Gauge.objects.count() == 0


def test_a_chain_is_made_of_two(cast: Cast) -> None:
    caller = Caller(cast.lead)
    caller.send(
        "post", PATH, BORE | {"code": "TEL", "kind": "telescopic gauge", "expanded_uncertainty": "3 µm"}
    )
    caller.send("post", PATH, BORE | {"code": "MIC", "kind": "micrometer"})
    body = {"code": "TEL.MIC", "kind": "chain", "name": "both", "first": "TEL", "second": "MIC"}
    made = caller.send("post", PATH, body).json()
    assert made["expanded_uncertainty_um"] == pytest.approx(5.0)  # √(3² + 4²)
    assert (made["chain"], made["measures"]) == (["TEL", "MIC"], ["bore"])


def test_a_change_names_its_version(cast: Cast) -> None:
    make_gauges()
    caller = Caller(cast.manager)
    assert caller.send("patch", f"{PATH}/B1", {"name": "x"}).status_code == 428
    assert caller.send("patch", f"{PATH}/B1", {"name": "x"}, **{"If-Match": '"7"'}).status_code == 412
    changed = caller.send(
        "patch", f"{PATH}/B1", {"whereabouts": "Office", "range_from": "18 mm"}, **{"If-Match": '"1"'}
    )
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert (changed.json()["whereabouts"], changed.json()["from_mm"]) == ("Office", 18)
    emptied = caller.send("patch", f"{PATH}/B1", {"range_from": None}, **{"If-Match": '"2"'})
    assert emptied.json()["from_mm"] is None
    for body in ({"name": None}, {"expanded_uncertainty": None}):
        assert caller.send("patch", f"{PATH}/B1", body, **{"If-Match": '"3"'}).status_code == 422


def test_a_reading_is_answered_with_a_warning_or_a_reason(cast: Cast) -> None:
    bench = strip_unit(cast.actor("technician"))
    tag = tag_in(bench, "CASE")

    def send(user: User, **more: Any) -> Any:
        one = {"id": str(uuid4()), "check": "BORE", "piece": tag, "text": "26.010 mm"} | more
        return (
            Caller(user)
            .send("post", "/api/v1/tickets/2401/readings", {"readings": [one]})
            .json()["results"][0]
        )

    warned = send(cast.technician, gauge="T2")
    assert (warned["status"], "more than a quarter of the zone" in warned["warning"]) == ("recorded", True)
    Gauge.objects.filter(code="B1").update(due_on=clock.today() - timedelta(days=1))
    assert send(cast.technician, gauge="B1")["status"] == "refused"
    assert send(cast.lead, gauge="B1")["field"] == "override"
    assert send(cast.lead, gauge="B1", override="in the post")["status"] == "recorded"
    findings = Caller(cast.lead).get("/api/v1/tickets/2401/findings").json()["findings"]
    bore = next(one for one in findings if one["check"] == "BORE")
    assert any("in the post" in line for line in bore["cautions"])
