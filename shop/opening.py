"""Opening a ticket: what came in, for whom, in what state, and what was agreed before anything is spent."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F

from shop import clock, outbox
from shop.access import Actor
from shop.audit import write_line
from shop.models import (
    Complaint,
    Customer,
    Family,
    Source,
    StageChange,
    Ticket,
    TicketComplaint,
    Unit,
    Variant,
)
from shop.numbering import next_number
from shop.refusals import Conflict, Refusal, Stale, Unversioned

FIRST_NUMBER = 2401
MORE_KINDS = ("second unit", "box of parts")
MOST_MINOR = 10**12
# what may still be said differently while the ticket is open
CHANGEABLE = ("vehicle", "complaint_words", "missing_words", "storage_words", "promised_on", "oil_in")


def _check_family(family: Family, variant: Variant, complaints: Sequence[Complaint]) -> None:
    if variant.family_id != family.pk:
        raise Refusal(variant=f"{variant} is no variant of {family}. Choose one of its own.")
    for complaint in complaints:
        if complaint.family_id != family.pk or complaint.retired_at is not None:
            raise Refusal(complaints=f"“{complaint}” is no complaint of {family}. Choose from its list.")


def check_promise(promised_on: date | None, at: datetime | None = None) -> None:
    """Refusal beside ``promised_on`` for a day that is past."""
    if promised_on is not None and promised_on < clock.today(at):
        raise Refusal(promised_on="This day is past. Promise a day that is still to come.")


def check_agreed(examination_fee_minor: int, agreed_by: str) -> None:
    """Refusal beside ``agreed_by`` for a customer's fee that nobody agreed to."""
    if examination_fee_minor and not agreed_by.strip():
        raise Refusal(agreed_by="Who agreed to the examination fee? Write the name.")


def _check_money(**amounts: int) -> None:
    for name, minor in amounts.items():
        if not 0 <= minor <= MOST_MINOR:
            raise Refusal(**{name.removesuffix("_minor"): "Write an amount of zero or more."})


def _check_sources(more_sources: Sequence[tuple[str, str]]) -> None:
    for kind, words in more_sources:
        if kind not in MORE_KINDS:
            raise Refusal(more_sources=f"A source is one of: {', '.join(MORE_KINDS)}.")
        if not words.strip():
            raise Refusal(more_sources=f"List what is in the {kind}: it is signed for.")


def _take_in_sources(ticket: Ticket, unit: Unit, more_sources: Sequence[tuple[str, str]], by: Actor) -> None:
    rows = [Source(ticket=ticket, kind="unit", unit=unit, owner=ticket.customer, listed_by=by.user)]
    rows += [
        Source(ticket=ticket, kind=kind, owner=ticket.customer, words=words.strip(), listed_by=by.user)
        for kind, words in more_sources
    ]
    Source.objects.bulk_create(rows)


def open_ticket(
    *,
    family: Family,
    variant: Variant,
    customer: Customer | None,
    vehicle: str = "",
    complaints: Sequence[Complaint] = (),
    complaint_words: str = "",
    missing_words: str = "",
    oil_in: bool = False,
    declared_value_minor: int = 0,
    examination_fee_minor: int = 0,
    deposit_minor: int = 0,
    on_no: str = "returned apart",
    storage_words: str = "",
    agreed_by: str = "",
    promised_on: date | None = None,
    serial: str = "",
    casting_numbers: str = "",
    more_sources: Sequence[tuple[str, str]] = (),
    by: Actor,
    at: datetime | None = None,
) -> Ticket:
    """Open a ticket with its unit and sources, and ask for its tag. No customer: it rebuilds for the shelf.

    Money in minor units of the shop's currency; ``more_sources``: kind and list of what is in it. Refusal
    beside the argument that cannot stand; an examination fee needs the name of who agreed to it.
    """
    by.need("open_tickets")
    at = at or clock.now()
    _check_family(family, variant, complaints)
    check_promise(promised_on, at)
    _check_money(
        declared_value_minor=declared_value_minor,
        examination_fee_minor=examination_fee_minor,
        deposit_minor=deposit_minor,
    )
    _check_sources(more_sources)
    if on_no not in Ticket.ON_NO:
        raise Refusal(on_no=f"What happens on a no is one of: {', '.join(Ticket.ON_NO)}.")
    if customer is not None:
        check_agreed(examination_fee_minor, agreed_by)
    with transaction.atomic():
        unit = Unit.objects.create(
            kind="customer" if customer else "shop",
            family=family,
            variant=variant,
            serial=serial.strip(),
            casting_numbers=casting_numbers.strip(),
            owner=customer,
        )
        ticket = Ticket.objects.create(
            number=next_number("ticket", FIRST_NUMBER),
            customer=customer,
            family=family,
            variant=variant,
            vehicle=vehicle.strip(),
            complaint_words=complaint_words.strip(),
            missing_words=missing_words.strip(),
            oil_in=oil_in,
            currency=settings.CURRENCY,
            declared_value_minor=declared_value_minor,
            examination_fee_minor=examination_fee_minor,
            deposit_minor=deposit_minor,
            on_no=on_no,
            storage_words=storage_words.strip(),
            agreed_by=agreed_by.strip(),
            agreed_at=at if agreed_by.strip() else None,
            promised_on=promised_on,
            stage_since=at,
            opened_at=at,
            opened_by=by.user,
        )
        _take_in_sources(ticket, unit, more_sources, by)
        TicketComplaint.objects.bulk_create(
            [TicketComplaint(ticket=ticket, complaint=one) for one in dict.fromkeys(complaints)]
        )
        StageChange.objects.create(ticket=ticket, before="", after=ticket.stage, at=at, by=by.key)
        write_line(by=by, deed="opened", thing=ticket, ticket_number=ticket.number, at=at)
        outbox.put(key=f"tag:{ticket.number}", rule="print tag", payload={"ticket": ticket.number}, at=at)
    return ticket


def change_ticket(
    *, ticket: Ticket, version: int | None, by: Actor, at: datetime | None = None, **changes: Any
) -> Ticket:
    """Say some of CHANGEABLE differently, made from that version of the ticket.

    Raises Unversioned if no version is said, Stale if the ticket was changed since, Conflict if it is closed.
    """
    by.need("open_tickets")
    at = at or clock.now()
    if version is None:
        raise Unversioned("Say which version this change was made from: send its ETag as If-Match.")
    if unknown := set(changes) - set(CHANGEABLE):
        raise Refusal(**dict.fromkeys(unknown, "This cannot be changed."))
    if not ticket.is_open:
        raise Conflict(f"Ticket {ticket.number} is {ticket.stage}. Nothing of it changes any more.")
    if "promised_on" in changes and changes["promised_on"] != ticket.promised_on:
        check_promise(changes["promised_on"], at)
    with transaction.atomic():
        won = Ticket.objects.filter(pk=ticket.pk, version=version).update(**changes, version=F("version") + 1)
        if not won:
            raise Stale(
                f"Ticket {ticket.number} was changed since you read it. Read it again, then change it."
            )
        write_line(
            by=by,
            deed="changed",
            thing=ticket,
            ticket_number=ticket.number,
            at=at,
            fields=sorted(changes),
        )
    ticket.refresh_from_db()
    return ticket
