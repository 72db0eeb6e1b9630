"""Pieces: laid out with their owner, taken in, fitted, scrapped; a reworked piece is another condition."""

import pytest

from inventory import ledger, pieces
from inventory.models import Movement, Piece
from inventory.pieces import NewPiece
from shop.access import PROGRAM, Denied, NotThere
from shop.refusals import Conflict, Refusal
from tests import factories
from tests.conftest import Cast

pytestmark = pytest.mark.django_db


def laid_out(*rows: NewPiece) -> list[Piece]:
    source = factories.SourceFactory.make()
    for row in rows:
        factories.PositionFactory.make(family=source.ticket.family, code=row.position_code)
    return pieces.lay_out_pieces(
        ticket=source.ticket, source=source, family=source.ticket.family, rows=rows, by=PROGRAM
    )


def test_laid_out_pieces_belong_to_the_sources_owner() -> None:
    made = laid_out(NewPiece("CASE"), NewPiece("RING3", missing=True, words="not in the box"))
    first, second = made
    assert [one.tag for one in made] == ["P-0001", "P-0002"]
    assert first.source is not None
    assert first.owner == first.source.owner
    assert first.from_unit == first.source.unit
    assert first.ran_in == f"T{first.source.ticket.number}"
    assert (first.state, first.condition, second.missing) == ("tray", 1, True)
    assert ledger.check_ledger() == []


def test_a_bond_makes_a_set_of_what_is_there() -> None:
    made = laid_out(
        NewPiece("W3M", bond_code="RUN-3", bond_kind="should", bond_name="have run together"),
        NewPiece("CLUS", bond_code="RUN-3", bond_kind="should", bond_name="have run together"),
        NewPiece("W2M", bond_code="RUN-2", bond_kind="should"),
        NewPiece("INSH", bond_code="RUN-2", bond_kind="should", missing=True),
    )
    assert made[0].bound_in == made[1].bound_in
    assert made[0].bound_in is not None
    assert (made[0].bound_in.kind, made[0].bound_in.bond_code) == ("should", "RUN-3")
    assert made[2].bound_in is None  # its mate is missing


def test_an_unknown_position_is_refused_and_nothing_is_laid_out() -> None:
    source = factories.SourceFactory.make()
    with pytest.raises(Refusal, match="no position XYZ"):
        pieces.lay_out_pieces(
            ticket=source.ticket,
            source=source,
            family=source.ticket.family,
            rows=[NewPiece("XYZ")],
            by=PROGRAM,
        )
    assert source.pieces.count() == 0


def test_a_piece_taken_in_twice_with_one_key_is_one() -> None:
    position, place = factories.PositionFactory.make(), factories.BinFactory.make()

    def take() -> Piece:
        return pieces.take_in_piece(
            family=position.family,
            position_code="MNSH",
            bin=place,
            cost_minor=4200,
            words="donor, straight",
            key="k",
            by=PROGRAM,
        )

    piece = take()
    assert take() == piece
    assert (piece.state, piece.bin, piece.owner, piece.cost_minor) == ("bin", place, None, 4200)
    line = Movement.objects.get()
    assert (line.kind, line.quantity, line.cost_minor) == ("received", 1, 4200)
    assert ledger.check_ledger() == []


def test_conditions_go_up_by_one() -> None:
    (piece,) = laid_out(NewPiece("CASE"))
    assert pieces.end_condition(piece=piece, why="sleeved", by=PROGRAM).condition == 2


def test_only_a_piece_in_a_tray_is_fitted() -> None:
    (piece,) = laid_out(NewPiece("CASE"))
    unit = factories.UnitFactory.make()
    fitted = pieces.fit_piece(piece=piece, unit=unit, by=PROGRAM)
    assert (fitted.state, fitted.in_unit) == ("fitted", unit)
    assert pieces.fit_piece(piece=piece, unit=unit, by=PROGRAM).state == "fitted"
    shelf = factories.stock_piece()
    with pytest.raises(Conflict, match="is in a bin"):
        pieces.fit_piece(piece=shelf, unit=unit, by=PROGRAM)


def test_scrapping_takes_a_piece_out_of_stock_but_not_a_promised_one() -> None:
    piece = factories.stock_piece(cost_minor=500)
    ticket = factories.TicketFactory.make()
    promise = ledger.reserve_piece(ticket=ticket, piece=piece, position_code="MNSH", by=PROGRAM)
    with pytest.raises(Conflict, match=f"promised to ticket {ticket.number}"):
        pieces.scrap_piece(piece=piece, why="cracked", by=PROGRAM)
    ledger.release_reservation(reservation=promise, by=PROGRAM)
    pieces.scrap_piece(piece=piece, why="cracked", by=PROGRAM)
    assert pieces.scrap_piece(piece=piece, why="cracked", by=PROGRAM).state == "scrapped"
    line = Movement.objects.get(kind="scrapped")
    assert (line.quantity, line.cost_minor, line.why) == (-1, -500, "cracked")
    assert ledger.check_ledger() == []


def test_a_tray_piece_is_put_away_and_moved() -> None:
    (piece,) = laid_out(NewPiece("CASE"))
    one, two = factories.BinFactory.make_some(2)
    ledger.bin_piece(piece=piece, bin=one, key="a", by=PROGRAM)
    ledger.bin_piece(piece=piece, bin=two, key="b", by=PROGRAM)
    piece.refresh_from_db()
    assert (piece.state, piece.bin) == ("bin", two)
    assert list(Movement.objects.order_by("id").values_list("kind", "quantity")) == [
        ("returned", 1),
        ("moved", 0),
    ]
    assert ledger.check_ledger() == []


def test_a_must_set_is_not_parted() -> None:
    made = laid_out(
        NewPiece("CASE", bond_code="B", bond_kind="must"), NewPiece("RHSG", bond_code="B", bond_kind="must")
    )
    assert made[0].bound_in is not None
    with pytest.raises(Conflict, match="stay together"):
        pieces.part_set(whole=made[0].bound_in, why="no", by=PROGRAM)
    loose = laid_out(
        NewPiece("W3M", bond_code="R", bond_kind="should"),
        NewPiece("CLUS", bond_code="R", bond_kind="should"),
    )
    assert loose[0].bound_in is not None
    pieces.part_set(whole=loose[0].bound_in, why="another third wheel", by=PROGRAM)
    loose[1].refresh_from_db()
    assert loose[1].condition == 2


def test_who_may(cast: Cast) -> None:
    (piece,) = laid_out(NewPiece("CASE"))
    place = factories.BinFactory.make()
    with pytest.raises(Denied):
        ledger.bin_piece(piece=piece, bin=place, key="k", by=cast.actor("technician"))
    with pytest.raises(NotThere):
        pieces.scrap_piece(piece=piece, why="x", by=cast.actor("supplier"))
    pieces.scrap_piece(piece=piece, why="lug off", by=cast.actor("technician"))
    shelf = factories.stock_piece()
    with pytest.raises(Denied):
        pieces.scrap_piece(piece=shelf, why="lug off", by=cast.actor("technician"))
