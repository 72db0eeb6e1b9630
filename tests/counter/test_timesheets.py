"""Minutes: booked once a key, for oneself; taken back by a line, never below nothing."""

import pytest

from shop.access import Denied, NotThere
from shop.models import TimeEntry
from shop.once import KeyReused
from shop.refusals import Refusal
from shop.timesheets import book_time, minutes_of
from tests.conftest import Cast
from tests.counter.making import make_box, make_ticket

pytestmark = pytest.mark.django_db


def test_minutes_add_up_and_are_taken_back(cast: Cast) -> None:
    ticket = make_ticket(make_box(), None)
    by = cast.actor("technician")
    for key, minutes in (("a", 40), ("b", 25), ("a", 40), ("c", -25)):
        book_time(ticket=ticket, person=cast.technician, minutes=minutes, work="rework", key=key, by=by)
    assert minutes_of(ticket) == 40
    assert TimeEntry.objects.count() == 3
    with pytest.raises(Refusal, match="Only 40 minutes"):
        book_time(ticket=ticket, person=cast.technician, minutes=-41, work="rework", key="d", by=by)
    with pytest.raises(KeyReused):
        book_time(ticket=ticket, person=cast.technician, minutes=41, work="rework", key="a", by=by)


@pytest.mark.parametrize("minutes", [0, 721, -721])
def test_minutes_have_bounds(cast: Cast, minutes: int) -> None:
    ticket = make_ticket(make_box(), None)
    with pytest.raises(Refusal) as trouble:
        book_time(
            ticket=ticket,
            person=cast.lead,
            minutes=minutes,
            work="build",
            key="a",
            by=cast.actor("lead"),
        )
    assert set(trouble.value.errors) == {"minutes"}


def test_anothers_minutes_are_the_managers(cast: Cast) -> None:
    ticket = make_ticket(make_box(), None)
    with pytest.raises(Denied):
        book_time(
            ticket=ticket, person=cast.lead, minutes=5, work="build", key="a", by=cast.actor("technician")
        )
    with pytest.raises(NotThere):
        book_time(
            ticket=ticket, person=cast.lead, minutes=5, work="build", key="a", by=cast.actor("supplier")
        )
    book_time(ticket=ticket, person=cast.lead, minutes=5, work="build", key="a", by=cast.actor("manager"))
    assert minutes_of(ticket) == 5
