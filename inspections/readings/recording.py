"""Recording readings: written once, never edited, each answered on its own.

1. Lock the examination and see what its stage allows.
2. For each reading: known already? whose check, which piece, which gauge, what was typed? A refusal leaves
   the others alone.
3. Write the others, each with the next sequence.
4. Raise the examination's counter once, and project what was measured onto the pieces.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from django.db import IntegrityError, transaction

from inspections.bench.refusing import No as _No
from inspections.document import Check, GuideIndex
from inspections.gauging.desk import Chosen, fixed_outcome, need_a_size, need_in_range
from inspections.judgement.seeing import SOUND, plain
from inspections.models import Examination, Reading, ReadingPiece
from inspections.readings.desk import BenchPiece, Desk, Lifted
from inspections.readings.device_clock import in_utc, is_off
from inspections.readings.findings import examinations, judgement_of
from inspections.readings.projecting import codes_to_read, project_measures, project_some, rows_of_new
from shop import clock
from shop.access import Actor
from shop.audit import line_of
from shop.handbook.quantities import Quantity, Refused, parse
from shop.models import Audit
from shop.once import digest
from shop.prepared import Statement, inserts_of, send_together
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


@dataclass(frozen=True, slots=True)
class Recorded:
    """What came of a call, and the examination's counter after it."""

    counter: int
    results: list[Result]


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
    return record_at(pk=examination.pk, readings=readings, by=by, at=at, sent_at=sent_at).results


def record_at(
    *,
    pk: int | None = None,
    number: int | None = None,
    readings: Sequence[SentReading],
    by: Actor,
    at: datetime | None = None,
    sent_at: datetime | None = None,
) -> Recorded:
    """The same by the examination's id or its ticket's number; NotThere if there is none."""
    by.need("record_readings")
    at = at or clock.now()
    if len(readings) > MOST_READINGS:
        raise Refusal(readings=f"Send at most {MOST_READINGS} readings at once.")
    which = (pk, number)
    try:
        return _record(which, readings, by, at, sent_at, together=len(readings) == 1)
    except IntegrityError:  # its id became known somewhere else at this very moment
        return _record(which, readings, by, at, sent_at, together=False)


def _record(
    which: tuple[int | None, int | None],
    readings: Sequence[SentReading],
    by: Actor,
    at: datetime,
    sent_at: datetime | None,
    *,
    together: bool,
) -> Recorded:
    """``together``: one reading and all that follows from it are sent at once, and stand or fall as one."""
    with transaction.atomic():
        desk = Desk(*which, readings, by, at)
        desk.sent_at = sent_at if sent_at is not None and sent_at.tzinfo is not None else None
        held = desk.examination
        before = held.counter
        results = [_answer(desk, one, at) for one in readings]
        if not together:
            refused = _write_rows(desk, before)
            results = [refused.get(one.id, one) if one.status == "recorded" else one for one in results]
        if desk.new:
            statements = _inserts(desk, list(desk.new.values())) if together else []
            statements.append(
                ("UPDATE inspections_examination SET counter = %s WHERE id = %s", [held.counter, held.pk])
            )
            statements += _project(desk, at)
            line = line_of(
                by=by,
                deed="read",
                thing=held,
                ticket_number=desk.ticket_number,
                at=at,
                readings=held.counter - before,
            )
            send_together([*statements, *inserts_of(Audit, [line])])
    return Recorded(held.counter, results)


def _answer(desk: Desk, sent: SentReading, at: datetime) -> Result:
    said = asdict(sent)
    for later in ("pieces", "override"):  # an id sent before these fields were known keeps its digest
        if not said[later]:
            del said[later]
    mark = digest({**said, "examination": desk.examination.pk, "person": desk.person.pk})
    known = desk.known.get(sent.id)
    if known is not None:
        return _again(sent.id, known, mark)
    try:
        row = _row(desk, sent, mark, at)
    except _No as no:
        return Result(sent.id, "refused", no.message, no.field)
    desk.known[sent.id] = desk.new[sent.id] = row
    desk.examination.counter += 1
    return Result(sent.id, "recorded", warning=desk.warnings.get(sent.id, ""))


def _again(key: UUID, known: Reading, mark: str) -> Result:
    if known.digest == mark:
        return Result(key, "already recorded")
    words = "This id is known with another content. A correction is a new reading that withdraws the old one."
    return Result(key, "refused", words, "id")


def _write_rows(desk: Desk, before: int) -> dict[UUID, Result]:
    """All of the call's rows at once; if one was known elsewhere, each by itself. Gives what was not written,
    and leaves it out of ``desk.new``."""
    if not desk.new:
        return {}
    try:
        with transaction.atomic():
            send_together(_inserts(desk, list(desk.new.values())))
    except IntegrityError:
        return _write_each(desk, before)
    return {}


def _write_each(desk: Desk, before: int) -> dict[UUID, Result]:
    refused: dict[UUID, Result] = {}
    desk.examination.counter = before
    for row in list(desk.new.values()):
        row.sequence = desk.examination.counter + 1
        try:
            if row.withdraws_id in refused:
                raise IntegrityError
            with transaction.atomic():
                send_together(_inserts(desk, [row]))
        except IntegrityError:
            known = Reading.objects.filter(pk=row.pk).first()
            words = "That reading cannot be withdrawn: it is not there, or has been already."
            refused[row.pk] = (
                Result(row.pk, "refused", words, "withdraws")
                if known is None
                else _again(row.pk, known, row.digest)
            )
            del desk.new[row.pk]
            continue
        desk.examination.counter += 1
    return refused


def _inserts(desk: Desk, rows: Sequence[Reading]) -> list[Statement]:
    of = [
        ReadingPiece(reading_id=row.pk, piece_id=one.pk, condition=one.condition)
        for row in rows
        for one in desk.of[row.pk]
    ]
    return [*inserts_of(Reading, rows), *inserts_of(ReadingPiece, of)]


def _row(desk: Desk, sent: SentReading, mark: str, at: datetime) -> Reading:
    """The reading as it will be written; what it is of is put into ``desk.of``."""
    check = desk.check(sent.check)
    old = _withdrawn(desk, check, sent)
    only_withdraws = old is not None and not sent.text.strip()
    of: Sequence[BenchPiece | Lifted]
    if only_withdraws:
        assert old is not None
        of = desk.pieces_of(old)
        said, chosen, place = _Said(), Chosen(old.gauge), old.place
    else:
        piece = desk.piece(check, sent.piece)
        of = [piece, *desk.company(check, sent.pieces)]
        place = _place(check, sent.place)
        chosen = desk.gauge(check, piece.size, sent)
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
    desk.of[sent.id] = of
    return Reading(
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


def _withdrawn(desk: Desk, check: Check, sent: SentReading) -> Reading | None:
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
    if desk.is_withdrawn(old):
        raise _No("withdraws", "That reading has been withdrawn already.")
    return old


def _place(check: Check, place: str) -> str:
    if check.places and place not in check.places:
        raise _No("place", f"Say where it was read: {', '.join(check.places)}.")
    if place and not check.places:
        raise _No("place", "This check names no places. Leave it empty, or write it into the note.")
    return place


def _meaning(desk: Desk, check: Check, sent: SentReading, chosen: Chosen) -> _Said:
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


def _project(desk: Desk, at: datetime) -> list[Statement]:
    """Bring the pieces' measures to what is judged now, for search and for mates."""
    touched = {one.check_code for one in desk.new.values() if desk.checks[one.check_code].kind == "measure"}
    if not touched:
        return []
    pieces = desk.in_positions({desk.checks[code].position for code in touched})
    if desk.before is not None:
        wanted = {*codes_to_read(desk.guide, desk.variant, touched)}
        new = [row for row in desk.new.values() if row.check_code in wanted]
        rows = [*desk.before, *(line for row in new for line in rows_of_new(row, desk.of[row.pk]))]
        return project_some(desk.examination, desk.guide, desk.variant, touched, pieces, rows, at)
    judgement = judgement_of(examinations().get(pk=desk.examination.pk))
    project_measures(judgement, touched, {one.tag: one for one in pieces}, at)
    return []
