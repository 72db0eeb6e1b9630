"""The live answer: by the counter only, cheap, with who is here; what raises it; clocks that are off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.bench.presence import note_presence
from inspections.models import Examination, Presence, Reading
from inspections.readings.device_clock import is_off, read_time
from inspections.readings.examining import mark_missing
from inventory.models import Piece
from inventory.pieces import end_condition
from shop import clock
from tests.conftest import Cast, SignedIn
from tests.inspections.job import agreed_job
from tests.inspections.shop import read, say, strip_unit, tag_in

pytestmark = pytest.mark.django_db
SINCE = "/api/v1/tickets/2401/since"


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


def fresh(held: Examination) -> Examination:
    return Examination.objects.get(pk=held.pk)


def ask(client: Client, after: int = 0, **more: Any) -> Any:
    return client.get(SINCE, {"after": after, **more})


# what the answer says


def test_an_answer_without_news_is_empty(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    first = ask(client).json()
    assert (first["counter"], first["changed"], first["here"]) == (0, False, [])
    quiet = ask(client, 0, here=first["here_mark"])
    assert (quiet.status_code, quiet.content) == (204, b"")
    say(bench, cast.actor("lead"), "LOOK", "sound")
    news = ask(client, 0, here=first["here_mark"])
    assert (news.status_code, news.json()["counter"], news.json()["changed"]) == (200, 1, True)
    assert ask(client, 1, here=first["here_mark"]).status_code == 204


def test_the_same_by_the_examinations_id(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.technician).get(f"/api/v1/examinations/{bench.pk}/since", {"after": 0})
    assert answer.json()["counter"] == 0


def test_an_answer_is_cheap(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    for name in ("lead", "second_technician", "owner"):
        note_presence(examination=bench, position="CASE", by=cast.actor(name))
    mark = ask(client, position="CASE").json()["here_mark"]
    with CaptureQueriesContext(connection) as asked:
        assert ask(client, position="CASE", here=mark).status_code == 204
    assert len(asked) <= 9, [one["sql"] for one in asked]
    assert not [one for one in asked if one["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]


MATRIX = {
    "front_desk": 200,
    "technician": 200,
    "second_technician": 200,
    "lead": 200,
    "stores": 200,
    "manager": 200,
    "owner": 200,
    "supplier": 404,
    "other_supplier": 404,
    "stranger": 403,
}


@pytest.mark.parametrize("name", MATRIX)
def test_who_may_ask(bench: Examination, cast: Cast, signed_in: SignedIn, name: str) -> None:
    client = signed_in(getattr(cast, name))
    for path in (SINCE, f"/api/v1/examinations/{bench.pk}/since"):
        assert client.get(path, {"after": 0}).status_code == MATRIX[name]
    assert Presence.objects.count() == (1 if MATRIX[name] == 200 else 0)


def test_nobody_asks_without_a_sign_in(bench: Examination) -> None:
    assert Client().get(SINCE).status_code == 401


@pytest.mark.parametrize(
    "query", [{"after": "x"}, {"after": -1}, {"after": 2**40}, {"position": "x" * 21}, {"here": "x" * 17}]
)
def test_bad_questions_are_problems(
    bench: Examination, cast: Cast, signed_in: SignedIn, query: dict[str, Any]
) -> None:
    answer = signed_in(cast.technician).get(SINCE, query)
    assert answer.status_code == 422
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_a_ticket_without_an_examination_has_no_news(cast: Cast, signed_in: SignedIn) -> None:
    assert signed_in(cast.technician).get("/api/v1/tickets/9999/since").status_code == 404


# who is here


def test_who_is_here_is_said_with_the_position(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    ask(signed_in(cast.second_technician), position="CASE")
    here = ask(signed_in(cast.technician), position="SHAFT").json()["here"]
    assert here == [
        {"name": "Mira Teasdale", "position": "CASE", "words": "Mira Teasdale on 1 Casing"},
    ]
    ask(signed_in(cast.second_technician), position="no such place")
    assert ask(signed_in(cast.technician)).json()["here"][0]["words"] == "Mira Teasdale"


def test_a_mark_is_gone_after_twenty_seconds(bench: Examination, cast: Cast) -> None:
    now = clock.now()
    note_presence(examination=bench, position="CASE", by=cast.actor("lead"), at=now)
    for seconds, seen in ((0, 1), (19, 1), (21, 0)):
        at = now + timedelta(seconds=seconds)
        others = note_presence(examination=bench, position="", by=cast.actor("technician"), at=at)
        assert len(others) == seen, seconds


def test_a_mark_is_one_row_and_is_not_written_at_each_asking(bench: Examination, cast: Cast) -> None:
    now, by = clock.now(), cast.actor("technician")

    def row() -> Presence:
        return Presence.objects.get()

    note_presence(examination=bench, position="CASE", by=by, at=now)
    note_presence(examination=bench, position="CASE", by=by, at=now + timedelta(seconds=3))
    assert row().seen_at == now
    note_presence(examination=bench, position="CASE", by=by, at=now + timedelta(seconds=8))
    assert row().seen_at == now + timedelta(seconds=8)
    note_presence(examination=bench, position="SHAFT", by=by, at=now + timedelta(seconds=9))
    assert row().position_code == "SHAFT"


def test_marks_are_forgotten_within_a_day(bench: Examination, cast: Cast) -> None:
    now = clock.now()
    note_presence(examination=bench, position="", by=cast.actor("lead"), at=now)
    note_presence(examination=bench, position="", by=cast.actor("technician"), at=now + timedelta(days=2))
    assert [one.person for one in Presence.objects.all()] == [cast.technician]


# what raises the counter


def test_a_piece_that_is_missing_or_turns_up_raises_the_counter(bench: Examination, cast: Cast) -> None:
    tag, by = tag_in(bench, "SHAFT"), cast.actor("technician")
    mark_missing(examination=bench, tag=tag, by=by)
    assert fresh(bench).counter == 1
    mark_missing(examination=bench, tag=tag, missing=False, by=by)
    assert fresh(bench).counter == 2


def test_a_piece_whose_condition_ends_raises_the_counter(bench: Examination, cast: Cast) -> None:
    """Exchanged and parted pieces go the same way."""
    other = Examination.objects.exclude(pk=bench.pk)
    piece = Piece.objects.get(tag=tag_in(bench, "CASE"))
    end_condition(piece=piece, why="exchanged", by=cast.actor("stores"))
    assert fresh(bench).counter == 1
    assert not other.exists()


def test_rework_raises_the_counter_and_readings_go_on_behind_it(cast: Cast) -> None:
    from inspections.building.reworking import record_rework

    job = agreed_job(cast)
    before = fresh(job.examination).counter
    record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="SLEEVE-LSR",
        minutes=10,
        good=True,
        key="k",
        by=cast.actor("lead"),
    )
    assert fresh(job.examination).counter == before + 1
    job.read("CASE.LSR", "26.010 mm")
    assert Reading.objects.order_by("-sequence")[0].sequence == fresh(job.examination).counter > before + 1


def test_another_tickets_tablets_hear_nothing(bench: Examination, cast: Cast) -> None:
    from inspections.readings.examining import open_examination
    from tests.inspections.shop import open_ticket

    other = open_examination(ticket=open_ticket(2402), by=cast.actor("technician"))
    end_condition(piece=Piece.objects.get(tag=tag_in(bench, "CASE")), why="parted", by=cast.actor("stores"))
    assert (fresh(bench).counter, fresh(other).counter) == (1, 0)


# clocks


AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("taken", "sent", "off"),
    [
        (AT, AT, False),
        (AT - timedelta(days=2), AT, False),  # it waited for the network
        (AT - timedelta(days=2), None, False),
        (AT - timedelta(days=2), AT - timedelta(hours=1), True),  # the clock is slow
        (AT, AT + timedelta(hours=1), True),
        (AT + timedelta(hours=1), None, True),  # nobody has read it yet
        (AT - timedelta(days=9), AT, True),  # the unit was together then
        (datetime(1970, 1, 1, tzinfo=UTC), None, True),
        (datetime(2099, 1, 1, tzinfo=UTC), AT, True),
    ],
)
def test_a_clock_is_off_when_it_cannot_be_right(*, taken: datetime, sent: datetime | None, off: bool) -> None:
    assert is_off(taken=taken, sent=sent, opened=AT - timedelta(days=7), at=AT) is off


@pytest.mark.parametrize(
    "text", ["", "yesterday", "2026-11-25T09:00:00", "0001-01-01T00:00:00+05:00", "9" * 40]
)
def test_a_time_that_cannot_be_read_is_left_out(text: str) -> None:
    assert read_time(text) is None


def test_a_far_off_clock_is_kept_and_flagged_and_never_believed(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    by = cast.actor("technician")
    first = read(bench, by, "BORE", "26.010 mm", taken_at=datetime(1970, 1, 1, tzinfo=UTC))
    second = read(bench, by, "BORE", "26.011 mm", taken_at=clock.now())
    third = read(bench, by, "BORE", "26.012 mm", taken_at=datetime(2099, 1, 1, tzinfo=UTC))
    assert {one.status for one in (first, second, third)} == {"recorded"}
    rows = list(Reading.objects.order_by("sequence"))
    assert [one.text for one in rows] == ["26.010 mm", "26.011 mm", "26.012 mm"]
    assert [one.clock_off for one in rows] == [True, False, True]
    assert rows[0].taken_at.year == 1970
    page = signed_in(cast.technician).get("/bench/2401/CASE?check=BORE").content.decode()
    assert page.count("the tablet&#x27;s clock was off") + page.count("the tablet's clock was off") == 2
    assert all(abs(one.received_at - clock.now()) < timedelta(minutes=5) for one in rows)


def test_a_batch_says_what_the_clock_said_when_it_was_sent(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(cast.technician)
    body = {"id": str(uuid4()), "check": "BORE", "text": "26.010 mm", "gauge": "B1"}
    slow = (clock.now() - timedelta(hours=3)).isoformat()
    for _ in range(2):
        sent = {"readings": [body | {"taken_at": slow}], "sent_at": slow}
        answer = client.post("/api/v1/tickets/2401/readings", sent, content_type="application/json")
        assert answer.status_code == 200, answer.content
    assert [one["status"] for one in answer.json()["results"]] == ["already recorded"]
    assert Reading.objects.get().clock_off


def test_a_form_and_the_outbox_say_the_same(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    """A form whose answer was lost is sent again by the outbox: it has to be the same content."""
    client, fixed = signed_in(cast.technician), str(uuid4())
    now = f"{clock.now():%Y-%m-%dT%H:%M:%S}.120Z"
    tag = tag_in(bench, "CASE")
    form = {"deed": "record", "id": fixed, "check": "BORE", "piece": tag, "taken_at": now, "gauge": "B1"}
    answer = client.post("/bench/2401/CASE", form | {"text": " 26.010 mm", "note": " clean "})
    assert answer.status_code == 302, answer.content
    body = {"id": fixed, "check": "BORE", "piece": tag, "taken_at": now, "gauge": "B1"}
    sent = {"readings": [body | {"text": " 26.010 mm", "note": "clean"}], "sent_at": now}
    again = client.post("/api/v1/tickets/2401/readings", sent, content_type="application/json")
    assert [one["status"] for one in again.json()["results"]] == ["already recorded"], again.content
    assert Reading.objects.get().note == "clean"


def test_the_session_says_whose_it_is(cast: Cast, signed_in: SignedIn) -> None:
    body = signed_in(cast.technician).get("/api/v1/me").json()
    assert body["key"] == f"user:{cast.technician.pk}"
    assert len(body["csrf_token"]) == 64
