"""What is in stock, for the API: parts with their counts, then pieces with their newest measures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from inventory.models import Part, Piece, Reservation
from inventory.paging import make_cursor, read_cursor
from inventory.parts import find_parts, find_pieces, search_key

KINDS = ("part", "piece")


def stock_page(*, part: str, position: str, cursor: str, limit: int) -> dict[str, Any]:
    """One page: ``items`` and ``next`` (none at the end). ``part``: a number, however it is marked."""
    kind, after = read_cursor(cursor, KINDS)
    items: list[dict[str, Any]] = []
    if kind == "part":
        parts = find_parts(position=position)
        if part:
            parts = parts.filter(search_key=search_key(part))
        rows = list(parts.filter(number__gt=after)[: limit + 1])
        items = [_part(one) for one in rows[:limit]]
        if len(rows) > limit:
            return {"items": items, "next": make_cursor("part", rows[limit - 1].number)}
        after = ""
    pieces = find_pieces(position=position).filter(tag__gt=after)
    if part:
        pieces = pieces.filter(part__search_key=search_key(part))
    room = limit - len(items)
    found = list(pieces.prefetch_related("measures")[: room + 1])
    items += _pieces(found[:room])
    if len(found) <= room:
        return {"items": items, "next": None}
    return {"items": items, "next": make_cursor("piece", found[room - 1].tag if room else " ")}


def _part(part: Part) -> dict[str, Any]:
    on_hand = int(getattr(part, "on_hand", None) or 0)
    reserved = int(getattr(part, "reserved", None) or 0)
    return {
        "kind": "part",
        "part": part.number,
        "name": part.name,
        "size": part.size,
        "stock_unit": part.stock_unit,
        "on_hand": on_hand,
        "reserved": reserved,
        "free": on_hand - reserved,
    }


def _pieces(pieces: Sequence[Piece]) -> list[dict[str, Any]]:
    held = dict(
        Reservation.objects.filter(piece__in=pieces, resolved_at__isnull=True).values_list(
            "piece", "ticket__number"
        )
    )
    return [
        {
            "kind": "piece",
            "piece": one.tag,
            "family": one.family.code,
            "position": one.position.code,
            "name": one.position.name,
            "size": one.size,
            "part": one.part.number if one.part else None,
            "bin": one.bin.code if one.bin else None,
            "promised_to_ticket": held.get(one.pk),
            "readings": [
                {
                    "feature": row.feature,
                    "value_mm": round(row.value_um / 1000, 6),
                    "expanded_uncertainty_mm": round(row.expanded_um / 1000, 6),
                    "state": row.state,
                    "at": row.at.isoformat(),
                }
                for row in one.measures.all()
                if row.condition == one.condition
            ],
        }
        for one in pieces
    ]
