"""Every change is a line: who, what, to which thing. Called inside the change's transaction."""

from datetime import datetime
from typing import Any

from django.db.models import Model

from shop import clock
from shop.access import Actor
from shop.models import Audit
from shop.prepared import insert_rows


def write_line(
    *,
    by: Actor,
    deed: str,
    thing: Model,
    ticket_number: int | None = None,
    at: datetime | None = None,
    **facts: Any,
) -> None:
    """Write an audit line. ``facts`` holds no personal field: the table cannot forget."""
    insert_rows(Audit, [line_of(by=by, deed=deed, thing=thing, ticket_number=ticket_number, at=at, **facts)])


def line_of(
    *,
    by: Actor,
    deed: str,
    thing: Model,
    ticket_number: int | None = None,
    at: datetime | None = None,
    **facts: Any,
) -> Audit:
    """The line, for a caller that writes it together with its change."""
    return Audit(
        at=at or clock.now(),
        by=by.key,
        deed=deed,
        thing=thing._meta.model_name or "",
        thing_id=str(thing.pk),
        ticket_number=ticket_number,
        facts=facts,
    )
