"""The API of photographs and of the places marked on them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from ninja import File, Form, Path, Query, Router, Schema, Status
from ninja.files import UploadedFile
from pydantic import ConfigDict, Field

from inspections.bench.blind import sight_of
from inspections.evidence import photograph_pages as pages
from inspections.evidence.photographs import (
    is_clock_off,
    mark_place,
    mark_zone,
    marks_of,
    photographs_of,
    record_photograph,
    sees,
    small_of,
    take_back_photograph,
    withdraw_mark,
)
from inspections.models import Examination, Photograph, PhotographMark
from inspections.readings.findings import examination_for, examinations, examined
from shop.access import Actor, NotThere, asker, ticket_for
from shop.counter_views import give_out

tickets = Router(tags=["tickets"])
examinations_api = Router(tags=["examinations"])
photographs = Router(tags=["photographs"])

Number = Annotated[int, Path(ge=1, le=2_147_483_647)]
MOST_IN_A_PAGE = 100
MULTIPART = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["id", "check", "file"],
                    "properties": {
                        "id": {"type": "string", "format": "uuid"},
                        "check": {"type": "string", "maxLength": 40},
                        "piece": {"type": "string", "maxLength": 20},
                        "note": {"type": "string", "maxLength": 200},
                        "taken_at": {"type": "string", "format": "date-time"},
                        "file": {"type": "string", "format": "binary"},
                    },
                }
            }
        },
    }
}


class PhotographIn(Schema):
    """What is said of a photograph. ``taken_at``: the device's clock, kept and never used for order."""

    id: UUID
    check: Annotated[str, Field(max_length=40)]
    piece: Annotated[str, Field(max_length=20)] = ""
    note: str = ""
    taken_at: datetime | None = None


class MarkIn(Schema):
    """A place: ``across`` and ``down`` as shares from the upper left corner, or the ``zone`` on the frame."""

    model_config = ConfigDict(extra="forbid")
    id: UUID
    words: str
    across: Annotated[float, Field(ge=0, le=1)] | None = None
    down: Annotated[float, Field(ge=0, le=1)] | None = None
    zone: Annotated[str, Field(max_length=4)] = ""


class WithdrawIn(Schema):
    model_config = ConfigDict(extra="forbid")
    id: UUID
    reason: str


class ReasonIn(Schema):
    model_config = ConfigDict(extra="forbid")
    reason: str


class MarkOut(Schema):
    id: UUID
    number: int
    zone: str
    across: float
    down: float
    words: str
    by: str
    at: datetime


class PhotographOut(Schema):
    id: UUID
    check: str
    position: str
    piece: str
    note: str
    by: str
    taken_at: datetime
    clock_off: bool
    received_at: datetime
    width_px: int
    height_px: int
    url: str
    small_url: str
    taken_back: str | None
    marks: list[MarkOut]


class PhotographPage(Schema):
    items: list[PhotographOut]
    next: str | None
    hidden: int


def _mark(row: Photograph, one: PhotographMark) -> MarkOut:
    return MarkOut(
        id=one.pk,
        number=one.number,
        zone=pages.grid_for(row).zone(one.across, one.down),
        across=one.across,
        down=one.down,
        words=one.words,
        by=str(one.person),
        at=one.at,
    )


def _out(row: Photograph) -> PhotographOut:
    end = pages.end_of(row)
    return PhotographOut(
        id=row.pk,
        check=row.check_code,
        position=row.position_code,
        piece=row.piece.tag if row.piece else "",
        note=row.note,
        by=str(row.person),
        taken_at=row.taken_at,
        clock_off=is_clock_off(row),
        received_at=row.received_at,
        width_px=row.width_px,
        height_px=row.height_px,
        url=reverse("api-1:photograph_whole", args=[row.pk]),
        small_url=reverse("api-1:photograph_small", args=[row.pk]),
        taken_back=end.reason if end else None,
        marks=[_mark(row, one) for one in marks_of(row)],
    )


def _of_ticket(by: Actor, number: int, right: str) -> Examination:
    ticket = ticket_for(by, number, right)
    found = examinations().filter(ticket=ticket).first()
    if found is None:
        raise NotThere
    return found


def _keep(held: Examination, said: PhotographIn, file: UploadedFile | None, by: Actor) -> Status[Any]:
    row, new = record_photograph(
        examination=held,
        id=said.id,
        check=said.check,
        piece=said.piece,
        note=said.note,
        taken_at=said.taken_at,
        upload=file,
        by=by,
    )
    return Status(201 if new else 200, _out(row))


def _list(held: Examination, cursor: str, limit: int, by: Actor) -> PhotographPage:
    whole = examined(held)
    sight = sight_of(by, whole.state, whole.records)
    rows = photographs_of(held).prefetch_related("marks__person")
    if cursor:
        rows = rows.filter(sequence__gt=int(cursor))
    found = list(rows[: limit + 1])
    page = found[:limit]
    seen = [one for one in page if sees(sight, whole, by, one)]
    return PhotographPage(
        items=[_out(one) for one in seen],
        next=str(page[-1].sequence) if len(found) > limit else None,
        hidden=len(page) - len(seen),
    )


Cursor = Annotated[str, Query(pattern=r"^[0-9]{0,9}$")]
Limit = Annotated[int, Query(ge=1, le=MOST_IN_A_PAGE)]


@tickets.post(
    "/{number}/photographs", response={200: PhotographOut, 201: PhotographOut}, openapi_extra=MULTIPART
)
def send_photograph(
    request: HttpRequest, number: Number, said: Form[PhotographIn], file: File[UploadedFile | None] = None
) -> Status[Any]:
    """Keep a photograph of a check: 201 if it is new, 200 if it was kept before. Sending again is harmless.

    JPEG, PNG, WebP or HEIC; it is written anew without the place where it was taken.
    """
    by = asker(request)
    return _keep(_of_ticket(by, number, "record_readings"), said, file, by)


@examinations_api.post(
    "/{pk}/photographs", response={200: PhotographOut, 201: PhotographOut}, openapi_extra=MULTIPART
)
def send_photograph_of_examination(
    request: HttpRequest, pk: Number, said: Form[PhotographIn], file: File[UploadedFile | None] = None
) -> Status[Any]:
    """The same by the examination's id: for a donor, which has no ticket."""
    by = asker(request)
    return _keep(examination_for(by, pk, "record_readings"), said, file, by)


@tickets.get("/{number}/photographs", response=PhotographPage)
def list_photographs(
    request: HttpRequest, number: Number, cursor: Cursor = "", limit: Limit = 50
) -> PhotographPage:
    """Photographs of a ticket's unit, in the order in which they came in. ``hidden``: how many are by others,
    of checks that the asker still has to read."""
    by = asker(request)
    return _list(_of_ticket(by, number, "see_tickets"), cursor, limit, by)


@examinations_api.get("/{pk}/photographs", response=PhotographPage)
def list_photographs_of_examination(
    request: HttpRequest, pk: Number, cursor: Cursor = "", limit: Limit = 50
) -> PhotographPage:
    """The same by the examination's id."""
    by = asker(request)
    return _list(examination_for(by, pk), cursor, limit, by)


@photographs.get("/{uuid:pk}", response=PhotographOut)
def read_photograph(request: HttpRequest, pk: UUID) -> PhotographOut:
    """One photograph with its marks."""
    row, _ = pages.photograph_for(asker(request), pk)
    return _out(row)


@photographs.get("/{uuid:pk}/whole", url_name="photograph_whole")
def whole_photograph(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The whole picture, a JPEG."""
    row, _ = pages.photograph_for(asker(request), pk)
    return give_out(row.document)


@photographs.get("/{uuid:pk}/small", url_name="photograph_small")
def small_photograph(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The thumbnail, a JPEG; until the worker has made it, the whole picture."""
    row, _ = pages.photograph_for(asker(request), pk)
    return give_out(small_of(row))


@photographs.post("/{uuid:pk}/marks", response=MarkOut)
def mark_photograph(request: HttpRequest, pk: UUID, sent: MarkIn) -> MarkOut:
    """Mark a place with the next number. Sending again is harmless."""
    by = asker(request)
    row, _ = pages.photograph_for(by, pk, "record_readings")
    if sent.across is not None and sent.down is not None:
        across, down = sent.across, sent.down
        mark = mark_place(photograph=row, id=sent.id, across=across, down=down, words=sent.words, by=by)
    else:
        mark = mark_zone(photograph=row, id=sent.id, zone=sent.zone, words=sent.words, by=by)
    return _mark(row, mark)


@photographs.post("/{uuid:pk}/marks/{number}/withdraw", response=PhotographOut)
def withdraw_mark_of_photograph(
    request: HttpRequest, pk: UUID, number: Number, sent: WithdrawIn
) -> PhotographOut:
    """Withdraw a mark, with the reason. It stays on record."""
    by = asker(request)
    row, _ = pages.photograph_for(by, pk, "record_readings")
    mark = row.marks.filter(number=number, withdraws__isnull=True).first()
    if mark is None:
        raise NotThere
    mark.photograph = row
    withdraw_mark(mark=mark, id=sent.id, reason=sent.reason, by=by)
    return _out(row)


@photographs.post("/{uuid:pk}/take-back", response=PhotographOut)
def take_back(request: HttpRequest, pk: UUID, sent: ReasonIn) -> PhotographOut:
    """Take a photograph back, with the reason. It stays on record."""
    by = asker(request)
    row, _ = pages.photograph_for(by, pk, "record_readings")
    take_back_photograph(photograph=row, reason=sent.reason, by=by)
    fresh = photographs_of(row.examination).get(pk=row.pk)
    return _out(fresh)
