"""The Counter's pages as a browser without JavaScript uses them."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from shop import clock, outbox
from shop.models import Customer, Document, Reminder, Source, Ticket, TimeEntry
from tests.conftest import Cast, SignedIn
from tests.counter.making import (
    TO_TESTED,
    Box,
    bring_to,
    make_box,
    make_customer,
    make_ticket,
    picture,
    picture_bytes,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(db: None) -> Box:
    return make_box()


@pytest.fixture
def desk(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.front_desk)


def typed(box: Box, **other: Any) -> dict[str, Any]:
    """A form filled in as a person would."""
    return {
        "key": "0b6e8f0a-3d5c-4f5b-9a55-2f5f1f6f0a01",
        "family": box.family.code,
        "whose": "customer",
        "new_name": "A. Harrow (invented)",
        "new_email": "harrow@example.org",
        "variant": box.floor.pk,
        "vehicle": "lorry of 1952",
        "complaints": [box.jumps.pk],
        "complaint_words": "Jumps out <b>downhill</b>.",
        "declared_value": "450",
        "examination_fee": "95,00",
        "agreed_by": "A. Harrow",
        "on_no": "returned together",
        "promised_on": (clock.today() + timedelta(days=20)).isoformat(),
    } | other


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def test_a_ticket_is_opened_with_its_photographs_and_sources(desk: Client, box: Box) -> None:
    sent = typed(box, box_of_parts="layshaft", photographs=[picture("front.jpg"), picture("rear.jpg")])
    answer = desk.post(reverse("open_ticket"), sent)
    ticket = Ticket.objects.get()
    assert (answer.status_code, answer.headers["Location"]) == (302, reverse("ticket", args=[ticket.number]))
    assert (ticket.declared_value_minor, ticket.examination_fee_minor) == (45000, 9500)
    assert [one.title for one in ticket.documents.all()] == ["front", "rear"]
    assert Source.objects.filter(ticket=ticket, kind="box of parts", words="layshaft").exists()
    outbox.run_due()
    page = text_of(desk.get(answer.headers["Location"]))
    for shown in (
        "jumps out of second",
        "Jumps out &lt;b&gt;downhill&lt;/b&gt;",
        "Tag of ticket 2401",
        "front",
    ):
        assert shown in page


def test_sending_twice_opens_one_ticket(desk: Client, box: Box) -> None:
    first, second = (desk.post(reverse("open_ticket"), typed(box, photographs=[picture()])) for _ in range(2))
    assert first.headers["Location"] == second.headers["Location"]
    assert (Ticket.objects.count(), Customer.objects.count(), Document.objects.count()) == (1, 1, 1)


def test_the_same_key_with_another_content_is_said_and_gets_a_new_key(desk: Client, box: Box) -> None:
    desk.post(reverse("open_ticket"), typed(box))
    answer = desk.post(reverse("open_ticket"), typed(box, vehicle="tractor"))
    assert answer.status_code == 422
    assert "This form opened a ticket before" in text_of(answer)
    assert typed(box)["key"] not in text_of(answer)
    assert Ticket.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"declared_value": "four"}, "Write an amount such as 84.50"),
        ({"declared_value": "1,200.50"}, "between the thousands, such as 1200.50"),
        ({"declared_value": "-5"}, "without the minus"),
        ({"examination_fee": "95", "agreed_by": ""}, "Who agreed to the examination fee"),
        ({"new_name": ""}, "Who brings it"),
        ({"customer": "Nobody"}, "not both"),
        ({"new_email": "a@b\nBcc: all@example.org"}, "No letter can go to this address"),
        ({"promised_on": "2020-01-01"}, "This day is past"),
        ({"variant": "999999"}, "Select a valid choice"),
        ({"complaints": ["x"]}, "is not a valid value"),
        ({"whose": "shelf"}, "A unit for the shelf has no customer"),
        ({"key": ""}, "This field is required"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
    desk: Client, box: Box, wrong: dict[str, Any], says: str
) -> None:
    answer = desk.post(reverse("open_ticket"), typed(box) | wrong)
    assert answer.status_code == 422
    page = text_of(answer)
    assert says in page
    assert "lorry of 1952" in page
    assert "Jumps out &lt;b&gt;downhill&lt;/b&gt;." in page
    assert not Ticket.objects.exists()
    assert not Customer.objects.exists()


def test_everything_that_is_wrong_is_said_in_one_round(desk: Client, box: Box) -> None:
    wrong = {
        "declared_value": "four",
        "new_email": "no address",
        "promised_on": "2020-01-01",
        "examination_fee": "95",
        "agreed_by": "",
        "variant": "999999",
    }
    answer = desk.post(reverse("open_ticket"), typed(box) | wrong)
    assert answer.status_code == 422
    assert {*answer.context["form"].errors} == {*wrong} - {"examination_fee"}
    answer = desk.post(reverse("open_ticket"), typed(box) | wrong | {"new_name": ""})
    assert {*answer.context["form"].errors} == {*wrong, "customer"} - {"examination_fee"}


@pytest.mark.parametrize(
    "upload",
    [
        SimpleUploadedFile("words.jpg", b"no picture at all"),
        SimpleUploadedFile("drawing.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        SimpleUploadedFile("cut.jpg", picture_bytes(size=(400, 400))[:300]),
        SimpleUploadedFile("empty.png", b""),
    ],
    ids=lambda upload: str(upload.name),
)
def test_an_upload_that_is_no_picture(desk: Client, box: Box, upload: SimpleUploadedFile) -> None:
    answer = desk.post(reverse("open_ticket"), typed(box, photographs=[picture("good.jpg"), upload]))
    assert answer.status_code == 422
    page = text_of(answer)
    assert f"“{upload.name}” is no picture that can be read" in page
    assert 'id="id_photographs_error"' in page
    assert "lorry of 1952" in page
    assert not Ticket.objects.exists()


def test_a_known_customer_is_found_by_name_mail_or_number(desk: Client, box: Box) -> None:
    known = make_customer()
    for place, said in enumerate((known.name.upper(), known.email, f"whoever #{known.pk}")):
        sent = typed(box, customer=said, new_name="", key=f"key-number-{place}")
        assert desk.post(reverse("open_ticket"), sent).status_code == 302
    assert list(Customer.objects.values_list("pk", flat=True)) == [known.pk]
    make_customer()
    answer = desk.post(
        reverse("open_ticket"), typed(box, customer=known.name, new_name="", key="another-key")
    )
    assert "Several are called that" in text_of(answer)


def test_with_several_families_the_form_follows_the_chosen_one(desk: Client, box: Box) -> None:
    other = make_box("H5")
    page = text_of(desk.get(reverse("open_ticket")))
    assert 'name="vehicle"' not in page
    assert other.family.name in page
    page = text_of(desk.get(reverse("open_ticket"), {"family": "H5"}))
    assert f'<option value="{other.floor.pk}">' in page
    assert f'<option value="{box.floor.pk}">' not in page
    answer = desk.post(reverse("open_ticket") + "?family=H5", typed(other, variant=other.remote.pk))
    assert answer.status_code == 302
    assert Ticket.objects.get().family == other.family


def test_no_family_yet(desk: Client) -> None:
    assert "publishes a guide first" in text_of(desk.get(reverse("open_ticket")))


def test_for_the_shelf(desk: Client, box: Box) -> None:
    sent = typed(box, whose="shelf", new_name="", new_email="", examination_fee="", agreed_by="")
    assert desk.post(reverse("open_ticket"), sent).status_code == 302
    assert Ticket.objects.get().for_shelf


def test_the_list_is_searched_and_filtered(desk: Client, box: Box, cast: Cast) -> None:
    by = cast.actor("front_desk")
    harrow = make_ticket(box, make_customer(), by, serial="HX 4471")
    shelf = make_ticket(box, None, by)
    bring_to(shelf, "stripped")
    closed = bring_to(make_ticket(box, None, by, serial="HX 9"), "abandoned")

    def numbers(**asked: str) -> set[int]:
        page = desk.get(reverse("counter"), asked).context["page"]
        return {one.number for one in page}

    assert numbers() == {harrow.number, shelf.number}
    assert numbers(stage="stripped") == {shelf.number}
    assert numbers(stage="closed") == {closed.number}
    assert numbers(q="harrow") == numbers(q="4471") == {harrow.number}
    assert numbers(q=f"T{closed.number}") == {closed.number}
    assert numbers(q="9" * 60) == set()
    assert numbers(q="\x00") == numbers()  # not text: nothing is searched for
    assert numbers(stage="nonsense") == {harrow.number, shelf.number}
    assert desk.get(reverse("counter"), {"page": "9" * 30}).status_code == 200


def test_moving_on_shows_what_stands_in_the_way(
    desk: Client, box: Box, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shop.stages import GATES

    ticket = make_ticket(box, None, cast.actor("front_desk"))
    monkeypatch.setitem(GATES, "stripped", [lambda _ticket: ["The bench is full."]])
    page = text_of(desk.get(reverse("ticket", args=[ticket.number])))
    assert "The bench is full." in page
    assert 'value="stripped"' not in page
    address = reverse("move_ticket", args=[ticket.number])
    assert desk.post(address, {"seen": "received", "to": "stripped"}).status_code == 422
    stale = desk.post(address, {"seen": "stripped", "to": "abandoned", "why": "never came"})
    assert (stale.status_code, "Somebody moved this ticket" in text_of(stale)) == (422, True)
    assert desk.post(address, {"seen": "received", "to": "abandoned", "why": "never came"}).status_code == 302
    ticket.refresh_from_db()
    assert ticket.stage == "abandoned"
    page = text_of(desk.get(reverse("ticket", args=[ticket.number])))
    assert "never came" in page
    assert page.count("<td>Ada Quill</td>") == 2
    assert desk.post(address, {"seen": "abandoned", "to": "received"}).status_code == 422


def test_held_and_lifted(desk: Client, box: Box, cast: Cast) -> None:
    ticket = make_ticket(box, None, cast.actor("front_desk"))
    address = reverse("hold_ticket", args=[ticket.number])
    late = desk.post(address, {"held_why": "waits for a casing", "held_until": "2020-01-01"})
    assert (late.status_code, "waits for a casing" in text_of(late)) == (422, True)
    assert desk.post(address, {"held_why": "waits for a casing"}).status_code == 302
    assert "waits for a casing" in text_of(desk.get(reverse("counter")))
    assert desk.post(reverse("lift_hold", args=[ticket.number])).status_code == 302
    ticket.refresh_from_db()
    assert ticket.held_why == ""


def test_time_is_booked_once_and_taken_back(desk: Client, box: Box, cast: Cast) -> None:
    ticket = make_ticket(box, None, cast.actor("front_desk"))
    address = reverse("book_time", args=[ticket.number])
    for _ in range(2):
        sent = {"key": "time-key-1", "minutes": "40", "work": "counter"}
        assert desk.post(address, sent).status_code == 302
    assert TimeEntry.objects.get().minutes == 40
    too_much = desk.post(address, {"key": "time-key-2", "minutes": "-50", "work": "counter"})
    assert (too_much.status_code, "Only 40 minutes" in text_of(too_much)) == (422, True)
    other = desk.post(address, {"key": "time-key-1", "minutes": "41", "work": "counter"})
    assert (other.status_code, "used before" in text_of(other)) == (422, True)
    assert desk.post(address, {"key": "time-key-3", "minutes": "-40", "work": "counter"}).status_code == 302
    assert "0 min" in text_of(desk.get(reverse("ticket", args=[ticket.number])))


def test_more_photographs_once_a_key(desk: Client, box: Box, cast: Cast) -> None:
    ticket = make_ticket(box, None, cast.actor("front_desk"))
    address = reverse("add_photographs", args=[ticket.number])
    for _ in range(2):
        sent = {"key": "photo-key-1", "photographs": [picture(), picture("rear.jpg")]}
        assert desk.post(address, sent).status_code == 302
    assert Document.objects.filter(kind="photograph").count() == 2
    assert desk.post(address, {"key": "photo-key-2"}).status_code == 422


def test_a_file_is_given_out_without_becoming_a_page(desk: Client, box: Box, cast: Cast) -> None:
    """OWASP ASVS 5.0, 3.2.1, 5.4.2: uploads never render as pages; names in headers are encoded."""
    ticket = make_ticket(box, None, cast.actor("front_desk"))
    sent = {"key": "photo-key-1", "photographs": [picture("vorn ü;x.jpg")]}
    desk.post(reverse("add_photographs", args=[ticket.number]), sent)
    answer: Any = desk.get(reverse("document", args=[Document.objects.get().pk]))
    assert b"".join(answer.streaming_content).startswith(b"\xff\xd8")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'; sandbox")
    assert answer.headers["Content-Disposition"].startswith("inline; filename*=utf-8''vorn%20%C3%BC%3Bx.jpg")
    assert answer.headers["Cache-Control"] == "no-store"


def test_handing_over_opens_the_warranty(desk: Client, box: Box, cast: Cast) -> None:
    ticket = bring_to(make_ticket(box, make_customer(), cast.actor("front_desk")), *TO_TESTED)
    page = text_of(desk.get(reverse("ticket", args=[ticket.number])))
    address = reverse("hand_over", args=[ticket.number])
    assert address in page
    assert "the warranty is opened" in page
    assert 'value="handed over"' not in page
    # HTML, 4.10.5.1.7: the value of a date control is a valid date string, yyyy-mm-dd; any other is dropped.
    assert f'name="fitted_on" value="{clock.today().isoformat()}"' in text_of(desk.get(address))
    sent = {"fitted_on": clock.today().isoformat(), "months": "500", "conditions": "as written"}
    wrong = desk.post(address, sent)
    assert (wrong.status_code, "as written" in text_of(wrong)) == (422, True)
    assert desk.post(address, sent | {"months": "12"}).status_code == 302
    assert desk.post(address, sent | {"months": "12"}).status_code == 422
    assert Reminder.objects.count() == 3
    outbox.run_due()
    page = text_of(desk.get(reverse("ticket", args=[ticket.number])))
    assert "Warranty card of ticket 2401" in page
    assert "First oil change" in page
