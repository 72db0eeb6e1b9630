"""Who is on which position of an examination: a quiet mark that each tablet's own asking renews."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from inspections.models import Examination, Presence
from shop import clock
from shop.access import Actor

GONE_AFTER = timedelta(seconds=20)
RENEWED_AFTER = timedelta(seconds=6)  # a row written at each asking would keep the database busy for nothing
FORGOTTEN_AFTER = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Here:
    """Somebody else at this unit; ``position`` is empty for the whole unit."""

    name: str
    position: str


def note_presence(
    *, examination: Examination, position: str, by: Actor, at: datetime | None = None
) -> list[Here]:
    """Say that ``by`` is on the position, and give who else is at the unit. One query, and at times a write.

    A position that the guide does not know counts as the whole unit. Nothing is written into the audit: it is
    forgotten within a day.
    """
    by.need("see_tickets")
    at = at or clock.now()
    rows = list(
        Presence.objects.filter(examination=examination)
        .select_related("person")
        .order_by("person__display_name", "person_id")
    )
    own = next((one for one in rows if one.person_id == by.person.pk), None)
    if own is None:
        _appear(examination, position, by, at)
    elif own.position_code != position or abs(at - own.seen_at) > RENEWED_AFTER:
        Presence.objects.filter(pk=own.pk).update(position_code=position, seen_at=at)
    return [
        Here(str(one.person), one.position_code)
        for one in rows
        if one is not own and abs(at - one.seen_at) < GONE_AFTER
    ]


def _appear(examination: Examination, position: str, by: Actor, at: datetime) -> None:
    Presence.objects.filter(examination=examination, seen_at__lt=at - FORGOTTEN_AFTER).delete()
    try:
        with transaction.atomic():
            Presence.objects.create(
                examination=examination, person=by.person, position_code=position, seen_at=at
            )
    except IntegrityError:
        # Two tabs of one person asked at once: the other one's row stands.
        return
