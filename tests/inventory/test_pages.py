"""Pages of the Stores: who may see them, what they do without JavaScript, and that nothing typed is lost."""

from types import ModuleType
from typing import Any
from uuid import uuid4

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from estimates import forms as estimates_forms
from estimates.forms import RateForm
from inventory import feeds, ledger, purchasing
from inventory import forms as inventory_forms
from inventory.forms import AdjustForm
from inventory.models import Balance, Lot, Measure, Movement, Piece, PriceFile, Purchase, Supplier
from shop import clock, outbox
from shop.access import PROGRAM
from tests import factories
from tests.conftest import Cast, SignedIn

pytestmark = pytest.mark.django_db

SEE = {"front_desk", "technician", "second_technician", "lead", "stores", "manager", "owner"}
PRICES = {"stores", "manager", "owner"}
KEEP = {"stores", "manager", "owner"}


def house() -> dict[str, str]:
    """One of everything; page -> its address."""
    lot, piece = factories.stock_lot(10), factories.stock_piece()
    price = factories.PriceFactory.make(supplier=Supplier.objects.get(code="TARN"))
    line = purchasing.want_purchase(
        ticket=factories.TicketFactory.make(stage="agreed"),
        position_code="INBRG",
        part=lot.part,
        price=price,
        by=PROGRAM,
    )
    file = feeds.take_in_file(
        supplier=price.supplier, data=b"number,price\nA,5\nB,x\n", name="a.csv", by=PROGRAM
    )
    outbox.run_due()
    return {
        "stores": "/stores/",
        "part": f"/stores/parts/{lot.part.number}",
        "piece": f"/stores/pieces/{piece.tag}",
        "take_in": "/stores/take-in",
        "purchases": "/stores/purchases",
        "purchase": f"/stores/purchases/{line.pk}",
        "price_files": "/stores/price-files",
        "price_file": f"/stores/price-files/{file.pk}",
        "refusals": f"/stores/price-files/{file.pk}/refusals.csv",
        "correct": f"/stores/movements/{Movement.objects.order_by('pk')[0].pk}/correct",
    }


MAY = {
    "stores": SEE,
    "part": SEE,
    "piece": SEE,
    "take_in": KEEP,
    "purchases": PRICES,
    "purchase": KEEP,
    "price_files": PRICES,
    "price_file": PRICES,
    "refusals": PRICES,
    "correct": KEEP,
}


@pytest.mark.parametrize("page", MAY)
def test_who_may_see_a_page(cast: Cast, signed_in: SignedIn, page: str) -> None:
    address = house()[page]
    for name in (*SEE, "stranger"):
        status = 200 if name in MAY[page] else 403
        assert signed_in(getattr(cast, name)).get(address).status_code == status, name
    for name in ("supplier", "other_supplier"):
        assert signed_in(getattr(cast, name)).get(address).status_code == 404, name
    answer = Client().get(address)
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/sign-in")


@pytest.mark.parametrize("page", ["part", "piece", "take_in", "purchase", "price_files", "correct"])
def test_who_may_write(cast: Cast, signed_in: SignedIn, page: str) -> None:
    address = house()[page]
    lines = Movement.objects.count()
    for name in ("front_desk", "technician", "lead", "stranger"):
        assert signed_in(getattr(cast, name)).post(address, {"deed": "order"}).status_code == 403
    assert signed_in(cast.supplier).post(address).status_code == 404
    assert Movement.objects.count() == lines


def test_costs_are_shown_to_those_who_may_see_prices(cast: Cast, signed_in: SignedIn) -> None:
    factories.stock_piece(cost_minor=8412)
    assert "84.12" in signed_in(cast.stores).get("/stores/").text
    assert "84.12" not in signed_in(cast.technician).get("/stores/").text


def test_the_search_takes_number_name_tag_position_and_bin(cast: Cast, signed_in: SignedIn) -> None:
    part = factories.PartFactory.make(number="H4-INBRG-01", name="Ball bearing")
    other = factories.PartFactory.make(number="H4-SEAL", name="Oil seal")
    place = factories.BinFactory.make(code="A1")
    ledger.receive_lot(part=part, bin=place, quantity=2, cost_micro=1, key="k", by=PROGRAM)
    piece = factories.stock_piece("W2M", words="light frosting")
    client = signed_in(cast.stores)

    def found(**query: str) -> set[str]:
        text = client.get("/stores/", query).text
        return {one for one in (part.number, other.number, piece.tag) if f">{one}</a>" in text}

    assert found() == {part.number, other.number, piece.tag}
    assert found(text="inbrg01") == {part.number}
    assert found(text="ball bear") == {part.number}
    assert found(text="frosting") == {piece.tag}
    assert found(text=piece.tag) == {piece.tag}
    assert found(position="w2m") == {piece.tag}
    assert found(bin="a1") == {part.number}
    assert found(text="<script>") == set()
    assert "<script>x" not in client.get("/stores/", {"text": "<script>x"}).text


def test_a_lot_is_received_counted_and_a_mistake_taken_back(cast: Cast, signed_in: SignedIn) -> None:
    part, place = factories.PartFactory.make(), factories.BinFactory.make()
    client, address = signed_in(cast.stores), f"/stores/parts/{part.number}"
    form = {"deed": "receive", "key": str(uuid4()), "quantity": "4", "cost": "2,50", "bin": place.pk}
    for _ in range(2):  # pressed twice
        assert client.post(address, form).status_code == 302
    lot = Lot.objects.get()
    assert (lot.cost_micro, lot.balance.on_hand) == (2_500_000, 4)
    adjust = {"deed": "adjust", "key": str(uuid4()), "lot": lot.pk, "quantity": "-1", "why": "bent"}
    assert client.post(address, adjust).status_code == 302
    line = Movement.objects.get(kind="adjusted")
    taken_back = client.post(f"/stores/movements/{line.pk}/correct", {"key": str(uuid4()), "why": "not bent"})
    assert taken_back.status_code == 302
    assert Balance.objects.get(lot=lot).on_hand == 4
    page = client.get(address).text
    assert "taken back" in page
    assert "Betta Lund" in page
    assert ledger.check_ledger() == []


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"quantity": "0"}, "Write 1 or more."),
        ({"quantity": "four"}, "whole number"),
        ({"cost": "2.5055"}, "2 digits after the point"),
        ({"cost": "two"}, "Write an amount such as"),
        ({"bin": "999999"}, "Choose the bin from the list"),
    ],
)
def test_what_cannot_be_used_is_told_and_nothing_typed_is_lost(
    cast: Cast, signed_in: SignedIn, fields: dict[str, str], told: str
) -> None:
    part, place = factories.PartFactory.make(), factories.BinFactory.make()
    form: dict[str, Any] = {
        "deed": "receive",
        "key": str(uuid4()),
        "quantity": "4",
        "cost": "2.50",
        "bin": place.pk,
        "why": "note 4711",
        **fields,
    }
    answer = signed_in(cast.stores).post(f"/stores/parts/{part.number}", form)
    assert answer.status_code == 422
    assert told in answer.text
    assert 'value="note 4711"' in answer.text
    assert not Lot.objects.exists()


def test_a_count_below_what_is_promised_is_told(cast: Cast, signed_in: SignedIn) -> None:
    lot = factories.stock_lot(5)
    ticket = factories.TicketFactory.make()
    ledger.reserve_lot(ticket=ticket, lot=lot, quantity=4, position_code="X", by=PROGRAM)
    form = {"deed": "adjust", "key": str(uuid4()), "lot": lot.pk, "quantity": "-3", "why": "lost"}
    answer = signed_in(cast.stores).post(f"/stores/parts/{lot.part.number}", form)
    assert answer.status_code == 422
    assert "5 are there and 4 are promised" in answer.text


def test_a_piece_is_taken_in_put_away_and_scrapped(cast: Cast, signed_in: SignedIn) -> None:
    position = factories.PositionFactory.make()
    one, two = factories.BinFactory.make_some(2)
    client = signed_in(cast.stores)
    form = {
        "key": str(uuid4()),
        "position": position.pk,
        "size": "standard",
        "bin": one.pk,
        "cost": "84.00",
        "ran_in": "donor HX1",
        "words": "straight",
    }
    for _ in range(2):
        assert client.post("/stores/take-in", form).status_code == 302
    piece = Piece.objects.get()
    assert (piece.bin, piece.cost_minor) == (one, 8400)
    address = f"/stores/pieces/{piece.tag}"
    assert client.post(address, {"deed": "put", "key": str(uuid4()), "bin": two.pk}).status_code == 302
    refused = client.post(address, {"deed": "scrap", "key": str(uuid4()), "why": ""})
    assert refused.status_code == 422
    assert client.post(address, {"deed": "scrap", "key": str(uuid4()), "why": "lug off"}).status_code == 302
    piece.refresh_from_db()
    assert (piece.state, piece.bin) == ("scrapped", two)
    assert ledger.check_ledger() == []


def test_a_promised_piece_says_who_holds_it(cast: Cast, signed_in: SignedIn) -> None:
    piece, ticket = factories.stock_piece(), factories.TicketFactory.make()
    ledger.reserve_piece(ticket=ticket, piece=piece, position_code="MNSH", by=PROGRAM)
    client = signed_in(cast.stores)
    assert f"ticket {ticket.number}" in client.get(f"/stores/pieces/{piece.tag}").text
    assert f"ticket {ticket.number}" in client.get("/stores/").text
    answer = client.post(
        f"/stores/pieces/{piece.tag}", {"deed": "scrap", "key": str(uuid4()), "why": "cracked"}
    )
    assert answer.status_code == 422
    assert f"promised to ticket {ticket.number}" in answer.text


def test_a_line_is_ordered_and_received_for_its_ticket(cast: Cast, signed_in: SignedIn) -> None:
    factories.ExchangeRateFactory.make()
    price = factories.PriceFactory.make(
        supplier=Supplier.objects.get(code="PELL"), unit_price_micro=10_000_000
    )
    ticket, part = factories.TicketFactory.make(stage="agreed"), factories.PartFactory.make()
    for _ in range(2):
        line = purchasing.want_purchase(
            ticket=ticket, position_code="INBRG", part=part, price=price, by=PROGRAM
        )
    client, place = signed_in(cast.stores), factories.BinFactory.make()
    page = client.get("/stores/purchases").text
    assert "20.00 GBP" in page
    assert "23.40" in page
    address = f"/stores/purchases/{line.pk}"
    early = client.post(address, {"deed": "receive", "key": str(uuid4()), "bin": place.pk})
    assert early.status_code == 422
    assert "Only an ordered line" in early.text
    assert client.post(address, {"deed": "order"}).status_code == 302
    form = {"deed": "receive", "key": str(uuid4()), "bin": place.pk}
    for _ in range(2):
        assert client.post(address, form).status_code == 302
    line.refresh_from_db()
    assert (line.state, ticket.reservations.count()) == ("received", 1)
    other = Purchase.objects.get(state="wanted")
    assert client.post(f"/stores/purchases/{other.pk}", {"deed": "cancel"}).status_code == 302
    assert client.get("/stores/purchases").status_code == 200


def test_the_stores_take_a_file_in_for_a_supplier(cast: Cast, signed_in: SignedIn) -> None:
    supplier, client, key = Supplier.objects.get(code="TARN"), signed_in(cast.stores), str(uuid4())
    for _ in range(2):
        upload = SimpleUploadedFile("march.csv", b"number,price\nA,5\nB,=1+1\n")
        answer = client.post("/stores/price-files", {"supplier": supplier.pk, "file": upload, "key": key})
        assert answer.status_code == 302
    outbox.run_due()
    file = PriceFile.objects.get()
    page = client.get(answer.headers["Location"]).text
    assert "In force." in page
    assert "Write the price as 12.50" in page
    assert (
        client.get(f"/stores/price-files/{file.pk}/refusals.csv")
        .headers["Content-Type"]
        .startswith("text/csv")
    )
    empty = SimpleUploadedFile("empty.csv", b"")
    answer = client.post("/stores/price-files", {"supplier": supplier.pk, "file": empty, "key": str(uuid4())})
    assert answer.status_code == 422
    assert "The file is empty." in answer.text


def test_unknown_things_are_not_there(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.stores)
    for address in (
        "/stores/parts/nothing",
        "/stores/pieces/P-9999",
        f"/stores/purchases/{10**30}",
        f"/stores/movements/{10**30}/correct",
        f"/stores/price-files/{uuid4()}",
    ):
        assert client.get(address).status_code == 404, address


def test_the_search_page_needs_few_queries(
    cast: Cast, signed_in: SignedIn, django_assert_max_num_queries: Any
) -> None:
    for _ in range(3):
        factories.stock_lot()
        factories.stock_piece()
    client = signed_in(cast.stores)
    with django_assert_max_num_queries(13):
        assert client.get("/stores/").status_code == 200


def test_each_ledger_has_its_own_pager(
    cast: Cast, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("inventory.views.PAGE", 2)
    pieces = [factories.stock_piece() for _ in range(5)]
    for _ in range(3):
        factories.stock_lot()
    page = signed_in(cast.stores).get("/stores/?page=2&pieces=3").text
    parts, _, below = page.partition('id="pieces-caption"')
    assert 'aria-label="Pages of parts"' in parts
    assert 'aria-label="Pages of pieces"' in below
    assert "Page 3 of 3, 5 pieces" in below
    assert "page=2&amp;pieces=2#pieces-caption" in below
    tags = sorted(one.tag for one in pieces)
    assert [tag in below for tag in tags] == [False, False, False, False, True]


def test_measures_of_pieces_have_their_unit(cast: Cast, signed_in: SignedIn) -> None:
    piece = factories.stock_piece()
    Measure.objects.create(
        piece=piece, feature="X.D", condition=1, value_um=25_014, expanded_um=3, state="within",
        at=clock.now(),
    )  # fmt: skip
    assert "X.D 25.014 mm" in signed_in(cast.stores).get("/stores/").text


def test_an_empty_form_is_answered_in_the_words_of_the_house(cast: Cast, signed_in: SignedIn) -> None:
    client, pages = signed_in(cast.stores), house()
    purchase = Purchase.objects.get()
    purchasing.order_purchase(purchase=purchase, by=PROGRAM)
    for page, deed, words in (
        ("part", "receive", ("Write how many.", "Choose the bin.", "Write what one cost")),
        ("part", "adjust", ("Choose the lot.", "Write how many.", "Write why the count changes.")),
        ("piece", "put", ("Choose the bin.",)),
        ("piece", "scrap", ("Write why it is scrapped.",)),
        ("take_in", "", ("Choose the position.", "Choose the bin.", "Write the size")),
        ("purchase", "receive", ("Choose the bin.",)),
        ("price_files", "", ("Choose the supplier.", "Choose the price file.")),
        ("correct", "", ("Write what was wrong.",)),
    ):
        answer = client.post(pages[page], {"deed": deed})
        assert answer.status_code == 422, page
        assert "This field is required" not in answer.text, page
        assert "Open the page again" in answer.text, page
        for said in words:
            assert said in answer.text, (page, said)


def forms_of(module: ModuleType) -> list[forms.Form]:
    return [
        one(part=factories.stock_lot().part) if one is AdjustForm else one(currency="EUR") if one is RateForm
        else one()
        for one in vars(module).values()
        if isinstance(one, type) and issubclass(one, forms.Form) and one.__module__ == module.__name__
    ]  # fmt: skip


@pytest.mark.parametrize("module", [inventory_forms, estimates_forms])
def test_no_field_speaks_the_frameworks_words(module: ModuleType) -> None:
    made = forms_of(module)
    assert made
    for form in made:
        for name, field in form.fields.items():
            if field.required:
                assert field.error_messages["required"] != "This field is required.", (form, name)
