"""Recording readings: written once, never edited, each answered on its own.

1. Lock the examination and see what its stage allows.
2. For each reading: known already? whose check, which piece, which gauge, what was typed?
3. Write it in a savepoint of its own with the next sequence; a refusal leaves the others alone.
4. Raise the examination's counter once, and project what was measured onto the pieces.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from django.db import IntegrityError, transaction

from inspections.device_clock import in_utc, is_off
from inspections.document import Check, GuideIndex, Position
from inspections.examining import need_readable
from inspections.findings import judgement_of, pieces_of, variant_of
from inspections.gauge_desk import Chosen, Rack, choose_gauge, fixed_outcome, need_a_size, need_in_range
from inspections.gauges import gauges_in_use
from inspections.guides import guide_of
from inspections.models import Examination, Reading, ReadingPiece
from inspections.projecting import project_measures
from inspections.refusing import No as _No
from inspections.seeing import SOUND, plain
from inspections.zeroing import last_zeroings
from inventory.models import Piece
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.handbook.quantities import Quantity, Refused, parse
from shop.once import digest
from shop.refusals import Refusal

MOST_READINGS = 500
TEMPERATURES_C = (-30.0, 150.0)
Status = Literal["recorded", "already recorded", "refused"]


@dataclass(frozen=True, slots=True)
class SentReading:
    """One reading as a page or a client sends it; ``text`` is kept as it was typed."""

    id: UUID
    check: str
    text: str
    piece: str = ""
    gauge: str = ""
    part_temperature: str = ""
    taken_at: datetime | None = None
    place: str = ""
    note: str = ""
    withdraws: UUID | None = None
    reason: str = ""
    default_unit: str = ""
    pieces: tuple[str, ...] = ()  # tags of what a try was assembled with, where there is a choice
    override: str = ""  # a lead's reason to read with a gauge past due


@dataclass(frozen=True, slots=True)
class Result:
    """The answer to one reading. ``field`` names what the problem is with, for a form."""

    id: UUID
    status: Status
    problem: str = ""
    field: str = ""
    warning: str = ""  # recorded, but a better gauge is advised


@dataclass(slots=True)
class _Said:
    """What a text means at its check."""

    value_mm: float | None = None
    resolution_um: float = 0.0
    unit: str = ""
    outcome: str = ""


class _Desk:
    """What one call looks up, once."""

    def __init__(
        self, examination: Examination, readings: Sequence[SentReading], by: Actor, at: datetime
    ) -> None:
        self.examination = examination
        self.by = by
        self.person = by.person
        self.lead = by.person.is_lead
        self.guide: GuideIndex = guide_of(examination.revision)
        self.variant = variant_of(examination)
        self.checks = {one.code: one for one in self.guide.checks_of(self.variant)}
        self.pieces = list(pieces_of(examination))
        gauges = {one.code: one for one in gauges_in_use()}
        at_hand = [gauges[code] for code in {one.gauge for one in readings} if code in gauges]
        self.rack = Rack(gauges, last_zeroings(at_hand) if at_hand else {}, clock.today(at), at)
        self.warnings: dict[UUID, str] = {}
        self.sent_at: datetime | None = None
        wanted = {one.id for one in readings} | {one.withdraws for one in readings if one.withdraws}
        rows = Reading.objects.filter(pk__in=wanted).prefetch_related("of__piece")
        self.known: dict[UUID, Reading] = {one.pk: one for one in rows}

    def check(self, code: str) -> Check:
        found = self.checks.get(code)
        if found is not None:
            if found.kind == "stack":
                raise _No("check", f"{found.title} is worked out from its parts. Read those.")
            if found.kind == "replaced":
                raise _No("check", f"{found.title}: replaced always, nothing is read.")
            return found
        other = self.guide.check.get(code)
        if other is not None:
            raise _No("check", f"{other.title} is not on this variant.")
        raise _No("check", f"This unit's guide has no check {code}.")

    def piece(self, check: Check, tag: str) -> Piece:
        here = [one for one in self.pieces if one.position.code == check.position]
        name = self.guide.position[check.position].name
        if tag:
            found = next((one for one in self.pieces if one.tag == tag), None)
            if found is None:
                raise _No("piece", f"There is no piece {tag} on this bench.")
            if found not in here:
                raise _No("piece", f"{tag} is a {found.position.name}; {check.title} is of {name}.")
        elif len(here) != 1:
            tags = ", ".join(one.tag for one in here) or "none"
            raise _No("piece", f"{name} has {len(here)} pieces: {tags}. Say which.")
        else:
            found = here[0]
        if found.missing:
            raise _No("piece", f"{found.tag} is marked as missing. If it has turned up, say so first.")
        if self.examination.donor_id and found.state not in {"tray", "bin"}:
            raise _No("piece", f"{found.tag} is {found.state}. Only what lies in a tray or a bin is read.")
        return found

    def company(self, check: Check, tags: Sequence[str]) -> list[Piece]:
        """The pieces that a try was assembled with, one of each of its other positions."""
        positions = self.guide.company_of(check, self.variant)
        named = {tag: self._named(check, tag, {one.code for one in positions}) for tag in tags}
        return [self._companion(one, named.values()) for one in positions]

    def _named(self, check: Check, tag: str, positions: Collection[str]) -> Piece:
        found = next((one for one in self.pieces if one.tag == tag), None)
        if found is None:
            raise _No("pieces", f"There is no piece {tag} on this bench.")
        if found.position.code not in positions:
            raise _No("pieces", f"{check.title} is not tried with {tag}, a {found.position.name}.")
        return found

    def _companion(self, position: Position, named: Collection[Piece]) -> Piece:
        chosen = [one for one in named if one.position.code == position.code]
        here = chosen or [one for one in self.pieces if one.position.code == position.code]
        there = [one for one in here if not one.missing]
        if not there:
            raise _No("pieces", f"{position.name} is missing: there is nothing to try it with.")
        if len(there) > 1:
            tags = ", ".join(one.tag for one in there)
            raise _No("pieces", f"{position.name} has {len(there)} pieces: {tags}. Say which one.")
        return there[0]

    def gauge(self, check: Check, piece: Piece, sent: SentReading) -> Chosen:
        chosen = choose_gauge(
            self.rack,
            self.guide,
            check,
            size=piece.size,
            code=sent.gauge,
            override=sent.override,
            lead=self.lead,
        )
        self.warnings[sent.id] = chosen.warning
        return chosen


def record_readings(
    *,
    examination: Examination,
    readings: Sequence[SentReading],
    by: Actor,
    at: datetime | None = None,
    sent_at: datetime | None = None,
) -> list[Result]:
    """Record readings of an examination; one :class:`Result` for each, in order. ``sent_at``: what the
    device's clock said when it sent them.

    The same id with the same content is *already recorded*. Raises Conflict when the ticket's stage allows
    no reading, Refusal for more than 500 at once.
    """
    by.need("record_readings")
    at = at or clock.now()
    if len(readings) > MOST_READINGS:
        raise Refusal(readings=f"Send at most {MOST_READINGS} readings at once.")
    with transaction.atomic():
        # The counter is the sequence: writers of one examination come one after another.
        examination = (
            Examination.objects.select_for_update(of=("self",))
            .select_related("revision", "ticket", "ticket__variant", "donor", "donor__variant")
            .defer("revision__document")
            .get(pk=examination.pk)
        )
        need_readable(examination)
        desk = _Desk(examination, readings, by, at)
        desk.sent_at = sent_at if sent_at is not None and sent_at.tzinfo is not None else None
        before = examination.counter
        results = [_answer(desk, one, at) for one in readings]
        if examination.counter != before:
            examination.save(update_fields=["counter"])
            _project(desk, [one.id for one in results if one.status == "recorded"], at)
            number = examination.ticket.number if examination.ticket else None
            count = examination.counter - before
            write_line(by=by, deed="read", thing=examination, ticket_number=number, at=at, readings=count)
    return results


def _answer(desk: _Desk, sent: SentReading, at: datetime) -> Result:
    said = asdict(sent)
    for later in ("pieces", "override"):  # an id sent before these fields were known keeps its digest
        if not said[later]:
            del said[later]
    mark = digest({**said, "examination": desk.examination.pk, "person": desk.person.pk})
    try:
        known = desk.known.get(sent.id)
        if known is None:
            with transaction.atomic():
                desk.known[sent.id] = _write(desk, sent, mark, at)
            return Result(sent.id, "recorded", warning=desk.warnings.get(sent.id, ""))
    except _No as no:
        return Result(sent.id, "refused", no.message, no.field)
    except IntegrityError:
        known = Reading.objects.filter(pk=sent.id).first()
        if known is None:
            return Result(sent.id, "refused", "That reading has been withdrawn already.", "withdraws")
    if known.digest == mark:
        return Result(sent.id, "already recorded")
    words = "This id is known with another content. A correction is a new reading that withdraws the old one."
    return Result(sent.id, "refused", words, "id")


def _write(desk: _Desk, sent: SentReading, mark: str, at: datetime) -> Reading:
    check = desk.check(sent.check)
    old = _withdrawn(desk, check, sent)
    only_withdraws = old is not None and not sent.text.strip()
    if only_withdraws:
        assert old is not None
        of = [one.piece for one in old.of.all()]
        said, chosen, place = _Said(), Chosen(old.gauge), old.place
    else:
        of = [desk.piece(check, sent.piece), *desk.company(check, sent.pieces)]
        place = _place(check, sent.place)
        chosen = desk.gauge(check, of[0], sent)
        said = _meaning(desk, check, sent, chosen)
    warm_c = None if only_withdraws else _temperature(sent.part_temperature, desk.person.decimal_mark)
    taken = sent.taken_at or at
    if taken.tzinfo is None:
        raise _No("taken_at", "Say the zone of the time, such as 2026-11-25T09:30:00+00:00.")
    taken_utc = in_utc(taken)
    if taken_utc is None:
        raise _No("taken_at", "That time is in no calendar. Set the clock of the device.")
    for field, text, most in (("note", sent.note, 200), ("reason", sent.reason, 200)):
        _plain_text(field, text, most)
    row = Reading.objects.create(
        id=sent.id,
        examination=desk.examination,
        sequence=desk.examination.counter + 1,
        check_code=check.code,
        position_code=check.position,
        text=sent.text,
        unit=said.unit,
        value_mm=said.value_mm,
        resolution_um=said.resolution_um,
        outcome=said.outcome,
        place=place,
        **_kept_of(chosen),
        person=desk.person,
        as_lead=desk.lead,
        part_temperature_c=warm_c,
        taken_at=taken_utc,
        clock_off=is_off(taken=taken_utc, sent=desk.sent_at, opened=desk.examination.opened_at, at=at),
        received_at=at,
        note=sent.note.strip(),
        withdraws=old,
        reason=sent.reason.strip(),
        digest=mark,
    )
    ReadingPiece.objects.bulk_create(
        ReadingPiece(reading=row, piece=one, condition=one.condition) for one in of
    )
    desk.examination.counter += 1
    return row


def _kept_of(chosen: Chosen) -> dict[str, Any]:
    """What a reading keeps of its gauge: the figures of that day, its zero, and why one past due was used."""
    kept: dict[str, Any] = {
        "gauge": chosen.gauge,
        "zeroing": chosen.zeroing,
        "overdue_reason": chosen.overdue_reason,
    }
    if chosen.gauge is not None:
        kept |= {
            "gauge_expanded_um": chosen.gauge.expanded_um,
            "gauge_calibration_um": chosen.gauge.calibration_um,
            "gauge_size_mm": chosen.gauge.size_mm,
        }
    return kept


def _withdrawn(desk: _Desk, check: Check, sent: SentReading) -> Reading | None:
    """The older reading that this one takes back: one's own or a lead's word, once, with a reason."""
    if sent.withdraws is None:
        return None
    old = desk.known.get(sent.withdraws)
    if old is None or old.examination_id != desk.examination.pk or old.check_code != check.code:
        raise _No("withdraws", "There is no such reading of this check to withdraw.")
    if old.person_id != desk.person.pk and not desk.lead:
        raise _No("withdraws", "That is another person's reading. A lead can withdraw it.")
    if not sent.reason.strip():
        raise _No("reason", "Say why the older reading is withdrawn.")
    if old.value_mm is None and not old.outcome:
        raise _No("withdraws", "That line only withdraws another; it says nothing by itself.")
    if Reading.objects.filter(withdraws=old).exists():
        raise _No("withdraws", "That reading has been withdrawn already.")
    return old


def _place(check: Check, place: str) -> str:
    if check.places and place not in check.places:
        raise _No("place", f"Say where it was read: {', '.join(check.places)}.")
    if place and not check.places:
        raise _No("place", "This check names no places. Leave it empty, or write it into the note.")
    return place


def _meaning(desk: _Desk, check: Check, sent: SentReading, chosen: Chosen) -> _Said:
    _plain_text("text", sent.text, 60)
    text = " ".join(sent.text.split())
    if not text:
        raise _No("text", "Nothing was typed.")
    if check.takes_quantity and chosen.fixed:
        return _Said(outcome=fixed_outcome(text))
    if check.takes_quantity:
        need_a_size(text)
        found = _quantity("text", sent.text, "length", sent.default_unit or "mm", desk.person.decimal_mark)
        if found.canonical < 0 or (found.canonical == 0 and check.kind == "measure"):
            raise _No("text", "A size is above 0." if check.kind == "measure" else "It is 0 or more.")
        need_in_range(chosen.gauge, found.canonical)
        return _Said(found.canonical, found.resolution * 1000, found.unit)
    if check.kind == "count":
        count = _quantity("text", text, "count", None, desk.person.decimal_mark).canonical
        if count < 0:
            raise _No("text", "A count is 0 or more.")
        return _Said(outcome=str(int(count)))
    if check.kind == "identify":
        return _Said(outcome=text)
    return _Said(outcome=_seen(desk.guide, check, text))


def _seen(guide: GuideIndex, check: Check, text: str) -> str:
    """Sound, one of the check's defects, or the designation of a thread."""
    if text.lower() == SOUND:
        return SOUND
    defects = guide.defects_of.get(check.code, ())
    found = next((one.code for one in defects if one.code == text.upper()), "")
    if found:
        return found
    if check.kind == "thread" and any(one.isdigit() for one in plain(text)):
        return text
    known = ", ".join(one.code for one in defects)
    also = ", or the thread's designation" if check.kind == "thread" else ""
    raise _No("text", f'"{text}" is not known at this check. Write sound{also}, or: {known}.')


def _temperature(text: str, mark: str) -> float | None:
    if not text.strip():
        return None
    found = _quantity("part_temperature", text, "temperature", "°C", mark)
    low, high = TEMPERATURES_C
    if not low <= found.canonical <= high:
        raise _No("part_temperature", f"A part on the bench is between {low:g} and {high:g} °C.")
    return found.canonical


def _quantity(field: str, text: str, kind: str, unit: str | None, mark: str) -> Quantity:
    try:
        return parse(text, kind, unit, mark)
    except Refused as refused:
        raise _No(field, f"{str(refused).removesuffix('.')}.") from None


def _plain_text(field: str, text: str, most: int) -> None:
    if len(text) > most:
        raise _No(field, f"At most {most} characters.")
    if any(unicodedata.category(one) in {"Cc", "Cs"} for one in text):
        raise _No(field, "Write it in one line, without control characters.")


def _project(desk: _Desk, recorded: Sequence[UUID], at: datetime) -> None:
    """Bring the pieces' measures to what is judged now, for search and for mates."""
    rows = [desk.known[one] for one in recorded]
    touched = {one.check_code for one in rows if desk.checks[one.check_code].kind == "measure"}
    if not touched:
        return
    project_measures(judgement_of(desk.examination), touched, {one.tag: one for one in desk.pieces}, at)
