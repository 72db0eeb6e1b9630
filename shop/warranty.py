"""Handing over and standing behind it: the warranty, its reminders, and the letters that remind.

What is due is found by asking the database, never by a countdown; each reminder is sent once.
"""

import calendar
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import CharField, Exists, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from shop import clock, outbox
from shop.access import PROGRAM, Actor
from shop.audit import write_line
from shop.documents import keep_file, render_paper
from shop.mailing import send_letter, usable_address
from shop.models import Document, Outbox, Reminder, Ticket, Warranty
from shop.refusals import Conflict, Refusal
from shop.stages import move_ticket

# Common practice, no source; the maker's data come first. Days after fitting, or before the end.
RE_TORQUE_AFTER = timedelta(days=14)
FIRST_OIL_AFTER = timedelta(days=30)
END_TOLD_BEFORE = timedelta(days=30)
MOST_MONTHS = 120

SAYS = {
    "first oil change": (
        "The first oil change is due about now. Use the service and grade on the fitting sheet, and look at "
        "the magnet: fine grey paste is usual, flakes or chips are not. Ring us if you find any."
    ),
    "re-torque": (
        "The bolts that hold the unit are due to be tightened again, with the vehicle properly supported and "
        "the unit cold. The vehicle maker's figures come first."
    ),
    "end of warranty": "The warranty of the unit ends soon. If anything is not right, ring us before then.",
}


def months_after(day: date, months: int) -> date:
    """The same day so many months later, or the last day of a shorter month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def due_days(fitted_on: date, ends_on: date) -> dict[str, date]:
    """Kind of reminder -> the day it is due; none falls outside the warranty."""
    return {
        "re-torque": min(fitted_on + RE_TORQUE_AFTER, ends_on),
        "first oil change": min(fitted_on + FIRST_OIL_AFTER, ends_on),
        "end of warranty": max(ends_on - END_TOLD_BEFORE, fitted_on),
    }


def needs_warranty(ticket: Ticket) -> list[str]:
    """Gate of the stage handed over: a customer's unit does not leave without its warranty."""
    if ticket.for_shelf or Warranty.objects.filter(ticket=ticket).exists():
        return []
    return ["Hand it over on its own page: the warranty is opened with it."]


def _check(ticket: Ticket, fitted_on: date, months: int, at: datetime) -> None:
    if ticket.for_shelf:
        raise Refusal("This unit is for the shelf. Its warranty opens when it is sold.")
    if ticket.stage != "tested":
        raise Conflict(f"Ticket {ticket.number} is {ticket.stage}. Only a tested unit is handed over.")
    if not 1 <= months <= MOST_MONTHS:
        raise Refusal(months=f"Write months from 1 to {MOST_MONTHS}.")
    if abs(fitted_on - clock.today(at)) > timedelta(days=366):
        raise Refusal(fitted_on="Write the day it was or will be fitted, within a year of today.")


def hand_over(
    *,
    ticket: Ticket,
    fitted_on: date,
    months: int,
    distance_km: int | None = None,
    hours: int | None = None,
    conditions: str = "",
    by: Actor,
    at: datetime | None = None,
) -> Warranty:
    """Open the warranty with its three reminders and hand the unit over, in one transaction.

    The warranty runs from fitting, not from the invoice. Conflict unless the ticket is tested; a second
    hand-over is a Conflict too, and changes nothing.
    """
    by.need("open_tickets")
    at = at or clock.now()
    _check(ticket, fitted_on, months, at)
    ends_on = months_after(fitted_on, months)
    with transaction.atomic():
        Ticket.objects.select_for_update().get(pk=ticket.pk)
        if Warranty.objects.filter(ticket=ticket).exists():
            raise Conflict(f"Ticket {ticket.number} has its warranty already.")
        warranty = Warranty.objects.create(
            ticket=ticket,
            fitted_on=fitted_on,
            ends_on=ends_on,
            months=months,
            distance_km=distance_km,
            hours=hours,
            conditions=conditions.strip(),
            opened_at=at,
        )
        Reminder.objects.bulk_create(
            [
                Reminder(warranty=warranty, kind=kind, due_on=day)
                for kind, day in due_days(fitted_on, ends_on).items()
            ]
        )
        move_ticket(ticket=ticket, to="handed over", by=by, at=at)
        write_line(by=by, deed="opened warranty", thing=warranty, ticket_number=ticket.number, at=at)
        outbox.put(
            key=f"warranty card:{ticket.number}",
            rule="print warranty card",
            payload={"warranty": warranty.pk},
            at=at,
        )
    return warranty


def print_card(key: str, warranty: int) -> Document:
    """Outbox rule: make the warranty card and keep it."""
    row = Warranty.objects.select_related(
        "ticket", "ticket__family", "ticket__variant", "ticket__customer"
    ).get(pk=warranty)
    unit = row.ticket.sources.select_related("unit").get(kind="unit").unit
    data = render_paper(
        "shop/counter/card_paper.html",
        {
            "warranty": row,
            "ticket": row.ticket,
            "unit": unit,
            "reminders": list(row.reminders.all()),
            "shop_name": settings.SHOP_NAME,
        },
    )
    return keep_file(
        ticket=row.ticket,
        kind="warranty card",
        title=f"Warranty card of ticket {row.ticket.number}",
        suffix=".pdf",
        content_type="application/pdf",
        data=data,
        key=key,
        by=PROGRAM,
    )


def queue_due_reminders(key: str, at: datetime | None = None) -> int:
    """Outbox rule: put a row for each reminder that is due by the shop's day and not queued; how many."""
    at = at or clock.now()
    count = 0
    due = Reminder.objects.filter(queued_at__isnull=True, sent_at__isnull=True, due_on__lte=clock.today(at))
    for pk in list(due.values_list("pk", flat=True)):
        with transaction.atomic():
            if Reminder.objects.filter(pk=pk, queued_at__isnull=True).update(queued_at=at):
                count += outbox.put(
                    key=f"reminder:{pk}", rule="send reminder", payload={"reminder": pk}, at=at
                )
    return count


def send_reminder(key: str, reminder: int) -> None:
    """Outbox rule: mail the reminder. Without a usable address nothing is sent: it waits to be rung."""
    row = Reminder.objects.select_related(
        "warranty__ticket__customer", "warranty__ticket__family", "warranty__ticket__variant"
    ).get(pk=reminder)
    ticket = row.warranty.ticket
    to = usable_address(ticket.customer.email) if ticket.customer else ""
    if row.sent_at is not None or not to:
        return
    send_letter(
        to=to,
        subject=f"Ticket {ticket.number}: {row.kind}",
        body=letter_text(row),
        key=key,
    )
    at = clock.now()
    with transaction.atomic():
        if Reminder.objects.filter(pk=row.pk, sent_at__isnull=True).update(sent_at=at):
            write_line(by=PROGRAM, deed="reminded", thing=row, ticket_number=ticket.number, at=at)


def letter_text(reminder: Reminder) -> str:
    """What the letter says; it names the ticket and the unit, never more of the customer than the name."""
    ticket = reminder.warranty.ticket
    name = ticket.customer.name if ticket.customer else ""
    return (
        f"{name},\n\n{SAYS[reminder.kind]}\n\n"
        f"Unit: {ticket.family}, {ticket.variant}, fitted {reminder.warranty.fitted_on:%d %B %Y}.\n"
        f"The warranty runs to {reminder.warranty.ends_on:%d %B %Y}.\n\n"
        "The maker's data and local rules come first. If in doubt, have it done by a competent person.\n\n"
        f"{settings.SHOP_NAME}\n"
    )


def reminders_to_ring() -> QuerySet[Reminder]:
    """Due reminders that no letter carried: the row is over, for want of an address or given up, unsent."""
    over = Outbox.objects.filter(
        Q(done_at__isnull=False) | Q(given_up_at__isnull=False),
        key=Concat(Value("reminder:"), Cast(OuterRef("pk"), CharField())),
    )
    return Reminder.objects.filter(
        Exists(over), queued_at__isnull=False, sent_at__isnull=True
    ).select_related("warranty__ticket__customer", "warranty__ticket__family")


def note_rung(*, reminder: Reminder, by: Actor, at: datetime | None = None) -> Reminder:
    """The front desk has rung the customer: the reminder is done, once."""
    by.need("open_tickets")
    at = at or clock.now()
    number = reminder.warranty.ticket.number
    with transaction.atomic():
        if not Reminder.objects.filter(pk=reminder.pk, sent_at__isnull=True).update(sent_at=at):
            raise Conflict(f"The customer of ticket {number} was told already.")
        write_line(by=by, deed="rung", thing=reminder, ticket_number=number, at=at)
    reminder.refresh_from_db()
    return reminder
