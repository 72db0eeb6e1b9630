"""Donors in the ledger: bought, their cost shared to the last minor unit, their pieces received into bins."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory import ledger
from inventory.donors import buy_donor, donor_for, pieces_of_donor, put_away, share_cost, shared
from inventory.models import Donor, Movement, Piece
from inventory.pieces import NewPiece, lay_out_donor, scrap_piece
from shop.access import PROGRAM, Denied, NotThere, actor_for
from shop.models import Audit
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast
from tests.factories import BinFactory, FamilyFactory, PositionFactory, VariantFactory
from tests.inventory.threads import at_once


@pytest.fixture
def donor(cast: Cast) -> Donor:
    """A donor of three pieces, one of them missing."""
    family = FamilyFactory.make()
    for code in ("CASE", "MNSH", "CLUS"):
        PositionFactory.make(family=family, code=code)
    made = buy_donor(
        family=family,
        variant=VariantFactory.make(family=family),
        cost_minor=10000,
        bought_of="A breaker in Tarn (invented), receipt 12",
        by=cast.actor("stores"),
    )
    rows = [NewPiece("CASE"), NewPiece("MNSH"), NewPiece("CLUS", missing=True)]
    lay_out_donor(donor=made, rows=rows, by=cast.actor("technician"))
    return made


def tags(donor: Donor) -> tuple[str, str, str]:
    found = {one.position.code: one.tag for one in pieces_of_donor(donor)}
    return found["CASE"], found["MNSH"], found["CLUS"]


def away(donor: Donor, cast: Cast, *which: str, key: str = "form 1", **more: Any) -> list[Movement]:
    bins = more.get("bins") or {tag: BinFactory.make() for tag in which}
    return put_away(donor=donor, bins=bins, key=key, by=cast.actor("stores"))


pytestmark = pytest.mark.django_db


def test_it_is_the_shops_and_its_pieces_lie_in_trays(donor: Donor) -> None:
    assert donor.number == 1
    assert donor.unit.kind == "donor"
    case, _, clus = pieces_of_donor(donor)
    assert (case.owner_id, case.state, case.ran_in, case.cost_minor) == (None, "tray", "D1", 0)
    assert clus.missing
    assert ledger.check_ledger() == []
    assert [one.deed for one in Audit.objects.order_by("id")] == ["bought", "laid out"]


def test_each_piece_takes_its_share_to_its_bin(donor: Donor, cast: Cast) -> None:
    case, shaft, _ = tags(donor)
    share_cost(donor=donor, shares={case: 1, shaft: 2}, by=cast.actor("stores"))
    lines = away(donor, cast, case, shaft)
    assert [(one.kind, one.quantity, one.cost_minor) for one in lines] == [
        ("received", 1, 3333),
        ("received", 1, 6667),
    ]
    assert {one.state for one in pieces_of_donor(donor) if not one.missing} == {"bin"}
    assert ledger.check_ledger() == []


@given(
    st.integers(0, 10**9),
    st.dictionaries(
        st.text("ABC123", min_size=1, max_size=4), st.integers(0, 10**6), min_size=1, max_size=60
    ),
)
def test_the_shares_add_up_to_the_cost(cost: int, shares: dict[str, int]) -> None:
    if not sum(shares.values()):
        with pytest.raises(ValueError, match="one of them is more"):
            shared(cost, shares)
        return
    found = shared(cost, shares)
    assert sum(found.values()) == cost
    total = sum(shares.values())
    assert all(abs(found[tag] - cost * share / total) < 1 for tag, share in shares.items())
    assert all(found[tag] == 0 for tag, share in shares.items() if not share)


def test_nothing_is_put_away_before_the_cost_is_shared(donor: Donor, cast: Cast) -> None:
    case, _, _ = tags(donor)
    with pytest.raises(Conflict, match="Share the donor's cost"):
        away(donor, cast, case)
    # Nor by the piece's own page.
    piece = Piece.objects.get(tag=case)
    with pytest.raises(Conflict, match="Share the donor's cost first"):
        ledger.bin_piece(piece=piece, bin=BinFactory.make(), key="form x", by=cast.actor("stores"))
    assert not Movement.objects.exists()


def test_shares_may_change_until_a_piece_has_left(donor: Donor, cast: Cast) -> None:
    case, shaft, _ = tags(donor)
    by = cast.actor("stores")
    share_cost(donor=donor, shares={case: 1, shaft: 1}, by=by)
    share_cost(donor=donor, shares={case: 0, shaft: 1}, by=by)
    assert [one.cost_minor for one in pieces_of_donor(donor)] == [0, 10000, 0]
    away(donor, cast, shaft)
    with pytest.raises(Conflict, match="have left their trays"):
        share_cost(donor=donor, shares={case: 1, shaft: 1}, by=by)
    # The same shares again are the same deed.
    share_cost(donor=donor, shares={case: 0, shaft: 1}, by=by)


@pytest.mark.parametrize(
    ("shares", "field"),
    [
        ({"CASE": 1}, "share_MNSH"),
        ({"CASE": -1, "MNSH": 1}, "share_CASE"),
        ({"CASE": 0, "MNSH": 0}, "shares"),
        ({"CASE": 1, "MNSH": 1, "CLUS": 1}, "shares"),
        ({"CASE": 1, "MNSH": 10**9}, "share_MNSH"),
    ],
)
def test_shares_that_cannot_stand(shares: dict[str, int], field: str, donor: Donor, cast: Cast) -> None:
    named = {one.position.code: one.tag for one in pieces_of_donor(donor)}
    with pytest.raises(Refusal) as refused:
        share_cost(donor=donor, shares={named[code]: n for code, n in shares.items()}, by=PROGRAM)
    code = field.removeprefix("share_")
    assert (f"share_{named[code]}" if code in named else field) in refused.value.errors
    donor.refresh_from_db()
    assert donor.shared_at is None


def test_the_same_form_twice_is_one_movement_a_piece(donor: Donor, cast: Cast) -> None:
    case, shaft, _ = tags(donor)
    share_cost(donor=donor, shares={case: 1, shaft: 1}, by=cast.actor("stores"))
    bins = {case: BinFactory.make(), shaft: BinFactory.make()}
    first = away(donor, cast, bins=bins)
    assert [one.pk for one in away(donor, cast, bins=bins)] == [one.pk for one in first]
    assert Movement.objects.count() == 2


def test_all_or_none(donor: Donor, cast: Cast) -> None:
    case, shaft, clus = tags(donor)
    share_cost(donor=donor, shares={case: 1, shaft: 1}, by=cast.actor("stores"))
    with pytest.raises(Conflict, match="missing"):
        away(donor, cast, case, clus)
    with pytest.raises(Refusal, match="no piece of this donor"):
        away(donor, cast, "P-9999")
    with pytest.raises(Refusal, match="Choose a bin"):
        put_away(donor=donor, bins={}, key="k", by=PROGRAM)
    assert not Movement.objects.exists()


def test_a_piece_of_no_worth_is_scrapped_from_its_tray(donor: Donor, cast: Cast) -> None:
    case, shaft, _ = tags(donor)
    share_cost(donor=donor, shares={case: 0, shaft: 1}, by=cast.actor("stores"))
    scrap_piece(piece=Piece.objects.get(tag=case), why="Cracked through.", by=cast.actor("technician"))
    away(donor, cast, shaft)
    assert ledger.check_ledger() == []


def test_a_correction_puts_it_back_into_its_tray_and_it_can_be_put_away_again(
    donor: Donor, cast: Cast
) -> None:
    case, shaft, _ = tags(donor)
    share_cost(donor=donor, shares={case: 1, shaft: 1}, by=cast.actor("stores"))
    (line, _) = away(donor, cast, case, shaft)
    ledger.correct_movement(movement=line, why="Wrong bin.", key="c1", by=cast.actor("stores"))
    piece = Piece.objects.get(tag=case)
    assert piece.state == "tray"
    away(donor, cast, case, key="form 2")
    piece.refresh_from_db()
    assert piece.state == "bin"
    assert ledger.check_ledger() == []


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"bought_of": " "}, "bought_of"),
        ({"bought_of": "x" * 201}, "bought_of"),
        ({"cost_minor": -1}, "cost"),
        ({"serial": "x" * 61}, "serial"),
    ],
)
def test_what_cannot_be_written_down(said: dict[str, Any], field: str, cast: Cast) -> None:
    family = FamilyFactory.make()
    good: dict[str, Any] = {
        "family": family,
        "variant": VariantFactory.make(family=family),
        "cost_minor": 1,
        "bought_of": "x",
    }
    with pytest.raises(Refusal) as refused:
        buy_donor(**good | said, by=cast.actor("stores"))
    assert field in refused.value.errors
    other = VariantFactory.make(family=FamilyFactory.make(code="X9"))
    with pytest.raises(Refusal) as refused:
        buy_donor(**good | {"variant": other}, by=cast.actor("stores"))
    assert "variant" in refused.value.errors


def test_the_stores_buy_and_put_away_and_others_do_not(donor: Donor, cast: Cast) -> None:
    case, shaft, _ = tags(donor)
    for name in ("front_desk", "technician", "lead"):
        by = cast.actor(name)
        with pytest.raises(Denied):
            buy_donor(
                family=donor.unit.family, variant=donor.unit.variant, cost_minor=1, bought_of="x", by=by
            )
        with pytest.raises(Denied):
            share_cost(donor=donor, shares={case: 1, shaft: 1}, by=by)
        with pytest.raises(Denied):
            put_away(donor=donor, bins={case: BinFactory.make()}, key="k", by=by)
        assert donor_for(by, donor.number) == donor
    with pytest.raises(NotThere):
        donor_for(actor_for(cast.supplier), donor.number)
    with pytest.raises(NotThere):
        donor_for(cast.actor("stores"), 99)


@pytest.mark.django_db(transaction=True)
def test_two_who_put_one_piece_away_at_once_make_one_line_into_stock(cast: Cast) -> None:
    family = FamilyFactory.make()
    PositionFactory.make(family=family, code="CASE")
    made = buy_donor(
        family=family,
        variant=VariantFactory.make(family=family),
        cost_minor=500,
        bought_of="x",
        by=PROGRAM,
    )
    (piece,) = lay_out_donor(donor=made, rows=[NewPiece("CASE")], by=PROGRAM)
    share_cost(donor=made, shares={piece.tag: 1}, by=PROGRAM)
    bins = [BinFactory.make() for _ in range(4)]
    answers = at_once(
        4, lambda n: put_away(donor=made, bins={piece.tag: bins[n]}, key=f"{uuid4()}", by=PROGRAM)
    )
    assert any(isinstance(one, list) for one in answers)
    assert Movement.objects.filter(kind="received").count() == 1
    assert ledger.check_ledger() == []
