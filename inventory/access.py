"""Who may do what in the Stores, and the gates of parts, pieces and price files."""

from __future__ import annotations

import uuid

from inventory.models import Part, Piece, PriceFile, Supplier
from shop.access import Actor, NotThere


def need_any(by: Actor, *rights: str) -> None:
    """Let through whoever holds one of the rights; otherwise as ``Actor.need`` for the first of them."""
    if not any(by.may(right) for right in rights):
        by.need(rights[0])


def need_to_promise(by: Actor) -> None:
    """A promise of stock follows from a quote's yes: who plans, who keeps stock, and the customer's own link,
    which ``estimates`` has checked by then."""
    if by.kind != "link":
        need_any(by, "keep_stock", "send_quotes")


def part_for(by: Actor, number: str, right: str = "see_stock") -> Part:
    by.need("see_stock")
    part = Part.objects.filter(number=number).first()
    if part is None:
        raise NotThere
    by.need(right)
    return part


def piece_for(by: Actor, tag: str, right: str = "see_stock") -> Piece:
    by.need("see_stock")
    piece = (
        Piece.objects.select_related(
            "family", "position", "part", "bin", "bound_in", "owner", "source__ticket"
        )
        .filter(tag=tag)
        .first()
    )
    if piece is None:
        raise NotThere
    by.need(right)
    return piece


def supplier_of(by: Actor) -> Supplier:
    """The supplier that is asking; :class:`NotThere` for anybody else."""
    supplier = getattr(by.user, "supplier", None) if by.kind == "supplier" else None
    if supplier is None:
        raise NotThere
    assert isinstance(supplier, Supplier)
    return supplier


def price_file_for(by: Actor, pk: uuid.UUID) -> PriceFile:
    """A supplier sees its own files alone; in the shop, who sees prices sees them all."""
    files = PriceFile.objects.select_related("supplier")
    if by.kind == "supplier":
        files = files.filter(supplier=supplier_of(by))
    else:
        by.need("see_prices")
    found = files.filter(pk=pk).first()
    if found is None:
        raise NotThere
    return found
