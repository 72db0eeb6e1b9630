"""Taking a unit in over the Counter: customer, ticket and photographs in one deed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.documents import keep_file
from shop.mailing import usable_address
from shop.models import Customer, Document, Ticket
from shop.opening import open_ticket
from shop.refusals import Refusal


@dataclass(frozen=True, slots=True)
class NewCustomer:
    """A customer who is not known yet."""

    name: str
    email: str = ""
    phone: str = ""
    address: str = ""


@dataclass(frozen=True, slots=True)
class Shot:
    """A photograph that was decoded and written anew already: what it is called, and its JPEG bytes."""

    title: str
    data: bytes


def find_customer(typed: str) -> Customer:
    """The customer meant by a number (``#12``), a name or an address of mail as typed.

    Refusal beside ``customer`` if nobody is meant, or several.
    """
    known = Customer.objects.filter(forgotten_at__isnull=True)
    number = typed.rpartition("#")[2].strip()
    if "#" in typed and number.isascii() and number.isdigit() and len(number) <= 12:
        found = list(known.filter(pk=int(number)))
    else:
        found = list(known.filter(Q(name__iexact=typed.strip()) | Q(email__iexact=typed.strip()))[:6])
    if not found:
        raise Refusal(customer="Nobody of that name is known. Write them below as a new customer.")
    if len(found) > 1:
        several = ", ".join(f"{one.name} #{one.pk}" for one in found)
        raise Refusal(
            customer=f"Several are called that: {several}. Write the number, such as #{found[0].pk}."
        )
    return found[0]


def check_customer(new: NewCustomer) -> None:
    """Refusal beside ``new_name`` or ``new_email``, or both, for what cannot be written down."""
    wrong = {}
    if not new.name.strip():
        wrong["new_name"] = "Write the customer's name."
    if new.email.strip() and not usable_address(new.email):
        wrong["new_email"] = "No letter can go to this address. Write it like name@example.org."
    if wrong:
        raise Refusal(**wrong)


def add_customer(*, new: NewCustomer, by: Actor, at: datetime | None = None) -> Customer:
    """Write a customer down. Refusal beside ``new_name`` or ``new_email``."""
    by.need("open_tickets")
    check_customer(new)
    with transaction.atomic():
        customer = Customer.objects.create(
            name=new.name.strip(),
            email=new.email.strip(),
            phone=new.phone.strip(),
            address=new.address.strip(),
        )
        write_line(by=by, deed="added", thing=customer, at=at)
    return customer


def keep_shots(
    *, ticket: Ticket, shots: Sequence[Shot], key: str, by: Actor, at: datetime | None = None
) -> list[Document]:
    """Keep photographs with a ticket; the same key keeps them once."""
    by.need("open_tickets")
    return [
        keep_file(
            ticket=ticket,
            kind="photograph",
            title=shot.title,
            suffix=".jpg",
            content_type="image/jpeg",
            data=shot.data,
            key=f"photograph:{key}:{place}",
            by=by,
            at=at,
        )
        for place, shot in enumerate(shots)
    ]


def take_in_unit(
    *,
    customer: Customer | NewCustomer | None,
    shots: Sequence[Shot] = (),
    key: str,
    by: Actor,
    at: datetime | None = None,
    **ticket_fields: Any,
) -> Ticket:
    """Open the ticket, for a new customer too, with its photographs: all of it or nothing.

    ``ticket_fields`` are the arguments of :func:`shop.opening.open_ticket`.
    """
    by.need("open_tickets")
    at = at or clock.now()
    with transaction.atomic():
        owner = add_customer(new=customer, by=by, at=at) if isinstance(customer, NewCustomer) else customer
        ticket = open_ticket(customer=owner, by=by, at=at, **ticket_fields)
        keep_shots(ticket=ticket, shots=shots, key=key, by=by, at=at)
    return ticket
