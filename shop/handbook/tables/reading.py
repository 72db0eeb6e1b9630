"""Reading the tables beside this file: CSV with comment lines that name standard, edition, table and unit."""

import csv
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TypeAlias

Row: TypeAlias = MappingProxyType[str, str]


@cache
def rows(name: str) -> tuple[Row, ...]:
    """The rows of one table as read-only mappings of text, comment lines left out.

    :param name: file name of the table, such as "iso286_grades.csv"
    """
    with (Path(__file__).parent / name).open(encoding="utf-8", newline="") as table:
        lines = (line for line in table if not line.startswith("#"))
        return tuple(MappingProxyType(row) for row in csv.DictReader(lines))


def band(table: tuple[Row, ...], size: float) -> Row:
    """The row of the band that holds ``size``: over the row above, up to and including ``up_to_mm``.

    :param table: rows in rising order of ``up_to_mm``
    :param size: basic size [mm], not above the last row
    """
    return next(row for row in table if size <= float(row["up_to_mm"]))
