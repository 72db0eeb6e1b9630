"""Minutes worked on a ticket. A line is never changed: a mistake is taken back by a negative one."""

from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Sum

from shop import clock
from shop.access import Actor, Denied
from shop.audit import write_line
from shop.models import Ticket, TimeEntry, User
from shop.once import KeyReused
from shop.refusals import Refusal

MOST_MINUTES = 12 * 60
WORKS = ("examination", "rework", "build", "test", "counter", "stores")


def minutes_of(ticket: Ticket) -> int:
    """All minutes booked on the ticket, less what was taken back."""
    return TimeEntry.objects.filter(ticket=ticket).aggregate(sum=Sum("minutes"))["sum"] or 0


def _check(ticket: Ticket, person: User, minutes: int, work: str) -> None:
    if not work.strip():
        raise Refusal(work="Write what was worked: examination, rework, build, test.")
    if minutes == 0 or abs(minutes) > MOST_MINUTES:
        raise Refusal(minutes=f"Write minutes from 1 to {MOST_MINUTES}, or less than zero to take some back.")
    if minutes < 0:
        booked = TimeEntry.objects.filter(ticket=ticket, person=person).aggregate(sum=Sum("minutes"))["sum"]
        if (booked or 0) + minutes < 0:
            raise Refusal(minutes=f"Only {booked or 0} minutes of {person} stand on this ticket.")


def book_time(
    *,
    ticket: Ticket,
    person: User,
    minutes: int,
    work: str,
    key: str,
    by: Actor,
    at: datetime | None = None,
) -> TimeEntry:
    """Book minutes of a person on a ticket; the same key books once. Another's minutes need keep_office."""
    by.need("see_tickets")
    if by.kind == "person" and by.user != person and not by.may("keep_office"):
        raise Denied("keep_office")
    at = at or clock.now()
    with transaction.atomic():
        # One writer a ticket, so that what is taken back is never more than what stands (PostgreSQL).
        Ticket.objects.select_for_update().get(pk=ticket.pk)
        if first := TimeEntry.objects.filter(key=key).first():
            return _same(first, ticket, person, minutes)
        _check(ticket, person, minutes, work)
        try:
            with transaction.atomic():
                entry = TimeEntry.objects.create(
                    ticket=ticket, person=person, minutes=minutes, work=work.strip()[:60], at=at, key=key
                )
        except IntegrityError:
            return _same(TimeEntry.objects.get(key=key), ticket, person, minutes)
        write_line(
            by=by,
            deed="booked time",
            thing=entry,
            ticket_number=ticket.number,
            at=at,
            minutes=minutes,
        )
    return entry


def _same(first: TimeEntry, ticket: Ticket, person: User, minutes: int) -> TimeEntry:
    if (first.ticket_id, first.person_id, first.minutes) != (ticket.pk, person.pk, minutes):
        raise KeyReused(key="This key was used before for other minutes. Take a new key.")
    return first
