"""The customer's answer. An acceptance reserves all that was promised and writes the build list, or
nothing at all."""

from datetime import datetime
from typing import Any

from django.db import transaction

from estimates.models import Quote
from inspections.models import BuildRow
from inventory.ledger import reserve_part, reserve_piece
from inventory.models import Part, Piece, Price, Purchase
from inventory.purchasing import want_purchase
from shop import clock, outbox
from shop.access import PROGRAM, Actor
from shop.audit import write_line
from shop.models import Ticket
from shop.refusals import Conflict, Refusal
from shop.stages import move_ticket

TAKEN = (
    "A part promised in this quote has gone to another job meanwhile. Nothing was accepted; "
    "the shop will send a new quote."
)


def _claim_answer(quote: Quote, state: str, name: str, at: datetime) -> None:
    """Take the quote from sent to its answer, once; Conflict says why it cannot be."""
    if quote.valid_until is not None and clock.today(at) > quote.valid_until:
        raise Conflict(f"This quote ended on {quote.valid_until:%d %b %Y}. Ask the shop for a new one.")
    won = Quote.objects.filter(pk=quote.pk, state="sent").update(
        state=state, answered_at=at, answered_name=name
    )
    if not won:
        now = Quote.objects.values_list("state", flat=True).get(pk=quote.pk)
        raise Conflict(f"This quote is {now} already.")


def _build_row(ticket: Ticket, choice: dict[str, Any], by: Actor, at: datetime) -> BuildRow:
    """Reserve or want what the choice needs, and make its line of the build list."""
    means = choice["means"]
    row = BuildRow(
        ticket=ticket,
        position_code=choice["slot"],
        way=choice["way"],
        label=choice["label"][:200],
        size=means.get("size", "standard"),
        remedies=means.get("remedies", []),
        features=choice["features"],
    )
    if tag := means.get("piece"):
        row.piece = Piece.objects.get(tag=tag)
        if choice["way"] == "used":
            reserve_piece(ticket=ticket, piece=row.piece, position_code=row.position_code, by=by, at=at)
    elif number := means.get("part"):
        row.part = Part.objects.get(number=number)
        if means.get("supplier"):
            row.purchase = _want(ticket, row, means, by, at)
        else:
            reserved = reserve_part(
                ticket=ticket,
                part=row.part,
                quantity=means["quantity"],
                position_code=row.position_code,
                by=by,
                at=at,
            )
            row.lot = reserved[0].lot
    return row


def _want(ticket: Ticket, row: BuildRow, means: dict[str, Any], by: Actor, at: datetime) -> Purchase:
    assert row.part is not None
    price = Price.objects.filter(pk=means["price"]).first()
    if price is None:
        raise Conflict(TAKEN)
    return want_purchase(
        ticket=ticket,
        position_code=row.position_code,
        part=row.part,
        price=price,
        quantity=means["quantity"],
        by=by,
        at=at,
    )


def accept_quote(*, quote: Quote, name: str, by: Actor, at: datetime | None = None) -> Quote:
    """Accept by name. All in one transaction: answer, reservations, purchases wanted, build list, stage.

    Raises Refusal (no name), Conflict (answered, ended, or a part has gone). Pressed twice is accepted once:
    the second press finds the answer standing and returns it.
    """
    at = at or clock.now()
    name = " ".join(name.split())
    if not 2 <= len(name) <= 120:
        raise Refusal(name="Write your name: it stands under the acceptance.")
    quote.refresh_from_db()
    if quote.state == "accepted":
        return quote
    try:
        with transaction.atomic():
            ticket = Ticket.objects.select_for_update().get(pk=quote.ticket_id)
            _claim_answer(quote, "accepted", name, at)
            BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True).update(dropped_at=at)
            choices = sorted(quote.plan.document["choices"], key=lambda one: one["slot"])
            rows = [_build_row(ticket, choice, PROGRAM, at) for choice in choices]
            BuildRow.objects.bulk_create(rows)
            move_ticket(ticket=ticket, to="agreed", by=PROGRAM, at=at)
            if ticket.customer is not None and ticket.customer.email:
                outbox.put(
                    key=f"accepted-mail:{quote.pk}",
                    rule="mail acceptance",
                    payload={"quote": quote.pk},
                    at=at,
                )
            write_line(by=by, deed="accepted", thing=quote, ticket_number=ticket.number, at=at)
    except Conflict as trouble:
        quote.refresh_from_db()
        if quote.state == "accepted":
            return quote
        write_line(
            by=by,
            deed="acceptance failed",
            thing=quote,
            ticket_number=quote.ticket.number,
            at=at,
            why=trouble.message,
        )
        raise Conflict(TAKEN if "promised" in trouble.message else trouble.message) from None
    quote.refresh_from_db()
    return quote


def decline_quote(*, quote: Quote, name: str, by: Actor, at: datetime | None = None) -> Quote:
    """Decline by name; the ticket ends as declined, and what was agreed for a no holds."""
    at = at or clock.now()
    name = " ".join(name.split())
    if not 2 <= len(name) <= 120:
        raise Refusal(name="Write your name: it stands under the answer.")
    quote.refresh_from_db()
    if quote.state == "declined":
        return quote
    with transaction.atomic():
        ticket = Ticket.objects.select_for_update().get(pk=quote.ticket_id)
        _claim_answer(quote, "declined", name, at)
        move_ticket(ticket=ticket, to="declined", by=PROGRAM, why="the customer said no", at=at)
        write_line(by=by, deed="declined", thing=quote, ticket_number=ticket.number, at=at)
    quote.refresh_from_db()
    return quote


def lapse_quotes(key: str) -> None:
    """Outbox rule: note in the audit which sent quotes ended without an answer, once each."""
    at = clock.now()
    for quote in Quote.objects.filter(state="sent", valid_until__lt=clock.today(at)).select_related("ticket"):
        with transaction.atomic():
            if Quote.objects.filter(pk=quote.pk, state="sent").update(state="superseded"):
                write_line(by=PROGRAM, deed="lapsed", thing=quote, ticket_number=quote.ticket.number, at=at)
