"""A supplier's manner: how its CSV is written, stated once in ``Supplier.manner`` and never guessed.

All keys may be left out; what is not said is as below::

    {"delimiter": ";", "decimal_mark": ",", "thousands_mark": ".", "encoding": "cp1252",
     "price_is_for": "pack",
     "columns": {"number": "Art-Nr", "name": "Text", "price": "Netto", "currency": "Wkz", "pack": "VE",
                 "lead_days": "Tage", "part_number": "Kunden-Nr"}}
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shop.money import MICRO
from shop.refusals import Refusal

DELIMITERS = (",", ";", "\t", "|")
MARKS = (".", ",")
THOUSANDS = ("", ".", ",", " ", "'")
ENCODINGS = ("utf-8", "cp1252", "iso-8859-1", "iso-8859-15")
NEEDED = ("number", "price")
COLUMNS = (*NEEDED, "name", "currency", "pack", "lead_days", "part_number")
DEFAULT_COLUMNS = {
    "number": "number",
    "name": "name",
    "price": "price",
    "currency": "currency",
    "pack": "pack",
    "lead_days": "lead_days",
    "part_number": "part_number",
}


class Unreadable(ValueError):
    """A cell that cannot be used; the message says how it should be written."""


@dataclass(frozen=True, slots=True)
class Manner:
    delimiter: str = ","
    decimal_mark: str = "."
    thousands_mark: str = ""
    encoding: str = "utf-8"
    price_is_for: str = "one"  # or "pack": then the unit price is the price by the pack
    columns: Mapping[str, str] = field(default_factory=lambda: dict(DEFAULT_COLUMNS))

    def example(self) -> str:
        return f"12{self.decimal_mark}50"


def _one_of(stated: Mapping[str, Any], key: str, allowed: tuple[str, ...], default: str) -> str:
    value = stated.get(key, default)
    if value not in allowed:
        raise Refusal(manner=f"The supplier's manner: {key} is one of {', '.join(map(repr, allowed))}.")
    return str(value)


def manner_from(stated: Mapping[str, Any]) -> Manner:
    """The manner as stated in JSON; Refusal (field ``manner``) names the entry that cannot be used."""
    if unknown := sorted(set(stated) - {*Manner.__dataclass_fields__}):
        raise Refusal(manner=f"The supplier's manner: {', '.join(unknown)} is not known.")
    columns = stated.get("columns", {})
    if not isinstance(columns, Mapping) or set(columns) - set(COLUMNS):
        raise Refusal(manner=f"The supplier's manner: columns are {', '.join(COLUMNS)}.")
    if not all(isinstance(name, str) and 0 < len(name) <= 60 for name in columns.values()):
        raise Refusal(manner="The supplier's manner: a column is named by the text in the file's first line.")
    manner = Manner(
        delimiter=_one_of(stated, "delimiter", DELIMITERS, ","),
        decimal_mark=_one_of(stated, "decimal_mark", MARKS, "."),
        thousands_mark=_one_of(stated, "thousands_mark", THOUSANDS, ""),
        encoding=_one_of(stated, "encoding", ENCODINGS, "utf-8"),
        price_is_for=_one_of(stated, "price_is_for", ("one", "pack"), "one"),
        columns={**DEFAULT_COLUMNS, **columns},
    )
    if manner.thousands_mark == manner.decimal_mark:
        raise Refusal(manner="The supplier's manner: thousands and decimals cannot have the same mark.")
    return manner


def price_pattern(manner: Manner) -> re.Pattern[str]:
    """Digits, in groups of three if the manner has a mark for them, and up to six decimals."""
    mark, group = re.escape(manner.decimal_mark), re.escape(manner.thousands_mark)
    whole = rf"[0-9]{{1,9}}|[0-9]{{1,3}}(?:{group}[0-9]{{3}}){{1,2}}" if group else r"[0-9]{1,9}"
    return re.compile(rf"({whole})(?:{mark}([0-9]{{1,6}}))?")


def price_micro(text: str, manner: Manner, pattern: re.Pattern[str]) -> int:
    """Millionths of the currency from a cell; :class:`Unreadable` for anything but a plain positive price."""
    found = pattern.fullmatch(text)
    if found is None:
        if text[:1] in {"-", "−", "("}:
            raise Unreadable("A price cannot be negative.")
        raise Unreadable(f"Write the price as {manner.example()}, without a currency sign.")
    whole, decimals = found.groups()
    if manner.thousands_mark:
        whole = whole.replace(manner.thousands_mark, "")
    micro = int(whole) * MICRO + (int(decimals.ljust(6, "0")) if decimals else 0)
    if not micro:
        raise Unreadable("A price of nothing is no price.")
    return micro
