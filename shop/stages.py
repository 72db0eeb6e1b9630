"""The stages of a ticket: which may follow which, what must be true first, and the log of every change."""

from collections.abc import Callable
from datetime import date, datetime
from typing import NamedTuple

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


class Deed(NamedTuple):
    """Where the deed is done that brings a ticket to a stage, and what it does there."""

    room: str
    url: str  # name of the page's address
    right: str  # who may open the page
    does: str


# A stage that has a deed is reached through it alone: moved there by hand, nothing would have been done.
BY_DEED: dict[str, Deed] = {
    "stripped": Deed("Bench", "bench_ticket", "see_tickets", "the pieces get their tags"),
    "examined": Deed("Bench", "bench_ticket", "see_tickets", "the examination is finished"),
    "quoted": Deed("Plan and quote", "plan", "send_quotes", "the quote is sent"),
    "agreed": Deed("Plan and quote", "plan", "send_quotes", "the quote is answered through its link"),
    "declined": Deed("Plan and quote", "plan", "send_quotes", "the quote is answered through its link"),
    "built": Deed("Build sheet", "sheet", "see_tickets", "parts are issued and pieces are fitted"),
    "tested": Deed("Build sheet", "sheet", "see_tickets", "the tests are written down"),
    "handed over": Deed("Hand over", "hand_over", "open_tickets", "the warranty is opened"),
}
# Back by hand, where nothing is lost: readings, tags and issued stock stay, and the deed can be done again.
BACK: dict[str, tuple[str, ...]] = {
    "examined": ("stripped",),
    "quoted": ("examined",),
    "built": ("reworked",),
    "tested": ("built",),
}
# Stages that others than the front desk move a ticket to; one of these rights is enough.
HAND_RIGHTS: dict[str, tuple[str, ...]] = {
    "parts complete": ("open_tickets", "keep_stock"),
    "reworked": ("open_tickets", "build_units"),
}
ENDED_BY_HAND = "abandoned"

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


def backward(ticket: Ticket) -> tuple[str, ...]:
    """The stages that the ticket may go back to by hand. A quoted one that was agreed before returns to that
    too: the agreement stands when a supplementary quote is declined."""
    back = BACK.get(ticket.stage, ())
    if ticket.stage == "quoted" and ticket.stage_log.filter(after="agreed").exists():
        return (*back, "agreed")
    return back


def forward_by_hand(ticket: Ticket) -> tuple[str, ...]:
    """The stages that follow without a deed of their own. A shelf unit opens no warranty yet, so it is handed
    over by hand."""
    later = [one for one in NEXT[ticket.stage] if one not in {*BACK.get(ticket.stage, ()), ENDED_BY_HAND}]
    return tuple(one for one in later if one not in BY_DEED or (one == "handed over" and ticket.for_shelf))


def may_move(by: Actor, to: str) -> bool:
    """May this person move a ticket to the stage by hand?"""
    return any(by.may(right) for right in HAND_RIGHTS.get(to, ("open_tickets",)))


def need_hand(by: Actor, to: str) -> None:
    """Denied, or NotThere for strangers, unless the person may move a ticket to the stage by hand."""
    if not may_move(by, to):
        by.need("open_tickets")


def move_by_hand(*, ticket: Ticket, to: str, by: Actor, why: str = "", at: datetime | None = None) -> Ticket:
    """Move the ticket where no deed does it. Raises Conflict for a stage that is reached by its deed, and
    Refusal beside ``why`` if it ends without a reason."""
    need_hand(by, to)
    if to not in NEXT.get(ticket.stage, ()):
        raise Conflict(f"A ticket that is {ticket.stage} cannot become {to}.")
    if to not in {*forward_by_hand(ticket), *backward(ticket), ENDED_BY_HAND}:
        deed = BY_DEED[to]
        raise Conflict(f"A ticket becomes {to} on its page {deed.room}: {deed.does}.")
    if to == ENDED_BY_HAND and not why.strip():
        raise Refusal(why="Say why it ends: it stands in the log.")
    return move_ticket(ticket=ticket, to=to, by=by, why=why.strip(), at=at)


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
