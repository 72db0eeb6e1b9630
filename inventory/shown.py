"""What the Stores' pages show: counts with their units, movements with names, purchases by supplier."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet

from inventory.models import Lot, Movement, Part, Piece, Price, Purchase, Reservation, Supplier
from inventory.prices import history_of, prices_of, show_micro
from shop.access import Actor
from shop.models import User
from shop.money import digits, half_up, show_minor

MOST_LINES = 100
# What upper rooms know of a piece's readings, for its page: they add theirs when they are ready.
READINGS: list[Callable[[Piece, Actor], list[dict[str, Any]]]] = []


def signed(quantity: int) -> str:
    """With a plus or a true minus."""
    return f"+{quantity}" if quantity > 0 else f"−{-quantity}" if quantity else "0"


def people(keys: Iterable[str]) -> dict[str, str]:
    """Actors' keys -> how a page names them. Append-only rows keep the key alone."""
    keys = set(keys)
    ids = [key.removeprefix("user:") for key in keys if key.startswith("user:")]
    users = {f"user:{one.pk}": str(one) for one in User.objects.filter(pk__in=ids)}
    return {key: users.get(key) or _other(key) for key in keys}


def _other(key: str) -> str:
    kind, _, code = key.partition(":")
    return {"program": "the program", "supplier": f"supplier {code}", "link": "the customer"}.get(
        kind, "a person who is gone"
    )


def movement_rows(movements: QuerySet[Movement]) -> list[dict[str, Any]]:
    """The newest lines, each with the name of who wrote it and whether it is corrected."""
    lines = list(
        movements.select_related("lot__bin", "piece", "ticket", "corrects").order_by("-id")[:MOST_LINES]
    )
    names = people(one.by for one in lines)
    corrected = set(Movement.objects.filter(corrects__in=lines).values_list("corrects", flat=True))
    return [
        {
            "line": one,
            "quantity": signed(one.quantity),
            "by": names[one.by],
            "corrected": one.pk in corrected,
            "may_be_corrected": one.pk not in corrected and one.corrects_id is None and one.quantity != 0,
        }
        for one in lines
    ]


def price_rows(part: Part) -> list[dict[str, Any]]:
    """What each supplier asks for the part, with what it asked before."""
    prices = prices_of(part)
    history = history_of(prices, most=12)
    return [
        {
            "price": one,
            "asks": show_micro(one.unit_price_micro),
            "lead_days": one.lead_days if one.lead_days is not None else one.supplier.lead_days,
            "before": [
                {"asked": show_micro(old.unit_price_micro), "currency": old.currency, "until": old.until}
                for old in history[one.pk]
            ],
        }
        for one in prices
    ]


def lots_of(part: Part) -> list[Lot]:
    """Lots that hold anything, oldest first, each with its balance."""
    return list(
        Lot.objects.filter(part=part, balance__on_hand__gt=0)
        .select_related("bin", "balance")
        .order_by("received_at", "pk")
    )


def part_lines(parts: Iterable[Part]) -> list[dict[str, Any]]:
    """Parts as :func:`inventory.parts.find_parts` annotates them, with what is free."""
    lines = []
    for part in parts:
        on_hand = int(getattr(part, "on_hand", None) or 0)
        reserved = int(getattr(part, "reserved", None) or 0)
        lines.append({"part": part, "on_hand": on_hand, "reserved": reserved, "free": on_hand - reserved})
    return lines


def holders(pieces: Sequence[Piece]) -> dict[int, int]:
    """Piece -> the number of the ticket that it is promised to."""
    rows = Reservation.objects.filter(piece__in=pieces, resolved_at__isnull=True)
    return dict(rows.values_list("piece", "ticket__number"))


@dataclass(slots=True)
class Basket:
    """The lines of one supplier, with their totals in the supplier's currency and in the shop's."""

    supplier: Supplier
    currency: str
    lines: list[Purchase] = field(default_factory=list)

    @property
    def foreign(self) -> str:
        micro = sum(one.unit_price_micro * one.bought for one in self.lines)
        return show_minor(half_up_micro(micro, self.currency), self.currency, sign=True)

    @property
    def own_minor(self) -> int:
        return sum(one.cost_minor for one in self.lines)

    @property
    def is_foreign(self) -> bool:
        return self.currency != settings.CURRENCY


def half_up_micro(micro: int, currency: str) -> int:
    """Minor units of an amount in millionths."""
    return half_up(Decimal(micro).scaleb(digits(currency) - 6))


def baskets(purchases: QuerySet[Purchase]) -> list[Basket]:
    """Purchases grouped by supplier and currency, in the order of the supplier's code."""
    rows = purchases.select_related("supplier", "part", "ticket", "lot__bin").order_by(
        "supplier__code", "currency", "id"
    )
    made: dict[tuple[int, str], Basket] = {}
    for one in rows:
        made.setdefault((one.supplier_id, one.currency), Basket(one.supplier, one.currency)).lines.append(one)
    return list(made.values())


def unmatched_prices(supplier: Supplier) -> int:
    return Price.objects.filter(Q(part_number=""), supplier=supplier).count()
