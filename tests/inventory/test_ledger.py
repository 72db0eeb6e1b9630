"""The ledger's rules: what may be promised, issued, adjusted and corrected, and that it always adds up."""

import pytest
from django.db import IntegrityError, transaction

from inventory import ledger
from inventory.models import Balance, Movement, Piece, PieceSet
from shop.access import PROGRAM, Actor, Denied, NotThere
from shop.models import Audit
from shop.refusals import Conflict, Refusal
from tests import factories
from tests.conftest import Cast

pytestmark = pytest.mark.django_db


def test_a_promise_is_issued_and_its_cost_is_the_tickets() -> None:
    """7 of 10 washers at 1.2345 each: 10 are worth 12.345 = 12.35, 3 left 3.7035 = 3.70, so 8.65 went out."""
    lot = factories.stock_lot(10, cost_micro=1_234_500)
    ticket = factories.TicketFactory.make()
    promise = ledger.reserve_lot(ticket=ticket, lot=lot, quantity=7, position_code="THWF", by=PROGRAM)
    assert ledger.free_of_part(lot.part) == 3
    line = ledger.issue_reservation(reservation=promise, key="issue", by=PROGRAM)
    assert (line.quantity, line.cost_minor) == (-7, -865)
    assert ledger.cost_of_ticket(ticket) == 865
    balance = Balance.objects.get(lot=lot)
    assert (balance.on_hand, balance.reserved) == (3, 0)
    promise.refresh_from_db()
    assert promise.end == "issued"
    assert Audit.objects.filter(deed="issued", ticket_number=ticket.number).count() == 1
    assert ledger.check_ledger() == []


def test_three_thirds_of_a_cent_add_up() -> None:
    lot = factories.stock_lot(3, cost_micro=333_333)
    ticket = factories.TicketFactory.make()
    for n in range(3):
        promise = ledger.reserve_lot(ticket=ticket, lot=lot, quantity=1, position_code="GASK", by=PROGRAM)
        ledger.issue_reservation(reservation=promise, key=f"issue {n}", by=PROGRAM)
    assert ledger.cost_of_ticket(ticket) == 100
    assert ledger.check_ledger() == []


def test_issuing_twice_with_one_key_is_once_and_with_another_a_conflict() -> None:
    lot = factories.stock_lot(5)
    ticket = factories.TicketFactory.make()
    promise = ledger.reserve_lot(ticket=ticket, lot=lot, quantity=2, position_code="INBRG", by=PROGRAM)
    first = ledger.issue_reservation(reservation=promise, key="k", by=PROGRAM)
    assert ledger.issue_reservation(reservation=promise, key="k", by=PROGRAM) == first
    with pytest.raises(Conflict, match="This promise is issued already"):
        ledger.issue_reservation(reservation=promise, key="other", by=PROGRAM)
    assert Balance.objects.get(lot=lot).on_hand == 3


def test_a_key_of_another_deed_is_refused() -> None:
    lot = factories.stock_lot(5)
    ledger.adjust_lot(lot=lot, quantity=1, why="found one", key="k", by=PROGRAM)
    with pytest.raises(Refusal, match="another movement"):
        ledger.adjust_lot(lot=lot, quantity=2, why="found two", key="k", by=PROGRAM)
    assert Balance.objects.get(lot=lot).on_hand == 6


def test_the_oldest_lot_goes_first_and_all_or_nothing() -> None:
    part = factories.PartFactory.make()
    old, young = factories.stock_lot(2, part=part), factories.stock_lot(5, part=part)
    ticket = factories.TicketFactory.make()
    made = ledger.reserve_part(ticket=ticket, part=part, quantity=3, position_code="INBRG", by=PROGRAM)
    assert [(one.lot, one.quantity) for one in made] == [(old, 2), (young, 1)]
    with pytest.raises(Conflict, match=r"5 of \S+ are wanted, 4 are free"):
        ledger.reserve_part(ticket=ticket, part=part, quantity=5, position_code="INBRG", by=PROGRAM)
    assert ledger.free_of_part(part) == 4
    ledger.release_reservation(reservation=made[0], by=PROGRAM)
    assert ledger.free_of_part(part) == 6
    assert ledger.check_ledger() == []


def test_what_is_promised_cannot_be_counted_away() -> None:
    lot = factories.stock_lot(5)
    ledger.reserve_lot(
        ticket=factories.TicketFactory.make(), lot=lot, quantity=4, position_code="X", by=PROGRAM
    )
    with pytest.raises(Conflict, match="5 are there and 4 are promised"):
        ledger.adjust_lot(lot=lot, quantity=-2, why="lost", key="k", by=PROGRAM)
    with pytest.raises(IntegrityError), transaction.atomic():  # the database itself refuses it too
        Balance.objects.filter(lot=lot).update(on_hand=3)


def test_a_piece_promised_names_the_ticket_that_holds_it() -> None:
    piece = factories.stock_piece()
    first, second = factories.TicketFactory.make_some(2)
    promise = ledger.reserve_piece(ticket=first, piece=piece, position_code="MNSH", by=PROGRAM)
    assert ledger.reserve_piece(ticket=first, piece=piece, position_code="MNSH", by=PROGRAM) == promise
    with pytest.raises(Conflict) as told:
        ledger.reserve_piece(ticket=second, piece=piece, position_code="MNSH", by=PROGRAM)
    assert told.value.message == f"Piece {piece.tag} is promised to ticket {first.number}. Choose another."
    assert list(Piece.objects.free()) == []
    ledger.release_reservation(reservation=promise, by=PROGRAM)
    assert list(Piece.objects.free()) == [piece]
    assert ledger.reserve_piece(ticket=second, piece=piece, position_code="MNSH", by=PROGRAM).pk


def test_an_issued_piece_lies_in_a_tray_and_its_cost_is_the_tickets() -> None:
    piece = factories.stock_piece(cost_minor=8400)
    ticket = factories.TicketFactory.make()
    promise = ledger.reserve_piece(ticket=ticket, piece=piece, position_code="MNSH", by=PROGRAM)
    ledger.issue_reservation(reservation=promise, key="k", by=PROGRAM)
    piece.refresh_from_db()
    assert piece.state == "tray"
    assert ledger.cost_of_ticket(ticket) == 8400
    assert ledger.check_ledger() == []


def test_a_customers_piece_needs_consent() -> None:
    owner = factories.CustomerFactory.make()
    piece = factories.stock_piece()
    Piece.objects.filter(pk=piece.pk).update(owner=owner)
    piece.refresh_from_db()
    with pytest.raises(Conflict, match="has not agreed"):
        ledger.reserve_piece(
            ticket=factories.TicketFactory.make(), piece=piece, position_code="MNSH", by=PROGRAM
        )
    own = factories.TicketFactory.make(customer=owner)
    assert ledger.reserve_piece(ticket=own, piece=piece, position_code="MNSH", by=PROGRAM).ticket == own


def test_a_set_that_stays_together_is_promised_whole() -> None:
    whole = PieceSet.objects.create(kind="must", name="Casing halves, bored together")
    one, two = factories.stock_piece("CASE"), factories.stock_piece("RHSG")
    Piece.objects.update(bound_in=whole)
    first, second = factories.TicketFactory.make_some(2)
    one.refresh_from_db()
    ledger.reserve_piece(ticket=first, piece=one, position_code="CASE", by=PROGRAM)
    assert two.reservations.get().ticket == first
    assert two.reservations.get().position_code == "RHSG"
    two.refresh_from_db()
    with pytest.raises(Conflict, match="is promised to ticket"):
        ledger.reserve_piece(ticket=second, piece=two, position_code="RHSG", by=PROGRAM)


@pytest.mark.parametrize("stage", ["handed over", "declined", "abandoned"])
def test_a_closed_ticket_gets_nothing(stage: str) -> None:
    lot = factories.stock_lot(5)
    ticket = factories.TicketFactory.make(stage=stage)
    with pytest.raises(Conflict, match="Nothing more can be promised"):
        ledger.reserve_lot(ticket=ticket, lot=lot, quantity=1, position_code="X", by=PROGRAM)


def test_a_correction_is_a_counter_movement_that_points_back() -> None:
    lot = factories.stock_lot(10)
    ticket = factories.TicketFactory.make()
    promise = ledger.reserve_lot(ticket=ticket, lot=lot, quantity=2, position_code="X", by=PROGRAM)
    wrong = ledger.issue_reservation(reservation=promise, key="k", by=PROGRAM)
    right = ledger.correct_movement(movement=wrong, why="wrong ticket", key="c", by=PROGRAM)
    assert (right.corrects, right.quantity, right.ticket) == (wrong, 2, ticket)
    assert ledger.cost_of_ticket(ticket) == 0
    with pytest.raises(Conflict, match="corrected already"):
        ledger.correct_movement(movement=wrong, why="again", key="c2", by=PROGRAM)
    with pytest.raises(Conflict, match="is a correction itself"):
        ledger.correct_movement(movement=right, why="again", key="c3", by=PROGRAM)
    assert ledger.check_ledger() == []


def test_a_piece_issued_by_mistake_goes_back_to_its_bin() -> None:
    piece = factories.stock_piece()
    promise = ledger.reserve_piece(
        ticket=factories.TicketFactory.make(), piece=piece, position_code="MNSH", by=PROGRAM
    )
    wrong = ledger.issue_reservation(reservation=promise, key="k", by=PROGRAM)
    ledger.correct_movement(movement=wrong, why="wrong piece", key="c", by=PROGRAM)
    home = piece.bin
    piece.refresh_from_db()
    assert (piece.state, piece.bin) == ("bin", home)
    assert ledger.check_ledger() == []


def test_movements_cannot_be_changed_or_removed() -> None:
    factories.stock_lot(5)
    line = Movement.objects.get()
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Movement.objects.filter(pk=line.pk).update(quantity=9)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        line.delete()


def test_the_check_finds_what_does_not_add_up() -> None:
    lot, piece = factories.stock_lot(5), factories.stock_piece()
    ticket = factories.TicketFactory.make()
    ledger.reserve_lot(ticket=ticket, lot=lot, quantity=2, position_code="X", by=PROGRAM)
    assert ledger.check_ledger() == []
    Balance.objects.filter(lot=lot).update(on_hand=6, reserved=1)
    Piece.objects.filter(pk=piece.pk).update(state="tray")
    number = lot.part.number
    assert ledger.check_ledger() == [
        f"Lot {lot.pk} of {number}: 6 on hand, its movements add up to 5.",
        f"Lot {lot.pk} of {number}: 1 promised, its reservations add up to 2.",
        f"Piece {piece.tag} is tray, its movements add up to 1.",
    ]


@pytest.mark.parametrize("quantity", [0, -1, 10**10])
def test_quantities_are_bounded(quantity: int) -> None:
    lot = factories.stock_lot(5)
    with pytest.raises(Refusal, match="whole number") as told:
        ledger.reserve_lot(
            ticket=factories.TicketFactory.make(), lot=lot, quantity=quantity, position_code="X", by=PROGRAM
        )
    assert "quantity" in told.value.errors


def test_who_may(cast: Cast) -> None:
    lot = factories.stock_lot(9)
    ticket = factories.TicketFactory.make()
    for name in ("stores", "manager", "owner", "front_desk"):
        ledger.reserve_lot(ticket=ticket, lot=lot, quantity=1, position_code="X", by=cast.actor(name))
    link = Actor("link", f"link:{ticket.number}")
    promise = ledger.reserve_lot(ticket=ticket, lot=lot, quantity=1, position_code="X", by=link)
    with pytest.raises(Denied):
        ledger.reserve_lot(ticket=ticket, lot=lot, quantity=1, position_code="X", by=cast.actor("technician"))
    with pytest.raises(NotThere):
        ledger.reserve_lot(ticket=ticket, lot=lot, quantity=1, position_code="X", by=cast.actor("supplier"))
    with pytest.raises(NotThere):
        ledger.issue_reservation(reservation=promise, key="k", by=link)
    with pytest.raises(Denied):
        ledger.adjust_lot(lot=lot, quantity=1, why="x", key="k", by=cast.actor("front_desk"))
    ledger.issue_reservation(reservation=promise, key="k", by=cast.actor("technician"))
