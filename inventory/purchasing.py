"""Buying for tickets: wanted when the customer agrees, ordered, received for the ticket that wants it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction

from inventory import ledger
from inventory.access import need_to_promise
from inventory.models import Bin, Lot, Part, Price, Purchase
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Ticket
from shop.money import MICRO, line_minor, rate_for
from shop.refusals import Conflict, Refusal


@dataclass(frozen=True, slots=True)
class Bought:
    """What buying so many costs: whole packs, one line, rounded once."""

    quantity: int  # units bought, whole packs
    cost_minor: int  # the line in the shop's currency
    rate_micro: int  # millionths of the shop's currency for one of the price's
    rate_on: date | None


def cost_of_buying(price: Price, quantity: int, on: date) -> Bought:
    """The line for ``quantity`` units as sold, at the exchange rate of the day. Refusal without a rate."""
    bought = -(-quantity // price.pack) * price.pack
    rate_micro, rate_on = rate_for(price.currency, on)
    return Bought(
        bought, line_minor(price.unit_price_micro, bought, price.currency, rate_micro), rate_micro, rate_on
    )


def want_purchase(
    *,
    ticket: Ticket,
    position_code: str,
    part: Part,
    price: Price,
    by: Actor,
    quantity: int = 1,
    at: datetime | None = None,
) -> Purchase:
    """Put a line on the buying list, with the price and the exchange rate of now frozen in it."""
    need_to_promise(by)
    at = at or clock.now()
    if not 1 <= quantity <= 1_000_000:
        raise Refusal(quantity="Write a whole number, 1 or more.")
    line = cost_of_buying(price, quantity, clock.today(at))
    with transaction.atomic():
        held = ledger.lock_ticket(ticket)
        purchase = Purchase.objects.create(
            ticket=held,
            position_code=position_code,
            supplier=price.supplier,
            part=part,
            number=price.number,
            quantity=quantity,
            pack=price.pack,
            unit_price_micro=price.unit_price_micro,
            currency=price.currency,
            rate_micro=line.rate_micro,
            rate_on=line.rate_on,
            cost_minor=line.cost_minor,
            wanted_at=at,
        )
        _line(purchase, "wanted", by, at)
    return purchase


def order_purchase(*, purchase: Purchase, by: Actor, at: datetime | None = None) -> Purchase:
    """Note that the line was ordered, and when it is due by the supplier's lead time. Twice is once."""
    by.need("keep_stock")
    at = at or clock.now()
    price = Price.objects.filter(supplier=purchase.supplier, number=purchase.number).first()
    days = price.lead_days if price and price.lead_days is not None else purchase.supplier.lead_days
    with transaction.atomic():
        won = Purchase.objects.filter(pk=purchase.pk, state="wanted").update(
            state="ordered", ordered_at=at, due_on=clock.today(at) + timedelta(days=days)
        )
        purchase.refresh_from_db()
        if not won:
            if purchase.state == "ordered":
                return purchase
            raise Conflict(f"This line is {purchase.state}. It cannot be ordered.")
        _line(purchase, "ordered", by, at)
    return purchase


def cancel_purchase(*, purchase: Purchase, by: Actor, at: datetime | None = None) -> Purchase:
    """Strike a line that is not received yet. Twice is once."""
    by.need("keep_stock")
    with transaction.atomic():
        won = Purchase.objects.awaited().filter(pk=purchase.pk).update(state="cancelled")
        purchase.refresh_from_db()
        if not won:
            if purchase.state == "cancelled":
                return purchase
            raise Conflict("This line is received. Its parts are in stock.")
        _line(purchase, "cancelled", by, at or clock.now())
    return purchase


def receive_purchase(*, purchase: Purchase, bin: Bin, key: str, by: Actor, at: datetime | None = None) -> Lot:
    """Take the ordered line into a bin and promise it to its ticket, both or neither. Twice is once.

    What is over from whole packs stays free. If the ticket was closed meanwhile, all of it stays free.
    """
    by.need("keep_stock")
    at = at or clock.now()
    with transaction.atomic():
        ticket = Ticket.objects.select_for_update(no_key=True).filter(purchases=purchase).first()
        won = Purchase.objects.filter(pk=purchase.pk, state="ordered").update(
            state="received", received_at=at
        )
        purchase.refresh_from_db()
        if not won:
            if purchase.lot is not None:
                return purchase.lot
            raise Conflict(f"This line is {purchase.state}. Only an ordered line can be received.")
        lot = ledger.receive_lot(
            part=purchase.part,
            bin=bin,
            quantity=purchase.bought * purchase.part.per_unit,
            cost_micro=_unit_cost(purchase),
            key=key,
            by=by,
            why=f"bought from {purchase.supplier.code}",
            at=at,
        )
        Purchase.objects.filter(pk=purchase.pk).update(lot=lot)
        if ticket is not None and ticket.is_open:
            ledger.reserve_lot(
                ticket=ticket,
                lot=lot,
                quantity=purchase.quantity * purchase.part.per_unit,
                position_code=purchase.position_code,
                by=by,
                at=at,
            )
        _line(purchase, "received", by, at)
    purchase.refresh_from_db()
    return lot


def _unit_cost(purchase: Purchase) -> int:
    """Millionths of the shop's currency for one smallest unit, rounded half up."""
    whole = purchase.unit_price_micro * purchase.rate_micro
    parts = MICRO * purchase.part.per_unit
    return (2 * whole + parts) // (2 * parts)


def _line(purchase: Purchase, deed: str, by: Actor, at: datetime) -> None:
    write_line(
        by=by,
        deed=deed,
        thing=purchase,
        ticket_number=purchase.ticket.number if purchase.ticket else None,
        at=at,
        cost_minor=purchase.cost_minor,
    )


def awaited_parts(ticket: Ticket) -> list[str]:
    """The gate of "parts complete": what was bought for the ticket and is not in the house yet."""
    rows = Purchase.objects.awaited().filter(ticket=ticket).select_related("part", "supplier")
    return [f"{row.part.number} from {row.supplier.code} is {row.state}, not received." for row in rows]
