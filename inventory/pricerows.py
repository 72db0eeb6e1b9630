"""A price file's lines, checked one by one. Pure: knows no database.

A row is one physical line: a quote that does not close spoils its own line and swallows no other. Damaged
rows are refused with line, column and message; a first line that lacks a needed column refuses the file.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, field
from typing import TextIO

from inventory.manners import NEEDED, Manner, Unreadable, price_micro, price_pattern
from inventory.parts import search_key

LONGEST_LINE = 16_384
MOST_REFUSALS = 100_000
UNUSABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")

# line, number, part_number, name, unit_price_micro, currency, pack, lead_days
Row = tuple[int, str, str, str, int, str, int, int | None]


class FileRefused(Exception):
    """The whole file cannot be used; the message says why."""


@dataclass(frozen=True, slots=True)
class Refused:
    line: int
    column: str
    message: str


@dataclass(slots=True)
class Reader:
    """Reads one file. ``currencies``: those the shop can reckon with; ``parts``: search key -> the shop's own
    part number, for keys that only one part has."""

    manner: Manner
    currency: str
    currencies: Set[str]
    parts: Mapping[str, str]
    rows: int = 0
    refused: list[Refused] = field(default_factory=list)

    def read(self, file: TextIO) -> Iterator[Row]:
        """The usable rows in the order of the file."""
        lines = self._lines(file)
        places, width = self._header(next(lines, (0, []))[1])
        check = _Checker(self, places)
        seen: dict[str, int] = {}
        for number, cells in lines:
            self.rows += 1
            if len(cells) != width and (len(cells) < width or any(cells[width:])):
                # One too many is a delimiter inside a cell: what follows it would be read in a wrong column.
                self._refuse(number, "", f"{len(cells)} columns, the first line has {width}.")
                continue
            try:
                row = check(number, cells)
            except _Cell as trouble:
                self._refuse(number, self.manner.columns[trouble.column], trouble.message)
                continue
            first = seen.setdefault(row[1], number)
            if first != number:
                self._refuse(
                    number, self.manner.columns["number"], f"This number stands on line {first} already."
                )
                continue
            yield row

    def _refuse(self, line: int, column: str, message: str) -> None:
        if len(self.refused) >= MOST_REFUSALS:
            raise FileRefused(
                f"More than {MOST_REFUSALS} rows are damaged. The file is not in this supplier's manner."
            )
        self.refused.append(Refused(line, column, message))

    def _lines(self, file: TextIO) -> Iterator[tuple[int, list[str]]]:
        """Number and cells of each line that is not blank; lines whose quotes do not close are refused."""
        delimiter, number = self.manner.delimiter, 0
        while line := file.readline(LONGEST_LINE):
            number += 1
            if len(line) == LONGEST_LINE and not line.endswith("\n"):
                raise FileRefused(f"Line {number} is longer than {LONGEST_LINE} characters: no price list.")
            if '"' not in line:
                cells = line.rstrip("\n").split(delimiter)
            else:
                try:
                    cells = next(csv.reader([line], delimiter=delimiter, strict=True))
                except csv.Error:
                    self.rows += 1
                    self._refuse(number, "", "The quotes on this line do not close.")
                    continue
            if any(cells) and not (len(cells) == 1 and not cells[0].strip()):
                yield number, cells

    def _header(self, cells: list[str]) -> tuple[dict[str, int], int]:
        """Column -> its place, and how many cells a row has."""
        names = [cell.strip().lstrip("\ufeff").strip() for cell in cells]
        while names and not names[-1]:
            names.pop()
        places = {}
        for column, name in self.manner.columns.items():
            found = [place for place, one in enumerate(names) if one.casefold() == name.casefold()]
            if len(found) > 1:
                raise FileRefused(f"The first line names the column {name} twice.")
            if found:
                places[column] = found[0]
        for column in NEEDED:
            if column not in places:
                there = ", ".join(one[:30] for one in names[:12] if one.isprintable() and one) or "nothing"
                raise FileRefused(
                    f"The first line has no column {self.manner.columns[column]}. It has: {there}."
                )
        return places, len(names)


class _Cell(Exception):
    def __init__(self, column: str, message: str) -> None:
        self.column, self.message = column, message
        super().__init__(message)


def _whole(column: str, text: str, least: int, most: int) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) <= 7 and least <= int(text) <= most):
        raise _Cell(column, f"Write a whole number from {least} to {most}.")
    return int(text)


class _Checker:
    """Turns the cells of a line into a row; raises :class:`_Cell` for the first that cannot be used. What it
    needs is bound once: it is called a hundred thousand times."""

    __slots__ = ("manner", "pattern", "places", "reader", "texts")

    def __init__(self, reader: Reader, places: Mapping[str, int]) -> None:
        self.reader, self.places, self.manner = reader, places, reader.manner
        self.pattern = price_pattern(reader.manner)
        self.texts = [(c, places[c]) for c in ("number", "name", "part_number") if c in places]

    def __call__(self, line: int, cells: list[str]) -> Row:
        places = self.places
        for column, place in self.texts:
            text = cells[place]
            if not text.isprintable() and UNUSABLE.search(text):
                raise _Cell(column, f"This is no {self.manner.encoding} text: it holds unusable characters.")
        number = cells[places["number"]].strip()
        if not 0 < len(number) <= 60:
            raise _Cell("number", "A number has 1 to 60 characters.")
        name = cells[places["name"]].strip() if "name" in places else ""
        if len(name) > 160:
            raise _Cell("name", "A name has at most 160 characters.")
        try:
            price = price_micro(cells[places["price"]].strip(), self.manner, self.pattern)
        except Unreadable as trouble:
            raise _Cell("price", str(trouble)) from None
        pack = self._optional("pack", cells, 1, 1, 1_000_000)
        assert pack is not None
        if self.manner.price_is_for == "pack" and pack > 1:
            price = (2 * price + pack) // (2 * pack)
        lead_days = self._optional("lead_days", cells, None, 0, 1000)
        return line, number, self._part(number, cells), name, price, self._currency(cells), pack, lead_days

    def _optional(
        self, column: str, cells: list[str], empty: int | None, least: int, most: int
    ) -> int | None:
        if column not in self.places:
            return empty
        text = cells[self.places[column]].strip()
        return _whole(column, text, least, most) if text else empty

    def _currency(self, cells: list[str]) -> str:
        if "currency" not in self.places:
            return self.reader.currency
        code = cells[self.places["currency"]].strip().upper() or self.reader.currency
        if code not in self.reader.currencies:
            known = ", ".join(sorted(self.reader.currencies))
            raise _Cell("currency", f"The shop has no rate for this currency. It reckons with {known}.")
        return code

    def _part(self, number: str, cells: list[str]) -> str:
        """The shop's own number: as the file says, or the same as the supplier's; nothing if unknown."""
        said = cells[self.places["part_number"]].strip() if "part_number" in self.places else ""
        return self.reader.parts.get(search_key(said or number), "")
