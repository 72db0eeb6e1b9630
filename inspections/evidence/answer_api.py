"""The API of answers in words, of finishing an examination, and of its report."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from ninja import Path, Router, Schema, Status
from pydantic import ConfigDict, Field

from inspections.evidence.answering import give_answer
from inspections.evidence.answers import answers_of, complaint_states, open_positions, standing
from inspections.evidence.reporting import make_report, paper_of, state_of_print
from inspections.models import Answer, Examination, ExaminationReport
from inspections.readings.examining import finish_examination, open_ends
from inspections.readings.findings import examination_for, examinations, judgement_of
from shop.access import Actor, NotThere, asker, ticket_for
from shop.counter_views import give_out
from shop.models import Ticket

tickets = Router(tags=["tickets"])
examinations_api = Router(tags=["examinations"])
reports = Router(tags=["reports"])

Number = Annotated[int, Path(ge=1, le=2_147_483_647)]


class AnswerIn(Schema):
    """Words for a ``complaint`` or an open ``position`` by code; neither: for the customer's own words.

    ``stands`` false takes the answer before it back: the words say why.
    """

    model_config = ConfigDict(extra="forbid")
    id: UUID
    words: str
    complaint: Annotated[str, Field(max_length=40)] = ""
    position: Annotated[str, Field(max_length=20)] = ""
    stands: bool = True


class AnswerOut(Schema):
    id: UUID
    words: str
    by: str
    at: datetime


class ComplaintOut(Schema):
    code: str
    name: str
    explained_by: list[str]
    answer: AnswerOut | None


class OpenPositionOut(Schema):
    code: str
    name: str
    reason: AnswerOut | None


class AnswersOut(Schema):
    complaints: list[ComplaintOut]
    open_positions: list[OpenPositionOut]
    hindrances: list[str]


class ReportOut(Schema):
    number: int
    counter: int
    status: str
    url: str | None
    made_at: datetime


class ReportsOut(Schema):
    items: list[ReportOut]
    next: str | None = None


class StageOut(Schema):
    number: int
    stage: str


def _held(ticket: Ticket) -> Examination:
    found = examinations().filter(ticket=ticket).first()
    if found is None:
        raise NotThere
    return found


def _answer(one: Answer | None) -> AnswerOut | None:
    return AnswerOut(id=one.pk, words=one.words, by=str(one.person), at=one.at) if one else None


def _answers(ticket: Ticket, held: Examination) -> AnswersOut:
    judgement, stands = judgement_of(held), standing(answers_of(held))
    return AnswersOut(
        complaints=[
            ComplaintOut(
                code=one.code,
                name=one.name,
                explained_by=list(one.explained_by),
                answer=_answer(one.answer),
            )
            for one in complaint_states(ticket, judgement, stands)
        ],
        open_positions=[
            OpenPositionOut(code=one.code, name=one.name, reason=_answer(one.answer))
            for one in open_positions(judgement, stands)
        ],
        hindrances=open_ends(ticket),
    )


@tickets.get("/{number}/answers", response=AnswersOut)
def read_answers(request: HttpRequest, number: Number) -> AnswersOut:
    """Complaints with what explains or answers them, open positions with their reasons, and what still keeps
    the examination from being finished."""
    by = asker(request)
    ticket = ticket_for(by, number)
    return _answers(ticket, _held(ticket))


@tickets.post("/{number}/answers", response=AnswersOut)
def send_answer(request: HttpRequest, number: Number, sent: AnswerIn) -> AnswersOut:
    """Answer in words what no reading answers. Sending again is harmless; the newest answer counts."""
    by = asker(request)
    ticket = ticket_for(by, number, "record_readings")
    held = _held(ticket)
    give_answer(
        examination=held,
        id=sent.id,
        words=sent.words,
        complaint=sent.complaint,
        position=sent.position,
        stands=sent.stands,
        by=by,
    )
    return _answers(ticket, _held(ticket))


@tickets.post("/{number}/finish-examination", response=StageOut)
def finish(request: HttpRequest, number: Number) -> StageOut:
    """The ticket becomes examined. 422 with what is still open, unexplained or in dispute."""
    by = asker(request)
    ticket = ticket_for(by, number, "record_readings")
    done = finish_examination(ticket=ticket, by=by)
    return StageOut(number=done.number, stage=done.stage)


# --- the report


def _report(row: ExaminationReport) -> ReportOut:
    state = state_of_print(row)
    return ReportOut(
        number=row.number,
        counter=row.counter,
        status=state,
        url=reverse("api-1:report_paper", args=[row.pk]) if state == "done" else None,
        made_at=row.made_at,
    )


def _make(held: Examination, by: Actor) -> Status[Any]:
    return Status(202, _report(make_report(examination=held, by=by)))


def _reports(held: Examination) -> ReportsOut:
    rows = ExaminationReport.objects.filter(examination=held).defer("document").order_by("-number")
    return ReportsOut(items=[_report(one) for one in rows[:100]])


@tickets.post("/{number}/report", response={202: ReportOut})
def order_report(request: HttpRequest, number: Number) -> Status[Any]:
    """Freeze the next numbered report and have it printed. While nothing has changed it is the newest one.

    ``counter``: it stands on the examination's entries up to this one.
    """
    by = asker(request)
    return _make(_held(ticket_for(by, number)), by)


@tickets.get("/{number}/reports", response=ReportsOut)
def list_reports(request: HttpRequest, number: Number) -> ReportsOut:
    """The reports of a ticket, the newest first. ``status``: waiting, done or failed."""
    return _reports(_held(ticket_for(asker(request), number)))


@examinations_api.post("/{pk}/report", response={202: ReportOut})
def order_report_of_examination(request: HttpRequest, pk: Number) -> Status[Any]:
    """The same by the examination's id: for a donor, which has no ticket."""
    by = asker(request)
    return _make(examination_for(by, pk), by)


@examinations_api.get("/{pk}/reports", response=ReportsOut)
def list_reports_of_examination(request: HttpRequest, pk: Number) -> ReportsOut:
    """The same by the examination's id."""
    return _reports(examination_for(asker(request), pk))


@reports.get("/{pk}/paper", url_name="report_paper")
def read_paper(request: HttpRequest, pk: Number) -> HttpResponse:
    """The paper of a report, a PDF, once it is printed."""
    by = asker(request)
    by.need("see_tickets")
    row = ExaminationReport.objects.defer("document").filter(pk=pk).first()
    if row is None:
        raise NotThere
    examination_for(by, row.examination_id)
    found = paper_of(row)
    if found is None:
        raise NotThere
    return give_out(found)
