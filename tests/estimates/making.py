"""Tickets of the small invented guide, examined and ready to be planned: the shaft is scrap, the seal always
replaced. What fills them lies in stock. All invented."""

from __future__ import annotations

from typing import Any

from estimates.models import Quote
from estimates.quoting import make_plan, make_quote, send_quote
from inspections.guiding.guides import publish_guide
from inspections.models import Examination, Gauge
from inspections.readings.examining import finish_examination, open_examination
from inventory.ledger import receive_lot
from inventory.models import Bin, Lot, Measure, Part, PartFit, Piece, Price, Supplier
from inventory.pieces import take_in_piece
from shop import clock
from shop.access import PROGRAM, Actor
from shop.models import Customer, Family, Position, Ticket
from tests.inspections.shop import make_gauges, open_ticket, read, say
from tests.inspections.small import SMALL

GUIDE = SMALL.replace('oil = "none"', 'oil = "none"\nbuild_minutes = 90\ncautions = ["Loaded spring."]', 1)
SHAFT_COST = 4_000
SEAL_COST = 1_000


def guide() -> Family:
    family = publish_guide(text=GUIDE, by=PROGRAM).family
    if not Gauge.objects.exists():
        make_gauges()
    return family


def used_shaft(cost_minor: int = SHAFT_COST) -> Piece:
    """A used shaft in bin U1 that measures well."""
    shelf, _made = Bin.objects.get_or_create(code="U1")
    count = Piece.objects.count()
    piece = take_in_piece(
        family=guide(),
        position_code="SHAFT",
        bin=shelf,
        key=f"shaft {count}",
        cost_minor=cost_minor,
        by=PROGRAM,
    )
    Measure.objects.create(
        piece=piece,
        feature="SHAFT.D",
        condition=1,
        value_um=25_985,
        expanded_um=3,
        state="within",
        at=clock.now(),
    )
    return piece


def part(number: str, position: str, name: str) -> Part:
    made, new = Part.objects.get_or_create(number=number, defaults={"search_key": number, "name": name})
    if new:
        PartFit.objects.create(part=made, position=Position.objects.get(family=guide(), code=position))
    return made


def seals(quantity: int) -> Lot:
    shelf, _made = Bin.objects.get_or_create(code="S1")
    return receive_lot(
        part=part("X1-SEAL", "SEAL", "Seal"),
        bin=shelf,
        quantity=quantity,
        cost_micro=SEAL_COST * 10_000,
        key=f"seals {Lot.objects.count()}",
        by=PROGRAM,
    )


def shaft_price(minor: int = 9_000, lead_days: int = 5) -> Price:
    """A new shaft from the supplier TARN, in the shop's currency."""
    made = part("X1-SHAFT", "SHAFT", "Shaft")
    return Price.objects.create(
        supplier=Supplier.objects.get(code="TARN"),
        number="T-SHAFT",
        part_number=made.number,
        unit_price_micro=minor * 10_000,
        currency="EUR",
        lead_days=lead_days,
        since=clock.now(),
    )


def examined(by: Actor, number: int = 2401, **fields: Any) -> Ticket:
    """Stripped and examined: everything good but the shaft, which is worn out."""
    guide()
    ticket = open_ticket(number)
    assert ticket.customer is not None
    Customer.objects.filter(pk=ticket.customer.pk).update(email=f"c{number}@example.org")
    Ticket.objects.filter(pk=ticket.pk).update(examination_fee_minor=10_000, **fields)
    ticket.refresh_from_db()
    examination = open_examination(ticket=ticket, by=by)
    for check, text in (("ID", "X1-101"), ("TEETH", "18"), ("LOOK", "sound"), ("THREAD", "sound")):
        assert say(examination, by, check, text).status == "recorded"
    for check, text, place in (
        ("BORE", "26.010 mm", ""),
        ("WIDTH", "100.05 mm", "left"),
        ("WIDTH", "100.06 mm", "right"),
        ("DIAMETER", "25.900 mm", ""),
    ):
        assert read(examination, by, check, text, place=place).status == "recorded"
    ticket.refresh_from_db()
    finish_examination(ticket=ticket, by=by)
    ticket.refresh_from_db()
    return ticket


def drawn_up(ticket: Ticket, by: Actor, aim: str = "least cost") -> Quote:
    return make_quote(plan=make_plan(ticket=ticket, aim=aim, by=by), by=by)


def sent(ticket: Ticket, by: Actor, aim: str = "least cost") -> Quote:
    quote = drawn_up(ticket, by, aim)
    send_quote(quote=quote, by=by)
    quote.refresh_from_db()
    return quote


def late_reading(ticket: Ticket, by: Actor) -> None:
    examination = Examination.objects.get(ticket=ticket)
    assert read(examination, by, "BORE", "26.011 mm").status == "recorded"
