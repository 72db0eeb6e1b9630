"""Opening a ticket: what is taken in, and what cannot stand."""

from datetime import timedelta
from typing import Any

import pytest

from shop import clock
from shop.access import Denied, NotThere
from shop.models import Audit, Outbox, Source, StageChange, Ticket, TicketComplaint, Unit
from shop.opening import change_ticket, open_ticket
from shop.refusals import Conflict, Refusal, Stale, Unversioned
from tests.conftest import Cast
from tests.counter.making import bring_to, make_box, make_customer, make_ticket

pytestmark = pytest.mark.django_db


def test_a_customers_ticket_has_its_unit_its_sources_and_its_first_line(cast: Cast) -> None:
    box, customer = make_box(), make_customer()
    by = cast.actor("front_desk")
    ticket = make_ticket(
        box,
        customer,
        by,
        complaints=[box.jumps, box.leaks, box.jumps],
        examination_fee_minor=9500,
        agreed_by="A. Harrow",
        more_sources=[("box of parts", "layshaft, two bearings")],
        serial=" HX 4471 ",
    )
    assert ticket.number == 2401
    unit = Unit.objects.get()
    assert (unit.kind, unit.owner, unit.serial) == ("customer", customer, "HX 4471")
    sources = list(Source.objects.order_by("id").values_list("kind", "owner__name", "listed_by__username"))
    assert sources == [
        ("unit", customer.name, "front_desk"),
        ("box of parts", customer.name, "front_desk"),
    ]
    assert TicketComplaint.objects.count() == 2
    assert StageChange.objects.get().after == "received"
    assert ticket.agreed_at is not None
    assert Outbox.objects.get().key == "tag:2401"
    line = Audit.objects.get(deed="opened")
    assert line.by == f"user:{cast.front_desk.pk}"
    assert customer.name not in str(line.facts)


def test_numbers_follow_each_other_and_no_customer_means_the_shelf(cast: Cast) -> None:
    box = make_box()
    first, second = (make_ticket(box, None, cast.actor("manager")) for _ in range(2))
    assert (first.number, second.number) == (2401, 2402)
    assert second.for_shelf
    assert {(unit.kind, unit.owner) for unit in Unit.objects.all()} == {("shop", None)}


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"promised_on": clock.today() - timedelta(days=2)}, "promised_on"),
        ({"examination_fee_minor": 100}, "agreed_by"),
        ({"declared_value_minor": -1}, "declared_value"),
        ({"deposit_minor": 10**15}, "deposit"),
        ({"on_no": "kept"}, "on_no"),
        ({"more_sources": [("box of parts", " ")]}, "more_sources"),
        ({"more_sources": [("lorry", "one")]}, "more_sources"),
    ],
)
def test_what_cannot_stand_is_refused_beside_its_field(cast: Cast, wrong: dict[str, Any], field: str) -> None:
    with pytest.raises(Refusal) as trouble:
        make_ticket(make_box(), make_customer(), cast.actor("front_desk"), **wrong)
    assert set(trouble.value.errors) == {field}
    assert not Ticket.objects.exists()
    assert not Outbox.objects.exists()


def test_variant_and_complaints_are_of_the_family(cast: Cast) -> None:
    box, other = make_box(), make_box("H5")
    by = cast.actor("front_desk")
    with pytest.raises(Refusal, match="no variant of"):
        open_ticket(family=box.family, variant=other.floor, customer=None, by=by)
    with pytest.raises(Refusal, match="no complaint of"):
        make_ticket(box, None, by, complaints=[other.jumps])


def test_only_who_may_opens(cast: Cast) -> None:
    box = make_box()
    with pytest.raises(Denied):
        make_ticket(box, None, cast.actor("technician"))
    with pytest.raises(NotThere):
        make_ticket(box, None, cast.actor("supplier"))


def test_a_change_needs_the_version_it_was_made_from(cast: Cast) -> None:
    by = cast.actor("front_desk")
    ticket = make_ticket(make_box(), make_customer(), by)
    with pytest.raises(Unversioned):
        change_ticket(ticket=ticket, version=None, by=by, vehicle="lorry")
    changed = change_ticket(ticket=ticket, version=1, by=by, vehicle="lorry")
    assert (changed.vehicle, changed.version) == ("lorry", 2)
    with pytest.raises(Stale):
        change_ticket(ticket=ticket, version=1, by=by, vehicle="tractor")
    with pytest.raises(Refusal, match="cannot be changed"):
        change_ticket(ticket=ticket, version=2, by=by, stage="tested")
    closed = bring_to(changed, "abandoned")
    with pytest.raises(Conflict):
        change_ticket(ticket=closed, version=closed.version, by=by, vehicle="tractor")
    closed.refresh_from_db()
    assert closed.vehicle == "lorry"
