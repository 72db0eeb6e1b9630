"""The page of what is answered in words: complaints without a cause, positions that stay open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inspections.evidence.answering import MOST_WORDS, give_answer
from inspections.evidence.answers import answers_of, complaint_states, open_positions, standing
from inspections.evidence.photograph_views import on_bench
from inspections.models import Answer, Examination
from inspections.readings.examining import READABLE_STAGES
from inspections.readings.findings import examined
from shop.access import Actor, NotThere, ticket_for
from shop.models import Ticket
from shop.refusals import Refusal
from shop.views import for_actor

KINDS = ("complaint", "position", "words")


@dataclass(frozen=True, slots=True)
class Row:
    """One thing to be answered, with what was typed for it if that came back."""

    kind: str
    code: str
    name: str
    id: UUID
    explained_by: list[tuple[str, str, str]]  # position, check, title
    answer: Answer | None
    typed: str
    message: str


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def answers(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """Each complaint with what explains it, each open position with its reason. Takes answers in words."""
    ticket = ticket_for(by, number)
    _, held = on_bench(by, number)
    if request.method != "POST":
        return _page(request, by, ticket, held)
    by.need("record_readings")
    kind, code = request.POST.get("kind", ""), request.POST.get("code", "")
    stands = request.POST.get("deed", "answer") != "take back"
    if kind not in KINDS:
        raise NotThere
    try:
        give_answer(
            examination=held,
            id=_id(request.POST.get("id", "")),
            words=request.POST.get("words", ""),
            complaint=code if kind == "complaint" else "",
            position=code if kind == "position" else "",
            stands=stands,
            by=by,
        )
    except Refusal as trouble:
        return _page(request, by, ticket, held, trouble)
    messages.success(request, "Written down." if stands else "The answer is taken back.")
    return redirect("answers", number=number)


def _id(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        return uuid4()


def _page(
    request: HttpRequest, by: Actor, ticket: Ticket, held: Examination, trouble: Refusal | None = None
) -> HttpResponse:
    judgement = examined(held).judgement
    given = answers_of(held)
    stands = standing(given)
    check = judgement.guide.check
    back = (request.POST.get("kind", ""), request.POST.get("code", "")) if trouble else ("", "")
    beside = trouble is not None and not trouble.errors.keys().isdisjoint(KINDS)

    def row(kind: str, code: str, name: str, answer: Answer | None, by: tuple[str, ...] = ()) -> Row:
        own = trouble is not None and back == (kind, code)
        return Row(
            kind=kind,
            code=code,
            name=name,
            id=uuid4(),
            explained_by=[(check[one].position, one, check[one].title) for one in by],
            answer=answer,
            typed=request.POST.get("words", "") if own else "",
            message=trouble.message if own and trouble is not None and beside else "",
        )

    complaints = [
        row("complaint" if one.code else "words", one.code, one.name, one.answer, one.explained_by)
        for one in complaint_states(ticket, judgement, stands)
    ]
    positions = [
        row("position", one.code, f"{one.number} {one.name}", one.answer)
        for one in open_positions(judgement, stands)
    ]
    said = any(one.message for one in (*complaints, *positions))
    context: dict[str, Any] = {
        "ticket": ticket,
        "groups": [
            ("Complaints", complaints, "The customer complained of nothing."),
            ("Positions not decided", positions, "Every position is decided."),
        ],
        "trouble": trouble.message if trouble is not None and not said else "",
        "given": [one for one in given if one not in stands.values()],
        "may_answer": by.may("record_readings") and ticket.stage in READABLE_STAGES,
        "most": MOST_WORDS,
    }
    return render(
        request, "inspections/answers/page.html", context, status=trouble.status if trouble else 200
    )
