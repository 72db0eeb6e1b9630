"""What may fill a position, from what was found and what is in stock, without and with the database."""

from typing import Any

import pytest

from estimates.options import basis_for, own_pieces, stock_pieces
from estimates.ways import OwnPiece, PartOffer, StockPiece, Ways, find_ways
from inventory.ledger import reserve_piece
from inventory.models import Measure, Piece, Price, Supplier
from inventory.pieces import scrap_piece
from shop.access import PROGRAM
from shop.models import ExchangeRate, User
from shop.refusals import Conflict
from tests.conftest import Cast
from tests.estimates.making import examined, guide, part, seals, shaft_price, used_shaft
from tests.inspections.shop import open_ticket
from tests.inspections.small import Bench

OWN = (OwnPiece("P1", "CASE", ran_in="T1"), OwnPiece("P2", "SHAFT", ran_in="T1"))
SEAL = PartOffer("SEAL", "X1-SEAL", "Seal", "standard", 1, 1_000)


def good(lugs: str = "sound", diameter_mm: float = 25.985) -> Bench:
    """Everything read, everything good but what is said otherwise."""
    bench = Bench()
    bench.say("ID", "X1-101")
    bench.say("TEETH", "18")
    bench.say("LOOK", lugs)
    bench.say("THREAD", "sound")
    bench.read("BORE", 26.010)
    bench.read("WIDTH", 100.05, place="left")
    bench.read("WIDTH", 100.06, place="right")
    bench.read("DIAMETER", diameter_mm)
    return bench


def ways(bench: Bench, **more: Any) -> Ways:
    given: dict[str, Any] = {"own": OWN, "stock": (), "offers": (SEAL,), "free": {"part:X1-SEAL": 1}} | more
    return find_ways(judgement=bench.judge(), labour_minor_per_hour=3_200, **given)


def codes(found: Ways, slot: str) -> list[str]:
    return [one.code for one in found.problem.options if one.slot == slot]


def test_good_pieces_go_back_at_no_cost_and_what_is_always_replaced_does_not() -> None:
    found = ways(good(), own=(*OWN, OwnPiece("P3", "SEAL")))
    assert codes(found, "CASE") == ["CASE:own:P1"]
    assert codes(found, "SHAFT") == ["SHAFT:own:P2"]
    assert codes(found, "SEAL") == ["SEAL:lot:shelf:X1-SEAL"]
    own = next(one for one in found.problem.options if one.code == "CASE:own:P1")
    assert (own.cost_minor, own.minutes, own.risk) == (0, 0, 0)


def test_a_defect_is_made_good_by_its_remedy_at_the_cost_of_its_time() -> None:
    found = ways(good("CRACK"))
    assert codes(found, "CASE") == ["CASE:own:P1:BRAZE"]
    option = next(one for one in found.problem.options if one.slot == "CASE")
    assert (option.kind, option.minutes, option.cost_minor) == ("reworked", 100, 5_333)  # 53.33
    assert found.means[option.code]["remedies"] == ["BRAZE"]


def test_a_worn_piece_that_nothing_makes_good_is_no_option() -> None:
    assert codes(ways(good(diameter_mm=25.900)), "SHAFT") == []


def test_an_open_piece_is_measured_first() -> None:
    bench = Bench()
    bench.say("ID", "X1-101")
    found = ways(bench)
    assert codes(found, "CASE") == ["CASE:measure:P1"]
    assert all(one.kind == "measure first" for one in found.problem.options if one.slot != "SEAL")


def test_a_used_piece_brings_its_measures_or_is_called_unmeasured() -> None:
    measured = StockPiece("P8", "SHAFT", "U1", 4_000, measures={"SHAFT.D": (25.985, 0.003)})
    bare = StockPiece("P9", "SHAFT", "U1", 3_000)
    found = ways(good(), stock=(measured, bare))
    by_code = {one.code: one for one in found.problem.options}
    assert by_code["SHAFT:used:P8"].features["SHAFT.D"].lower_mm == pytest.approx(25.982)
    assert by_code["SHAFT:used:P8"].risk == 0
    assert by_code["SHAFT:used:P9"].unknown == ("SHAFT.D",)
    assert by_code["SHAFT:used:P9"].risk > 0


def test_a_must_set_is_taken_whole() -> None:
    own = (OwnPiece("P1", "CASE", bound=("P2",)), OwnPiece("P2", "SHAFT", bound=("P1",)))
    found = ways(good(), own=own, stock=(StockPiece("P8", "SHAFT", "U1", 1),))
    case = next(one for one in found.problem.options if one.code == "CASE:own:P1")
    assert case.rules_out == ("SHAFT:used:P8",)


def test_missing_pieces_and_other_variants_are_no_options() -> None:
    own = (OwnPiece("P1", "CASE", missing=True), OwnPiece("P2", "SHAFT"), OwnPiece("P4", "LID"))
    found = ways(good(), own=own)
    assert codes(found, "CASE") == []
    assert codes(found, "LID") == []
    assert "LID" not in found.problem.slots


@pytest.mark.django_db
def test_only_the_shops_free_pieces_that_are_not_outside(cast: Cast) -> None:
    guide()
    mine, other = open_ticket(2401), open_ticket(2402)
    free, promised, worn, scrapped = (used_shaft() for _ in range(4))
    assert len(stock_pieces(mine)) == 4
    Measure.objects.filter(piece=worn).update(state="outside")
    scrap_piece(piece=scrapped, why="bent", by=PROGRAM)
    reserve_piece(ticket=mine, piece=promised, position_code="SHAFT", by=PROGRAM)
    assert {one.tag for one in stock_pieces(mine)} == {free.tag, promised.tag}
    assert {one.tag for one in stock_pieces(other)} == {free.tag}
    Piece.objects.filter(pk=free.pk).update(owner=mine.customer)
    assert stock_pieces(other) == []


@pytest.mark.django_db
def test_a_unit_that_was_never_opened(cast: Cast) -> None:
    guide()
    with pytest.raises(Conflict, match="not examined yet"):
        basis_for(ticket=open_ticket(2401))


@pytest.mark.django_db
def test_prices_without_a_rate_are_left_out_and_said(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    shaft_price()
    seals(1)
    part("X1-SHAFT", "SHAFT", "Shaft")
    since = Price.objects.get().since
    Price.objects.create(
        supplier=Supplier.objects.get(code="PELL"),
        number="9",
        part_number="X1-SHAFT",
        unit_price_micro=50_000_000,
        currency="GBP",
        since=since,
    )
    basis = basis_for(ticket=ticket)
    assert any("no exchange rate for GBP" in note for note in basis.notes)
    assert not any("PELL" in one.code for one in basis.ways.problem.options)
    ExchangeRate.objects.create(currency="GBP", on="2020-01-01", rate_micro=1_150_000)
    basis = basis_for(ticket=ticket)
    assert basis.notes == ()
    bought = next(one for one in basis.ways.means.items() if "PELL" in one[0])
    assert bought[1]["part_minor"] == 5_750  # 50.00 GBP at 1.15
    User.objects.filter(supplier__code="PELL").update(is_active=False)
    assert not any("PELL" in one.code for one in basis_for(ticket=ticket).ways.problem.options)


@pytest.mark.django_db
def test_own_pieces_are_those_still_at_hand(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    before = {one.position for one in own_pieces(ticket)}
    assert before == {"CASE", "SHAFT", "SEAL"}
    scrap_piece(
        piece=Piece.objects.get(source__ticket=ticket, position__code="SHAFT"), why="worn", by=PROGRAM
    )
    assert {one.position for one in own_pieces(ticket)} == {"CASE", "SEAL"}
