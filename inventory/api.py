"""The API of the Stores: suppliers' price files, what suppliers ask, and what is in stock."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from ninja import Router, Schema, Status

from inventory import feeds
from inventory import prices as asked
from inventory import stock as shelf
from inventory.access import price_file_for, supplier_of
from inventory.csvout import csv_lines
from inventory.models import Price, PriceChange, PriceFile
from inventory.paging import Cursor, Limit, Text
from shop.access import asker
from shop.once import once
from shop.refusals import Refusal

price_files = Router(tags=["price-files"])
prices = Router(tags=["prices"])
stock = Router(tags=["stock"])
CHUNK = 1024 * 1024


class Taken(Schema):
    id: uuid.UUID
    status: str


class RefusalOut(Schema):
    line: int
    column: str
    message: str


class PriceFileOut(Schema):
    id: uuid.UUID
    supplier: str
    name: str
    status: str
    trouble: str
    received_at: str
    rows: int
    new: int
    changed: int
    unchanged: int
    refused_rows: int
    refusals: list[RefusalOut]
    refusals_csv: str


class Before(Schema):
    unit_price: str
    currency: str
    since: str
    until: str


class Asked(Schema):
    supplier: str
    number: str
    name: str
    part: str
    unit_price: str
    currency: str
    pack: int
    lead_days: int
    since: str
    history: list[Before]


class PricePage(Schema):
    items: list[Asked]
    next: str | None


class StockPage(Schema):
    items: list[dict[str, Any]]
    next: str | None


def _sent(request: HttpRequest) -> tuple[Iterable[bytes], str]:
    """The chunks of what was sent and its name. The size is judged before anything is read."""
    try:
        length = int(request.headers.get("Content-Length") or 0)
    except ValueError:
        length = 0
    if length > feeds.MAX_BYTES + CHUNK:
        raise feeds.TooLarge
    kind = (request.content_type or "").lower()
    if kind == "text/csv":
        return _stream(request), ""
    if kind == "multipart/form-data":
        upload = request.FILES.get("file")
        if not isinstance(upload, UploadedFile):
            raise Refusal(file="Send the CSV in the field `file`.")
        return upload.chunks(CHUNK), upload.name or ""
    raise WrongKind


class WrongKind(Refusal):
    """Neither of the two kinds of body."""

    status = 415

    def __init__(self) -> None:
        super().__init__("Send the file as text/csv, or as multipart/form-data with the field `file`.")


def _stream(request: HttpRequest) -> Iterator[bytes]:
    while chunk := request.read(CHUNK):
        yield chunk


BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "text/csv": {"schema": {"type": "string"}},
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["file"],
                    "properties": {"file": {"type": "string", "format": "binary"}},
                }
            },
        },
    },
    "parameters": [
        {
            "name": "Idempotency-Key",
            "in": "header",
            "required": False,
            "schema": {"type": "string", "minLength": 1, "maxLength": 80},
        }
    ],
}


@price_files.post("", response={202: Taken}, openapi_extra=BODY)
def send_price_file(request: HttpRequest, response: HttpResponse) -> Any:
    """Take in a supplier's CSV; it is read in the background. By the supplier's own token alone."""
    by = asker(request)
    supplier = supplier_of(by)
    chunks, name = _sent(request)
    draft = feeds.keep_draft(chunks)

    def rule() -> dict[str, str]:
        file = feeds.record_draft(supplier=supplier, draft=draft, name=name, by=by)
        return {"id": str(file.pk), "path": file.path}

    try:
        key = request.headers.get("Idempotency-Key")
        answer = (
            rule()
            if key is None
            else once(by=by, operation="send price file", key=key, body={"sha256": draft.sha256}, rule=rule)
        )
    except BaseException:
        draft.discard()
        raise
    if not answer["path"].endswith(draft.path.name):  # a repeat: the first one's file is the one that counts
        draft.discard()
    response["Location"] = reverse("api-1:price_file", args=[answer["id"]])
    return Status(202, {"id": answer["id"], "status": PriceFile.objects.get(pk=answer["id"]).status})


@price_files.get("/{uuid:file_id}", response=PriceFileOut, url_name="price_file")
def get_price_file(request: HttpRequest, file_id: uuid.UUID) -> Any:
    """How far it is, its figures, and the first 100 refusals."""
    file = price_file_for(asker(request), file_id)
    return {
        "id": file.pk,
        "supplier": file.supplier.code,
        "received_at": file.received_at.isoformat(),
        "refusals": list(file.refusals.values("line", "column", "message")[:100]),
        "refusals_csv": reverse("api-1:price_file_refusals", args=[file.pk]),
        **{
            name: getattr(file, name)
            for name in ("name", "status", "trouble", "rows", "new", "changed", "unchanged", "refused_rows")
        },
    }


@price_files.get("/{uuid:file_id}/refusals.csv", url_name="price_file_refusals")
def get_refusals(request: HttpRequest, file_id: uuid.UUID) -> HttpResponse:
    """All refusals of the file as CSV."""
    return refusals_csv(price_file_for(asker(request), file_id))


def refusals_csv(file: PriceFile) -> HttpResponse:
    rows = file.refusals.order_by("line", "id").values_list("line", "column", "message").iterator()
    return HttpResponse(
        csv_lines(("line", "column", "message"), rows),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="refusals-{file.pk}.csv"'},
    )


@prices.get("", response=PricePage)
def get_prices(
    request: HttpRequest, part: Text = "", cursor: Cursor = "", limit: Limit = 50
) -> dict[str, Any]:
    """What each supplier asks now for the part (all parts if none is named), and what it asked before."""
    asker(request).need("see_prices")
    found, following = asked.price_page(part=part, cursor=cursor, limit=limit)
    history = asked.history_of(found)
    return {"items": [_asked(one, history[one.pk]) for one in found], "next": following}


def _asked(price: Price, history: list[PriceChange]) -> dict[str, Any]:
    lead_days = price.lead_days if price.lead_days is not None else price.supplier.lead_days
    return {
        "supplier": price.supplier.code,
        "number": price.number,
        "name": price.name,
        "part": price.part_number,
        "unit_price": asked.show_micro(price.unit_price_micro),
        "currency": price.currency,
        "pack": price.pack,
        "lead_days": lead_days,
        "since": price.since.isoformat(),
        "history": [
            {
                "unit_price": asked.show_micro(one.unit_price_micro),
                "currency": one.currency,
                "since": one.since.isoformat(),
                "until": one.until.isoformat(),
            }
            for one in history
        ],
    }


@stock.get("", response=StockPage)
def get_stock(
    request: HttpRequest, part: Text = "", position: Text = "", cursor: Cursor = "", limit: Limit = 50
) -> dict[str, Any]:
    """Parts with what is on hand, reserved and free, then pieces with their newest readings."""
    asker(request).need("see_stock")
    return shelf.stock_page(part=part, position=position, cursor=cursor, limit=limit)
