"""The customer's answer: all of it or nothing, once, whatever is pressed at once or breaks in the middle."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail

from estimates import accepting
from estimates.accepting import IN_HAND, TAKEN, accept_quote, decline_quote, lapse_quotes
from estimates.links import customer_of
from estimates.models import Quote
from inspections.models import BuildRow
from inventory.ledger import check_ledger, release_reservation
from inventory.models import Balance, Purchase, Reservation
from inventory.purchasing import order_purchase, receive_purchase
from shop import clock, outbox
from shop.access import PROGRAM
from shop.models import Audit, Once, Outbox, Ticket
from shop.refusals import Conflict, Refusal
from shop.stages import GATES, hindrances, move_ticket
from tests.conftest import Cast
from tests.estimates.making import examined, seals, sent, shaft_price, used_shaft
from tests.inventory.threads import at_once

NAME = "Pat Invented"


def accept(quote: Quote, key: str = "", name: str = NAME) -> Quote:
    return accept_quote(quote=quote, name=name, key=key, by=customer_of(quote))


def traces(ticket: Ticket) -> tuple[Any, ...]:
    """Everything that an acceptance leaves; compared before and after."""
    return (
        Ticket.objects.values_list("stage", "version").get(pk=ticket.pk),
        list(Quote.objects.filter(ticket=ticket).values_list("state", "answered_name", "answered_at")),
        list(BuildRow.objects.filter(ticket=ticket).values_list("pk", "dropped_at")),
        list(Reservation.objects.filter(ticket=ticket).values_list("pk", "end")),
        list(Purchase.objects.filter(ticket=ticket).values_list("pk", "state")),
        list(Balance.objects.values_list("pk", "on_hand", "reserved")),
        Outbox.objects.filter(rule="mail acceptance").count(),
        Once.objects.count(),
    )


@pytest.fixture
def quote(cast: Cast) -> Quote:
    ticket = examined(cast.actor("technician"))
    used_shaft()
    seals(3)
    return sent(ticket, cast.actor("manager"))


@pytest.mark.django_db
def test_a_yes_reserves_and_writes_the_build_list(quote: Quote) -> None:
    done = accept(quote, key="k1")
    assert (done.state, done.answered_name) == ("accepted", NAME)
    ticket = Ticket.objects.get(pk=quote.ticket_id)
    assert ticket.stage == "agreed"
    rows = {one.position_code: one for one in BuildRow.objects.filter(ticket=ticket)}
    assert {code: one.way for code, one in rows.items()} == {"CASE": "own", "SHAFT": "used", "SEAL": "new"}
    held = Reservation.objects.filter(ticket=ticket, resolved_at__isnull=True)
    assert sorted(held.values_list("position_code", flat=True)) == ["SEAL", "SHAFT"]
    assert rows["SEAL"].lot is not None
    assert check_ledger() == []
    outbox.run_due()
    assert sum("Accepted" in one.subject for one in mail.outbox) == 1


@pytest.mark.django_db
def test_a_yes_wants_what_must_be_bought(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    shaft_price()
    seals(1)
    accept(sent(ticket, cast.actor("manager")))
    wanted = Purchase.objects.get(ticket=ticket)
    assert (wanted.state, wanted.number, wanted.position_code) == ("wanted", "T-SHAFT", "SHAFT")
    assert BuildRow.objects.get(ticket=ticket, position_code="SHAFT").purchase == wanted


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["", " ", "x", "y" * 121, "two\x00lines"])
def test_a_name_that_cannot_stand_under_it(quote: Quote, name: str) -> None:
    before = traces(quote.ticket)
    with pytest.raises(Refusal) as refused:
        accept(quote, name=name)
    assert "name" in refused.value.errors
    assert traces(quote.ticket) == before


@pytest.mark.django_db
def test_too_late(quote: Quote) -> None:
    before = traces(quote.ticket)
    with clock.shifted(timedelta(days=31)), pytest.raises(Conflict, match="This quote ended on"):
        accept(quote)
    assert traces(quote.ticket) == before
    assert Audit.objects.filter(deed="answer refused").count() == 1


@pytest.mark.django_db
def test_a_lapsed_quote_is_noted_once(quote: Quote) -> None:
    with clock.shifted(timedelta(days=31)):
        lapse_quotes("lapses:1")
        lapse_quotes("lapses:2")
    quote.refresh_from_db()
    assert quote.state == "superseded"
    assert Audit.objects.filter(deed="lapsed").count() == 1


@pytest.mark.django_db
def test_no_after_yes_and_yes_after_no(quote: Quote, cast: Cast) -> None:
    accept(quote)
    with pytest.raises(Conflict, match="accepted already"):
        decline_quote(quote=quote, name=NAME, by=customer_of(quote))


@pytest.mark.django_db
def test_a_no_ends_the_ticket(quote: Quote) -> None:
    decline_quote(quote=quote, name=NAME, by=customer_of(quote))
    decline_quote(quote=quote, name=NAME, by=customer_of(quote))
    assert Ticket.objects.get(pk=quote.ticket_id).stage == "declined"
    assert not Reservation.objects.exists()
    with pytest.raises(Conflict, match="declined already"):
        accept(quote)


@pytest.mark.django_db
def test_a_job_taken_back_to_the_bench_is_not_accepted(quote: Quote, cast: Cast) -> None:
    ticket = Ticket.objects.get(pk=quote.ticket_id)
    move_ticket(ticket=ticket, to="examined", by=cast.actor("manager"))
    with pytest.raises(Conflict) as refused:
        accept(quote)
    assert refused.value.message == IN_HAND


@pytest.mark.django_db
def test_a_supplementary_quote_promises_anew(cast: Cast) -> None:
    by = cast.actor("manager")
    ticket = examined(cast.actor("technician"))
    shaft_price()
    seals(1)
    accept(sent(ticket, by))
    assert Purchase.objects.get(ticket=ticket).state == "wanted"
    shaft = used_shaft()
    ticket.refresh_from_db()
    second = sent(ticket, by)  # the only seal is promised to this very ticket: it still counts as free for it
    accept(second)
    assert [one.state for one in Purchase.objects.filter(ticket=ticket)] == ["cancelled"]
    live = BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True)
    assert {one.position_code for one in live} == {"CASE", "SHAFT", "SEAL"}
    assert live.get(position_code="SHAFT").piece == shaft
    held = Reservation.objects.filter(ticket=ticket, resolved_at__isnull=True)
    assert held.count() == 2
    assert Reservation.objects.filter(ticket=ticket, end="released").count() == 1
    assert check_ledger() == []


@pytest.mark.django_db
def test_a_no_to_a_supplementary_quote_keeps_what_was_agreed(quote: Quote, cast: Cast) -> None:
    accept(quote)
    ticket = Ticket.objects.get(pk=quote.ticket_id)
    second = sent(ticket, cast.actor("manager"))
    decline_quote(quote=second, name=NAME, by=customer_of(second))
    ticket.refresh_from_db()
    assert ticket.stage == "quoted"
    assert "talk to the customer" in ticket.held_why
    assert Reservation.objects.filter(ticket=ticket, resolved_at__isnull=True).count() == 2
    assert BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True).count() == 3


STEPS = (
    "lock_balances",
    "move_ticket",
    "_give_back",
    "reserve_piece",
    "reserve_part",
    "outbox.put",
    "write_line",
)


@pytest.mark.django_db
@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("after", [False, True])
def test_cut_off_in_the_middle_leaves_nothing(
    quote: Quote, monkeypatch: pytest.MonkeyPatch, step: str, after: bool
) -> None:
    """The power goes before or after each step of the acceptance; then the customer presses again."""
    before = traces(quote.ticket)
    owner: Any = accepting
    *path, name = step.split(".")
    for one in path:
        owner = getattr(owner, one)
    whole: Callable[..., Any] = getattr(owner, name)

    def breaks(*args: Any, **named: Any) -> Any:
        if after:
            whole(*args, **named)
        raise RuntimeError("the power went")

    with monkeypatch.context() as broken:
        broken.setattr(owner, name, breaks)
        with pytest.raises(RuntimeError, match="the power went"):
            accept(quote, key="same")
    assert traces(quote.ticket) == before
    assert check_ledger() == []
    assert accept(quote, key="same").state == "accepted"


@pytest.mark.django_db
def test_parts_are_complete_once_all_are_there(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    price = shaft_price()
    lot = seals(1)
    assert any("no build list" in one for one in hindrances(ticket, "parts complete"))
    accept(sent(ticket, cast.actor("manager")))
    assert any("T" in one and "wanted" in one for one in hindrances(ticket, "parts complete"))
    bought = Purchase.objects.get(ticket=ticket)
    order_purchase(purchase=bought, by=PROGRAM)
    receive_purchase(purchase=bought, bin=lot.bin, key="r1", by=PROGRAM)
    assert price.number == bought.number
    assert hindrances(ticket, "parts complete") == []
    release_reservation(reservation=Reservation.objects.get(ticket=ticket, lot=lot), by=PROGRAM)
    assert hindrances(ticket, "parts complete") == ["X1-SEAL is not promised to this ticket any more."]
    assert len(GATES["parts complete"]) == len(set(GATES["parts complete"]))


@pytest.fixture
def rivals(transactional_db: None, cast: Cast) -> list[Quote]:
    """Two tickets whose quotes promise the same used shaft; seals there are for both."""
    tickets = [examined(cast.actor("technician"), number) for number in (2401, 2402)]
    used_shaft()
    seals(2)
    return [sent(one, cast.actor("manager")) for one in tickets]


def answers_of(quotes: list[Quote]) -> list[Any]:
    return at_once(len(quotes), lambda n: accept(Quote.objects.get(pk=quotes[n].pk), key=f"k{n}"))


def one_of_two(quotes: list[Quote]) -> None:
    answers = answers_of(quotes)
    assert sorted(type(one).__name__ for one in answers) == ["Quote", "Taken"]
    loser = next(quotes[n] for n, one in enumerate(answers) if isinstance(one, Conflict))
    assert {one.message for one in answers if isinstance(one, Conflict)} == {TAKEN}
    loser.refresh_from_db()
    assert loser.state == "sent"
    assert loser.ticket.reservations.count() == 0
    assert not BuildRow.objects.filter(ticket=loser.ticket).exists()
    assert Ticket.objects.get(pk=loser.ticket_id).stage == "quoted"
    assert check_ledger() == []


def test_one_used_piece_is_promised_to_one_of_two(rivals: list[Quote]) -> None:
    one_of_two(rivals)


@pytest.mark.django_db(transaction=True)
def test_a_lot_with_one_left_goes_to_one_of_two(cast: Cast) -> None:
    tickets = [examined(cast.actor("technician"), number) for number in (2401, 2402)]
    used_shaft(), used_shaft()
    seals(1)
    first = sent(tickets[0], cast.actor("manager"))
    second = sent(tickets[1], cast.actor("manager"))
    choices = second.plan.document["choices"]
    assert {one["slot"] for one in choices if one["way"] == "new"} == {"SEAL"}
    one_of_two([first, second])


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("same_key", [True, False])
def test_pressed_fifty_times_is_one_acceptance_and_one_letter(cast: Cast, same_key: bool) -> None:
    ticket = examined(cast.actor("technician"))
    used_shaft()
    seals(3)
    quote = sent(ticket, cast.actor("manager"))
    outbox.run_due()
    mail.outbox.clear()
    answers = at_once(
        50, lambda n: accept(Quote.objects.get(pk=quote.pk), key="one" if same_key else f"key {n}").state
    )
    assert answers == ["accepted"] * 50
    assert Reservation.objects.filter(ticket=ticket).count() == 2
    assert BuildRow.objects.filter(ticket=ticket).count() == 3
    assert Audit.objects.filter(deed="accepted").count() == 1
    outbox.run_due()
    assert len(mail.outbox) == 1
