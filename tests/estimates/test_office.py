"""Stages over the weeks, quoted against cost, and exchange rates. Figures by hand, all invented."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from estimates.accepting import accept_quote
from estimates.charts import stage_chart
from estimates.links import customer_of
from estimates.margins import margin_of, margins_of
from estimates.models import Quote
from estimates.office import BANDS, quoted_against_cost, standings, weeks_of_stages
from estimates.rates import parse_rate, show_rate, type_rate
from inventory.ledger import issue_reservation
from inventory.models import Bin, Purchase, Reservation
from inventory.purchasing import order_purchase, receive_purchase
from shop import clock
from shop.access import PROGRAM, Denied
from shop.models import Audit, ExchangeRate, StageChange, Ticket, TimeEntry
from shop.money import rate_for
from shop.refusals import Refusal
from shop.timesheets import book_time
from tests.conftest import Cast
from tests.estimates.making import examined, guide, seals, sent, shaft_price, used_shaft
from tests.inspections.shop import open_ticket

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 30, 11, 0, tzinfo=UTC)


def stand(ticket: Ticket, before: str, after: str, at: datetime) -> None:
    StageChange.objects.create(ticket=ticket, before=before, after=after, at=at, by="program")
    Ticket.objects.filter(pk=ticket.pk).update(stage=after, stage_since=at)


def test_where_each_unit_stood_day_by_day(cast: Cast) -> None:
    guide()
    first, second = open_ticket(2401), open_ticket(2402)
    Ticket.objects.filter(pk=first.pk).update(opened_at=NOON - timedelta(days=20))
    Ticket.objects.filter(pk=second.pk).update(opened_at=NOON - timedelta(days=100))
    stand(first, "received", "stripped", NOON - timedelta(days=10))
    stand(first, "stripped", "examined", NOON - timedelta(days=10))
    stand(second, "received", "declined", NOON - timedelta(days=30))
    weeks = weeks_of_stages(NOON)
    assert weeks.days[-1] == date(2026, 6, 30)
    assert len(weeks.days) == 8 * 7 + 1
    by_band = {name: row for (name, _), row in zip(BANDS, weeks.counts, strict=True)}
    came = by_band["received, stripped"]
    # second stands there until 30 days ago; first from 20 to 10 days ago
    assert [came[-1 - back] for back in (56, 31, 30, 21, 20, 11, 10, 0)] == [1, 1, 0, 0, 1, 1, 0, 0]
    assert [by_band["examined"][-1 - back] for back in (11, 10, 0)] == [0, 1, 1]
    assert weeks.table[-1] == (date(2026, 6, 30), [0, 0, 0, 0, 0, 1, 0], 1)
    assert len(weeks.table) == 9


def test_the_chart_is_drawn_on_squared_paper_with_its_axes_said(cast: Cast) -> None:
    assert stage_chart(weeks_of_stages(NOON)) == ""
    guide()
    Ticket.objects.filter(pk=open_ticket(2401).pk).update(opened_at=NOON - timedelta(days=20))
    svg = stage_chart(weeks_of_stages(NOON))
    for words in (
        'class="grid"',
        'class="axis"',
        "band-7",
        ">units<",
        ">end of the week<",
        ">30 Jun<",
        'role="img"',
    ):
        assert words in svg
    assert "style=" not in svg


def test_every_stage_of_an_open_ticket_has_a_band() -> None:
    from shop.models import CLOSED, STAGES

    banded = [stage for _, stages in BANDS for stage in stages]
    assert sorted(banded) == sorted(stage for stage in STAGES if stage not in CLOSED)
    assert len(BANDS) <= 7


def test_open_tickets_by_stage_with_their_age(cast: Cast) -> None:
    guide()
    ticket = open_ticket(2401)
    stand(ticket, "received", "stripped", NOON - timedelta(days=9))
    found = {one.stage: one for one in standings(NOON)}
    assert found["stripped"].oldest_days == 9
    assert [one.number for one, _ in found["stripped"].tickets] == [2401]
    assert found["received"].tickets == ()
    assert "handed over" not in found


def agreed(cast: Cast) -> tuple[Ticket, Quote]:
    """New shaft bought at 90.00, seal from the shelf at 10.00."""
    ticket = examined(cast.actor("technician"))
    shaft_price()
    seals(1)
    quote = sent(ticket, cast.actor("manager"))
    accept_quote(quote=quote, name="Pat Invented", by=customer_of(quote))
    ticket.refresh_from_db()
    return ticket, quote


def test_the_cost_so_far_counts_each_thing_once(cast: Cast) -> None:
    ticket, quote = agreed(cast)
    assert margin_of(ticket).cost_minor == 0
    bought = order_purchase(purchase=Purchase.objects.get(ticket=ticket), by=PROGRAM)
    assert margin_of(ticket).bought_minor == 9_000
    receive_purchase(purchase=bought, bin=Bin.objects.get(code="S1"), key="r", by=PROGRAM)
    assert margin_of(ticket).parts_minor == 9_000
    for one in Reservation.objects.filter(ticket=ticket, resolved_at__isnull=True):
        issue_reservation(reservation=one, key=f"i{one.pk}", by=PROGRAM)
    book_time(
        ticket=ticket, person=cast.technician, minutes=100, work="build", key="t", by=cast.actor("technician")
    )
    found = margin_of(ticket)
    assert (found.issued_minor, found.bought_minor) == (10_000, 0)
    assert found.labour_minor == 5_333  # 100 min at 32.00 an hour: 53.33
    assert found.cost_minor == 15_333
    assert found.quoted_minor == quote.net_minor
    assert found.margin_minor == quote.net_minor - 15_333
    assert "153.33" in " ".join(step.formula for step in found.working)


def test_a_new_quote_before_the_customer_does_not_change_what_was_agreed(cast: Cast) -> None:
    ticket, quote = agreed(cast)
    used_shaft()
    sent(ticket, cast.actor("manager"))
    found = margin_of(ticket)
    assert found.accepted
    assert found.quoted_minor == quote.net_minor


def test_a_ticket_without_a_quote_has_no_figures(cast: Cast) -> None:
    guide()
    ticket = open_ticket(2401)
    TimeEntry.objects.create(
        ticket=ticket, person=cast.technician, minutes=60, work="examination", at=NOON, key="k"
    )
    found = margin_of(ticket)
    assert (found.quoted_minor, found.expected_minor, found.labour_minor) == (0, 0, 3_200)
    assert not found.accepted


def test_many_tickets_cost_as_many_queries_as_one(cast: Cast, django_assert_max_num_queries: Any) -> None:
    guide()
    tickets = [open_ticket(number) for number in range(2401, 2413)]
    Ticket.objects.update(stage="agreed")
    with django_assert_max_num_queries(8):
        assert len(margins_of(tickets)) == 12
    assert [one.ticket.number for one in quoted_against_cost(limit=3)] == [2412, 2411, 2410]


@pytest.mark.parametrize(("text", "micro"), [("1.15", 1_150_000), ("0,000001", 1), ("110", 110_000_000)])
def test_rates_are_read_exactly(text: str, micro: int) -> None:
    assert parse_rate(text) == micro


@pytest.mark.parametrize("text", ["", "one", "1.1.1", "1 150", "−1", "1.1234567", "NaN", "1e3", "٣", "0"])
def test_what_is_no_rate(text: str) -> None:
    with pytest.raises(Refusal):
        parse_rate(text)


def test_a_rate_is_shown_as_typed() -> None:
    assert [show_rate(one) for one in (1_150_000, 1, 110_000_000)] == ["1.15", "0.000001", "110.00"]


def test_a_rate_counts_from_its_day(cast: Cast) -> None:
    by, day = cast.actor("manager"), clock.today()
    type_rate(currency="GBP", on=day - timedelta(days=10), rate="1.15", by=by)
    type_rate(currency="GBP", on=day, rate="1.20", by=by)
    assert rate_for("GBP", day - timedelta(days=1)) == (1_150_000, day - timedelta(days=10))
    assert rate_for("GBP", day) == (1_200_000, day)


def test_a_slip_of_the_point_is_asked_for_twice(cast: Cast) -> None:
    by, day = cast.actor("manager"), clock.today()
    type_rate(currency="GBP", on=day - timedelta(days=1), rate="1.15", by=by)
    with pytest.raises(Refusal, match=r"it was 1\.15"):
        type_rate(currency="GBP", on=day, rate="11.5", by=by)
    type_rate(currency="GBP", on=day, rate="11.5", by=by, sure=True)
    assert ExchangeRate.objects.count() == 2


def test_a_replaced_rate_is_in_the_audit(cast: Cast) -> None:
    by, day = cast.actor("manager"), clock.today()
    first = type_rate(currency="GBP", on=day, rate="1.15", by=by)
    assert type_rate(currency="GBP", on=day, rate="1.150", by=by) == first
    with pytest.raises(Refusal, match="stands already"):
        type_rate(currency="GBP", on=day, rate="1.16", by=by)
    type_rate(currency="GBP", on=day, rate="1.16", by=by, sure=True)
    lines = Audit.objects.filter(deed="typed rate").order_by("pk")
    assert [one.facts["before_micro"] for one in lines] == [0, 1_150_000]


def test_who_may_type_a_rate(cast: Cast) -> None:
    with pytest.raises(Denied):
        type_rate(currency="GBP", on=clock.today(), rate="1.15", by=cast.actor("front_desk"))
