"""Rows for the Bench's tests: the small invented guide published, a unit stripped, two gauges.

The small guide stands in ``small``; nothing here needs another app's rules but the laying out of pieces.
"""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from inspections.gauging.gauges import add_gauge
from inspections.guiding.guides import publish_guide
from inspections.models import Examination, Gauge
from inspections.readings.examining import open_examination
from inspections.readings.recording import Result, SentReading, record_readings
from inventory.models import Piece
from shop import clock
from shop.access import PROGRAM, Actor
from shop.models import Customer, Source, Ticket, Unit, Variant
from tests.inspections.small import SMALL


def open_ticket(number: int = 2401, variant: str = "FC", family: str = "X1") -> Ticket:
    """A received ticket with its unit, written down directly."""
    chosen = Variant.objects.select_related("family").get(family__code=family, code=variant)
    owner = Customer.objects.create(name="Pat Invented")
    unit = Unit.objects.create(kind="customer", family=chosen.family, variant=chosen, owner=owner)
    now = clock.now()
    ticket: Ticket = Ticket.objects.create(
        number=number,
        customer=owner,
        family=chosen.family,
        variant=chosen,
        currency="EUR",
        stage_since=now,
        opened_at=now,
    )
    Source.objects.create(ticket=ticket, kind="unit", unit=unit, owner=owner)
    return ticket


def make_gauges() -> tuple[Gauge, Gauge]:
    fine = add_gauge(
        code="B1", name="bore gauge", expanded_um=3, calibration_um=2, resolution_um=1, by=PROGRAM
    )
    coarse = add_gauge(
        code="T2", name="telescopic gauge", expanded_um=12, calibration_um=3, resolution_um=10, by=PROGRAM
    )
    return fine, coarse


def strip_unit(by: Actor, number: int = 2401, text: str = SMALL, **more: Any) -> Examination:
    """Guide published, gauges listed, ticket opened, unit stripped."""
    revision = publish_guide(text=text, by=PROGRAM)
    make_gauges()
    family = revision.family.code
    return open_examination(ticket=open_ticket(number, family=family), by=by, **more)


def say(examination: Examination, by: Actor, check: str, text: str, **more: Any) -> Result:
    """Record one reading; measured ones with the fine gauge unless told otherwise."""
    fixed: UUID = more.pop("id", None) or uuid4()
    sent = SentReading(id=fixed, check=check, text=text, **more)
    return record_readings(examination=examination, readings=[sent], by=by)[0]


def read(examination: Examination, by: Actor, check: str, text: str, **more: Any) -> Result:
    return say(examination, by, check, text, **({"gauge": "B1"} | more))


def tag_in(examination: Examination, position: str) -> str:
    tag: str = Piece.objects.get(source__ticket=examination.ticket, position__code=position).tag
    return tag


def read_all(examination: Examination, by: Actor) -> None:
    """Everything the small guide asks for on the floor change, all of it good."""
    for check, text in (("ID", "X1-101"), ("TEETH", "18"), ("LOOK", "sound"), ("THREAD", "sound")):
        assert say(examination, by, check, text).status == "recorded"
    for check, text, place in (
        ("BORE", "26.010 mm", ""),
        ("WIDTH", "100.05 mm", "left"),
        ("WIDTH", "100.06 mm", "right"),
        ("DIAMETER", "25.985 mm", ""),
    ):
        assert read(examination, by, check, text, place=place).status == "recorded"
