"""What suppliers ask for a part now, and what they asked before."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from inventory.models import Part, Price, PriceChange
from inventory.paging import make_cursor, read_cursor
from inventory.parts import part_of_number
from shop.access import NotThere
from shop.refusals import Refusal


def show_micro(micro: int) -> str:
    """Millionths as a decimal with at least two places: ``"12.50"``, ``"0.333333"``."""
    text = f"{Decimal(micro).scaleb(-6):f}"
    whole, _, decimals = text.partition(".")
    return f"{whole}.{decimals.rstrip('0').ljust(2, '0')}"


def prices_of(part: Part) -> list[Price]:
    """Each supplier's present price for the part, by supplier."""
    return list(
        Price.objects.filter(part_number=part.number)
        .select_related("supplier")
        .order_by("supplier__code", "number")
    )


def history_of(prices: Iterable[Price], most: int = 50) -> dict[int, list[PriceChange]]:
    """What was asked before: key of the price -> its changes, newest first, at most so many each."""
    changes = PriceChange.objects.order_by("-until", "-id")
    return {
        price.pk: list(changes.filter(supplier=price.supplier_id, number=price.number)[:most])
        for price in prices
    }


def price_page(*, part: str, cursor: str, limit: int) -> tuple[list[Price], str | None]:
    """So many prices and the cursor of the next page; of one part, or of all that the shop knows its own
    number for. :class:`NotThere` for a part that the shop does not have."""
    _, after = read_cursor(cursor, ("price",))
    if after and not (after.isascii() and after.isdecimal() and len(after) < 19):
        raise Refusal(cursor="Send `next` of the page before, unchanged.")
    rows = Price.objects.select_related("supplier").order_by("pk")
    if part:
        known = part_of_number(part)
        if known is None:
            raise NotThere
        rows = rows.filter(part_number=known.number)
    else:
        rows = rows.exclude(part_number="")
    found = list(rows.filter(pk__gt=int(after or 0))[: limit + 1])
    return found[:limit], make_cursor("price", str(found[limit - 1].pk)) if len(found) > limit else None
