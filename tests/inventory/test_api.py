"""The Stores' part of the API: price files by token, prices with history, stock page by page."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from inventory import feeds, ledger
from inventory.csvout import csv_lines
from inventory.models import Price, PriceFile, PriceRefusal, Supplier
from inventory.prices import show_micro
from shop import outbox
from shop.access import PROGRAM, make_token
from shop.models import User
from tests import factories
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
FILES = "/api/v1/price-files"
DATA = b"number,name,price\nA,bearing,5\nB,seal,x\n"
Asks = Callable[..., Any]


def bearer(user: User) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=user, label='test')}"}


def send(user: User, data: bytes = DATA, **headers: str) -> Any:
    return Client().post(FILES, data, content_type="text/csv", headers={**bearer(user), **headers})


def get(user: User, path: str, **query: str) -> Any:
    return Client().get(path, query, headers=bearer(user))


def problem(answer: Any) -> dict[str, Any]:
    assert answer.headers["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = json.loads(answer.content)
    assert body["status"] == answer.status_code
    return body


def test_a_file_is_taken_in_read_in_the_background_and_told(cast: Cast) -> None:
    answer = send(cast.supplier)
    assert answer.status_code == 202
    body = answer.json()
    assert body["status"] == "waiting"
    assert answer.headers["Location"] == f"{FILES}/{body['id']}"
    outbox.run_due()
    told = get(cast.supplier, answer.headers["Location"]).json()
    assert (told["status"], told["rows"], told["new"], told["refused_rows"]) == ("done", 2, 1, 1)
    assert told["refusals"] == [
        {"line": 3, "column": "price", "message": "Write the price as 12.50, without a currency sign."}
    ]
    assert told["supplier"] == "TARN"
    table = get(cast.supplier, told["refusals_csv"])
    assert table.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert table.content.decode() == (
        'line,column,message\r\n3,price,"Write the price as 12.50, without a currency sign."\r\n'
    )


def test_a_file_is_also_taken_as_multipart(cast: Cast) -> None:
    upload = SimpleUploadedFile("march.csv", DATA, content_type="text/csv")
    answer = Client().post(FILES, {"file": upload}, headers=bearer(cast.supplier))
    assert answer.status_code == 202
    assert PriceFile.objects.get(pk=answer.json()["id"]).name == "march.csv"
    answer = Client().post(FILES, {"other": "x"}, headers=bearer(cast.supplier))
    assert problem(answer)["errors"] == [{"field": "file", "message": "Send the CSV in the field `file`."}]


def test_the_same_key_is_one_file_and_with_another_body_refused(cast: Cast, private_files: Path) -> None:
    key: dict[str, Any] = {"Idempotency-Key": str(uuid4())}
    first, again = send(cast.supplier, **key), send(cast.supplier, **key)
    assert first.json()["id"] == again.json()["id"]
    other = send(cast.supplier, b"number,price\nA,6\n", **key)
    assert (other.status_code, PriceFile.objects.count()) == (422, 1)
    assert problem(other)["errors"][0]["field"] == "key"
    assert len(list((private_files / "files" / "price-files").iterdir())) == 1
    neighbour = send(cast.other_supplier, b"number,price\nA,6\n", **key)
    assert neighbour.status_code == 202


def test_who_may_send_and_see(cast: Cast) -> None:
    path = send(cast.supplier).headers["Location"]
    for user, status in (
        (cast.supplier, 200),
        (cast.other_supplier, 404),
        (cast.stores, 200),
        (cast.manager, 200),
        (cast.owner, 200),
        (cast.front_desk, 403),
        (cast.technician, 403),
        (cast.stranger, 403),
    ):
        answer = get(user, path)
        assert answer.status_code == status, user
        assert get(user, f"{path}/refusals.csv").status_code == status
        if status != 200:
            problem(answer)
    for user in (cast.stores, cast.owner, cast.technician, cast.stranger):
        assert problem(send(user))["status"] == 404
    anonymous = Client().post(FILES, DATA, content_type="text/csv")
    assert problem(anonymous)["status"] == 401
    assert PriceFile.objects.count() == 1


@pytest.mark.parametrize(
    ("kind", "data", "status"),
    [
        ("application/json", b"{}", 415),
        ("text/csv", b"", 422),
        ("text/csv", b"x" * 2000, 413),
        ("multipart/form-data; boundary=x", b"damaged", 422),
    ],
    ids=["json", "empty", "large", "damaged"],
)
def test_bodies_that_cannot_be_used(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, kind: str, data: bytes, status: int
) -> None:
    monkeypatch.setattr(feeds, "MAX_BYTES", 1000)
    answer = Client().generic("POST", FILES, data, headers=bearer(cast.supplier), CONTENT_TYPE=kind)
    assert answer.status_code == status
    problem(answer)


def test_a_body_said_to_be_huge_is_refused_unread(cast: Cast) -> None:
    answer = Client().post(
        FILES,
        b"x",
        content_type="text/csv",
        headers={**bearer(cast.supplier), "Content-Length": str(2 * 1024**3)},
    )
    assert problem(answer)["status"] == 413


def test_unknown_files_are_not_there(cast: Cast) -> None:
    assert problem(get(cast.supplier, f"{FILES}/{UUID(int=5)}"))["status"] == 404
    assert problem(get(cast.supplier, f"{FILES}/nonsense"))["status"] == 404


def test_formulas_are_made_harmless_in_what_is_given_out(cast: Cast) -> None:
    assert list(csv_lines(("a", "b"), [("=1+1", -5), ("@x", "plain")])) == [
        "a,b\r\n",
        "'=1+1,-5\r\n",
        "'@x,plain\r\n",
    ]
    file = PriceFile.objects.create(
        supplier=Supplier.objects.get(code="TARN"),
        path="x",
        size=1,
        sha256="",
        received_at=factories.BEGINNING,
    )
    PriceRefusal.objects.create(file=file, line=2, column="=cmd", message="+bad")
    table = get(cast.stores, f"{FILES}/{file.pk}/refusals.csv")
    assert table.content.endswith(b"2,'=cmd,'+bad\r\n")


def test_prices_with_history(cast: Cast) -> None:
    part = factories.PartFactory.make(number="H4-INBRG-01")
    tarn = Supplier.objects.get(code="TARN")
    for price in ("36.50", "37.25"):
        data = f"number,name,price\nH4-INBRG-01,bearing,{price}\n".encode()
        file = feeds.take_in_file(supplier=tarn, data=data, name="", by=PROGRAM)
        feeds.read_price_file("k", str(file.pk))
    body = get(cast.stores, "/api/v1/prices", part="h4 inbrg 01").json()
    assert body["next"] is None
    (item,) = body["items"]
    assert (item["supplier"], item["part"], item["unit_price"], item["currency"], item["lead_days"]) == (
        "TARN",
        part.number,
        "37.25",
        "EUR",
        3,
    )
    assert [one["unit_price"] for one in item["history"]] == ["36.50"]
    for user, status in ((cast.front_desk, 403), (cast.technician, 403), (cast.supplier, 404)):
        assert problem(get(user, "/api/v1/prices", part=part.number))["status"] == status
    assert problem(get(cast.stores, "/api/v1/prices", part="nothing"))["status"] == 404


def test_prices_page_by_page(cast: Cast) -> None:
    supplier = Supplier.objects.get(code="TARN")
    for n in range(5):
        factories.PriceFactory.make(supplier=supplier, part_number=f"H4-{n}")
    seen, cursor = [], ""
    while True:
        body = get(cast.stores, "/api/v1/prices", limit="2", cursor=cursor).json()
        seen += [one["part"] for one in body["items"]]
        if body["next"] is None:
            break
        cursor = body["next"]
    assert seen == [f"H4-{n}" for n in range(5)]


def test_stock_tells_counts_and_pieces_with_readings(cast: Cast) -> None:
    lot = factories.stock_lot(10)
    factories.PartFitFactory.make(part=lot.part, position=factories.PositionFactory.make(code="MNSH"))
    piece = factories.stock_piece("MNSH")
    piece.measures.create(
        feature="MNSH.J2", condition=1, value_um=49976, expanded_um=3, state="within", at=factories.BEGINNING
    )
    ticket = factories.TicketFactory.make()
    ledger.reserve_lot(ticket=ticket, lot=lot, quantity=4, position_code="MNSH", by=PROGRAM)
    ledger.reserve_piece(ticket=ticket, piece=piece, position_code="MNSH", by=PROGRAM)
    body = get(cast.technician, "/api/v1/stock", position="MNSH").json()
    first, second = body["items"]
    assert (first["part"], first["on_hand"], first["reserved"], first["free"]) == (lot.part.number, 10, 4, 6)
    assert (second["piece"], second["promised_to_ticket"]) == (piece.tag, ticket.number)
    assert second["readings"][0]["value_mm"] == 49.976
    assert "cost" not in json.dumps(body)
    assert [
        one["kind"] for one in get(cast.stores, "/api/v1/stock", part=lot.part.number).json()["items"]
    ] == ["part"]
    for user, status in ((cast.supplier, 404), (cast.stranger, 403)):
        assert problem(get(user, "/api/v1/stock"))["status"] == status


@pytest.mark.parametrize("limit", [1, 2, 3, 4, 7])
def test_stock_page_by_page_shows_each_line_once(cast: Cast, limit: int) -> None:
    lots = [factories.stock_lot() for _ in range(3)]
    shelf = [factories.stock_piece() for _ in range(4)]
    seen, cursor = [], ""
    for _ in range(20):
        body = get(cast.stores, "/api/v1/stock", limit=str(limit), cursor=cursor).json()
        assert len(body["items"]) <= limit
        seen += [one.get("piece") or one["part"] for one in body["items"]]
        if body["next"] is None:
            break
        cursor = body["next"]
    assert seen == sorted(lot.part.number for lot in lots) + [one.tag for one in shelf]


@pytest.mark.parametrize("path", ["/api/v1/stock", "/api/v1/prices"])
@pytest.mark.parametrize(
    "query",
    [
        {"limit": "0"},
        {"limit": "201"},
        {"limit": "99999999999999999999999"},
        {"limit": "x"},
        {"cursor": "nonsense"},
        {"cursor": "cHJpY2UKOTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk5"},
        {"part": "x" * 81},
        {"cursor": "x" * 201},
    ],
)
def test_bad_pages_are_told(cast: Cast, path: str, query: dict[str, str]) -> None:
    assert problem(get(cast.stores, path, **query))["status"] == 422


@pytest.mark.parametrize(
    ("micro", "text"), [(12_500_000, "12.50"), (333_333, "0.333333"), (7_000_000, "7.00"), (1, "0.000001")]
)
def test_a_price_is_shown_to_the_last_place_that_counts(micro: int, text: str) -> None:
    assert show_micro(micro) == text
    assert Price.objects.count() == 0
