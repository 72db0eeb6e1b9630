"""Photographs over the API and on plain pages: who may, 201 and 200, refusals beside the field, no script."""

from __future__ import annotations

import re
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.evidence.photograph_pages import shown_size
from inspections.evidence.photographs import mark_place, take_back_photograph
from inspections.models import Examination, Photograph, PhotographMark
from shop import outbox
from shop.access import make_token
from shop.models import Document, Unit
from tests.conftest import Cast, SignedIn
from tests.inspections.evidence import metal, photograph, upload
from tests.inspections.shop import say, strip_unit, tag_in

pytestmark = pytest.mark.django_db
READERS = {"front_desk", "technician", "second_technician", "lead", "stores", "manager", "owner"}
WRITERS = {"technician", "second_technician", "lead", "owner"}
NAMES = sorted({*READERS, "supplier", "stranger"})


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


@pytest.fixture
def row(bench: Examination, cast: Cast) -> Photograph:
    return photograph(bench, cast.actor("lead"), "LOOK", note="lug")


def bearer(user: Any) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=user, label='test')}"}


def send(user: Any, path: str = "/api/v1/tickets/2401/photographs", **more: Any) -> Any:
    body: dict[str, Any] = {"id": str(uuid4()), "check": "LOOK", "note": "lug", "file": upload()} | more
    sent = {key: value for key, value in body.items() if value is not None}
    return Client().post(path, sent, headers=bearer(user))


def read(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


# --- the API


def test_it_is_created_once_and_answers_the_same_again(bench: Examination, cast: Cast) -> None:
    id, taken = str(uuid4()), "2026-11-25T09:30:00+01:00"
    first = send(cast.technician, id=id, taken_at=taken, piece=tag_in(bench, "CASE"))
    again = send(cast.technician, id=id, taken_at=taken, piece=tag_in(bench, "CASE"))
    assert (first.status_code, again.status_code) == (201, 200), first.content
    assert first.json() == again.json()
    body = first.json()
    assert (body["id"], body["check"], body["position"]) == (id, "LOOK", "CASE")
    assert body["piece"] == tag_in(bench, "CASE")
    assert Photograph.objects.count() == 1


def test_what_a_browser_sends_with_everything_empty_is_taken(bench: Examination, cast: Cast) -> None:
    """A tablet's outbox sends every field as text, also those that are empty."""
    assert send(cast.technician, piece="", note="").status_code == 201


@pytest.mark.parametrize(
    ("more", "status", "field"),
    [
        ({"file": None}, 422, "file"),
        ({"file": upload(b"no picture")}, 422, "file"),
        ({"check": "NONE"}, 422, "check"),
        ({"piece": "P-9999"}, 422, "piece"),
        ({"id": "7"}, 422, "id"),
        ({"id": None}, 422, "id"),
        ({"taken_at": "yesterday"}, 422, "taken_at"),
        ({"note": "x" * 201}, 422, "note"),
    ],
)
def test_a_refusal_is_a_problem_with_its_field(
    bench: Examination, cast: Cast, more: dict[str, Any], status: int, field: str
) -> None:
    answer = send(cast.technician, **more)
    assert answer.status_code == status
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert [one["field"] for one in answer.json()["errors"]] == [field]
    assert Photograph.objects.count() == 0


def test_a_body_that_is_no_form_is_refused(bench: Examination, cast: Cast) -> None:
    answer = Client().post(
        "/api/v1/tickets/2401/photographs",
        data='{"id": 1}',
        content_type="application/json",
        headers=bearer(cast.technician),
    )
    assert answer.status_code == 422
    torn = Client().post(
        "/api/v1/tickets/2401/photographs",
        data=b"--x\r\nContent-Disposition: form-data",
        content_type="multipart/form-data; boundary=x",
        headers=bearer(cast.technician),
    )
    assert torn.status_code in {400, 422}
    assert torn.headers["Content-Type"] == "application/problem+json"


def test_a_donors_photographs_go_by_its_examination(bench: Examination, cast: Cast) -> None:
    donor = Unit.objects.create(
        kind="donor", family=bench.revision.family, variant=bench.revision.family.variants.get(code="FC")
    )
    held = Examination.objects.create(
        donor=donor, revision=bench.revision, opened_at=bench.opened_at, opened_by="program"
    )
    path = f"/api/v1/examinations/{held.pk}/photographs"
    made = send(cast.technician, path)
    assert made.status_code == 201, made.content
    assert Document.objects.get(kind="bench photograph").ticket is None
    listed = Client().get(path, headers=bearer(cast.stores)).json()
    assert [one["id"] for one in listed["items"]] == [made.json()["id"]]
    picture = Client().get(made.json()["url"], headers=bearer(cast.technician))
    assert read(picture)[:2] == b"\xff\xd8"


def test_the_list_is_paged_and_says_what_is_hidden(bench: Examination, cast: Cast) -> None:
    for check, name in (("LOOK", "technician"), ("LOOK", "second_technician"), ("SEALS", "technician")):
        photograph(bench, cast.actor(name), check)
    path = "/api/v1/tickets/2401/photographs"

    def ask(name: str, query: str = "") -> Any:
        return Client().get(f"{path}{query}", headers=bearer(getattr(cast, name))).json()

    first = ask("lead", "?limit=2")
    assert (len(first["items"]), first["hidden"]) == (2, 0)
    rest = ask("lead", f"?limit=2&cursor={first['next']}")
    assert ([one["check"] for one in rest["items"]], rest["next"]) == (["SEALS"], None)
    blind = ask("technician")
    assert ([one["check"] for one in blind["items"]], blind["hidden"]) == (["LOOK", "SEALS"], 1)


def test_marks_by_the_api(row: Photograph, cast: Cast) -> None:
    path, lead = f"/api/v1/photographs/{row.pk}", bearer(cast.lead)

    def post(tail: str, body: dict[str, Any]) -> Any:
        return Client().post(f"{path}{tail}", data=body, content_type="application/json", headers=lead)

    placed = post("/marks", {"id": str(uuid4()), "words": "crack", "across": 0.69, "down": 0.24})
    zoned = post("/marks", {"id": str(uuid4()), "words": "bore", "zone": "C5"})
    assert [one.json()["number"] for one in (placed, zoned)] == [1, 2]
    assert (placed.json()["zone"], zoned.json()["zone"]) == ("B6", "C5")
    for bad, field in (({"zone": "Z9"}, "zone"), ({"across": 2, "down": 0}, "sent.across"), ({}, "zone")):
        answer = post("/marks", {"id": str(uuid4()), "words": "x"} | bad)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"].split(".")[-1] == field.split(".")[-1]
    gone = post("/marks/1/withdraw", {"id": str(uuid4()), "reason": "a scratch"})
    assert [one["number"] for one in gone.json()["marks"]] == [2]
    assert post("/marks/9/withdraw", {"id": str(uuid4()), "reason": "x"}).status_code == 404
    back = post("/take-back", {"reason": "the wrong wheel"})
    assert back.json()["taken_back"] == "the wrong wheel"


@pytest.mark.parametrize("name", NAMES)
def test_who_may_by_the_api(row: Photograph, cast: Cast, name: str) -> None:
    user, headers = getattr(cast, name), bearer(getattr(cast, name))
    nobody = 404 if name == "supplier" else 403
    blind = name in {"technician", "second_technician"}  # the lead's picture of a check they have not read
    for path in (f"/api/v1/photographs/{row.pk}{tail}" for tail in ("", "/whole", "/small")):
        wanted = 404 if blind else 200 if name in READERS else nobody
        answer = Client().get(path, headers=headers)
        read(answer)
        assert answer.status_code == wanted, path
    listed = Client().get("/api/v1/tickets/2401/photographs", headers=headers)
    assert listed.status_code == (200 if name in READERS else nobody)
    assert send(user, check="SEALS").status_code == (201 if name in WRITERS else nobody)
    mark = Client().post(
        f"/api/v1/photographs/{row.pk}/marks",
        data={"id": str(uuid4()), "words": "x", "zone": "A1"},
        content_type="application/json",
        headers=headers,
    )
    assert mark.status_code == (404 if blind else 200 if name in WRITERS else nobody)


def test_without_a_token_nothing_is_given_out(row: Photograph) -> None:
    for tail in ("", "/whole", "/small"):
        assert Client().get(f"/api/v1/photographs/{row.pk}{tail}").status_code == 401
        assert Client().get(f"/bench/photographs/{row.pk}{tail}").status_code in {302, 404}


# --- the pages


def test_a_plain_form_keeps_a_photograph(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client, tag = signed_in(cast.technician), tag_in(bench, "CASE")
    page = client.get(f"/bench/2401/CASE?check=LOOK&piece={tag}").content.decode()
    assert 'enctype="multipart/form-data"' in page
    action = re.search(r'<form class="form photograph-form"[^>]*action="([^"]+)"', page)
    hidden = dict(re.findall(r'name="(id|check|piece)" value="([^"]*)"', page.split("photograph-form")[1]))
    assert action is not None
    for count in (1, 1):  # a double tap
        answer = client.post(action[1], hidden | {"note": "lug", "file": upload()})
        assert answer.status_code == 302
        assert Photograph.objects.count() == count
    page = client.get(answer.headers["Location"]).content.decode()
    row = Photograph.objects.get()
    assert f'src="/bench/photographs/{row.pk}/small"' in page
    assert f'href="/bench/photographs/{row.pk}"' in page


def test_a_refused_one_is_said_beside_the_file_and_the_words_are_kept(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(cast.technician)
    sent = {"id": str(uuid4()), "check": "LOOK", "note": "lug <b>", "file": upload(b"nothing", "shot.jpg")}
    answer = client.post("/bench/2401/photographs", sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "“shot.jpg” is no picture that can be read" in page
    assert 'value="lug &lt;b&gt;"' in page
    assert 'id="photograph_file_error"' in page


def test_a_tap_without_a_script_marks_the_place(row: Photograph, cast: Cast, signed_in: SignedIn) -> None:
    """HTML 4.10.21.4: an image input answers with the tapped pixel as name.x and name.y."""
    client, path = signed_in(cast.lead), reverse("photograph", args=[row.pk])
    wide, high = shown_size(row)
    page = client.get(path).content.decode()
    assert f'<input type="image" name="tap" src="/bench/photographs/{row.pk}/whole"' in page
    assert f'width="{wide}" height="{high}"' in page
    tapped = {"tap.x": str(wide // 2), "tap.y": str(high // 4), "id": str(uuid4()), "zone": ""}
    wordless = client.post(path, tapped | {"words": ""})
    assert wordless.status_code == 422
    body = wordless.content.decode()
    assert "Say in words what is there" in body
    assert 'name="across" value="0.5' in body  # the tapped place waits for its words
    kept = dict(re.findall(r'name="(id|across|down)" value="([^"]*)"', body))
    done = client.post(path, kept | {"words": "crack", "zone": "", "deed": "place"})
    assert done.status_code == 302
    mark = PhotographMark.objects.get()
    assert mark.across == pytest.approx(0.5, abs=0.01)
    assert mark.down == pytest.approx(0.25, abs=0.01)


def test_by_keyboard_the_zone_is_marked(row: Photograph, cast: Cast, signed_in: SignedIn) -> None:
    client, path = signed_in(cast.lead), reverse("photograph", args=[row.pk])
    corner = {"tap.x": "0", "tap.y": "0", "id": str(uuid4()), "words": "crack", "zone": ""}
    answer = client.post(path, corner)  # Enter on the picture: a browser says its corner
    assert answer.status_code == 422
    assert "Say the zone as on the frame" in answer.content.decode()
    assert 'value="crack"' in answer.content.decode()
    assert client.post(path, corner | {"zone": "C4"}).status_code == 302
    page = client.get(path).content.decode()
    assert "Zone C4." in page
    assert 'aria-label="Marked: 1 in zone C4"' in page


@pytest.mark.parametrize("tap", [("x", "1"), ("-5", "3"), ("99999", "3"), ("1e3", "1")])
def test_a_tap_that_cannot_be_is_no_mark(
    row: Photograph, cast: Cast, signed_in: SignedIn, tap: tuple[str, str]
) -> None:
    sent = {"tap.x": tap[0], "tap.y": tap[1], "id": str(uuid4()), "words": "crack"}
    answer = signed_in(cast.lead).post(reverse("photograph", args=[row.pk]), sent)
    assert answer.status_code == 422
    assert PhotographMark.objects.count() == 0


def test_a_mark_is_withdrawn_on_the_page(row: Photograph, cast: Cast, signed_in: SignedIn) -> None:
    mark_place(photograph=row, id=uuid4(), across=0.2, down=0.2, words="crack", by=cast.actor("lead"))
    client, path = signed_in(cast.lead), reverse("photograph", args=[row.pk])
    silent = client.post(path, {"deed": "withdraw", "number": "1", "reason": ""})
    assert (silent.status_code, "Say why" in silent.content.decode()) == (422, True)
    assert client.post(path, {"deed": "withdraw", "number": "1", "reason": "a scratch"}).status_code == 302
    assert "Withdrawn by Jonas Prideaux: a scratch" in client.get(path).content.decode()
    assert client.post(path, {"deed": "withdraw", "number": "7", "reason": "x"}).status_code == 422
    assert client.post(path, {"deed": "take back", "reason": "wrong wheel"}).status_code == 302
    assert "taken back: wrong wheel" in client.get(path).content.decode()
    assert client.post(path, {"deed": "juggle"}).status_code == 404


@pytest.mark.parametrize("name", NAMES)
def test_who_may_open_and_write_the_pages(
    row: Photograph, cast: Cast, signed_in: SignedIn, name: str
) -> None:
    client = signed_in(getattr(cast, name))
    nobody = 404 if name == "supplier" else 403
    blind = name in {"technician", "second_technician"}
    for tail in ("", "/whole", "/small"):
        answer = client.get(f"/bench/photographs/{row.pk}{tail}")
        read(answer)
        assert answer.status_code == (404 if blind else 200 if name in READERS else nobody), tail
    assert client.get("/bench/2401/photographs").status_code == (200 if name in READERS else nobody)
    marked = client.post(f"/bench/photographs/{row.pk}", {"deed": "zone", "id": str(uuid4()), "words": "x"})
    assert marked.status_code == (404 if blind else 422 if name in WRITERS else nobody)
    kept = client.post("/bench/2401/photographs", {"id": str(uuid4()), "check": "SEALS", "file": upload()})
    assert kept.status_code == (302 if name in WRITERS else nobody)


def test_the_files_never_render_as_a_page(row: Photograph, cast: Cast, signed_in: SignedIn) -> None:
    """OWASP ASVS 5.0, 3.2.1 and 14.3.2."""
    outbox.run_due()
    for tail in ("whole", "small"):
        answer = signed_in(cast.stores).get(f"/bench/photographs/{row.pk}/{tail}")
        assert read(answer)[:2] == b"\xff\xd8"
        assert answer.headers["Content-Type"] == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert "no-store" in answer.headers["Cache-Control"]
        assert "sandbox" in answer.headers["Content-Security-Policy"]


def test_the_counter_gives_none_of_them_out(row: Photograph, cast: Cast, signed_in: SignedIn) -> None:
    """The Counter knows nothing of who is still blind: it counts them and leads to the bench."""
    outbox.run_due()
    client = signed_in(cast.technician)
    kept = Document.objects.filter(kind__startswith="bench ")
    assert kept.count() == 2
    for one in kept:
        assert client.get(f"/counter/documents/{one.pk}").status_code == 404
    page = client.get("/counter/tickets/2401").content.decode()
    assert "Photographs at the bench: 1" in page
    assert not any(str(one.pk) in page for one in kept)
    assert "lug" not in page


def test_a_taken_back_one_leaves_the_check_and_stays_in_the_list(
    row: Photograph, cast: Cast, signed_in: SignedIn
) -> None:
    take_back_photograph(photograph=row, reason="wrong wheel", by=cast.actor("lead"))
    client = signed_in(cast.lead)
    assert str(row.pk) not in client.get("/bench/2401/CASE?check=LOOK").content.decode()
    assert "taken back: wrong wheel" in client.get("/bench/2401/photographs").content.decode()


def test_the_bench_asks_no_more_for_more_photographs(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client, by = signed_in(cast.technician), cast.actor("technician")
    say(bench, by, "LOOK", "sound")

    def queries() -> int:
        client.get("/bench/2401/CASE?check=LOOK")
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert client.get("/bench/2401/CASE?check=LOOK").status_code == 200
        return len(asked)

    first = photograph(bench, by, "LOOK", data=metal((60, 40)))
    mark_place(photograph=first, id=uuid4(), across=0.2, down=0.2, words="crack", by=by)
    one = queries()
    for n in range(8):
        again = photograph(bench, by, "LOOK", data=metal((60 + n, 40)))
        mark_place(photograph=again, id=uuid4(), across=0.2, down=0.2, words="crack", by=by)
    assert queries() == one <= 12
