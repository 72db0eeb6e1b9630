"""The gate to ``examined``: complaints explained or answered, open positions with their reasons."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from inspections.evidence.answering import give_answer
from inspections.evidence.answers import answers_of, standing
from inspections.models import Answer, Examination
from inspections.readings.examining import finish_examination
from shop.access import make_token
from shop.models import Audit, Ticket
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast, SignedIn
from tests.inspections.evidence import complain
from tests.inspections.shop import read_all, say, strip_unit, tag_in

pytestmark = pytest.mark.django_db
WRITERS = {"technician", "second_technician", "lead", "owner"}
READERS = {*WRITERS, "front_desk", "stores", "manager"}
NAMES = sorted({*READERS, "supplier", "stranger"})


@pytest.fixture
def bench(cast: Cast) -> Examination:
    held = strip_unit(cast.actor("technician"))
    read_all(held, cast.actor("technician"))
    held.refresh_from_db()
    return held


def ticket_of(held: Examination) -> Ticket:
    assert held.ticket is not None
    return held.ticket


def finish(held: Examination, cast: Cast) -> str:
    """The stage after finishing, or what stands in its way."""
    try:
        return finish_examination(ticket=ticket_of(held), by=cast.actor("technician")).stage
    except Refusal as trouble:
        return trouble.message


def answer(held: Examination, cast: Cast, words: str = "Looked, nothing found.", **more: Any) -> Answer:
    more.setdefault("id", uuid4())
    more.setdefault("by", cast.actor("technician"))
    return give_answer(examination=held, words=words, **more)


def test_a_complaint_without_a_cause_holds_the_ticket_back(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS", "NOISY")
    assert "Not explained yet: Leaks, Noisy" in finish(bench, cast)
    answer(bench, cast, complaint="LEAKS")
    assert "Not explained yet: Noisy." in finish(bench, cast)
    answer(bench, cast, complaint="NOISY")
    assert finish(bench, cast) == "examined"


def test_a_finding_explains_a_complaint(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    for _ in range(2):  # the second settles what the first disputes
        assert say(bench, cast.actor("lead"), "LOOK", "GONE").status == "recorded"
    assert finish(bench, cast) == "examined"


def test_what_is_worth_a_note_explains_nothing(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    for _ in range(2):
        assert say(bench, cast.actor("lead"), "LOOK", "RUST").status == "recorded"
    assert finish(bench, cast) == "Not explained yet: Leaks. Find the cause, or answer in words."


def test_own_words_alone_are_a_complaint_and_with_chosen_ones_they_tell_more(
    bench: Examination, cast: Cast
) -> None:
    Ticket.objects.update(complaint_words="It howls on the motorway.")
    ticket_of(bench).refresh_from_db()
    assert "Not explained yet: It howls on the motorway." in finish(bench, cast)
    answer(bench, cast, "The shaft was dry; see the bore.")
    assert finish(bench, cast) == "examined"


def test_with_chosen_complaints_own_words_hold_nothing_back(bench: Examination, cast: Cast) -> None:
    Ticket.objects.update(complaint_words="It drips.")
    ticket_of(bench).refresh_from_db()
    complain(bench, "LEAKS")
    answer(bench, cast, complaint="LEAKS")
    assert finish(bench, cast) == "examined"


def test_a_position_stays_open_with_a_reason(cast: Cast) -> None:
    held = strip_unit(cast.actor("technician"))
    for check, text in (("ID", "X1-101"), ("LOOK", "sound"), ("THREAD", "sound")):
        say(held, cast.actor("technician"), check, text)
    assert "Not decided yet: Casing, Shaft" in finish(held, cast)
    answer(held, cast, "Waits for the crack test.", position="CASE")
    assert "Not decided yet: Shaft." in finish(held, cast)
    answer(held, cast, "Away for grinding.", position="SHAFT")
    assert finish(held, cast) == "examined"


def test_an_answer_that_is_taken_back_stands_no_more(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    first = answer(bench, cast, complaint="LEAKS")
    answer(bench, cast, "It was the drain plug after all.", complaint="LEAKS", by=cast.actor("lead"))
    assert standing(answers_of(bench))["complaint", "LEAKS"].words == "It was the drain plug after all."
    answer(bench, cast, "Not sure of it.", complaint="LEAKS", stands=False)
    assert standing(answers_of(bench)) == {}
    assert "Not explained yet" in finish(bench, cast)
    assert Answer.objects.filter(pk=first.pk).exists()  # all stay on record
    with pytest.raises(Refusal, match="no answer to take back"):
        answer(bench, cast, "again", complaint="LEAKS", stands=False)


def test_the_same_answer_twice_is_once_and_raises_the_counter_once(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    before, id = bench.counter, uuid4()
    assert answer(bench, cast, id=id, complaint="LEAKS") == answer(bench, cast, id=id, complaint="LEAKS")
    bench.refresh_from_db()
    assert bench.counter == before + 1
    with pytest.raises(Refusal) as trouble:
        answer(bench, cast, "other words", id=id, complaint="LEAKS")
    assert set(trouble.value.errors) == {"id"}
    assert Audit.objects.filter(deed="answered").count() == 1


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"words": "  "}, "words"),
        ({"words": "x" * 401}, "words"),
        ({"words": "two\nlines"}, "words"),
        ({"complaint": "NOISY"}, "complaint"),
        ({"complaint": "NONE"}, "complaint"),
        ({"position": "NONE"}, "position"),
        ({"position": "LID"}, "position"),
        ({"position": "CASE"}, "position"),
        ({"complaint": "LEAKS", "position": "CASE"}, "position"),
        ({}, "complaint"),
    ],
)
def test_what_cannot_be_answered_is_refused(
    bench: Examination, cast: Cast, more: dict[str, Any], field: str
) -> None:
    complain(bench, "LEAKS")
    with pytest.raises(Refusal) as trouble:
        answer(bench, cast, **more)
    assert set(trouble.value.errors) == {field}
    assert Answer.objects.count() == 0


def test_a_closed_ticket_takes_no_answer(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    Ticket.objects.update(stage="declined")
    with pytest.raises(Conflict):
        answer(bench, cast, complaint="LEAKS")


def test_the_database_keeps_answers(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    answer(bench, cast, complaint="LEAKS")
    with pytest.raises(IntegrityError), transaction.atomic():
        Answer.objects.update(words="other")
    with pytest.raises(IntegrityError), transaction.atomic():
        Answer.objects.all().delete()


# --- page and API


def headers(user: Any) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=user, label='test')}"}


def post(user: Any, path: str, body: dict[str, Any] | None = None) -> Any:
    return Client().post(
        f"/api/v1/tickets/2401{path}", data=body or {}, content_type="application/json", headers=headers(user)
    )


def test_the_api_answers_and_finishes(bench: Examination, cast: Cast) -> None:
    complain(bench, "LEAKS")
    early = post(cast.technician, "/finish-examination")
    assert early.status_code == 422
    assert "Not explained yet: Leaks" in early.json()["detail"]
    sent = {"id": str(uuid4()), "complaint": "LEAKS", "words": "Only mist at the breather."}
    for _ in range(2):
        done = post(cast.technician, "/answers", sent)
        assert done.status_code == 200, done.content
    assert done.json()["hindrances"] == []
    assert done.json()["complaints"][0]["answer"]["words"] == "Only mist at the breather."
    assert Answer.objects.count() == 1
    assert post(cast.technician, "/finish-examination").json() == {"number": 2401, "stage": "examined"}


@pytest.mark.parametrize("name", NAMES)
def test_who_may_answer(bench: Examination, cast: Cast, signed_in: SignedIn, name: str) -> None:
    complain(bench, "LEAKS")
    user, nobody = getattr(cast, name), 404 if name == "supplier" else 403
    client = signed_in(user)
    assert client.get("/bench/2401/answers").status_code == (200 if name in READERS else nobody)
    got = Client().get("/api/v1/tickets/2401/answers", headers=headers(user))
    assert got.status_code == (200 if name in READERS else nobody)
    sent = {"id": str(uuid4()), "kind": "complaint", "code": "LEAKS", "words": "Nothing."}
    assert client.post("/bench/2401/answers", sent).status_code == (302 if name in WRITERS else nobody)
    more = {"id": str(uuid4()), "complaint": "LEAKS", "words": "Nothing."}
    assert post(user, "/answers", more).status_code == (200 if name in WRITERS else nobody)
    assert post(user, "/finish-examination").status_code == (200 if name in WRITERS else nobody)


def test_the_page_says_what_is_wrong_beside_the_field_and_keeps_the_words(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    complain(bench, "LEAKS", "NOISY")
    client, long = signed_in(cast.technician), "x" * 401
    page = client.get("/bench/2401/answers").content.decode()
    assert page.count("Not explained yet.") == 2
    back = client.post("/bench/2401/answers", {"kind": "complaint", "code": "NOISY", "words": long})
    body = back.content.decode()
    assert back.status_code == 422
    assert f'value="{long}"' in body
    assert 'id="said-complaint-NOISY"' in body
    assert 'id="said-complaint-LEAKS"' not in body
    assert client.post("/bench/2401/answers", {"kind": "juggling"}).status_code == 404
    unit = client.get("/bench/2401").content.decode()
    assert "not yet explained" in unit
    assert 'href="/bench/2401/answers"' in unit


def test_the_unit_says_the_answer_and_the_gate_names_what_is_left(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    complain(bench, "LEAKS", "NOISY")
    client = signed_in(cast.technician)
    sent = {"id": str(uuid4()), "kind": "complaint", "code": "LEAKS", "words": "Only mist <here>."}
    assert client.post("/bench/2401/answers", sent).status_code == 302
    assert "answered: Only mist &lt;here&gt;." in client.get("/bench/2401").content.decode()
    stopped = client.post("/bench/2401", {"deed": "finish"})
    assert stopped.status_code == 422
    assert "Not explained yet: Noisy. Find the cause, or answer in words." in stopped.content.decode()


def test_a_reason_given_before_the_unit_was_decided_is_moot_afterwards(cast: Cast) -> None:
    held = strip_unit(cast.actor("technician"))
    answer(held, cast, "Waits for the crack test.", position="CASE")
    read_all(held, cast.actor("technician"))
    held.refresh_from_db()
    assert finish(held, cast) == "examined"
    assert tag_in(held, "CASE")
