"""Which pieces a unit has for a guide and a variant: laid out, still to be asked for, lying aside."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from inspections.document import Bond, GuideIndex, Position
from inspections.models import BuildRow, Examination
from inventory.models import Donor, Piece, PieceSet
from inventory.pieces import NewPiece, lay_out_donor, lay_out_pieces
from shop.access import Actor
from shop.refusals import Conflict, Refusal


@dataclass(frozen=True, slots=True)
class Laying:
    """``new``: positions that no piece of the unit fills; ``aside``: pieces of positions that the variant
    lacks; ``back``: pieces that lay aside and are wanted again."""

    new: tuple[Position, ...]
    aside: tuple[Piece, ...]
    back: tuple[Piece, ...]


def laying_for(pieces: Sequence[Piece], now: Collection[str], guide: GuideIndex, variant: str) -> Laying:
    """``now``: codes of the positions that the unit is judged by so far."""
    wanted = guide.positions_of(variant)
    codes = {one.code for one in wanted}
    filled = {one.position.code for one in pieces}
    return Laying(
        tuple(one for one in wanted if one.code not in filled),
        tuple(one for one in pieces if one.position.code not in codes and not one.missing),
        tuple(one for one in pieces if one.position.code in codes - {*now}),
    )


def rows_for(guide: GuideIndex, variant: str, missing: Collection[str]) -> list[NewPiece]:
    """A piece for each position of the variant, bound as the guide says."""
    positions = guide.positions_of(variant)
    bound = bonds_by_position(guide.guide.bonds, (one.code for one in positions))
    rows = []
    for one in positions:
        code, kind, name = bound.get(one.code, ("", "", ""))
        rows.append(
            NewPiece(one.code, missing=one.code in missing, bond_code=code, bond_kind=kind, bond_name=name)
        )
    return rows


def bonds_by_position(bonds: Iterable[Bond], positions: Iterable[str]) -> dict[str, tuple[str, str, str]]:
    """Code, kind and name of the set that each bound position's piece belongs to.

    A piece belongs to one set: a ``must`` bond wins, and ``should`` bonds that share a position (a cluster
    that ran with three wheels) are one set, by the code of the first.
    """
    here = {*positions}
    found: dict[str, tuple[str, str, str]] = {}
    groups: list[tuple[Bond, list[str]]] = []
    for bond in sorted(bonds, key=lambda one: one.kind != "must"):
        members = [code for code in bond.positions if code in here and code not in found]
        if bond.kind == "must":
            found.update(dict.fromkeys(members, (bond.code[:20], "must", bond.name)))
            continue
        touching = [group for group in groups if {*group[1]} & {*members}]
        first = touching[0][0] if touching else bond
        merged = [code for _, codes in touching for code in codes]
        groups = [group for group in groups if group not in touching]
        groups.append((first, [*merged, *(code for code in members if code not in merged)]))
    for bond, members in groups:
        name = bond.name if {*members} <= {*bond.positions} else f"ran together: {', '.join(members)}"
        found.update(dict.fromkeys(members, (bond.code[:20], "should", name)))
    return found


def lay_out_new(
    *,
    examination: Examination,
    laying: Laying,
    guide: GuideIndex,
    variant: str,
    missing: Collection[str],
    by: Actor,
    at: datetime,
) -> list[Piece]:
    """Tags for the pieces of the new positions; ``missing``: those that are empty. A bound piece joins the
    set that its mates are in."""
    codes = {one.code for one in laying.new}
    if strange := sorted({*missing} - codes):
        raise Refusal(missing=f"No new position is called {', '.join(strange)}.")
    rows = [one for one in rows_for(guide, variant, missing) if one.position_code in codes]
    if not rows:
        return []
    if examination.ticket is None:
        donor = Donor.objects.select_related("unit__family").get(unit=examination.donor)
        mates = Piece.objects.filter(from_unit=donor.unit)
        return lay_out_donor(donor=donor, rows=rows, bound=_sets(mates), by=by, at=at)
    ticket = examination.ticket
    source = ticket.sources.filter(kind="unit").first()
    if source is None:
        raise Refusal("No unit came in on this ticket. The Counter adds it.")
    mates = Piece.objects.filter(source=source)
    return lay_out_pieces(
        ticket=ticket, source=source, family=ticket.family, rows=rows, bound=_sets(mates), by=by, at=at
    )


def _sets(pieces: Iterable[Piece]) -> dict[str, PieceSet]:
    sets = PieceSet.objects.filter(pieces__in=pieces, parted_at__isnull=True).exclude(bond_code="")
    return {one.bond_code: one for one in sets.distinct()}


def need_no_lost_rows(examination: Examination, guide: GuideIndex, variant: str) -> None:
    """Conflict if an agreed build list fills a position that would be gone: the quote comes first."""
    if examination.ticket_id is None:
        return
    here = {one.code for one in guide.positions_of(variant)}
    rows = BuildRow.objects.filter(ticket_id=examination.ticket_id, dropped_at__isnull=True)
    lost = sorted({*rows.values_list("position_code", flat=True)} - here)
    if lost:
        raise Conflict(
            f"The agreed build list fills {', '.join(lost)}, which would be gone. "
            "Send a supplementary quote without it first."
        )
