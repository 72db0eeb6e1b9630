"""Physical parts with an identity: laid out from a unit, taken in to stock, fitted, scrapped."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from inventory import ledger
from inventory.access import need_any
from inventory.models import Bin, Donor, Part, Piece, PieceSet, Reservation
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Family, Position, Source, Ticket, Unit
from shop.numbering import next_number
from shop.refusals import Conflict, Refusal

# What upper rooms do in the transaction that changes a piece: they add theirs when they are ready.
WHEN_CHANGED: list[Callable[[Piece], None]] = []


@dataclass(frozen=True, slots=True)
class NewPiece:
    """A piece to lay out: its position, and the bond of the guide that binds it to others, if any."""

    position_code: str
    size: str = "standard"
    missing: bool = False
    words: str = ""
    bond_code: str = ""
    bond_kind: str = ""  # must or should
    bond_name: str = ""


def next_tag() -> str:
    return f"P-{next_number('piece'):04d}"


def _positions(family: Family, codes: Iterable[str]) -> dict[str, Position]:
    wanted = set(codes)
    found = {one.code: one for one in Position.objects.filter(family=family, code__in=wanted)}
    if unknown := sorted(wanted - found.keys()):
        raise Refusal(position=f"The {family.name} has no position {', '.join(unknown)}.")
    return found


def _bind(rows: Sequence[NewPiece], bound: Mapping[str, PieceSet]) -> dict[str, PieceSet]:
    """A set for each bond that has at least two pieces to bind, by the bond's code; ``bound``: sets that
    stand already, which new pieces join."""
    waiting: dict[str, list[NewPiece]] = {}
    for row in rows:
        if row.bond_code and not row.missing and row.bond_code not in bound:
            waiting.setdefault(row.bond_code, []).append(row)
    return dict(bound) | {
        code: PieceSet.objects.create(
            kind=members[0].bond_kind or "should", name=members[0].bond_name[:80] or code, bond_code=code
        )
        for code, members in waiting.items()
        if len(members) > 1
    }


def lay_out_pieces(
    *,
    ticket: Ticket,
    source: Source,
    family: Family,
    rows: Sequence[NewPiece],
    by: Actor,
    bound: Mapping[str, PieceSet] | None = None,
    at: datetime | None = None,
) -> list[Piece]:
    """Give each piece of a stripped source its tag and lay it into the ticket's trays. The source's owner
    owns it. Pieces of one bond become a set, or join the one of ``bound``, by the bond's code."""
    need_any(by, "record_readings", "keep_stock")
    with transaction.atomic():
        made = _lay_out(
            family,
            rows,
            bound or {},
            owner=source.owner,
            source=source,
            from_unit=source.unit,
            ran_in=f"T{ticket.number}",
        )
        write_line(by=by, deed="laid out", thing=source, ticket_number=ticket.number, at=at, pieces=len(made))
    return made


def lay_out_donor(
    *,
    donor: Donor,
    rows: Sequence[NewPiece],
    by: Actor,
    bound: Mapping[str, PieceSet] | None = None,
    at: datetime | None = None,
) -> list[Piece]:
    """The same for a donor: its pieces are the shop's, and lie in trays until they are put away."""
    need_any(by, "record_readings", "keep_stock")
    with transaction.atomic():
        made = _lay_out(donor.unit.family, rows, bound or {}, from_unit=donor.unit, ran_in=f"D{donor.number}")
        write_line(by=by, deed="laid out", thing=donor, at=at, pieces=len(made))
    return made


def _lay_out(
    family: Family, rows: Sequence[NewPiece], bound: Mapping[str, PieceSet], **same: Any
) -> list[Piece]:
    positions = _positions(family, (row.position_code for row in rows))
    sets = _bind(rows, bound)
    made: list[Piece] = Piece.objects.bulk_create(
        [
            Piece(
                tag=next_tag(),
                family=family,
                position=positions[row.position_code],
                size=row.size,
                bound_in=None if row.missing else sets.get(row.bond_code),
                state="tray",
                missing=row.missing,
                words=row.words,
                **same,
            )
            for row in rows
        ]
    )
    return made


def take_in_piece(
    *,
    family: Family,
    position_code: str,
    bin: Bin,
    key: str,
    by: Actor,
    size: str = "standard",
    cost_minor: int = 0,
    words: str = "",
    ran_in: str = "",
    from_unit: Unit | None = None,
    part: Part | None = None,
    at: datetime | None = None,
) -> Piece:
    """Take a piece of the shop's own to stock, with its ledger line. The same key twice is one piece."""
    by.need("keep_stock")
    at = at or clock.now()
    position = _positions(family, [position_code])[position_code]
    if not 0 <= cost_minor <= 10**12:
        raise Refusal(cost="A cost cannot be negative or that large.")

    def make() -> Piece:
        return Piece.objects.create(
            tag=next_tag(),
            family=family,
            position=position,
            part=part,
            size=size,
            from_unit=from_unit,
            ran_in=ran_in,
            cost_minor=cost_minor,
            words=words,
            state="tray",
        )

    return ledger.receive_piece(make=make, bin=bin, key=key, by=by, at=at, position=position)


def end_condition(*, piece: Piece, why: str, by: Actor, at: datetime | None = None) -> Piece:
    """The piece is another thing now (reworked, exchanged, parted): its readings so far become history."""
    need_any(by, "record_readings", "build_units", "keep_stock")
    with transaction.atomic():
        Piece.objects.filter(pk=piece.pk).update(condition=F("condition") + 1)
        piece.refresh_from_db(fields=["condition"])
        for follow in WHEN_CHANGED:
            follow(piece)
        write_line(
            by=by,
            deed="condition ended",
            thing=piece,
            ticket_number=_ticket_number(piece),
            at=at,
            condition=piece.condition,
            why=why,
        )
    return piece


def part_set(*, whole: PieceSet, why: str, by: Actor, at: datetime | None = None) -> PieceSet:
    """Part a set: each of its pieces stands alone from now on and its joint readings are history."""
    need_any(by, "record_readings", "keep_stock")
    at = at or clock.now()
    if whole.kind == "must":
        raise Conflict(f"{whole.name}: these pieces stay together. They are used or scrapped as one.")
    with transaction.atomic():
        won = PieceSet.objects.filter(pk=whole.pk, parted_at__isnull=True).update(parted_at=at)
        if not won:
            raise Conflict(f"{whole.name}: this set is parted already.")
        for piece in whole.pieces.order_by("pk"):
            end_condition(piece=piece, why=why, by=by, at=at)
        write_line(by=by, deed="parted", thing=whole, at=at, why=why)
    whole.refresh_from_db()
    return whole


def fit_piece(*, piece: Piece, unit: Unit, by: Actor, at: datetime | None = None) -> Piece:
    """Build a piece from a tray into a unit; Conflict if it is not in a tray. Twice is once."""
    need_any(by, "build_units", "keep_stock")
    with transaction.atomic():
        won = Piece.objects.filter(pk=piece.pk, state="tray", missing=False).update(
            state="fitted", in_unit=unit
        )
        piece.refresh_from_db()
        if not won:
            if piece.state == "fitted" and piece.in_unit_id == unit.pk:
                return piece
            raise Conflict(f"Piece {piece.tag} is {_where(piece)}. Only a piece in a tray can be fitted.")
        write_line(
            by=by, deed="fitted", thing=piece, ticket_number=_ticket_number(piece), at=at, unit=unit.pk
        )
    return piece


def scrap_piece(*, piece: Piece, why: str, by: Actor, at: datetime | None = None, key: str = "") -> Piece:
    """Scrap a piece, from a tray or out of a bin; Conflict if it is promised or fitted. Twice is once."""
    if piece.state == "bin":
        by.need("keep_stock")
    need_any(by, "record_readings", "keep_stock", "build_units")
    at = at or clock.now()
    if not why.strip():
        raise Refusal(why="Say why the piece is scrapped.")
    with transaction.atomic():
        now = Piece.objects.select_for_update(no_key=True).get(pk=piece.pk)
        if now.state == "scrapped":
            piece.refresh_from_db()
            return piece
        if now.missing or now.state not in {"tray", "bin"}:
            raise Conflict(f"Piece {piece.tag} is {_where(now)}. It cannot be scrapped.")
        held = (
            Reservation.objects.select_related("ticket").filter(piece=now, resolved_at__isnull=True).first()
        )
        if held is not None:
            raise Conflict(f"Piece {piece.tag} is promised to ticket {held.ticket.number}. Release it first.")
        ledger.move_piece(
            piece=piece,
            kind="scrapped",
            state="scrapped",
            by=by,
            at=at,
            key=key or f"scrap {piece.tag} {at:%Y%m%dT%H%M%S%f}",
            why=why.strip()[:160],
        )
    return piece


def _ticket_number(piece: Piece) -> int | None:
    return piece.source.ticket.number if piece.source_id and piece.source else None


def _where(piece: Piece) -> str:
    if piece.missing:
        return "missing"
    return {"bin": "in a bin", "tray": "in a tray"}.get(piece.state, piece.state)
