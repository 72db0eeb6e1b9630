"""The stages of a ticket: which may follow which, what must be true first, and the log of every change."""

from collections.abc import Callable
from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import CLOSED, STAGES, StageChange, Ticket
from shop.refusals import Conflict, Refusal, Stale

NEXT: dict[str, tuple[str, ...]] = {
    "received": ("stripped", "abandoned"),
    "stripped": ("examined", "abandoned"),
    "examined": ("quoted", "stripped", "abandoned"),
    "quoted": ("agreed", "declined", "examined", "abandoned"),
    "agreed": ("parts complete", "quoted", "abandoned"),
    "parts complete": ("reworked", "quoted", "abandoned"),
    "reworked": ("built", "quoted", "abandoned"),
    "built": ("tested", "reworked", "quoted", "abandoned"),
    "tested": ("handed over", "built", "abandoned"),
    "handed over": (),
    "declined": (),
    "abandoned": (),
}

Gate = Callable[[Ticket], list[str]]
# stage -> what each app asks before a ticket may enter it; upper apps add theirs in ready()
GATES: dict[str, list[Gate]] = {stage: [] for stage in (*STAGES, "declined", "abandoned")}


def hindrances(ticket: Ticket, to: str) -> list[str]:
    """What stands in the way of entering the stage, in sentences; empty if nothing does."""
    return [reason for gate in GATES[to] for reason in gate(ticket)]


def move_ticket(*, ticket: Ticket, to: str, by: Actor, why: str = "", at: datetime | None = None) -> Ticket:
    """Move the ticket to a stage, with its line in the log. Raises Conflict or Refusal, and Stale if somebody
    moved it meanwhile."""
    at = at or clock.now()
    if to not in NEXT.get(ticket.stage, ()):
        raise Conflict(f"A ticket that is {ticket.stage} cannot become {to}.")
    with transaction.atomic():
        if reasons := hindrances(ticket, to):
            raise Refusal(" ".join(reasons))
        won = Ticket.objects.filter(pk=ticket.pk, stage=ticket.stage).update(
            stage=to, stage_since=at, held_why="", held_until=None, version=F("version") + 1
        )
        if not won:
            raise Stale("Somebody moved this ticket meanwhile. Look again.")
        StageChange.objects.create(ticket=ticket, before=ticket.stage, after=to, why=why, at=at, by=by.key)
        write_line(by=by, deed="moved", thing=ticket, ticket_number=ticket.number, at=at, to=to, why=why)
    ticket.refresh_from_db()
    return ticket


def reach_stage(*, ticket: Ticket, to: str, by: Actor, at: datetime | None = None) -> Ticket:
    """Move step by step along the usual way until the ticket stands at ``to``; each step passes its gates."""
    while ticket.stage != to and STAGES.index(ticket.stage) < STAGES.index(to):
        ticket = move_ticket(ticket=ticket, to=STAGES[STAGES.index(ticket.stage) + 1], by=by, at=at)
    return ticket


def hold_ticket(
    *, ticket: Ticket, why: str, until: date | None, by: Actor, at: datetime | None = None
) -> Ticket:
    """Mark the ticket as held (why, until when); an empty reason takes the hold away."""
    if ticket.stage in CLOSED:
        raise Conflict("This ticket is closed.")
    with transaction.atomic():
        Ticket.objects.filter(pk=ticket.pk).update(
            held_why=why, held_until=until if why else None, version=F("version") + 1
        )
        write_line(
            by=by, deed="held" if why else "hold lifted", thing=ticket, ticket_number=ticket.number, at=at
        )
    ticket.refresh_from_db()
    return ticket
