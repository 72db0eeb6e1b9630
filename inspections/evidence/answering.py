"""Answering in words what no reading answers: a complaint without a cause, a position that stays open."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from inspections.evidence.answers import OWN_WORDS, Subject, answers_of, standing
from inspections.models import Answer, Examination
from inspections.readings.examining import need_readable
from inspections.readings.findings import judgement_of
from inspections.readings.writing import OTHER_CONTENT, locked, note_line, one_line, raise_counter, refuse
from shop import clock
from shop.access import Actor
from shop.models import Complaint
from shop.refusals import Refusal

MOST_WORDS = 400


def give_answer(
    *,
    examination: Examination,
    id: UUID,
    words: str,
    by: Actor,
    complaint: str = "",
    position: str = "",
    stands: bool = True,
    at: datetime | None = None,
) -> Answer:
    """Say why a complaint (by code; neither code: the customer's own words) has no cause that was found, or
    why a position stays open. The newest answer counts; ``stands=False`` takes it back, the words say why.

    The same id with the same content is the first answer. Refusal beside ``words``, ``complaint``,
    ``position`` or ``id``.
    """
    by.need("record_readings")
    at = at or clock.now()
    said = one_line("words", words, MOST_WORDS) or refuse("words", "Say it in words: who reads it next asks.")
    if complaint and position:
        refuse("position", "One answer is about one thing.")
    about: Subject = (
        ("complaint", complaint) if complaint else ("position", position) if position else OWN_WORDS
    )
    try:
        return _give(examination, id, said, about, stands, by, at)
    except IntegrityError:
        raise Refusal(id=OTHER_CONTENT) from None


def _give(
    examination: Examination, id: UUID, words: str, about: Subject, stands: bool, by: Actor, at: datetime
) -> Answer:
    kind, code = about
    with transaction.atomic():
        held = locked(examination)
        chosen = _complaint(held, code) if kind == "complaint" else None
        position = code if kind == "position" else ""
        if known := Answer.objects.filter(pk=id).first():
            same = (known.examination_id, known.person_id, known.complaint_id, known.position_code)
            if same != (held.pk, by.person.pk, chosen.pk if chosen else None, position):
                refuse("id", OTHER_CONTENT)
            return known if (known.words, known.stands) == (words, stands) else refuse("id", OTHER_CONTENT)
        need_readable(held)
        before = standing(answers_of(held)).get(about)
        if not stands and before is None:
            refuse("", "There is no answer to take back.")
        if stands:
            _answerable(held, about)
        row = Answer.objects.create(
            id=id,
            examination=held,
            sequence=raise_counter(held),
            complaint=chosen,
            position_code=position,
            words=words,
            stands=stands,
            person=by.person,
            at=at,
        )
        deed = "answered" if stands else "took back answer"
        note_line(by=by, deed=deed, thing=row, held=held, at=at, about=kind, code=code)
    return row


def _complaint(held: Examination, code: str) -> Complaint:
    if held.ticket is not None:
        found = held.ticket.complaints.select_related("complaint").filter(complaint__code=code).first()
        if found is not None:
            return found.complaint
    return refuse("complaint", f"The customer did not complain of {code[:40]}.")


def _answerable(held: Examination, about: Subject) -> None:
    kind, code = about
    if kind == "words" and (held.ticket is None or not held.ticket.complaint_words.strip()):
        refuse("complaint", "The customer said nothing in own words. Say which complaint is meant.")
    if kind != "position":
        return
    judgement = judgement_of(held)
    status = judgement.status.get(code)
    if status is None:
        refuse("position", f"This unit has no position {code[:20]}.")
    if status != "open":
        name = judgement.guide.position[code].name
        refuse("position", f"{name} is decided: {status}. Only an open position takes a reason.")
