"""Price files: taken in at once, in force whole or not at all, damaged rows refused one by one."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from inventory import feeds, staging
from inventory.models import Price, PriceChange, PriceFile, Supplier
from shop import outbox
from shop.access import PROGRAM, Denied, NotThere
from shop.models import Outbox
from shop.refusals import Refusal
from tests import factories
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
FILES = Path(__file__).resolve().parents[2] / "fixtures" / "prices"
MONDAY = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
TARN = {
    "delimiter": ";",
    "decimal_mark": ",",
    "columns": {
        "number": "Art",
        "name": "Text",
        "price": "Netto",
        "pack": "VE",
        "lead_days": "Tage",
        "part_number": "Kundennummer",
    },
}


def pell(**fields: Any) -> Supplier:
    return factories.SupplierFactory.make(
        **{"code": "PELL", "name": "Pellmoor Bearings (invented)", "currency": "GBP", **fields}
    )


def read(supplier: Supplier, data: bytes | str, at: datetime = MONDAY) -> PriceFile:
    data = data.encode() if isinstance(data, str) else data
    file = feeds.take_in_file(supplier=supplier, data=data, name="prices.csv", by=PROGRAM, at=at)
    feeds.read_price_file(f"price file {file.pk}", str(file.pk), at=at)
    file.refresh_from_db()
    return file


def figures(file: PriceFile) -> tuple[int, int, int, int, int]:
    return file.rows, file.new, file.changed, file.unchanged, file.refused_rows


def test_the_demonstration_files_are_read_whole() -> None:
    tarn = factories.SupplierFactory.make(manner=TARN)
    part = factories.PartFactory.make(number="H4-INBRG-01")
    factories.PartFactory.make(number="H4-THWF-215")
    first = read(tarn, (FILES / "tarn_gear_supply.csv").read_bytes())
    second = read(pell(), (FILES / "pellmoor_bearings.csv").read_bytes())
    for file in (first, second):
        assert (file.status, file.trouble) == ("done", "")
        assert 60 <= file.rows <= 120
        assert figures(file) == (file.rows, file.rows, 0, 0, 0)
    asked = Price.objects.filter(part_number=part.number).order_by("supplier__code")
    assert [(one.supplier.code, one.unit_price_micro, one.currency) for one in asked] == [
        ("PELL", 27_850_000, "GBP"),
        ("TARN", 36_500_000, "EUR"),
    ]
    washer = Price.objects.get(part_number="H4-THWF-215")
    assert (washer.number, washer.unit_price_micro, washer.lead_days) == ("TG-1017", 4_200_000, 2)


def test_each_damaged_row_is_refused_with_line_column_and_message() -> None:
    file = read(pell(), (FILES / "damaged.csv").read_bytes())
    assert file.status == "done"
    assert [(one.line, one.column, one.message) for one in file.refusals.all()] == [
        (3, "", "2 columns, the first line has 6."),
        (4, "price", "Write the price as 12.50, without a currency sign."),
        (5, "price", "A price cannot be negative."),
        (6, "number", "This number stands on line 2 already."),
        (7, "currency", "The shop has no rate for this currency. It reckons with EUR, GBP."),
        (8, "number", "This is no utf-8 text: it holds unusable characters."),
        (9, "name", "This is no utf-8 text: it holds unusable characters."),
        (10, "", "The quotes on this line do not close."),
        (11, "", "7 columns, the first line has 6."),
        (12, "number", "A number has 1 to 60 characters."),
        (13, "pack", "Write a whole number from 1 to 1000000."),
        (14, "price", "Write the price as 12.50, without a currency sign."),
    ]
    assert figures(file) == (15, 3, 0, 0, 12)
    assert set(Price.objects.values_list("number", "name")) == {
        ("H4-INBRG-01", "Ball bearing"),
        ("PB-FORMULA", "=2+5 mm stud"),
        ("PB-LAST", "Bearing, sealed"),
    }


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"number,name\nA,B\n", "The first line has no column price. It has: number, name."),
        (b"number,price,price\nA,1,2\n", "The first line names the column price twice."),
        (b"number;price\nA;1\n", "The first line has no column number."),
        ("number,price\nA,1\n".encode("utf-16"), "The first line has no column number."),
        (b"\n\n", "The first line has no column number. It has: nothing."),
        (b"number,price\n", "No row of the file can be used."),
        (b"number,price\nA,x\n", "No row of the file can be used."),
        (b"number,price\n" + b"A" * 20_000 + b",1\n", "Line 2 is longer than"),
        (b"%PDF-1.7\n\x00\x01\xff\xfe", "The first line has no column number."),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_whole(data: bytes, told: str) -> None:
    supplier = pell()
    read(supplier, "number,price\nA,5\n")
    file = read(supplier, data)
    assert file.status == "refused"
    assert file.trouble.startswith(told)
    assert list(Price.objects.values_list("number", "unit_price_micro")) == [("A", 5_000_000)]


def test_only_differences_are_written_and_history_keeps_what_was_asked() -> None:
    supplier = pell()
    read(supplier, "number,name,price\nA,bearing,5\nB,seal,6\nC,bush,7\n")
    before = dict(Price.objects.values_list("number", "since"))
    tuesday = MONDAY + timedelta(days=1)
    file = read(supplier, "number,name,price\nA,bearing,5.50\nB,oil seal,6\nC,bush,7\nD,new one,8\n", tuesday)
    assert figures(file) == (4, 1, 2, 1, 0)
    change = PriceChange.objects.get()
    assert (change.number, change.unit_price_micro, change.currency) == ("A", 5_000_000, "GBP")
    assert (change.since, change.until) == (MONDAY, tuesday)
    now = dict(Price.objects.values_list("number", "since"))
    assert (now["A"], now["B"], now["D"]) == (tuesday, before["B"], tuesday)
    assert Price.objects.get(number="B").name == "oil seal"
    assert Price.objects.get(number="A").file == file
    assert Price.objects.get(number="C").file != file


def test_the_same_file_again_changes_nothing_and_a_second_run_neither() -> None:
    supplier = pell()
    data = (FILES / "pellmoor_bearings.csv").read_bytes()
    first = read(supplier, data)
    again = read(supplier, data, MONDAY + timedelta(days=1))
    assert figures(again) == (first.rows, 0, 0, first.rows, 0)
    feeds.read_price_file("twice", str(first.pk))
    first.refresh_from_db()
    assert (first.new, PriceChange.objects.count()) == (first.rows, 0)


def test_prices_of_another_supplier_stay() -> None:
    one, other = pell(), factories.SupplierFactory.make(code="TARN")
    read(one, "number,price\nA,5\n")
    read(other, "number,price\nA,6\n")
    assert dict(Price.objects.values_list("supplier__code", "unit_price_micro")) == {
        "PELL": 5_000_000,
        "TARN": 6_000_000,
    }


def test_a_killed_reading_leaves_the_prices_and_is_done_again(monkeypatch: pytest.MonkeyPatch) -> None:
    supplier = pell()
    read(supplier, "number,price\nA,5\nB,6\n")
    real = staging.bring_into_force

    def killed(file: PriceFile, count: int, at: datetime) -> staging.Brought:
        real(file, count, at)
        raise KeyboardInterrupt

    monkeypatch.setattr(staging, "bring_into_force", killed)
    file = feeds.take_in_file(
        supplier=supplier, data=b"number,price\nA,9\nC,1\n", name="", by=PROGRAM, at=MONDAY + timedelta(1)
    )
    with pytest.raises(KeyboardInterrupt):
        feeds.read_price_file("k", str(file.pk))
    file.refresh_from_db()
    assert file.status == "reading"
    assert dict(Price.objects.values_list("number", "unit_price_micro")) == {"A": 5_000_000, "B": 6_000_000}
    assert PriceChange.objects.count() == 0
    monkeypatch.undo()
    feeds.read_price_file("k", str(file.pk))
    file.refresh_from_db()
    assert (file.status, *figures(file)) == ("done", 2, 1, 1, 0, 0)


def test_an_older_file_never_overrules_a_newer_one() -> None:
    supplier = pell()
    old = feeds.take_in_file(supplier=supplier, data=b"number,price\nA,1\n", name="", by=PROGRAM, at=MONDAY)
    read(supplier, "number,price\nA,2\n", MONDAY + timedelta(hours=1))
    feeds.read_price_file("k", str(old.pk))
    old.refresh_from_db()
    assert (old.status, old.trouble) == ("refused", "A newer file of this supplier is in force already.")
    assert Price.objects.get().unit_price_micro == 2_000_000


def test_taking_in_writes_file_row_and_outbox_row_together(private_files: Path) -> None:
    supplier = pell()
    file = feeds.take_in_file(
        supplier=supplier, data=b"number,price\nA,1\n", name="..\\..\\evil/../prices.csv", by=PROGRAM
    )
    assert file.name == "prices.csv"
    path = private_files / "files" / file.path
    assert path.read_bytes() == b"number,price\nA,1\n"
    assert path.stat().st_mode & 0o777 == 0o600
    row = Outbox.objects.get()
    assert (row.rule, row.payload) == ("read price file", {"file": str(file.pk)})
    assert outbox.run_due() == 1
    file.refresh_from_db()
    assert file.status == "done"


def test_a_file_too_large_or_empty_leaves_nothing(
    private_files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    supplier = pell()
    monkeypatch.setattr(feeds, "MAX_BYTES", 100)
    with pytest.raises(Refusal, match="at most") as told:
        feeds.take_in_file(supplier=supplier, data=b"x" * 101, name="", by=PROGRAM)
    assert told.value.status == 413
    with pytest.raises(Refusal, match="The file is empty"):
        feeds.take_in_file(supplier=supplier, data=b"", name="", by=PROGRAM)
    assert list((private_files / "files" / "price-files").iterdir()) == []
    assert not PriceFile.objects.exists()


def test_packs_and_shares_of_a_cent() -> None:
    """A pack of 3 for 10.00 is 3.333333 each."""
    file = read(pell(manner={"price_is_for": "pack"}), "number,price,pack\nA,10.00,3\nB,10.00,\n")
    assert file.status == "done"
    assert dict(Price.objects.values_list("number", "unit_price_micro")) == {"A": 3_333_333, "B": 10_000_000}


def test_text_that_a_copy_could_mistake_is_kept_as_it_is() -> None:
    r"""Backslashes, \N and tabs in names, and empty names, go through COPY unaltered."""
    rows = ["A,\\N,1", "B,back\\slash \\. and \\t,1", "C,tab\there,1", "D,,1", "E\\,µ ½ Ø,1"]
    read(pell(), "number,name,price\n" + "\n".join(rows) + "\n")
    assert dict(Price.objects.values_list("number", "name")) == {
        "A": "\\N",
        "B": "back\\slash \\. and \\t",
        "C": "tab\there",
        "D": "",
        "E\\": "µ ½ Ø",
    }


def test_an_unusable_manner_refuses_the_file_and_says_so() -> None:
    file = read(pell(manner={"delimiter": "#"}), "number,price\nA,1\n")
    assert file.status == "refused"
    assert "delimiter is one of" in file.trouble


def test_who_may(cast: Cast) -> None:
    tarn = Supplier.objects.get(code="TARN")
    data = b"number,price\nA,1\n"
    for name in ("supplier", "stores", "manager", "owner"):
        feeds.take_in_file(supplier=tarn, data=data, name="", by=cast.actor(name))
    with pytest.raises(NotThere):
        feeds.take_in_file(supplier=tarn, data=data, name="", by=cast.actor("other_supplier"))
    with pytest.raises(Denied):
        feeds.take_in_file(supplier=tarn, data=data, name="", by=cast.actor("technician"))
    assert PriceFile.objects.count() == 4


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL joins by hashing")
@pytest.mark.parametrize("statement", [staging.KEEP_HISTORY, staging.CHANGE, staging.ADD])
def test_a_reload_looks_each_number_up(statement: str) -> None:
    """Walking one table for each row of the other would make a reload of 100,000 rows take hours."""
    supplier = pell()
    staging.fill_stage([(n, f"N{n}", "", "", 1, "GBP", 1, None) for n in range(50)])
    values: dict[str, int | str | None] = {"supplier": supplier.pk, "at": "2026-03-02", "file": None}
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {statement}", values)
        plan = [row[3] for row in cursor.fetchall()]
    assert any("number=?" in step for step in plan), plan
