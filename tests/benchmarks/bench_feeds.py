"""Reading a price file of 100,000 rows against bare COPY and one upsert into the same indexed table.

Only meaningful on PostgreSQL. Both are measured in one run; the bare way neither parses nor checks, keeps no
history, and writes every row whether it differs or not. To hold: at least a quarter of its rate.
"""

import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection

from inventory import feeds
from inventory.models import Price, PriceChange, PriceFile, Supplier
from shop.access import PROGRAM
from tests import factories
from tests.conftest import is_postgresql

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db(transaction=True)]
ROWS = 100_000
LEAST = 0.25
UPSERT = """INSERT INTO inventory_price
  (supplier_id, number, part_number, name, unit_price_micro, currency, pack, lead_days, since)
SELECT %s, number, '', name, unit_price_micro, 'EUR', 1, lead_days, %s FROM bare
ON CONFLICT (supplier_id, number) DO UPDATE SET name = excluded.name,
  unit_price_micro = excluded.unit_price_micro, lead_days = excluded.lead_days, since = excluded.since"""


def prices(changed_every: int = 0) -> list[tuple[str, str, int, int]]:
    """Number, name, cents, days; numbers in no order of the alphabet, as suppliers write them."""
    return [
        (
            f"TG-{(n * 7919) % ROWS:06d}",
            f"Part number {n}, invented for the measurement",
            1000 + n % 5000 + (1 if changed_every and n % changed_every == 0 else 0),
            n % 20,
        )
        for n in range(ROWS)
    ]


def as_csv(rows: list[tuple[str, str, int, int]]) -> bytes:
    lines = [
        f'{number},"{name}",{cents // 100}.{cents % 100:02d},{days}' for number, name, cents, days in rows
    ]
    return ("number,name,price,lead_days\n" + "\n".join(lines) + "\n").encode()


def timed(deed: Callable[[], object]) -> float:
    start = time.perf_counter()
    deed()
    return time.perf_counter() - start


def bare(supplier: Supplier, rows: list[tuple[str, str, int, int]]) -> float:
    """COPY of what is parsed already, and one upsert [s]."""
    body = "".join([f"{number}\t{name}\t{cents * 10_000}\t{days}\n" for number, name, cents, days in rows])

    def deed() -> None:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN")
            cursor.execute(
                "CREATE TEMPORARY TABLE bare (number varchar, name varchar, unit_price_micro bigint,"
                " lead_days integer) ON COMMIT DROP"
            )
            with cursor.copy("COPY bare FROM STDIN") as copy:
                copy.write(body)
            cursor.execute(UPSERT, [supplier.pk, factories.BEGINNING])
            cursor.execute("COMMIT")

    return timed(deed)


def ingest(supplier: Supplier, data: bytes, day: int) -> tuple[float, PriceFile]:
    """Reading alone, as the worker does it [s]."""
    at = factories.BEGINNING + timedelta(days=day)
    file = feeds.take_in_file(supplier=supplier, data=data, name="", by=PROGRAM, at=at)
    spent = timed(lambda: feeds.read_price_file("k", str(file.pk), at=at))
    file.refresh_from_db()
    assert file.status == "done"
    return spent, file


def test_a_hundred_thousand_rows(private_files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    if not is_postgresql():
        pytest.skip("COPY is PostgreSQL's")
    plain, ours = factories.SupplierFactory.make(code="BARE"), factories.SupplierFactory.make(code="OURS")
    same, other = prices(), prices(changed_every=10)
    told = []
    for day, (what, rows) in enumerate(
        (("first load", same), ("unchanged", same), ("a tenth changed", other))
    ):
        base = bare(plain, rows)
        spent, file = ingest(ours, as_csv(rows), day)
        told.append((what, base, spent, base / spent, (file.new, file.changed, file.unchanged)))
    with capsys.disabled():
        for what, base, spent, ratio, counts in told:
            print(  # noqa: T201
                f"\n{what}: bare {base:.2f} s, read and in force {spent:.2f} s, "
                f"rate {ratio:.2f} of bare, {ROWS / spent:,.0f} rows/s, new/changed/unchanged {counts}",
                end="",
            )
    assert [one[4] for one in told] == [(ROWS, 0, 0), (0, 0, ROWS), (0, ROWS // 10, ROWS - ROWS // 10)]
    assert PriceChange.objects.count() == ROWS // 10
    assert Price.objects.filter(supplier=ours).count() == ROWS
    assert min(one[3] for one in told) >= LEAST
