"""The ground floor's part of the API: the door, tickets, the handbook."""

import re
import sqlite3
from datetime import date, datetime
from typing import Annotated, Any, Literal
from uuid import uuid4

from django.conf import settings
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.urls import reverse
from ninja import Header, Path, Query, Router, Schema, Status
from pydantic import AfterValidator, ConfigDict, Field

from shop import clock
from shop.access import Actor, asker, ticket_for
from shop.models import CLOSED, Complaint, Customer, Family, Ticket, Variant
from shop.money import parse_minor, show_minor
from shop.once import once
from shop.opening import change_ticket
from shop.refusals import Refusal
from shop.taking_in import NewCustomer, take_in_unit

door = Router(tags=["door"])
tickets = Router(tags=["tickets"])
handbook = Router(tags=["handbook"])

MOST_IN_A_PAGE = 100


def _plain(text: str) -> str:
    if "\x00" in text:
        raise ValueError("a NUL character cannot be kept")
    return text


Line = Annotated[str, Field(max_length=120), AfterValidator(_plain)]
Words = Annotated[str, Field(max_length=4000), AfterValidator(_plain)]
Money = Annotated[str, Field(max_length=30, examples=["84.00", "84.00 EUR"]), AfterValidator(_plain)]
Number = Annotated[int, Path(ge=1, le=2_147_483_647)]


@door.get("/health", auth=None)
def health(request: HttpRequest) -> dict[str, Any]:
    """Is the database there? Answers 500 if it is not."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    library = sqlite3.sqlite_version if connection.vendor == "sqlite" else ""
    return {"status": "well", "database": connection.vendor, "sqlite": library}


@door.get("/me")
def me(request: HttpRequest) -> dict[str, Any]:
    """Who is asking, what this person may do, and a fresh CSRF token."""
    by = asker(request)
    user = by.person
    return {
        "name": str(user),
        "key": by.key,
        "kind": by.kind,
        "roles": sorted(user.groups.values_list("name", flat=True)),
        "csrf_token": get_token(request),
    }


class CustomerIn(Schema):
    """A known customer by ``number``, or a new one by ``name``."""

    model_config = ConfigDict(extra="forbid")
    number: Annotated[int, Field(ge=1, le=2_147_483_647)] | None = None
    name: Line = ""
    email: Annotated[str, Field(max_length=254), AfterValidator(_plain)] = ""
    phone: Annotated[str, Field(max_length=40), AfterValidator(_plain)] = ""
    address: Words = ""


class SourceIn(Schema):
    model_config = ConfigDict(extra="forbid")
    kind: Literal["second unit", "box of parts"]
    words: Words


class TicketIn(Schema):
    """What is said when a unit comes in. No customer: it is rebuilt for the shelf. Money as text."""

    model_config = ConfigDict(extra="forbid")
    family: Line
    variant: Line
    customer: CustomerIn | None = None
    vehicle: Line = ""
    complaints: Annotated[list[Line], Field(max_length=60)] = []
    complaint_words: Words = ""
    missing_words: Words = ""
    oil_in: bool = False
    declared_value: Money = "0"
    examination_fee: Money = "0"
    deposit: Money = "0"
    on_no: Literal["returned apart", "returned together", "left to the shop"] = "returned apart"
    storage_words: Annotated[str, Field(max_length=200), AfterValidator(_plain)] = ""
    agreed_by: Line = ""
    promised_on: date | None = None
    serial: Annotated[str, Field(max_length=60), AfterValidator(_plain)] = ""
    casting_numbers: Line = ""
    sources: Annotated[list[SourceIn], Field(max_length=10)] = []


class TicketPatch(Schema):
    """What may be said differently while the ticket is open; what is left out stays."""

    model_config = ConfigDict(extra="forbid")
    vehicle: Line = ""
    complaint_words: Words = ""
    missing_words: Words = ""
    storage_words: Annotated[str, Field(max_length=200), AfterValidator(_plain)] = ""
    promised_on: date | None = None
    oil_in: bool = False


class CustomerOut(Schema):
    number: int
    name: str
    email: str
    phone: str


class HeldOut(Schema):
    why: str
    until: date | None


class TicketRow(Schema):
    number: int
    stage: str
    days_in_stage: int
    family: str
    variant: str
    customer: str | None
    vehicle: str
    promised_on: date | None
    held: HeldOut | None
    version: int


class SourceOut(Schema):
    kind: str
    words: str


class TicketOut(Schema):
    number: int
    version: int
    url: str
    stage: str
    stage_since: datetime
    days_in_stage: int
    held: HeldOut | None
    family: str
    variant: str
    customer: CustomerOut | None
    vehicle: str
    complaints: list[str]
    complaint_words: str
    missing_words: str
    oil_in: bool
    declared_value: str
    examination_fee: str
    deposit: str
    on_no: str
    storage_words: str
    agreed_by: str
    promised_on: date | None
    serial: str
    casting_numbers: str
    sources: list[SourceOut]
    opened_at: datetime


class TicketPage(Schema):
    items: list[TicketRow]
    next: str | None


def _held(ticket: Ticket) -> HeldOut | None:
    return HeldOut(why=ticket.held_why, until=ticket.held_until) if ticket.held_why else None


def _row(ticket: Ticket) -> TicketRow:
    return TicketRow(
        number=ticket.number,
        stage=ticket.stage,
        days_in_stage=ticket.days_in_stage(),
        family=ticket.family.code,
        variant=ticket.variant.code,
        customer=ticket.customer.name if ticket.customer else None,
        vehicle=ticket.vehicle,
        promised_on=ticket.promised_on,
        held=_held(ticket),
        version=ticket.version,
    )


def _whole(ticket: Ticket) -> TicketOut:
    sources = list(ticket.sources.select_related("unit").order_by("pk"))
    unit = next((one.unit for one in sources if one.kind == "unit"), None)
    owner = ticket.customer
    return TicketOut(
        number=ticket.number,
        version=ticket.version,
        url=f"{settings.ADDRESS}{reverse('ticket', args=[ticket.number])}",
        stage=ticket.stage,
        stage_since=ticket.stage_since,
        days_in_stage=ticket.days_in_stage(),
        held=_held(ticket),
        family=ticket.family.code,
        variant=ticket.variant.code,
        customer=(
            CustomerOut(number=owner.pk, name=owner.name, email=owner.email, phone=owner.phone)
            if owner
            else None
        ),
        vehicle=ticket.vehicle,
        complaints=[one.complaint.code for one in ticket.complaints.select_related("complaint")],
        complaint_words=ticket.complaint_words,
        missing_words=ticket.missing_words,
        oil_in=ticket.oil_in,
        declared_value=show_minor(ticket.declared_value_minor, ticket.currency, sign=True),
        examination_fee=show_minor(ticket.examination_fee_minor, ticket.currency, sign=True),
        deposit=show_minor(ticket.deposit_minor, ticket.currency, sign=True),
        on_no=ticket.on_no,
        storage_words=ticket.storage_words,
        agreed_by=ticket.agreed_by,
        promised_on=ticket.promised_on,
        serial=unit.serial if unit else "",
        casting_numbers=unit.casting_numbers if unit else "",
        sources=[SourceOut(kind=one.kind, words=one.words) for one in sources],
        opened_at=ticket.opened_at,
    )


def _minor(field: str, text: str) -> int:
    """Minor units from ``84.00`` or ``84.00 EUR``; another currency than the shop's is refused."""
    amount, _, currency = text.strip().partition(" ")
    if currency and currency.strip().upper() != settings.CURRENCY:
        raise Refusal(**{field: f"The shop counts in {settings.CURRENCY}. Write the amount in it."})
    try:
        return parse_minor(amount)
    except Refusal as trouble:
        raise Refusal(**{field: trouble.message}) from None


def _owner(said: CustomerIn | None) -> Customer | NewCustomer | None:
    if said is None:
        return None
    if said.number is None:
        return NewCustomer(said.name, said.email, said.phone, said.address)
    found = Customer.objects.filter(pk=said.number, forgotten_at__isnull=True).first()
    if found is None:
        raise Refusal(customer=f"There is no customer {said.number}.")
    return found


def _chosen(said: TicketIn) -> tuple[Family, Variant, list[Complaint]]:
    family = Family.objects.filter(code=said.family).first()
    if family is None:
        raise Refusal(family=f"There is no family {said.family}.")
    variant = family.variants.filter(code=said.variant).first()
    if variant is None:
        known = ", ".join(family.variants.values_list("code", flat=True))
        raise Refusal(variant=f"{family} has no variant {said.variant}; it has {known}.")
    by_code = {one.code: one for one in family.complaints.filter(retired_at__isnull=True)}
    if unknown := [code for code in said.complaints if code not in by_code]:
        raise Refusal(complaints=f"{family} has no complaint {', '.join(unknown)}.")
    return family, variant, [by_code[code] for code in said.complaints]


def _take_in(said: TicketIn, key: str, by: Actor) -> Ticket:
    family, variant, complaints = _chosen(said)
    same = said.model_dump(
        include={
            "vehicle",
            "complaint_words",
            "missing_words",
            "oil_in",
            "on_no",
            "storage_words",
            "agreed_by",
            "promised_on",
            "serial",
            "casting_numbers",
        }
    )
    return take_in_unit(
        customer=_owner(said.customer),
        key=key,
        by=by,
        family=family,
        variant=variant,
        complaints=complaints,
        declared_value_minor=_minor("declared_value", said.declared_value),
        examination_fee_minor=_minor("examination_fee", said.examination_fee),
        deposit_minor=_minor("deposit", said.deposit),
        more_sources=[(one.kind, one.words) for one in said.sources],
        **same,
    )


def _etag(version: int) -> str:
    return f'"{version}"'


@tickets.post("", response={201: TicketOut})
def open_ticket(
    request: HttpRequest,
    response: HttpResponse,
    said: TicketIn,
    idempotency_key: Annotated[str | None, Header(alias="Idempotency-Key")] = None,
) -> Status[Any]:
    """Open a ticket. With an ``Idempotency-Key`` a repeat gets the first answer."""
    by = asker(request)
    by.need("open_tickets")
    key = str(uuid4()) if idempotency_key is None else idempotency_key
    answer = once(
        by=by,
        operation="POST tickets",
        key=key,
        body=said.model_dump(mode="json"),
        rule=lambda: _whole(_take_in(said, key, by)).model_dump(mode="json"),
    )
    response.headers["Location"] = f"{request.path}/{answer['number']}"
    response.headers["ETag"] = _etag(answer["version"])
    return Status(201, answer)


@tickets.get("", response=TicketPage)
def list_tickets(
    request: HttpRequest,
    cursor: Annotated[str, Query(pattern=r"^[0-9]{0,9}$")] = "",
    limit: Annotated[int, Query(ge=1, le=MOST_IN_A_PAGE)] = 50,
    stage: Annotated[str, Query(max_length=20)] = "",
) -> TicketPage:
    """Tickets, newest first. ``stage``: one, ``open`` or ``closed``; ``next``: the ``cursor`` of the next."""
    asker(request).need("see_tickets")
    rows = Ticket.objects.for_list()
    if stage in {"open", "closed"}:
        rows = rows.open() if stage == "open" else rows.filter(stage__in=CLOSED)
    elif stage:
        if stage not in dict(Ticket._meta.get_field("stage").flatchoices):
            raise Refusal(stage=f"There is no stage {stage}.")
        rows = rows.at(stage)
    if cursor:
        rows = rows.filter(number__lt=int(cursor))
    found = list(rows[: limit + 1])
    page = found[:limit]
    return TicketPage(
        items=[_row(one) for one in page], next=str(page[-1].number) if len(found) > limit else None
    )


@tickets.get("/{number}", response=TicketOut)
def read_ticket(request: HttpRequest, response: HttpResponse, number: Number) -> TicketOut:
    """One ticket; its ETag is what a change is made from."""
    ticket = ticket_for(asker(request), number)
    response.headers["ETag"] = _etag(ticket.version)
    return _whole(ticket)


def _version(if_match: str | None) -> int | None:
    """The version that If-Match names (RFC 9110, 13.1.1); none for a missing one, 0 for what none has."""
    if if_match is None:
        return None
    found = re.fullmatch(r'\s*"([0-9]{1,9})"\s*', if_match)
    return int(found[1]) if found else 0


@tickets.patch("/{number}", response=TicketOut)
def patch_ticket(
    request: HttpRequest,
    response: HttpResponse,
    number: Number,
    said: TicketPatch,
    if_match: Annotated[str | None, Header(alias="If-Match")] = None,
) -> TicketOut:
    """Say some things differently. Missing If-Match is 428, one that is not the newest 412."""
    by = asker(request)
    ticket = ticket_for(by, number, "open_tickets")
    changed = change_ticket(
        ticket=ticket,
        version=_version(if_match),
        by=by,
        at=clock.now(),
        **said.model_dump(exclude_unset=True),
    )
    response.headers["ETag"] = _etag(changed.version)
    return _whole(changed)
