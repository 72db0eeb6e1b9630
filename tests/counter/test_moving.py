"""Moving a ticket by hand: a stage that has a deed is reached through its deed alone."""

from typing import Any

import pytest
from django.urls import reverse

from shop import stages
from shop.access import PROGRAM, Denied, NotThere
from shop.models import CLOSED, STAGES, StageChange, Ticket
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast, SignedIn
from tests.counter.making import TO_TESTED, bring_to, make_box, make_customer, make_ticket

pytestmark = pytest.mark.django_db


@pytest.fixture
def no_gates(monkeypatch: pytest.MonkeyPatch) -> None:
    """What upper rooms ask is tested there; here nothing else may stand in the way."""
    for stage in stages.GATES:
        monkeypatch.setitem(stages.GATES, stage, [])


def ticket_at(stage: str, shelf: bool = False) -> Ticket:
    made = make_ticket(make_box(), None if shelf else make_customer())
    return bring_to(made, *(*TO_TESTED, "handed over")[: STAGES.index(stage)])


def stage_of(ticket: Ticket) -> str:
    return Ticket.objects.get(pk=ticket.pk).stage


def see(client: Any, ticket: Ticket) -> str:
    return str(client.get(reverse("ticket", args=[ticket.number])).content.decode())


def send(client: Any, ticket: Ticket, to: str, why: str = "") -> Any:
    sent = {"seen": ticket.stage, "to": to, "why": why}
    return client.post(reverse("move_ticket", args=[ticket.number]), sent)


def test_what_is_reached_by_hand_from_each_stage(no_gates: None) -> None:
    """Whole, for a customer's unit: everything else that may follow has its deed."""
    by_hand = {}
    for stage in STAGES:
        ticket = Ticket(stage=stage, customer_id=1)
        by_hand[stage] = (*stages.forward_by_hand(ticket), *stages.BACK.get(stage, ()))
    assert by_hand == {
        "received": (),
        "stripped": (),
        "examined": ("stripped",),
        "quoted": ("examined",),
        "agreed": ("parts complete",),
        "parts complete": ("reworked",),
        "reworked": (),
        "built": ("reworked",),
        "tested": ("built",),
        "handed over": (),
    }
    for stage, back in stages.BACK.items():
        assert {*back} <= {*stages.NEXT[stage]}


@pytest.mark.parametrize(
    ("stage", "to", "page"),
    [
        ("received", "stripped", "bench_ticket"),
        ("stripped", "examined", "bench_ticket"),
        ("examined", "quoted", "plan"),
        ("quoted", "agreed", "plan"),
        ("quoted", "declined", "plan"),
        ("agreed", "quoted", "plan"),
        ("reworked", "built", "sheet"),
        ("built", "tested", "sheet"),
        ("tested", "handed over", "hand_over"),
    ],
)
def test_no_deed_is_skipped_by_hand(
    cast: Cast, signed_in: SignedIn, no_gates: None, stage: str, to: str, page: str
) -> None:
    ticket = ticket_at(stage)
    with pytest.raises(Conflict, match=f"becomes {to} on its page {stages.BY_DEED[to].room}"):
        stages.move_by_hand(ticket=ticket, to=to, by=PROGRAM)
    owner = signed_in(cast.owner)
    assert send(owner, ticket, to).status_code == 422
    assert stage_of(ticket) == stage
    text = see(owner, ticket)
    assert f'value="{to}"' not in text
    if to == STAGES[STAGES.index(stage) + 1]:
        asked = text[text.index(f"It becomes {to} on its page") :]
        assert f'href="{reverse(page, args=[ticket.number])}"' in asked[:300]


def test_the_next_deed_is_no_link_for_who_may_not_open_it(cast: Cast, signed_in: SignedIn) -> None:
    text = see(signed_in(cast.technician), ticket_at("examined"))
    assert "It becomes quoted on its page Plan and quote: the quote is sent." in text


@pytest.mark.parametrize(
    ("stage", "to", "allowed"),
    [
        ("agreed", "parts complete", {"front_desk", "stores", "manager", "owner"}),
        ("parts complete", "reworked", {"front_desk", "technician", "lead", "manager", "owner"}),
        ("built", "reworked", {"front_desk", "technician", "lead", "manager", "owner"}),
        ("examined", "stripped", {"front_desk", "manager", "owner"}),
    ],
)
@pytest.mark.parametrize("name", ["front_desk", "technician", "lead", "stores", "manager", "owner"])
def test_each_moves_what_is_theirs(
    cast: Cast, signed_in: SignedIn, no_gates: None, stage: str, to: str, allowed: set[str], name: str
) -> None:
    ticket = ticket_at(stage)
    client = signed_in(getattr(cast, name))
    shown = f'type="radio" name="to" value="{to}"' in see(client, ticket)
    assert shown == (name in allowed)
    assert send(client, ticket, to).status_code == (302 if name in allowed else 403)
    assert stage_of(ticket) == (to if name in allowed else stage)


def test_rework_waits_for_its_gate(
    cast: Cast, signed_in: SignedIn, no_gates: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(stages.GATES, "reworked", [lambda _ticket: ["The fork is not bent back yet."]])
    ticket = ticket_at("parts complete")
    client = signed_in(cast.technician)
    text = see(client, ticket)
    assert "The fork is not bent back yet." in text
    assert 'value="reworked"' not in text
    assert send(client, ticket, "reworked").status_code == 422
    assert stage_of(ticket) == "parts complete"


def test_strangers_move_nothing(cast: Cast, no_gates: None) -> None:
    ticket = ticket_at("agreed")
    with pytest.raises(NotThere):
        stages.move_by_hand(ticket=ticket, to="parts complete", by=cast.actor("supplier"))
    with pytest.raises(Denied):
        stages.move_by_hand(ticket=ticket, to="parts complete", by=cast.actor("technician"))


def test_a_shelf_unit_is_handed_over_by_hand(cast: Cast, signed_in: SignedIn) -> None:
    ticket = ticket_at("tested", shelf=True)
    client = signed_in(cast.front_desk)
    assert "It becomes handed over on its page" not in see(client, ticket)
    assert send(client, ticket, "handed over").status_code == 302
    assert stage_of(ticket) in CLOSED


def test_a_ticket_ends_with_a_reason(cast: Cast, signed_in: SignedIn) -> None:
    ticket = ticket_at("received")
    client = signed_in(cast.front_desk)
    silent = send(client, ticket, "abandoned", " ")
    assert (silent.status_code, "Say why it ends" in silent.content.decode()) == (422, True)
    with pytest.raises(Refusal, match="Say why it ends"):
        stages.move_by_hand(ticket=ticket, to="abandoned", by=PROGRAM)
    assert send(client, ticket, "abandoned", "never came").status_code == 302
    assert StageChange.objects.get(after="abandoned").why == "never came"


def test_what_was_agreed_before_stands_after_a_no_to_more_work(no_gates: None) -> None:
    """A declined supplementary quote leaves the ticket quoted; it goes on with what was agreed."""
    ticket = bring_to(ticket_at("agreed"), "quoted")
    assert stages.backward(ticket) == ("examined", "agreed")
    assert stages.move_by_hand(ticket=ticket, to="agreed", by=PROGRAM).stage == "agreed"
