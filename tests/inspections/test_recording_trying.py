"""Readings of pieces as assembled: of several pieces at once, ended when any of them is changed."""

from __future__ import annotations

import pytest

from inspections.models import Examination, Reading
from inspections.readings.findings import judgement_of
from inventory.models import Piece
from inventory.pieces import end_condition
from shop.access import PROGRAM, Actor
from tests.conftest import Cast
from tests.inspections.shop import read, say, strip_unit, tag_in
from tests.inspections.test_judging_trying import TRIED

pytestmark = pytest.mark.django_db


@pytest.fixture
def by(cast: Cast) -> Actor:
    return cast.actor("technician")


@pytest.fixture
def held(by: Actor) -> Examination:
    return strip_unit(by, text=TRIED)


def tags(examination: Examination) -> set[str]:
    reading = Reading.objects.get(examination=examination)
    return set(reading.of.values_list("piece__tag", flat=True))


def state(examination: Examination, check: str) -> str:
    examination.refresh_from_db()
    (found,) = judgement_of(examination).of_check(check)
    return found.state


def test_a_try_is_of_all_its_pieces(held: Examination, by: Actor) -> None:
    assert say(held, by, "TURNS", "sound").status == "recorded"
    assert tags(held) == {tag_in(held, "SHAFT"), tag_in(held, "CASE")}
    assert state(held, "TURNS") == "sound"


def test_a_measured_try_takes_a_quantity_and_a_gauge(held: Examination, by: Actor) -> None:
    assert say(held, by, "LASH", "0.15 mm").field == "gauge"
    assert read(held, by, "LASH", "sound").field == "text"
    assert read(held, by, "LASH", "0 mm").status == "recorded"
    assert state(held, "LASH") == "outside"
    assert Reading.objects.get().value_mm == 0


def test_only_the_positions_of_the_variant_are_in_it(held: Examination, by: Actor) -> None:
    # GAP is tried with CASE and LID; the floor change has no LID.
    assert read(held, by, "GAP", "0.9 mm", place="one").status == "recorded"
    assert tags(held) == {tag_in(held, "SHAFT"), tag_in(held, "CASE")}


@pytest.mark.parametrize("changed", ["SHAFT", "CASE"])
def test_it_ends_when_any_of_its_pieces_is_changed(held: Examination, by: Actor, changed: str) -> None:
    assert read(held, by, "LASH", "0.15 mm").status == "recorded"
    assert state(held, "LASH") == "within"
    end_condition(piece=Piece.objects.get(tag=tag_in(held, changed)), why="reworked", by=PROGRAM)
    assert state(held, "LASH") == "not examined"


def test_a_piece_that_is_not_tried_with_it_is_refused(held: Examination, by: Actor) -> None:
    strange = say(held, by, "TURNS", "sound", pieces=(tag_in(held, "SEAL"),))
    assert (strange.status, strange.field) == ("refused", "pieces")
    unknown = say(held, by, "TURNS", "sound", pieces=("P-9999",))
    assert "no piece P-9999" in unknown.problem
    named = say(held, by, "TURNS", "sound", pieces=(tag_in(held, "CASE"),))
    assert named.status == "recorded"


def test_two_pieces_in_a_position_have_to_be_told_apart(held: Examination, by: Actor) -> None:
    first = Piece.objects.get(tag=tag_in(held, "CASE"))
    second = Piece.objects.create(
        tag="P-0999",
        family=first.family,
        position=first.position,
        source=first.source,
        owner=first.owner,
    )
    unsaid = say(held, by, "TURNS", "sound")
    assert unsaid.field == "pieces"
    assert f"{first.tag}, {second.tag}" in unsaid.problem
    assert say(held, by, "TURNS", "sound", pieces=(second.tag,)).status == "recorded"
    assert second.tag in tags(held)


def test_with_its_company_missing_there_is_nothing_to_try(held: Examination, by: Actor) -> None:
    Piece.objects.filter(tag=tag_in(held, "CASE")).update(missing=True)
    refused = say(held, by, "TURNS", "sound")
    assert (refused.field, "nothing to try it with" in refused.problem) == ("pieces", True)


def test_sent_again_it_is_one_reading(held: Examination, by: Actor) -> None:
    first = say(held, by, "TURNS", "sound", pieces=(tag_in(held, "CASE"),))
    again = say(held, by, "TURNS", "sound", pieces=(tag_in(held, "CASE"),), id=first.id)
    assert again.status == "already recorded"
    other = say(held, by, "TURNS", "sound", id=first.id)
    assert other.status == "refused"
