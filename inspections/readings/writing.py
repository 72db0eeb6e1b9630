"""What the rules of an examination share when they write: the lock, the counter, one line of words."""

from __future__ import annotations

import unicodedata
from datetime import datetime
from typing import NoReturn

from django.db.models import Model

from inspections.models import Examination
from shop.access import Actor
from shop.audit import write_line
from shop.refusals import Refusal

OTHER_CONTENT = "This id is known with another content. Take a new one."


def locked(examination: Examination) -> Examination:
    """The examination's row, held for writing: writers of one examination come one after another.

    Locked without its joins: PostgreSQL finds no row where the revision was changed while it waited.
    """
    Examination.objects.select_for_update().only("pk").get(pk=examination.pk)
    found: Examination = (
        Examination.objects.select_related("revision", "ticket", "ticket__variant", "donor", "donor__variant")
        .defer("revision__document")
        .get(pk=examination.pk)
    )
    return found


def raise_counter(held: Examination) -> int:
    """The next sequence of a held examination: tablets see by it that something came."""
    held.counter += 1
    held.save(update_fields=["counter"])
    return held.counter


def note_line(
    *, by: Actor, deed: str, thing: Model, held: Examination, at: datetime, **facts: object
) -> None:
    """The audit line of a deed on an examination."""
    number = held.ticket.number if held.ticket else None
    write_line(by=by, deed=deed, thing=thing, ticket_number=number, at=at, **facts)


def one_line(field: str, text: str, most: int) -> str:
    """The text without its ends. Refusal beside ``field`` for a long one, or for control characters."""
    if len(text) > most:
        raise Refusal(**{field: f"At most {most} characters."})
    if any(unicodedata.category(one) in {"Cc", "Cs"} for one in text):
        raise Refusal(**{field: "Write it in one line, without control characters."})
    return text.strip()


def refuse(field: str, words: str) -> NoReturn:
    raise Refusal(**{field: words})
