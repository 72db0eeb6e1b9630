"""The API of inspections: readings in, findings out."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from django.http import HttpRequest
from ninja import Path, Router, Schema
from pydantic import ConfigDict, Field, StrictInt, StrictStr

from inspections.bench.blind import Sight, sight_of, words_for
from inspections.evidence.answers import answers_of, complaint_states, standing
from inspections.judgement.judging import Dispute, Finding, PieceVerdict
from inspections.models import Examination
from inspections.readings import findings as rows
from inspections.readings.findings import Examined, disputes_of, examined
from inspections.readings.recording import MOST_READINGS, SentReading, record_at
from shop.access import Actor, NotThere, asker, ticket_for
from shop.models import Ticket

tickets = Router(tags=["tickets"])
examinations = Router(tags=["examinations"])

Number = Annotated[int, Path(ge=1, le=2_147_483_647)]


class ReadingIn(Schema):
    """One reading. ``text``: a quantity as typed, a whole number, ``sound``, or a defect's code."""

    model_config = ConfigDict(extra="forbid")
    id: UUID
    check: Annotated[str, Field(max_length=40)]
    text: StrictStr | StrictInt = ""
    piece: Annotated[str, Field(max_length=20)] = ""
    gauge: Annotated[str, Field(max_length=20)] = ""
    part_temperature: Annotated[str, Field(max_length=40)] = ""
    taken_at: datetime | None = None
    place: Annotated[str, Field(max_length=60)] = ""
    note: str = ""
    withdraws: UUID | None = None
    reason: str = ""
    override: str = ""  # a lead's reason to read with a gauge past due
    pieces: Annotated[list[Annotated[str, Field(max_length=20)]], Field(max_length=20)] = []


class ReadingsIn(Schema):
    model_config = ConfigDict(extra="forbid")
    readings: Annotated[list[ReadingIn], Field(min_length=1, max_length=MOST_READINGS)]
    sent_at: datetime | None = None  # what the device's clock says now: one that is far off is noted


class ResultOut(Schema):
    id: UUID
    status: str
    problem: str = ""
    field: str = ""
    warning: str = ""  # recorded, but a better gauge or a new zero is advised


class ResultsOut(Schema):
    counter: int
    results: list[ResultOut]


def _sent(one: ReadingIn) -> SentReading:
    return SentReading(**(one.model_dump() | {"text": str(one.text), "pieces": tuple(one.pieces)}))


def _record(
    sent: ReadingsIn, by: Actor, *, pk: int | None = None, number: int | None = None
) -> dict[str, Any]:
    by.need("see_tickets")
    recorded = record_at(
        pk=pk,
        number=number,
        readings=[_sent(one) for one in sent.readings],
        by=by,
        sent_at=sent.sent_at,
    )
    rows = [
        {
            "id": one.id,
            "status": one.status,
            "problem": one.problem,
            "field": one.field,
            "warning": one.warning,
        }
        for one in recorded.results
    ]
    return {"counter": recorded.counter, "results": rows}


def _of_ticket(ticket: Ticket) -> Examination:
    found = rows.examinations().filter(ticket=ticket).first()
    if found is None:
        raise NotThere
    return found


@tickets.post("/{number}/readings", response=ResultsOut)
def send_readings(request: HttpRequest, number: Number, sent: ReadingsIn) -> dict[str, Any]:
    """Record readings of a ticket's unit, each answered on its own. Sending one again is harmless."""
    by = asker(request)
    return _record(sent, by, number=number)


@examinations.post("/{pk}/readings", response=ResultsOut)
def send_readings_of_examination(request: HttpRequest, pk: Number, sent: ReadingsIn) -> dict[str, Any]:
    """The same by the examination's id: for a donor, which has no ticket."""
    by = asker(request)
    return _record(sent, by, pk=pk)


@tickets.get("/{number}/findings")
def findings(request: HttpRequest, number: Number) -> dict[str, Any]:
    """Each check's finding with its working, each position's verdict, disputes and complaints.

    A technician who has not read a place yet does not get what others read there.
    """
    by = asker(request)
    ticket = ticket_for(by, number)
    examination = _of_ticket(ticket)
    whole = examined(examination)
    sight = sight_of(by, whole.state, whole.records)
    judgement, guide = whole.judgement, whole.judgement.guide
    complaints = complaint_states(ticket, judgement, standing(answers_of(examination)))
    return {
        "ticket": ticket.number,
        "examination": examination.pk,
        "counter": whole.state.counter,
        "family": guide.guide.family,
        "variant": whole.state.variant,
        "guide_revision": examination.revision.number,
        "positions": [
            {
                "code": one.position,
                "number": guide.position[one.position].number,
                "name": guide.position[one.position].name,
                "status": one.status,
            }
            for one in judgement.positions
        ],
        "verdicts": [_verdict(one, sight, whole) for one in judgement.verdicts],
        "findings": [_finding(one, sight, whole) for one in judgement.findings],
        "disputes": [
            {"check": one.check, "piece": one.piece}
            | _dispute(dispute, sight.sees_finding(one, whole.record))
            for one, dispute in disputes_of(judgement)
        ],
        "complaints": [
            {
                "code": one.code,
                "name": one.name,
                "explained_by": list(one.explained_by),
                "answer": one.answer.words if one.answer else "",
            }
            for one in complaints
        ],
    }


def _verdict(one: PieceVerdict, sight: Sight, whole: Examined) -> dict[str, Any]:
    guide = whole.judgement.guide
    own = [row for row in whole.judgement.findings if row.piece == one.piece]
    hidden = {row.words for row in own if not sight.sees_finding(row, whole.record)}
    words = {row.words: words_for(sight, row, whole.record, guide.check[row.check].title) for row in own}
    return {
        "piece": one.piece,
        "position": one.position,
        "verdict": one.verdict,
        "close": one.close,
        "because": [words[line] if line in hidden else line for line in one.because],
        "needs": [{"check": check, "remedies": list(remedies)} for check, remedies in one.needs],
        "sizes": [{"check": check, "suits": list(sizes)} for check, sizes in one.sizes],
        "mates": list(one.mates),
    }


def _finding(one: Finding, sight: Sight, whole: Examined) -> dict[str, Any]:
    check = whole.judgement.guide.check[one.check]
    seen = sight.sees_finding(one, whole.record)
    return {
        "check": one.check,
        "title": check.title,
        "kind": check.kind,
        "position": one.position,
        "piece": one.piece,
        "state": one.state,
        "words": words_for(sight, one, whole.record, check.title),
        "value_mm": one.value_mm if seen else None,
        "expanded_uncertainty_um": one.expanded_um if seen else None,
        "lower_mm": one.lower_mm,
        "upper_mm": one.upper_mm,
        "probability": one.probability if seen else None,
        "typed": one.typed if seen else "",
        "mean_mm": one.mean_mm if seen else None,
        "out_of_round_mm": one.out_of_round_mm if seen else None,
        "taper_mm": one.taper_mm if seen else None,
        "settle": one.settle if seen else "",
        "suits": list(one.suits),
        "defects": list(one.defects) if seen else [],
        "remedies": list(one.remedies),
        "condemns": one.condemns,
        "decided_by": one.decided_by if seen else "",
        "dispute": _dispute(one.dispute, seen) if one.dispute else None,
        "readings": list(one.readings),
        "superseded": list(one.superseded),
        "blind": not seen,
        "working": [step.as_dict() for step in one.working] if seen else [],
        "cautions": [*([check.caution] if check.caution else []), *one.cautions],
        "source": check.source,
    }


def _dispute(one: Dispute, seen: bool) -> dict[str, Any]:
    return {
        "place": one.place,
        "words": one.words if seen else "In dispute. What was read is shown once you have read it.",
        "readings": list(one.readings),
        "open": one.open,
        "settled_by": one.settled_by,
    }
