"""A stock list (TOML) into the Stores: suppliers, bins, parts, lots, and used pieces out of donors.

Every entry has a code or a key: loading a list twice changes nothing, and what the shop changed since stays.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.db import transaction

from inventory.ledger import receive_lot
from inventory.manners import manner_from
from inventory.models import Bin, Measure, Part, PartFit, Piece, Supplier
from inventory.parts import search_key
from inventory.pieces import take_in_piece
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Family, Position, Unit, User, Variant
from shop.money import MICRO, parse_minor
from shop.refusals import Refusal

CODE = re.compile(r"[A-Za-z0-9_-]{1,20}")
CURRENCY = re.compile(r"[A-Z]{3}")


@dataclass(frozen=True, slots=True)
class Loaded:
    """How many entries of each kind the list has, loaded now or before."""

    suppliers: int
    parts: int
    lots: int
    pieces: int


def load_stock_list(*, data: Mapping[str, Any], by: Actor, at: datetime | None = None) -> Loaded:
    """Load it in one transaction; Refusal names the entry that cannot be used. The families
    that it names must be published before."""
    by.need("keep_stock")
    at = at or clock.now()
    with transaction.atomic():
        for row in data.get("supplier", ()):
            _supplier(row, by, at)
        bins = {row["code"]: _bin(row) for row in data.get("bin", ())}
        parts = {row["number"]: _part(row, by, at) for row in data.get("part", ())}
        for row in data.get("lot", ()):
            _lot(row, parts, bins, by, at)
        donors = {row["serial"]: _donor(row) for row in data.get("donor", ())}
        for row in data.get("piece", ()):
            _piece(row=row, parts=parts, bins=bins, donors=donors, by=by, at=at)
    return Loaded(*(len(data.get(kind, ())) for kind in ("supplier", "part", "lot", "piece")))


def _named(things: Mapping[str, Any], name: str, what: str, entry: str) -> Any:
    if name not in things:
        raise Refusal(f"Stock list, {entry}: there is no {what} {name} in the list.")
    return things[name]


def add_supplier(
    *,
    code: str,
    name: str,
    currency: str,
    by: Actor,
    lead_days: int = 3,
    manner: Mapping[str, Any] | None = None,
    at: datetime | None = None,
) -> Supplier:
    """A supplier with its own user, who has no password. Refusal for a code that is used or cannot be one."""
    by.need("keep_stock")
    manner_from(manner or {})
    code, name, currency = code.strip(), name.strip(), currency.strip().upper()
    if not CODE.fullmatch(code):
        raise Refusal(
            code=f"A supplier's code has letters, figures and hyphens, at most 20: {code!r} is none."
        )
    if not 0 < len(name) <= 120:
        raise Refusal(name="Write the supplier's name, at most 120 characters.")
    if not CURRENCY.fullmatch(currency):
        raise Refusal(currency="Write the three letters of a currency, such as GBP.")
    if not 0 <= lead_days <= 365:
        raise Refusal(lead_days="A delivery takes 0 to 365 days.")
    if Supplier.objects.filter(code__iexact=code).exists():
        raise Refusal(code=f"There is a supplier {code} already.")
    with transaction.atomic():
        user, made = User.objects.get_or_create(
            username=f"supplier-{code.lower()}", defaults={"display_name": name}
        )
        if made:
            user.set_unusable_password()
            user.save(update_fields=["password"])
        added = Supplier.objects.create(
            code=code,
            name=name,
            user=user,
            currency=currency,
            lead_days=lead_days,
            manner=dict(manner or {}),
        )
        write_line(by=by, deed="added", thing=added, at=at or clock.now())
    return added


def _supplier(row: Mapping[str, Any], by: Actor, at: datetime) -> Supplier:
    found = Supplier.objects.filter(code=row["code"]).first()
    if found is not None:
        manner_from(row.get("manner", {}))
        return found
    return add_supplier(
        code=row["code"],
        name=row["name"],
        currency=row["currency"],
        lead_days=row.get("lead_days", 3),
        manner=row.get("manner", {}),
        by=by,
        at=at,
    )


def _bin(row: Mapping[str, Any]) -> Bin:
    return Bin.objects.get_or_create(code=row["code"], defaults={"name": row.get("name", "")})[0]


def _part(row: Mapping[str, Any], by: Actor, at: datetime) -> Part:
    part, made = Part.objects.get_or_create(
        number=row["number"],
        defaults={
            "search_key": search_key(row["number"]),
            "name": row["name"],
            "size": row.get("size", "standard"),
            "stock_unit": row.get("stock_unit", "each"),
            "per_unit": row.get("per_unit", 1),
            "features": row.get("features", {}),
        },
    )
    if made:
        write_line(by=by, deed="added", thing=part, at=at)
    family = _family(row.get("family", "H4"), row["number"]) if row.get("fits") else None
    for code in row.get("fits", ()):
        assert family is not None
        PartFit.objects.get_or_create(
            part=part,
            position=_position(family, code, row["number"]),
            variant=_variant(family, row.get("variant")),
            defaults={"quantity": row.get("quantity", 1)},
        )
    return part


def _family(code: str, entry: str) -> Family:
    family = Family.objects.filter(code=code).first()
    if family is None:
        raise Refusal(f"Stock list, {entry}: no guide of the family {code} is published.")
    return family


def _position(family: Family, code: str, entry: str) -> Position:
    position = Position.objects.filter(family=family, code=code).first()
    if position is None:
        raise Refusal(f"Stock list, {entry}: the {family.name} has no position {code}.")
    return position


def _variant(family: Family, code: str | None) -> Variant | None:
    return None if code is None else Variant.objects.get(family=family, code=code)


def _lot(
    row: Mapping[str, Any], parts: Mapping[str, Part], bins: Mapping[str, Bin], by: Actor, at: datetime
) -> None:
    part = _named(parts, row["part"], "part", row["key"])
    receive_lot(
        part=part,
        bin=_named(bins, row["bin"], "bin", row["key"]),
        quantity=row["quantity"] * part.per_unit,
        cost_micro=_micro(row["cost"], row["key"]) // part.per_unit,
        key=f"stock list {row['key']}",
        why="opening stock",
        by=by,
        at=at,
    )


def _micro(cost: str, entry: str) -> int:
    try:
        return int(Decimal(cost) * MICRO)
    except InvalidOperation:
        raise Refusal(f"Stock list, {entry}: write the cost as 12.50.") from None


def _donor(row: Mapping[str, Any]) -> Unit:
    family = _family(row.get("family", "H4"), row["serial"])
    return Unit.objects.get_or_create(
        kind="donor",
        family=family,
        serial=row["serial"],
        defaults={
            "variant": Variant.objects.get(family=family, code=row["variant"]),
            "casting_numbers": row.get("casting_numbers", ""),
        },
    )[0]


def _piece(
    *,
    row: Mapping[str, Any],
    parts: Mapping[str, Part],
    bins: Mapping[str, Bin],
    donors: Mapping[str, Unit],
    by: Actor,
    at: datetime,
) -> Piece:
    donor = _named(donors, row["donor"], "donor", row["key"]) if "donor" in row else None
    family = donor.family if donor else _family(row.get("family", "H4"), row["key"])
    piece = take_in_piece(
        family=family,
        position_code=row["position"],
        bin=_named(bins, row["bin"], "bin", row["key"]),
        size=row.get("size", "standard"),
        cost_minor=parse_minor(row.get("cost", "0")),
        words=row.get("words", ""),
        ran_in=f"donor {donor.serial}" if donor else "",
        from_unit=donor,
        part=_named(parts, row["part"], "part", row["key"]) if "part" in row else None,
        key=f"stock list {row['key']}",
        by=by,
        at=at,
    )
    _measures(piece, row.get("measures", ()), at)
    return piece


def _measures(piece: Piece, rows: Iterable[tuple[str, float, float]], at: datetime) -> None:
    """Measures as the list states them; those taken here since stay."""
    for feature, value_mm, expanded_mm in rows:
        Measure.objects.get_or_create(
            piece=piece,
            feature=feature,
            defaults={
                "condition": piece.condition,
                "value_um": value_mm * 1000,
                "expanded_um": expanded_mm * 1000,
                "state": "within",
                "at": at,
            },
        )
