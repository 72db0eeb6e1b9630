"""The staging table of a price file, and bringing it into force: only differences are written.

The table is temporary, so that filling it holds no lock that others wait for: on PostgreSQL it is filled by
COPY, on SQLite in chunks in the connection's own temporary database.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any

from django.db import connection

from inventory.models import Price, PriceChange, PriceFile
from inventory.pricerows import Row

CHUNK = 20_000
TABLE = "price_stage"
COLUMNS = "line, number, part_number, name, unit_price_micro, currency, pack, lead_days"
MAKE = f"""CREATE TEMPORARY TABLE {TABLE} (line integer NOT NULL, number varchar NOT NULL,
  part_number varchar NOT NULL, name varchar NOT NULL, unit_price_micro bigint NOT NULL,
  currency varchar NOT NULL, pack integer NOT NULL, lead_days integer)"""

PRICES, CHANGES = Price._meta.db_table, PriceChange._meta.db_table
ASKS_OTHERWISE = "(p.unit_price_micro <> s.unit_price_micro OR p.currency <> s.currency)"
DIFFERS = f"""({ASKS_OTHERWISE} OR p.part_number <> s.part_number OR p.name <> s.name OR p.pack <> s.pack
  OR coalesce(p.lead_days, -1) <> coalesce(s.lead_days, -1))"""

# What a number cost before stays readable. Sorted by key: index pages are then filled once, in order.
KEEP_HISTORY = f"""INSERT INTO {CHANGES}
  (supplier_id, number, part_number, unit_price_micro, currency, since, until)
SELECT p.supplier_id, p.number, p.part_number, p.unit_price_micro, p.currency, p.since, %(at)s
FROM {TABLE} s JOIN {PRICES} p ON p.supplier_id = %(supplier)s AND p.number = s.number
WHERE {ASKS_OTHERWISE} ORDER BY p.number"""  # noqa: S608
CHANGE = f"""UPDATE {PRICES} AS p SET part_number = s.part_number, name = s.name,
  unit_price_micro = s.unit_price_micro, currency = s.currency, pack = s.pack, lead_days = s.lead_days,
  file_id = %(file)s, since = CASE WHEN {ASKS_OTHERWISE} THEN %(at)s ELSE p.since END
FROM {TABLE} s WHERE p.supplier_id = %(supplier)s AND p.number = s.number AND {DIFFERS}"""  # noqa: S608
ADD = f"""INSERT INTO {PRICES} (supplier_id, number, part_number, name, unit_price_micro, currency, pack,
  lead_days, since, file_id)
SELECT %(supplier)s, s.number, s.part_number, s.name, s.unit_price_micro, s.currency, s.pack, s.lead_days,
  %(at)s, %(file)s
FROM {TABLE} s WHERE NOT EXISTS
  (SELECT 1 FROM {PRICES} p WHERE p.supplier_id = %(supplier)s AND p.number = s.number)
ORDER BY s.number"""  # noqa: S608

# COPY's text format: an empty field stays empty text there, while in its CSV format it would become NULL.
ESCAPED = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


@dataclass(frozen=True, slots=True)
class Brought:
    """How many rows were new, changed in anything, and the same as before."""

    new: int
    changed: int
    unchanged: int


def _chunks(rows: Iterable[Row]) -> Iterator[list[Row]]:
    stream = iter(rows)
    while chunk := list(islice(stream, CHUNK)):
        yield chunk


def drop_stage() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {TABLE}")


def fill_stage(rows: Iterable[Row]) -> int:
    """Put the rows into a fresh staging table; how many there were."""
    drop_stage()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            return _copy(cursor, rows)
        return _insert(cursor, rows)


def _copy(cursor: Any, rows: Iterable[Row]) -> int:
    cursor.execute(MAKE)
    count = 0
    with cursor.copy(f"COPY {TABLE} ({COLUMNS}) FROM STDIN") as copy:
        for chunk in _chunks(rows):
            count += len(chunk)
            copy.write("".join([_text(row) for row in chunk]))
    cursor.execute(f"ANALYZE {TABLE}")  # without figures the planner takes the table for a tiny one
    return count


def _text(row: Row) -> str:
    line, number, part, name, price, currency, pack, lead_days = row
    words = f"{number}\t{part}\t{name}"
    if "\\" in words or words.count("\t") != 2 or "\r" in words or "\n" in words:
        words = "\t".join(one.translate(ESCAPED) for one in (number, part, name))
    lead = "\\N" if lead_days is None else lead_days
    return f"{line}\t{words}\t{price}\t{currency}\t{pack}\t{lead}\n"


def _insert(cursor: Any, rows: Iterable[Row]) -> int:
    cursor.execute(MAKE)
    # Without it SQLite may walk the whole stage for each price: a reload of 100,000 rows would take hours.
    cursor.execute(f"CREATE UNIQUE INDEX temp.{TABLE}_number ON {TABLE} (number)")
    insert = f"INSERT INTO {TABLE} ({COLUMNS}) VALUES ({', '.join(['%s'] * 8)})"  # noqa: S608
    count, alone = 0, not connection.in_atomic_block
    for chunk in _chunks(rows):
        count += len(chunk)
        if alone:
            cursor.execute("BEGIN DEFERRED")  # touches the temporary database only: no lock on the shop's
        try:
            cursor.executemany(insert, chunk)
        finally:
            if alone:
                cursor.execute("COMMIT")
    return count


def bring_into_force(file: PriceFile, count: int, at: datetime) -> Brought:
    """Write what differs between the stage and the supplier's prices; inside the caller's transaction."""
    values = {
        "supplier": file.supplier_id,
        "at": connection.ops.adapt_datetimefield_value(at),
        "file": file.pk if connection.vendor == "postgresql" else file.pk.hex,
    }
    with connection.cursor() as cursor:
        cursor.execute(KEEP_HISTORY, values)
        cursor.execute(CHANGE, values)
        changed = cursor.rowcount
        cursor.execute(ADD, values)
        new = cursor.rowcount
    return Brought(new=new, changed=changed, unchanged=count - new - changed)
