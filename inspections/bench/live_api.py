"""What tablets ask each second and a half: did anything change after the counter, and who is here."""

from __future__ import annotations

from typing import Annotated, Any

from django.http import HttpRequest
from ninja import Path, Query, Router, Schema, Status

from inspections.bench.presence import Here, note_presence
from inspections.guiding.guides import guide_of
from inspections.models import Examination
from inspections.readings.findings import examination_for
from inspections.readings.findings import examinations as examination_rows
from shop.access import Actor, NotThere, asker, ticket_for
from shop.once import digest

tickets = Router(tags=["tickets"])
examinations = Router(tags=["examinations"])

Number = Annotated[int, Path(ge=1, le=2_147_483_647)]
Counter = Annotated[int, Query(ge=0, le=2_147_483_647)]
Code = Annotated[str, Query(max_length=20)]
Mark = Annotated[str, Query(max_length=16)]


class HereOut(Schema):
    """Somebody else at the unit. ``position``: a code, empty for the whole unit; ``words`` say it."""

    name: str
    position: str
    words: str


class SinceOut(Schema):
    """``here_mark``: send it again as ``here``, and an answer without news is 204."""

    counter: int
    changed: bool
    here: list[HereOut]
    here_mark: str


def _since(examination: Examination, after: int, position: str, here: str, by: Actor) -> Status[Any]:
    guide = guide_of(examination.revision)
    on = position if position in guide.position else ""
    others = [_out(guide.position, one) for one in note_presence(examination=examination, position=on, by=by)]
    mark = digest([one.model_dump() for one in others])[:16]
    changed = examination.counter != after
    if not changed and here == mark:
        return Status(204, None)
    return Status(200, SinceOut(counter=examination.counter, changed=changed, here=others, here_mark=mark))


def _out(positions: dict[str, Any], one: Here) -> HereOut:
    known = positions.get(one.position)
    words = f"{one.name} on {known.number} {known.name}" if known else one.name
    return HereOut(name=one.name, position=one.position, words=words)


@tickets.get("/{number}/since", response={200: SinceOut, 204: None})
def changes_of_ticket(
    request: HttpRequest,
    number: Number,
    after: Counter = 0,
    position: Code = "",
    here: Mark = "",
) -> Status[Any]:
    """What changed on the ticket's examination after the counter; 204 when nothing did. Says who is here.

    Go by ``counter`` only: it is raised in the transaction of each change.
    """
    by = asker(request)
    found = examination_rows().filter(ticket=ticket_for(by, number)).first()
    if found is None:
        raise NotThere
    return _since(found, after, position, here, by)


@examinations.get("/{pk}/since", response={200: SinceOut, 204: None})
def changes_of_examination(
    request: HttpRequest,
    pk: Number,
    after: Counter = 0,
    position: Code = "",
    here: Mark = "",
) -> Status[Any]:
    """The same by the examination's id: for a donor, and what the bench's pages ask."""
    by = asker(request)
    return _since(examination_for(by, pk), after, position, here, by)
