"""The ledger under many callers at once, with real threads on the database in use.

Figures to hold: 10 in stock and 50 callers: 10 granted; one piece and 8 callers: one; one key: one movement.
"""

from uuid import uuid4

import pytest

from inventory import ledger
from inventory.models import Balance, Movement, Piece, Reservation
from inventory.pieces import take_in_piece
from shop.access import PROGRAM
from shop.refusals import Conflict
from tests import factories
from tests.inventory.threads import at_once

pytestmark = pytest.mark.django_db(transaction=True)


def conflicts(answers: list[object]) -> int:
    return sum(isinstance(one, Conflict) for one in answers)


def test_ten_in_stock_and_fifty_callers_of_one_lot() -> None:
    lot = factories.stock_lot(10)
    tickets = factories.TicketFactory.make_some(5)
    answers = at_once(
        50,
        lambda n: ledger.reserve_lot(
            ticket=tickets[n % 5], lot=lot, quantity=1, position_code="INBRG", by=PROGRAM
        ),
    )
    assert sum(isinstance(one, Reservation) for one in answers) == 10
    assert conflicts(answers) == 40
    balance = Balance.objects.get(lot=lot)
    assert (balance.on_hand, balance.reserved) == (10, 10)
    assert ledger.check_ledger() == []


def test_a_part_over_several_lots_is_never_promised_beyond_what_is_there() -> None:
    part = factories.PartFactory.make()
    for quantity in (3, 3, 4):
        factories.stock_lot(quantity, part=part)
    tickets = factories.TicketFactory.make_some(4)
    answers = at_once(
        12,
        lambda n: ledger.reserve_part(
            ticket=tickets[n % 4], part=part, quantity=2, position_code="INBRG", by=PROGRAM
        ),
    )
    assert sum(isinstance(one, list) for one in answers) == 5
    assert conflicts(answers) == 7
    assert ledger.free_of_part(part) == 0
    assert ledger.check_ledger() == []


def test_one_piece_and_eight_callers() -> None:
    piece = factories.stock_piece()
    tickets = factories.TicketFactory.make_some(8)
    answers = at_once(
        8, lambda n: ledger.reserve_piece(ticket=tickets[n], piece=piece, position_code="MNSH", by=PROGRAM)
    )
    granted = [one for one in answers if isinstance(one, Reservation)]
    assert len(granted) == 1
    assert conflicts(answers) == 7
    told = {str(one) for one in answers if isinstance(one, Conflict)}
    assert told == {f"Piece {piece.tag} is promised to ticket {granted[0].ticket.number}. Choose another."}


def test_the_same_key_many_times_is_one_movement() -> None:
    part, place = factories.PartFactory.make(), factories.BinFactory.make()
    key = str(uuid4())
    lots = at_once(
        12,
        lambda n: ledger.receive_lot(part=part, bin=place, quantity=7, cost_micro=100, key=key, by=PROGRAM),
    )
    assert len({lot.pk for lot in lots}) == 1
    assert Movement.objects.filter(key=key).count() == 1
    lot = lots[0]
    key = str(uuid4())
    lines = at_once(
        12, lambda n: ledger.adjust_lot(lot=lot, quantity=-2, why="two bent", key=key, by=PROGRAM)
    )
    assert len({line.pk for line in lines}) == 1
    assert Balance.objects.get(lot=lot).on_hand == 5
    assert ledger.check_ledger() == []


def test_the_same_key_many_times_is_one_piece() -> None:
    position, place = factories.PositionFactory.make(), factories.BinFactory.make()
    made = at_once(
        8,
        lambda n: take_in_piece(
            family=position.family, position_code=position.code, bin=place, key="one deed", by=PROGRAM
        ),
    )
    assert len({piece.pk for piece in made}) == 1
    assert Piece.objects.count() == 1
    assert ledger.check_ledger() == []


def test_a_reservation_issued_and_released_at_once_is_resolved_once() -> None:
    lot = factories.stock_lot(10)
    ticket = factories.TicketFactory.make()
    promise = ledger.reserve_lot(ticket=ticket, lot=lot, quantity=4, position_code="INBRG", by=PROGRAM)

    def deed(number: int) -> object:
        if number % 2:
            return ledger.release_reservation(reservation=Reservation.objects.get(pk=promise.pk), by=PROGRAM)
        return ledger.issue_reservation(reservation=promise, key=f"issue {number}", by=PROGRAM)

    answers = at_once(8, deed)
    assert conflicts(answers) == 7
    promise.refresh_from_db()
    balance = Balance.objects.get(lot=lot)
    assert (balance.on_hand, balance.reserved) == ((6, 0) if promise.end == "issued" else (10, 0))
    assert ledger.check_ledger() == []


def test_one_movement_is_corrected_once() -> None:
    lot = factories.stock_lot(10)
    wrong = ledger.adjust_lot(lot=lot, quantity=-3, why="miscounted", key="count", by=PROGRAM)
    answers = at_once(
        6, lambda n: ledger.correct_movement(movement=wrong, why="they lay behind", key=f"c{n}", by=PROGRAM)
    )
    assert conflicts(answers) == 5
    assert Balance.objects.get(lot=lot).on_hand == 10
    assert ledger.check_ledger() == []
