"""Opening an examination, stating what is missing, and finishing it."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db import transaction
from django.db.models import F

from inspections.evidence.answers import unanswered
from inspections.guiding.guides import guide_of, newest_revision
from inspections.guiding.laying import rows_for
from inspections.models import Examination, ReadingPiece
from inspections.readings.findings import judgement_of, open_disputes, pieces_of
from inventory.models import Piece
from inventory.pieces import lay_out_pieces
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Ticket
from shop.refusals import Conflict, Refusal
from shop.stages import move_ticket

# Stripped without an examination: a ticket that was moved on before its unit was laid out.
STRIPPED_FROM = ("received", "stripped")
READABLE_STAGES = ("stripped", "examined", "quoted", "agreed", "parts complete", "reworked")


def open_examination(
    *, ticket: Ticket, by: Actor, missing: Collection[str] = (), at: datetime | None = None
) -> Examination:
    """Strip the ticket's unit: lay out the variant's pieces under the newest guide; the ticket becomes
    stripped. ``missing``: codes of positions that were empty. Opening it again gives the same one."""
    by.need("record_readings")
    at = at or clock.now()
    revision = newest_revision(ticket.family)
    guide = guide_of(revision)
    with transaction.atomic():
        # Two people strip the same unit: the second waits here and finds the first one's examination.
        # Locked without its variant, which may change while this one waits.
        ticket = Ticket.objects.select_for_update().get(pk=ticket.pk)
        variant = ticket.variant.code
        known = {one.code for one in guide.positions_of(variant)}
        if strange := sorted({*missing} - known):
            raise Refusal(missing=f"The {ticket.variant.name} has no position {', '.join(strange)}.")
        found = Examination.objects.filter(ticket=ticket).first()
        if found is not None:
            return found
        if ticket.stage not in STRIPPED_FROM:
            raise Conflict(f"A ticket that is {ticket.stage} cannot be stripped.")
        source = ticket.sources.filter(kind="unit").first()
        if source is None:
            raise Refusal("No unit came in on this ticket. The Counter adds it.")
        examination = Examination.objects.create(
            ticket=ticket, revision=revision, opened_at=at, opened_by=by.key
        )
        rows = rows_for(guide, variant, {*missing})
        lay_out_pieces(ticket=ticket, source=source, family=ticket.family, rows=rows, by=by, at=at)
        write_line(
            by=by, deed="opened", thing=examination, ticket_number=ticket.number, at=at, guide=revision.number
        )
        if ticket.stage != "stripped":
            move_ticket(ticket=ticket, to="stripped", by=by, at=at)
    return examination


def mark_missing(
    *, examination: Examination, tag: str, by: Actor, missing: bool = True, at: datetime | None = None
) -> Piece:
    """Say that a position was empty when the unit was stripped, or (``missing=False``) that the piece has
    turned up. A piece that has been read was there."""
    by.need("record_readings")
    with transaction.atomic():
        need_readable(examination)
        piece = next((one for one in pieces_of(examination) if one.tag == tag), None)
        if piece is None:
            raise Refusal(piece=f"There is no piece {tag} on this bench.")
        if piece.missing == missing:
            return piece
        if missing and ReadingPiece.objects.filter(piece=piece).exists():
            raise Refusal(piece=f"{tag} has been read, so it is there. Withdraw nothing: look again.")
        won = Piece.objects.filter(pk=piece.pk, missing=not missing).update(missing=missing)
        if won:
            Examination.objects.filter(pk=examination.pk).update(counter=F("counter") + 1)
            deed = "missing" if missing else "turned up"
            number = examination.ticket.number if examination.ticket else None
            write_line(by=by, deed=deed, thing=piece, ticket_number=number, at=at)
    piece.missing = missing
    return piece


def need_readable(examination: Examination) -> None:
    """Refuse once the unit is together again, or its ticket closed."""
    if examination.ticket_id is None:
        return
    need_stage(Ticket.objects.values_list("stage", flat=True).get(pk=examination.ticket_id))


def need_stage(stage: str) -> None:
    """Refuse a stage of the ticket in which nothing is read."""
    if stage not in READABLE_STAGES:
        raise Conflict(f"The ticket is {stage}: nothing is read now.")


def open_ends(ticket: Ticket) -> list[str]:
    """The gate to ``examined``: positions open without a reason, complaints neither explained nor answered,
    and readings still in dispute, in sentences."""
    examination = Examination.objects.filter(ticket=ticket).select_related("revision").first()
    if examination is None:
        return ["The unit has not been stripped."]
    judgement = judgement_of(examination)
    reasons = unanswered(ticket, examination, judgement)
    if disputed := open_disputes(judgement):
        titles = ", ".join(judgement.guide.check[one.check].title for one in disputed[:4])
        reasons.append(f"In dispute: {titles}. A lead settles it.")
    return reasons


def finish_examination(*, ticket: Ticket, by: Actor, at: datetime | None = None) -> Ticket:
    """The ticket becomes examined, if each position is decided or its reason said, each complaint explained
    or answered, and no reading in dispute."""
    by.need("record_readings")
    with transaction.atomic():
        # Who adopts a revision or changes the variant holds the ticket, who reads the examination: what is
        # open is asked after them.
        Ticket.objects.select_for_update().only("pk").get(pk=ticket.pk)
        Examination.objects.select_for_update().only("pk").filter(ticket=ticket).first()
        ticket.refresh_from_db()
        if ticket.stage == "examined":
            return ticket
        return move_ticket(ticket=ticket, to="examined", by=by, at=at)
