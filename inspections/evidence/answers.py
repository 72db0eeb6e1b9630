"""What is answered in words: complaints that no finding explains, positions that stay open. Reads only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inspections.judgement.judging import Judgement
from inspections.models import Answer, Examination
from inspections.readings.findings import undecided_positions
from shop.models import Ticket

Subject = tuple[str, str]  # what it is about: "complaint", "position" or "words", and its code
OWN_WORDS: Subject = ("words", "")


def answers_of(examination: Examination) -> list[Answer]:
    """Every answer that was given, in order, with who and what; one query."""
    return list(Answer.objects.filter(examination=examination).select_related("person", "complaint"))


def subject_of(answer: Answer) -> Subject:
    if answer.complaint is not None:
        return "complaint", answer.complaint.code
    return ("position", answer.position_code) if answer.position_code else OWN_WORDS


def standing(answers: Iterable[Answer]) -> dict[Subject, Answer]:
    """The newest answer to each thing; one that was taken back stands no more."""
    newest: dict[Subject, Answer] = {}
    for one in sorted(answers, key=lambda row: row.sequence):
        newest[subject_of(one)] = one
    return {subject: one for subject, one in newest.items() if one.stands}


@dataclass(frozen=True, slots=True)
class ComplaintState:
    """A complaint, the checks found bad that explain it, and the answer in words. Empty code: own words."""

    code: str
    name: str
    explained_by: tuple[str, ...]
    answer: Answer | None

    @property
    def open(self) -> bool:
        return not self.explained_by and self.answer is None


def complaint_states(
    ticket: Ticket, judgement: Judgement, stands: dict[Subject, Answer]
) -> list[ComplaintState]:
    """Every complaint of the ticket. What the customer said in own words is one by itself only where nothing
    was chosen from the list: otherwise it tells more of those."""
    chosen = list(ticket.complaints.order_by("pk").values_list("complaint__code", "complaint__name"))
    explained = judgement.complaints_explained(code for code, _ in chosen)
    states = [
        ComplaintState(code, name, explained[code], stands.get(("complaint", code))) for code, name in chosen
    ]
    if not states and ticket.complaint_words.strip():
        states.append(ComplaintState("", ticket.complaint_words.strip(), (), stands.get(OWN_WORDS)))
    return states


@dataclass(frozen=True, slots=True)
class OpenPosition:
    """A position that is not decided, and why it stays so, if somebody said it."""

    code: str
    name: str
    number: int
    answer: Answer | None


def open_positions(judgement: Judgement, stands: dict[Subject, Answer]) -> list[OpenPosition]:
    named = judgement.guide.position
    return [
        OpenPosition(code, named[code].name, named[code].number, stands.get(("position", code)))
        for code in undecided_positions(judgement)
    ]


MOST_NAMED = 4


def some_of(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"{', '.join(names[:MOST_NAMED])}{more}"


def unanswered(ticket: Ticket, examination: Examination, judgement: Judgement) -> list[str]:
    """What keeps an examination from being finished, in sentences: positions open without a reason, and
    complaints neither explained nor answered."""
    stands = standing(answers_of(examination))
    reasons = []
    if names := [one.name for one in open_positions(judgement, stands) if one.answer is None]:
        reasons.append(f"Not decided yet: {some_of(names)}. Read them, or say why they stay open.")
    if names := [one.name for one in complaint_states(ticket, judgement, stands) if one.open]:
        reasons.append(f"Not explained yet: {some_of(names)}. Find the cause, or answer in words.")
    return reasons
