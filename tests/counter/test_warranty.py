"""The warranty, and its reminders by a real SMTP server: found by what is due, sent once."""

import socket
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes
from email.message import Message
from io import BytesIO
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.core.mail import BadHeaderError
from pypdf import PdfReader

from shop import clock, outbox
from shop.access import NotThere
from shop.celery import insert_slots
from shop.documents import path_of
from shop.mailing import message_id, send_letter, usable_address
from shop.models import Customer, Document, Outbox, Reminder, Ticket, Warranty
from shop.refusals import Conflict, Refusal
from shop.stages import hindrances
from shop.warranty import (
    due_days,
    hand_over,
    months_after,
    note_rung,
    queue_due_reminders,
    reminders_to_ring,
    send_reminder,
)
from tests.conftest import Cast
from tests.counter.making import TO_TESTED, bring_to, make_box, make_customer, make_ticket

pytestmark = pytest.mark.django_db


class Postbox:
    """What a real SMTP server on a free port took; it may be told to refuse."""

    def __init__(self) -> None:
        self.letters: list[Message] = []
        self.refuses = False

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        if self.refuses:
            return "451 come back later"
        self.letters.append(message_from_bytes(envelope.content))
        return "250 taken"


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@pytest.fixture
def postbox(settings: Any) -> Iterator[Postbox]:
    box = Postbox()
    port = free_port()
    server = Controller(box, hostname="127.0.0.1", port=port)
    server.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT = port
    settings.EMAIL_USE_SSL = False
    settings.EMAIL_TIMEOUT = 20
    yield box
    server.stop()


def unit_ready(cast: Cast, customer: Customer | None) -> Ticket:
    return bring_to(make_ticket(make_box(), customer, cast.actor("front_desk")), *TO_TESTED)


def handed_over(cast: Cast, customer: Customer) -> Warranty:
    return hand_over(
        ticket=unit_ready(cast, customer),
        fitted_on=clock.today(),
        months=12,
        distance_km=20_000,
        conditions="Oil as on the fitting sheet.",
        by=cast.actor("front_desk"),
    )


def run_beat_and_worker() -> None:
    insert_slots()
    outbox.run_due()


# Counted on a calendar by hand: the day stays, or becomes the last of a shorter month.
@pytest.mark.parametrize(
    ("day", "months", "end"),
    [
        (date(2026, 3, 2), 12, date(2027, 3, 2)),
        (date(2026, 8, 31), 6, date(2027, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
        (date(2026, 1, 31), 24, date(2028, 1, 31)),
    ],
)
def test_months_are_months_of_the_calendar(day: date, months: int, end: date) -> None:
    assert months_after(day, months) == end


def test_the_days_of_reminders() -> None:
    """Common practice, no source: 14 and 30 days after fitting, 30 days before the end; none outside."""
    assert due_days(date(2026, 3, 2), date(2027, 3, 2)) == {
        "re-torque": date(2026, 3, 16),
        "first oil change": date(2026, 4, 1),
        "end of warranty": date(2027, 1, 31),
    }
    short = due_days(date(2026, 2, 1), date(2026, 2, 10))
    assert all(date(2026, 2, 1) <= day <= date(2026, 2, 10) for day in short.values())


def test_handing_over_opens_the_warranty_with_its_reminders(cast: Cast) -> None:
    warranty = handed_over(cast, make_customer())
    assert warranty.ends_on == months_after(clock.today(), 12)
    assert set(warranty.reminders.values_list("kind", flat=True)) == set(Reminder.KINDS)
    ticket = Ticket.objects.get()
    assert ticket.stage == "handed over"
    with pytest.raises(Conflict):
        hand_over(ticket=ticket, fitted_on=clock.today(), months=12, by=cast.actor("front_desk"))
    outbox.run_due()
    card = Document.objects.get(kind="warranty card")
    text = PdfReader(BytesIO(path_of(card).read_bytes())).pages[0].extract_text()
    for shown in ("Oil as on the fitting sheet.", "20000 km", "re-torque", "Caution".upper()):
        assert shown in text


def test_what_cannot_be_handed_over(cast: Cast) -> None:
    by = cast.actor("front_desk")
    box = make_box()
    with pytest.raises(Conflict, match="Only a tested unit"):
        hand_over(ticket=make_ticket(box, make_customer()), fitted_on=clock.today(), months=12, by=by)
    shelf = bring_to(make_ticket(box, None), *TO_TESTED)
    with pytest.raises(Refusal, match="for the shelf"):
        hand_over(ticket=shelf, fitted_on=clock.today(), months=12, by=by)
    assert hindrances(shelf, "handed over") == []
    ticket = bring_to(make_ticket(box, make_customer()), *TO_TESTED)
    assert hindrances(ticket, "handed over") != []
    wrongs: tuple[dict[str, Any], ...] = ({"months": 0}, {"months": 121}, {"fitted_on": date(1999, 1, 1)})
    for wrong in wrongs:
        usual: dict[str, Any] = {"ticket": ticket, "fitted_on": clock.today(), "months": 12, "by": by}
        with pytest.raises(Refusal) as trouble:
            hand_over(**(usual | wrong))
        assert set(trouble.value.errors) == set(wrong)
    with pytest.raises(NotThere):
        hand_over(ticket=ticket, fitted_on=clock.today(), months=12, by=cast.actor("supplier"))
    assert not Warranty.objects.exists()


def test_each_reminder_is_mailed_once_when_it_is_due(cast: Cast, postbox: Postbox) -> None:
    handed_over(cast, make_customer())
    run_beat_and_worker()
    assert postbox.letters == []
    for days, kinds in (
        (13, 0),
        (15, 1),
        (31, 2),
        (31, 2),
        (366, 3),
    ):
        with clock.shifted(timedelta(days=days)):
            run_beat_and_worker()
        assert len(postbox.letters) == kinds
    subjects = [str(letter["Subject"]) for letter in postbox.letters]
    assert subjects == [
        "Ticket 2401: re-torque",
        "Ticket 2401: first oil change",
        "Ticket 2401: end of warranty",
    ]
    assert {str(letter["To"]) for letter in postbox.letters} == {"harrow@example.org"}
    ids = [str(letter["Message-ID"]) for letter in postbox.letters]
    assert ids == [message_id(f"reminder:{one.pk}") for one in Reminder.objects.order_by("due_on")]
    assert not Reminder.objects.filter(sent_at__isnull=True).exists()


def test_running_a_row_again_sends_nothing_again(cast: Cast, postbox: Postbox) -> None:
    handed_over(cast, make_customer())
    with clock.shifted(timedelta(days=15)):
        run_beat_and_worker()
        row = Outbox.objects.get(rule="send reminder")
        send_reminder(row.key, **row.payload)
        assert queue_due_reminders("again") == 0
        Outbox.objects.filter(pk=row.pk).update(done_at=None, lease_until=None)
        outbox.run_due()
    assert len(postbox.letters) == 1


def test_a_day_begins_in_the_shops_zone(cast: Cast, settings: Any) -> None:
    """At 23:30 UTC on the day before, it is due in Warsaw (UTC+1 in winter) and not yet in London."""
    warranty = handed_over(cast, make_customer())
    Reminder.objects.filter(warranty=warranty, kind="re-torque").update(due_on=date(2027, 1, 20))
    Reminder.objects.exclude(kind="re-torque").delete()
    moment = datetime(2027, 1, 19, 23, 30, tzinfo=UTC)
    settings.TIME_ZONE = "Europe/London"
    assert queue_due_reminders("slot", at=moment) == 0
    settings.TIME_ZONE = "Europe/Warsaw"
    assert queue_due_reminders("slot", at=moment) == 1


@pytest.mark.parametrize(
    "address", ["", "no address", "a@b.example\nBcc: all@example.org", "a@b.example\r\n\r\nwords"]
)
def test_without_a_usable_address_the_front_desk_rings(cast: Cast, postbox: Postbox, address: str) -> None:
    handed_over(cast, make_customer(email=address))
    assert not reminders_to_ring()
    with clock.shifted(timedelta(days=15)):
        run_beat_and_worker()
        run_beat_and_worker()
    assert postbox.letters == []
    row = Outbox.objects.get(rule="send reminder")
    assert (row.tries, row.given_up_at, row.done_at is not None) == (1, None, True)
    (waiting,) = reminders_to_ring()
    note_rung(reminder=waiting, by=cast.actor("front_desk"))
    assert not reminders_to_ring()
    with pytest.raises(Conflict):
        note_rung(reminder=waiting, by=cast.actor("front_desk"))


def test_mail_that_is_refused_is_tried_again_then_given_up_and_rung(cast: Cast, postbox: Postbox) -> None:
    handed_over(cast, make_customer())
    postbox.refuses = True
    with clock.shifted(timedelta(days=15)):
        run_beat_and_worker()
    row = Outbox.objects.get(rule="send reminder")
    assert (row.tries, row.done_at) == (1, None)
    assert "451" in row.trouble
    postbox.refuses = False
    with clock.shifted(timedelta(days=15, minutes=1)):
        outbox.run_due()
    assert len(postbox.letters) == 1
    postbox.refuses = True
    with clock.shifted(timedelta(days=40)):
        run_beat_and_worker()
        Outbox.objects.filter(done_at__isnull=True).update(tries=outbox.MOST_TRIES - 1, lease_until=None)
        outbox.run_due()
        assert Outbox.objects.filter(given_up_at__isnull=False).count() == 1
        assert [one.kind for one in reminders_to_ring()] == ["first oil change"]


def test_a_line_break_never_becomes_a_header(postbox: Postbox) -> None:
    """OWASP ASVS 5.0, 1.3.11."""
    with pytest.raises(BadHeaderError):
        send_letter(to="a@b.example", subject="x\nBcc: all@example.org", body="", key="k")
    with pytest.raises(BadHeaderError):
        send_letter(to="a@b.example\nBcc: all@example.org", subject="x", body="", key="k")
    assert postbox.letters == []
    assert usable_address(" harrow@example.org ") == "harrow@example.org"
    assert message_id("reminder:7") == message_id("reminder:7") == "<reminder.7@localhost>"
