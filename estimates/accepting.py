"""The customer's answer. An acceptance reserves all that was promised and writes the build list, or
nothing at all.

1. The quote goes from sent to its answer by a conditional update: of many presses one wins.
2. What an earlier acceptance still holds is given back: a supplementary quote promises anew.
3. Locks are taken in one order (ticket, then balances by key), whatever the order of the positions.
4. Reservations, purchases, build list, stage and mail stand or fall with the answer.
"""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from estimates.models import Quote
from inspections.models import BuildRow
from inventory.ledger import lock_balances, release_reservation, reserve_part, reserve_piece
from inventory.models import Lot, Part, Piece, Price, Purchase, Reservation
from inventory.purchasing import want_purchase
from shop import clock, outbox
from shop.access import PROGRAM, Actor
from shop.audit import write_line
from shop.models import Ticket
from shop.once import once
from shop.refusals import Conflict, Refusal
from shop.stages import hold_ticket, move_ticket

TAKEN = (
    "A part promised in this quote has gone to another job meanwhile. Nothing was accepted; "
    "the shop will send a new quote."
)
IN_HAND = "The shop has this job in hand again. Nothing was accepted; the shop will send a new quote."


class Taken(Conflict):
    """Something that the quote promised is not to be had any more."""


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


def _give_back(ticket: Ticket, choices: Sequence[dict[str, Any]], by: Actor, at: datetime) -> None:
    """Drop the build list of an earlier acceptance with its promises; first lock every balance in play."""
    held = list(Reservation.objects.filter(ticket=ticket, resolved_at__isnull=True).order_by("pk"))
    parts = {one["means"]["part"] for one in choices if one["means"].get("part")}
    lots = set(Lot.objects.filter(part__number__in=parts).values_list("pk", flat=True))
    lock_balances(lots | {one.lot_id for one in held if one.lot_id is not None})
    BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True).update(dropped_at=at)
    for one in held:
        release_reservation(reservation=one, by=by, at=at)
    for purchase in Purchase.objects.filter(ticket=ticket, state="wanted").order_by("pk"):
        if Purchase.objects.filter(pk=purchase.pk, state="wanted").update(state="cancelled"):
            write_line(by=by, deed="cancelled", thing=purchase, ticket_number=ticket.number, at=at)


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
        raise Taken(TAKEN)
    return want_purchase(
        ticket=ticket,
        position_code=row.position_code,
        part=row.part,
        price=price,
        quantity=means["quantity"],
        by=by,
        at=at,
    )


def _promise(ticket: Ticket, quote: Quote, at: datetime) -> None:
    choices = sorted(quote.plan.document["choices"], key=lambda one: one["slot"])
    _give_back(ticket, choices, PROGRAM, at)
    try:
        rows = [_build_row(ticket, choice, PROGRAM, at) for choice in choices]
    except Refusal as trouble:
        raise Taken(TAKEN) from trouble
    BuildRow.objects.bulk_create(rows)


def _enter(ticket: Ticket, stage: str, at: datetime, why: str = "") -> None:
    if ticket.stage != "quoted":
        raise Conflict(IN_HAND)
    move_ticket(ticket=ticket, to=stage, by=PROGRAM, why=why, at=at)


def _accept(quote: Quote, name: str, by: Actor, at: datetime) -> None:
    with transaction.atomic():
        ticket = Ticket.objects.select_for_update(no_key=True).get(pk=quote.ticket_id)
        _claim_answer(quote, "accepted", name, at)
        _enter(ticket, "agreed", at)
        _promise(ticket, quote, at)
        if ticket.customer is not None and ticket.customer.email:
            outbox.put(
                key=f"accepted-mail:{quote.pk}", rule="mail acceptance", payload={"quote": quote.pk}, at=at
            )
        write_line(by=by, deed="accepted", thing=quote, ticket_number=ticket.number, at=at)


def _decline(quote: Quote, name: str, by: Actor, at: datetime) -> None:
    """A no to the first quote ends the ticket; a no to a supplementary one leaves what was agreed before,
    and the ticket is held until the shop has talked to the customer."""
    with transaction.atomic():
        ticket = Ticket.objects.select_for_update(no_key=True).get(pk=quote.ticket_id)
        _claim_answer(quote, "declined", name, at)
        if Quote.objects.filter(ticket=ticket, state="accepted").exists():
            why = "the supplementary quote was declined: talk to the customer"
            hold_ticket(ticket=ticket, why=why, until=None, by=PROGRAM, at=at)
        else:
            _enter(ticket, "declined", at, why="the customer said no")
        write_line(by=by, deed="declined", thing=quote, ticket_number=ticket.number, at=at)


def _clean(name: str, under: str) -> str:
    name = " ".join(name.split())
    if not 2 <= len(name) <= 120 or not name.isprintable():
        raise Refusal(name=f"Write your name: it stands under the {under}.")
    return name


def _answer(
    quote: Quote,
    state: str,
    name: str,
    key: str,
    by: Actor,
    at: datetime,
    rule: Callable[[Quote, str, Actor, datetime], None],
) -> Quote:
    """Run the rule once. The one before the customer counts: an answer that stands already is returned."""
    quote.refresh_from_db()
    if quote.state == state:
        return quote

    def deed() -> str:
        rule(quote, name, by, at)
        return state

    try:
        # An answer that stands is a conflict, not a key that was used for another body.
        if key and quote.state not in {"accepted", "declined"}:
            once(by=by, operation="answer quote", key=key, body=[quote.pk, state, name], rule=deed, at=at)
        else:
            deed()
    except Conflict as trouble:
        quote.refresh_from_db()
        if quote.state == state:
            return quote
        # After the rollback: the shop sees that the customer tried, and what stood in the way.
        write_line(
            by=by,
            deed="answer refused",
            thing=quote,
            ticket_number=quote.ticket.number,
            at=at,
            wanted=state,
            why=trouble.message,
        )
        raise
    quote.refresh_from_db()
    return quote


def accept_quote(*, quote: Quote, name: str, by: Actor, key: str = "", at: datetime | None = None) -> Quote:
    """Accept by name. All in one transaction: answer, reservations, purchases wanted, build list, stage.

    Raises Refusal (no name), Conflict (answered, ended, or a part has gone). Pressed twice is accepted once:
    the second press finds the answer standing and returns it.
    """
    at = at or clock.now()
    return _answer(quote, "accepted", _clean(name, "acceptance"), key, by, at, _accept)


def decline_quote(*, quote: Quote, name: str, by: Actor, key: str = "", at: datetime | None = None) -> Quote:
    """Decline by name; a ticket that nothing was agreed for ends, and what was agreed for a no holds."""
    at = at or clock.now()
    return _answer(quote, "declined", _clean(name, "answer"), key, by, at, _decline)


def lapse_quotes(key: str) -> None:
    """Outbox rule: note in the audit which sent quotes ended without an answer, once each."""
    at = clock.now()
    for quote in Quote.objects.filter(state="sent", valid_until__lt=clock.today(at)).select_related("ticket"):
        with transaction.atomic():
            if Quote.objects.filter(pk=quote.pk, state="sent").update(state="superseded"):
                write_line(by=PROGRAM, deed="lapsed", thing=quote, ticket_number=quote.ticket.number, at=at)
