"""The API of the Bench: readings in, each answered on its own; findings out; who may, and bad bodies."""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from inspections.models import Examination, Reading
from shop.access import make_token
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import read, read_all, say, strip_unit, tag_in
from tests.inspections.small import SMALL

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


class Caller:
    """Calls with one person's token."""

    def __init__(self, user: Any) -> None:
        self.headers = {"Authorization": f"Bearer {make_token(user=user, label='test')}"}

    def post(self, path: str, body: Any) -> Any:
        data = body if isinstance(body, str) else json.dumps(body)
        return Client().post(
            f"/api/v1{path}", data=data, content_type="application/json", headers=self.headers
        )

    def get(self, path: str) -> Any:
        return Client().get(f"/api/v1{path}", headers=self.headers)


def bore(**more: Any) -> dict[str, Any]:
    return {"id": str(uuid4()), "check": "BORE", "text": "26.010 mm", "gauge": "B1"} | more


def test_readings_are_answered_one_by_one(bench: Examination, cast: Cast) -> None:
    caller, good, bad = Caller(cast.technician), bore(taken_at="2026-11-25T09:30:00+01:00"), bore(gauge="Z9")
    count = {"id": str(uuid4()), "check": "TEETH", "text": 18}
    for status in ("recorded", "already recorded"):
        answer = caller.post("/tickets/2401/readings", {"readings": [good, bad, count]})
        assert answer.status_code == 200, answer.content
        results = answer.json()["results"]
        assert [one["status"] for one in results] == [status, "refused", status]
        assert [one["id"] for one in results] == [good["id"], bad["id"], count["id"]]
        assert results[1]["field"] == "gauge"
        assert answer.json()["counter"] == 2
    assert Reading.objects.count() == 2
    assert Reading.objects.get(check_code="TEETH").outcome == "18"


def test_the_same_by_the_examinations_id(bench: Examination, cast: Cast) -> None:
    answer = Caller(cast.technician).post(f"/examinations/{bench.pk}/readings", {"readings": [bore()]})
    assert answer.json()["results"][0]["status"] == "recorded"


def test_a_known_id_with_other_content_is_refused(bench: Examination, cast: Cast) -> None:
    caller, sent = Caller(cast.technician), bore()
    caller.post("/tickets/2401/readings", {"readings": [sent]})
    answer = caller.post("/tickets/2401/readings", {"readings": [sent | {"text": "26.011 mm"}]})
    assert answer.json()["results"][0]["status"] == "refused"
    assert Reading.objects.get().text == "26.010 mm"


def test_a_correction_is_sent_as_a_withdrawal(bench: Examination, cast: Cast) -> None:
    caller, wrong = Caller(cast.technician), bore(text="62.010 mm")
    right = bore(withdraws=wrong["id"], reason="digits turned round")
    results = caller.post("/tickets/2401/readings", {"readings": [wrong, right]}).json()["results"]
    assert [one["status"] for one in results] == ["recorded", "recorded"]
    found = caller.get("/tickets/2401/findings").json()["findings"]
    finding = next(one for one in found if one["check"] == "BORE")
    assert (finding["state"], finding["superseded"]) == ("within", [wrong["id"]])


def test_findings_carry_verdicts_working_and_complaints(bench: Examination, cast: Cast) -> None:
    from shop.models import Complaint, TicketComplaint

    assert bench.ticket is not None
    TicketComplaint.objects.create(ticket=bench.ticket, complaint=Complaint.objects.get(code="LEAKS"))
    technician = cast.actor("technician")
    read_all(bench, technician)
    say(bench, technician, "LOOK", "CRACK")
    body = Caller(cast.manager).get("/tickets/2401/findings").json()
    assert {one["code"]: one["status"] for one in body["positions"]} == {
        "CASE": "rework",
        "SHAFT": "serviceable",
        "SEAL": "replaced",
    }
    finding = next(one for one in body["findings"] if one["check"] == "MATE")
    # 26.010 − 25.985 = 0.025 mm
    assert finding["value_mm"] == pytest.approx(0.025)
    assert finding["working"][0]["source"].startswith("JCGM 100:2008")
    verdict = next(one for one in body["verdicts"] if one["position"] == "CASE")
    assert verdict["needs"] == [{"check": "LOOK", "remedies": ["BRAZE"]}]
    assert body["complaints"] == [{"code": "LEAKS", "name": "Leaks", "explained_by": ["LOOK"], "answer": ""}]
    assert body["guide_revision"] == 1


def test_a_technician_is_blind_until_having_read(bench: Examination, cast: Cast) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.004 mm")

    def seen(user: Any) -> dict[str, Any]:
        found = Caller(user).get("/tickets/2401/findings").json()["findings"]
        return next(one for one in found if one["check"] == "BORE")

    hidden = seen(cast.second_technician)
    assert (hidden["blind"], hidden["value_mm"], hidden["working"]) == (True, None, [])
    assert "26.00" not in json.dumps({**hidden, "lower_mm": 0, "upper_mm": 0})
    for user in (cast.technician, cast.lead, cast.front_desk):
        assert seen(user)["value_mm"] == pytest.approx(26.004)
    read(bench, cast.actor("second_technician"), "BORE", "26.018 mm")
    body = Caller(cast.second_technician).get("/tickets/2401/findings").json()
    assert body["disputes"][0]["open"]
    assert "Rune Okafor read 26.0040 mm" in body["disputes"][0]["words"]
    read(bench, cast.actor("lead"), "BORE", "26.017 mm")
    settled = Caller(cast.technician).get("/tickets/2401/findings").json()["disputes"][0]
    assert (settled["open"], "Jonas Prideaux" in settled["words"]) == (False, True)


MATRIX = {
    "front_desk": (403, 200),
    "technician": (200, 200),
    "second_technician": (200, 200),
    "lead": (200, 200),
    "stores": (403, 200),
    "manager": (403, 200),
    "owner": (200, 200),
    "supplier": (404, 404),
    "stranger": (403, 403),
}


@pytest.mark.parametrize("name", MATRIX)
def test_who_may(bench: Examination, cast: Cast, name: str) -> None:
    caller, (writes, reads) = Caller(getattr(cast, name)), MATRIX[name]
    for path in ("/tickets/2401/readings", f"/examinations/{bench.pk}/readings"):
        assert caller.post(path, {"readings": [bore()]}).status_code == writes
    assert caller.get("/tickets/2401/findings").status_code == reads


def test_nobody_gets_in_without_a_token(bench: Examination) -> None:
    answer = Client().get("/api/v1/tickets/2401/findings")
    assert answer.status_code == 401
    assert answer.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("number", ["9999", "2147483647", "99999999999999999999", "0", "-1", "x"])
def test_no_such_ticket_is_no_server_error(bench: Examination, cast: Cast, number: str) -> None:
    caller = Caller(cast.technician)
    for answer in (
        caller.get(f"/tickets/{number}/findings"),
        caller.post(f"/tickets/{number}/readings", {"readings": [bore()]}),
        caller.post(f"/examinations/{number}/readings", {"readings": [bore()]}),
    ):
        assert answer.status_code in {404, 422}
        assert answer.headers["Content-Type"] == "application/problem+json"


def test_a_ticket_that_is_not_stripped_has_no_findings(cast: Cast) -> None:
    from inspections.guiding.guides import publish_guide
    from shop.access import PROGRAM
    from tests.inspections.shop import open_ticket

    publish_guide(text=SMALL, by=PROGRAM)
    open_ticket()
    assert Caller(cast.technician).get("/tickets/2401/findings").status_code == 404


@pytest.mark.parametrize(
    "body",
    [
        "{",
        "[]",
        {},
        {"readings": []},
        {"readings": [{"id": "no uuid", "check": "BORE", "text": "1 mm"}]},
        {"readings": [{"id": str(uuid4()), "text": "1 mm"}]},
        {"readings": [{"id": str(uuid4()), "check": "BORE", "text": "1 mm", "value": 3}]},
        {"readings": [{"id": str(uuid4()), "check": "BORE", "text": ["1 mm"]}]},
        {"readings": [{"id": str(uuid4()), "check": "BORE", "text": True}]},
        {"readings": [{"id": str(uuid4()), "check": "BORE", "taken_at": "yesterday"}]},
        {"readings": [{"id": str(uuid4()), "check": "LOOK", "text": "sound"}] * 501},
    ],
)
def test_bad_bodies_are_problems(bench: Examination, cast: Cast, body: Any) -> None:
    answer = Caller(cast.technician).post("/tickets/2401/readings", body)
    assert answer.status_code in {400, 422}
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert Reading.objects.count() == 0


def test_a_closed_unit_takes_no_reading(bench: Examination, cast: Cast) -> None:
    from shop.models import Ticket

    Ticket.objects.update(stage="built")
    answer = Caller(cast.technician).post("/tickets/2401/readings", {"readings": [bore()]})
    assert answer.status_code == 409
    assert "nothing is read now" in answer.json()["detail"]


def test_another_tickets_piece_is_refused(bench: Examination, cast: Cast) -> None:
    from inspections.readings.examining import open_examination
    from tests.inspections.shop import open_ticket

    other = open_examination(ticket=open_ticket(2402), by=cast.actor("technician"))
    answer = Caller(cast.technician).post(
        "/tickets/2401/readings", {"readings": [bore(piece=tag_in(other, "CASE"))]}
    )
    assert answer.json()["results"][0]["field"] == "piece"


def test_a_browser_session_needs_its_csrf_token(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.technician, backend="django.contrib.auth.backends.ModelBackend")
    body = json.dumps({"readings": [bore()]})
    answer = client.post("/api/v1/tickets/2401/readings", body, content_type="application/json")
    assert answer.status_code in {401, 403}
    assert Reading.objects.count() == 0
