"""Sums of money in the Handbook: a number, or text with its currency, which must be one throughout."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, NamedTuple

from shop.refusals import Refusal

MOST = 1e18
TYPED = re.compile(r"([0-9]{1,9}(?:[.,][0-9]{1,6})?)(?: ?([A-Z]{3}))?")


class Sum(NamedTuple):
    """An amount and its currency, "" where none was given."""

    amount: float
    currency: str = ""


def read_sum(typed: Any, mark: str = ".") -> Sum:
    """A plain number, or text such as ``8.50 EUR`` by a person's own decimal mark."""
    if isinstance(typed, int | float) and not isinstance(typed, bool) and 0 <= typed <= MOST:
        return Sum(float(typed))
    found = TYPED.fullmatch(typed.strip()) if isinstance(typed, str) else None
    if found is None or ("," in found[1] and mark != ","):
        raise Refusal("Write an amount such as 8.50 or 8.50 EUR.")
    return Sum(float(found[1].replace(",", ".")), found[2] or "")


def one_currency(name: str, sums: Iterable[Sum | None]) -> str:
    """The currency of all; a Refusal for the field ``name`` where two were given."""
    found = {one.currency for one in sums if one is not None and one.currency}
    if len(found) > 1:
        raise Refusal(**{name: f"Two currencies, {' and '.join(sorted(found))}: write all in one."})
    return next(iter(found), "")


def shown_sum(amount: float, currency: str) -> str:
    return f"{amount:.2f} {currency}".strip()
