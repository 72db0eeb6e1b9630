"""Rework: a remedy that was agreed, carried out on a piece. What was read of the piece before is history."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from django.db import IntegrityError, transaction

from inspections.document import GuideIndex, Remedy
from inspections.guiding.guides import guide_of
from inspections.judgement.judged import Finding, Judgement
from inspections.models import BuildRow, Examination, Rework
from inspections.readings.findings import judgement_of
from inventory.models import Piece
from inventory.pieces import end_condition
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Ticket
from shop.once import KeyReused
from shop.refusals import Conflict, Refusal
from shop.timesheets import MOST_MINUTES, book_time

WORKED_ON = ("agreed", "parts complete", "reworked")


def examination_of(ticket: Ticket) -> Examination:
    """The ticket's examination with its revision; a Conflict says that there is none."""
    found = Examination.objects.select_related("revision", "revision__family").filter(ticket=ticket).first()
    if found is None:
        raise Conflict("This ticket has not been examined yet. The Bench opens the examination.")
    return found


def record_rework(
    *,
    ticket: Ticket,
    piece: Piece,
    remedy_code: str,
    minutes: int,
    good: bool,
    key: str,
    note: str = "",
    by: Actor,
    at: datetime | None = None,
) -> Rework:
    """Write down that an agreed remedy was carried out, and whether it came out well.

    It ends the piece's condition, good or not: the piece has to be measured again. The same key twice is one
    rework. Raises Refusal for a remedy that was not agreed or that is a lead's work, Conflict at another
    stage.
    """
    by.need("record_readings")
    at = at or clock.now()
    if earlier := _earlier(key):
        return _same(earlier, ticket, piece, remedy_code, good)
    remedy = _agreed(ticket, piece, remedy_code)
    if not may_write_down(by, remedy):
        raise Refusal(remedy=f"{remedy.name}: a lead technician does this work and writes it down.")
    _check(ticket, minutes, key, note)
    try:
        return _carry_out(ticket, piece, remedy, minutes, good=good, key=key, note=note, by=by, at=at)
    except IntegrityError:
        # The same key came twice at once: the first one stands.
        first = Rework.objects.filter(key=key).first()
        if first is None:
            raise
        return _same(first, ticket, piece, remedy_code, good)


def _carry_out(
    ticket: Ticket,
    piece: Piece,
    remedy: Remedy,
    minutes: int,
    *,
    good: bool,
    key: str,
    note: str,
    by: Actor,
    at: datetime,
) -> Rework:
    with transaction.atomic():
        row = Rework.objects.create(
            ticket=ticket,
            piece=piece,
            remedy_code=remedy.code,
            person=by.person,
            at=at,
            minutes=minutes,
            good=good,
            condition_before=Piece.objects.values_list("condition", flat=True).get(pk=piece.pk),
            restores=list(remedy.restores),
            note=note,
            key=key,
        )
        end_condition(piece=piece, why=f"{remedy.name}{'' if good else ', failed'}", by=by, at=at)
        if good and (size := next((one.size for one in remedy.leaves if one.size != piece.size), "")):
            # The limits that its next readings are held against are those of the size it has now.
            Piece.objects.filter(pk=piece.pk).update(size=size)
        if minutes:
            book_time(
                ticket=ticket,
                person=by.person,
                minutes=minutes,
                work=f"rework {remedy.code}"[:60],
                key=f"rework:{key}",
                by=by,
                at=at,
            )
        write_line(
            by=by,
            deed="reworked" if good else "rework failed",
            thing=piece,
            ticket_number=ticket.number,
            at=at,
            remedy=remedy.code,
            minutes=minutes,
        )
    return row


def _earlier(key: str) -> Rework | None:
    return Rework.objects.filter(key=key).first()


def _same(earlier: Rework, ticket: Ticket, piece: Piece, remedy_code: str, good: bool) -> Rework:
    asked = (ticket.pk, piece.pk, remedy_code, good)
    if (earlier.ticket_id, earlier.piece_id, earlier.remedy_code, earlier.good) != asked:
        raise KeyReused(key="This key was used before for other work. Load the page again.")
    return earlier


def _agreed(ticket: Ticket, piece: Piece, remedy_code: str) -> Remedy:
    row = BuildRow.objects.filter(ticket=ticket, piece=piece, dropped_at__isnull=True).first()
    if row is None:
        raise Refusal(piece=f"{piece.tag} is not on the build list of ticket {ticket.number}.")
    if remedy_code not in row.remedies:
        raise Refusal(
            remedy=f"{remedy_code or 'This'} was not agreed for {piece.tag}. More work needs a "
            "supplementary quote."
        )
    guide = guide_of(examination_of(ticket).revision)
    found = guide.remedy.get(remedy_code)
    if found is None:
        raise Refusal(remedy=f"The guide of this ticket knows no remedy {remedy_code}.")
    if done_at_build(guide, found):
        raise Refusal(remedy=f"{found.name}: this is done at the build. The build sheet makes the choice.")
    return found


def done_at_build(guide: GuideIndex, remedy: Remedy) -> bool:
    """Choosing washers changes no piece: the build sheet does it, and nobody writes it down as rework."""
    floats = {one.float_check for one in guide.guide.steps if one.float_check}
    return bool(remedy.restores) and floats.issuperset(remedy.restores)


def may_write_down(by: Actor, remedy: Remedy) -> bool:
    """Work that asks for a lead's skill is a lead's to answer for."""
    return by.may("record_readings") and (remedy.skill != "lead" or by.may("settle_disputes"))


def _check(ticket: Ticket, minutes: int, key: str, note: str) -> None:
    if ticket.stage not in WORKED_ON:
        raise Conflict(
            f"Ticket {ticket.number} is {ticket.stage}. Rework is written down once it is agreed and "
            "before the unit is built."
        )
    if not 0 <= minutes <= MOST_MINUTES:
        raise Refusal(minutes=f"Write whole minutes, 0 to {MOST_MINUTES}.")
    if not 1 <= len(key) <= 80:
        raise Refusal(key="A key has 1 to 80 characters.")
    if len(note) > 200:
        raise Refusal(note="A note has at most 200 characters.")


@dataclass(frozen=True)
class Work:
    """One agreed remedy on one piece, and how far it is."""

    row: BuildRow
    piece: Piece
    position_name: str
    remedy: Remedy
    done: tuple[Rework, ...]
    measure_again: tuple[tuple[str, str], ...]  # check code, title

    @cached_property
    def state(self) -> str:
        """``to do``, ``done``, or ``failed`` when the newest try came out badly."""
        if not self.done:
            return "to do"
        return "done" if self.done[-1].good else "failed"

    @property
    def minutes(self) -> int:
        return sum(one.minutes for one in self.done)


def agreed_work(ticket: Ticket) -> list[Work]:
    """Every remedy on the build list in the guide's order of positions, with what was done of it."""
    rows = list(
        BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True, piece__isnull=False)
        .exclude(remedies=[])
        .select_related("piece")
    )
    if not rows:
        return []
    examination = examination_of(ticket)
    guide = guide_of(examination.revision)
    done: dict[tuple[int, str], list[Rework]] = {}
    for one in Rework.objects.filter(ticket=ticket).select_related("person").order_by("id"):
        done.setdefault((one.piece_id, one.remedy_code), []).append(one)
    judgement = judgement_of(examination)
    rows.sort(key=lambda row: guide.position[row.position_code].number)
    return [one for row in rows for one in _of_row(row, guide, judgement, done)]


def _of_row(
    row: BuildRow,
    guide: GuideIndex,
    judgement: Judgement,
    done: Mapping[tuple[int, str], list[Rework]],
) -> Iterable[Work]:
    assert row.piece is not None
    for code in row.remedies:
        if done_at_build(guide, guide.remedy[code]):
            continue
        tries = tuple(done.get((row.piece.pk, code), ()))
        again = _unread(guide, judgement, row.piece.tag, guide.remedy[code].restores) if tries else ()
        yield Work(row, row.piece, guide.position[row.position_code].name, guide.remedy[code], tries, again)


def _unread(
    guide: GuideIndex, judgement: Judgement, tag: str, codes: Iterable[str]
) -> tuple[tuple[str, str], ...]:
    """Of these checks, those that nobody has read since the piece was last reworked."""
    found = [(code, judgement.finding.get((code, tag))) for code in codes]
    return tuple(
        (code, guide.check[code].title)
        for code, one in found
        if one is not None and one.state == "not examined" and guide.check[code].kind != "stack"
    )


def hindrances_to_reworked(ticket: Ticket) -> list[str]:
    """What stands in the way of the stage reworked: every agreed remedy is done, and done well, and nothing
    read since says otherwise."""
    reasons = []
    for one in agreed_work(ticket):
        if one.state == "to do":
            reasons.append(f"{one.remedy.name} on {one.piece.tag} is not done yet.")
        elif one.state == "failed":
            reasons.append(
                f"{one.remedy.name} on {one.piece.tag} failed. Do it again, or plan again with another piece."
            )
    return reasons + spoilt_by_rework(ticket)


def check_of(guide: GuideIndex, variant: str, feature: str) -> str:
    """Code of the check that measures a feature on this variant, or an empty text."""
    found = (one for one in guide.checks_of(variant) if one.kind == "measure" and one.feature == feature)
    return next((one.code for one in found), "")


def spoilt_by_rework(ticket: Ticket) -> list[str]:
    """Reworked pieces of the build list that a reading since their rework finds bad or in dispute.

    What was found before is history: rework ended the piece's condition. What was agreed to stay, a feature
    that suits the size planned for its position or its mate, is no hindrance.
    """
    rows = list(BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True).select_related("piece"))
    worked = set(Rework.objects.filter(ticket=ticket).values_list("piece_id", flat=True))
    pieces = {row.piece.tag: row for row in rows if row.piece is not None and row.piece_id in worked}
    if not pieces:
        return []
    judgement = judgement_of(examination_of(ticket))
    return [
        f"{one.piece}, {one.check}: {one.words.rstrip('.')}. {_what_now(one)}"
        for one in judgement.findings
        if one.piece in pieces and one.readings and _bad(judgement.guide, one, rows)
    ]


def _bad(guide: GuideIndex, one: Finding, rows: Iterable[BuildRow]) -> bool:
    check = guide.check[one.check]
    if check.kind == "stack":
        return (
            False  # its mates may be other pieces by now: the build sheet holds the fit of those that go in
        )
    if one.dispute is not None and one.dispute.open:
        return True
    if not one.failing or one.harmless:
        return False
    mates = {
        guide.feature[term.feature].position
        for stack in guide.guide.checks
        if any(term.feature == check.feature for term in stack.terms)
        for term in stack.terms
    }
    return not any(row.size in one.suits for row in rows if row.position_code in {check.position, *mates})


def _what_now(one: Finding) -> str:
    if one.dispute is not None and one.dispute.open:
        return "Settle it first."
    return "It was read after the rework. Work on it again, or plan again with another piece."
