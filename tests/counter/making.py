"""Things of the invented shop that the tests of the Counter stand on."""

from dataclasses import dataclass
from io import BytesIO
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from shop.access import PROGRAM, Actor
from shop.models import Complaint, Customer, Family, Ticket, Variant
from shop.opening import open_ticket
from shop.stages import GATES, move_ticket


@dataclass(frozen=True)
class Box:
    """The invented maker's family with what the Counter chooses from."""

    family: Family
    floor: Variant
    remote: Variant
    jumps: Complaint
    leaks: Complaint


def make_box(code: str = "H4") -> Box:
    family = Family.objects.create(code=code, name=f"Hexworth {code}", maker="Hexworth (invented)")
    return Box(
        family=family,
        floor=Variant.objects.create(family=family, code="FC", name="floor change"),
        remote=Variant.objects.create(family=family, code="RC", name="remote change"),
        jumps=Complaint.objects.create(family=family, code="jumps-second", name="jumps out of second"),
        leaks=Complaint.objects.create(family=family, code="leaks", name="leaks oil"),
    )


def make_customer(name: str = "A. Harrow (invented)", email: str = "harrow@example.org") -> Customer:
    return Customer.objects.create(name=name, email=email, phone="01632 960001")


def make_ticket(box: Box, customer: Customer | None, by: Actor = PROGRAM, **more: Any) -> Ticket:
    return open_ticket(family=box.family, variant=box.floor, customer=customer, by=by, **more)


def bring_to(ticket: Ticket, *stages: str) -> Ticket:
    """Move through the stages without the gates of upper rooms, which are tested there."""
    kept = {stage: list(gates) for stage, gates in GATES.items()}
    try:
        for gates in GATES.values():
            gates.clear()
        for stage in stages:
            ticket = move_ticket(ticket=ticket, to=stage, by=PROGRAM)
    finally:
        for stage, gates in kept.items():
            GATES[stage].extend(gates)
    return ticket


TO_TESTED = (
    "stripped",
    "examined",
    "quoted",
    "agreed",
    "parts complete",
    "reworked",
    "built",
    "tested",
)


def picture_bytes(kind: str = "JPEG", size: tuple[int, int] = (60, 40), **save: Any) -> bytes:
    out = BytesIO()
    Image.new("RGB", size, (120, 90, 60)).save(out, kind, **save)
    return out.getvalue()


def picture(name: str = "front.jpg", **options: Any) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, picture_bytes(**options), content_type="image/jpeg")
