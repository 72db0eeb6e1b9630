"""A box turns out to be the other variant: no reading is lost, pieces are laid out or lie aside."""

from __future__ import annotations

from typing import Any

import pytest

from inspections.guiding.guides import publish_guide
from inspections.guiding.varying import change_variant, plan_variant
from inspections.models import BuildRow, Examination, Reading
from inspections.readings.examining import finish_examination
from inspections.readings.findings import examined, judgement_of
from inventory.models import Piece
from shop.access import PROGRAM, Denied, NotThere, actor_for
from shop.models import Audit, Ticket, Unit, Variant
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast
from tests.factories import VariantFactory
from tests.inspections.shop import open_ticket, read_all, say, strip_unit, tag_in
from tests.inspections.small import SMALL

pytestmark = pytest.mark.django_db
COVER = '\n[[position]]\ncode = "COVER"\nnumber = 5\nname = "Floor cover"\nvariants = ["FC"]\n'
BOTH = SMALL.replace("\n[[feature]]", COVER + "\n[[feature]]", 1) + (
    '\n[[check]]\ncode = "LK-COVER"\nposition = "COVER"\nkind = "look"\ntitle = "Cover"\n'
    '\n[[defect]]\ncode = "BENT"\ncheck = "LK-COVER"\nname = "bent"\ncondemns = true\n'
    '\n[[check]]\ncode = "LK-LID"\nposition = "LID"\nkind = "look"\ntitle = "Remote cover"\n'
    '\n[[defect]]\ncode = "SPLIT"\ncheck = "LK-LID"\nname = "split"\ncondemns = true\n'
    '\n[[bond]]\ncode = "LIDS"\nname = "Casing and its cover"\nkind = "should"\n'
    'positions = ["CASE", "COVER", "LID"]\n'
)
WHY = "The casting number is that of the remote change."


@pytest.fixture
def held(cast: Cast) -> Examination:
    examination = strip_unit(cast.actor("technician"), text=BOTH)
    read_all(examination, cast.actor("technician"))
    say(examination, cast.actor("technician"), "LK-COVER", "sound")
    return examination


def remote() -> Variant:
    return Variant.objects.get(family__code="X1", code="RC")


def ticket_of(held: Examination) -> Ticket:
    found: Ticket = Ticket.objects.get(examination=held)
    return found


def change(held: Examination, cast: Cast, who: str = "technician", **more: Any) -> Any:
    assert held.ticket is not None
    said: dict[str, Any] = {"variant": remote(), "why": WHY} | more
    done = change_variant(ticket=held.ticket, by=cast.actor(who), **said)
    held.refresh_from_db()
    return done


def test_what_it_would_change_is_told_first(held: Examination) -> None:
    plan = plan_variant(held, remote())
    assert [one.code for one in plan.added] == ["LK-LID"]
    assert [one.code for one in plan.gone] == ["LK-COVER"]
    assert [(one.code, old, new) for one, old, new in plan.otherwise] == [("ID", "X1-101", "X1-102")]
    assert [one.code for one in plan.laying.new] == ["LID"]
    assert [one.position.code for one in plan.laying.aside] == ["COVER"]
    assert (plan.kept, plan.waiting) == (8, 1)


def test_every_reading_that_still_applies_is_kept(held: Examination, cast: Cast) -> None:
    # The number on the casting is that of the other variant: as long as the ticket says floor change, the
    # casing is a wrong part and nothing else that was read of it says anything.
    first = Reading.objects.get(check_code="ID")
    technician = cast.actor("technician")
    say(held, technician, "ID", "X1-102", withdraws=first.pk, reason="Read through the dirt.")
    before = {one.check: one.state for one in judgement_of(held).findings}
    assert (before["ID"], before["BORE"], before["DIAMETER"]) == ("wrong part", "not applicable", "within")
    version = ticket_of(held).version
    change(held, cast)
    ticket = ticket_of(held)
    assert (ticket.variant.code, ticket.version) == ("RC", version + 1)
    assert Unit.objects.get(source__ticket=ticket).variant.code == "RC"
    after = {one.check: one.state for one in judgement_of(held).findings}
    assert {one for one, state in after.items() if state in {"within", "sound"}} == {
        *("ID", "TEETH", "LOOK", "THREAD", "BORE", "WIDTH", "DIAMETER", "MATE")
    }
    assert after["LK-LID"] == "not examined"
    assert "LK-COVER" not in after
    assert Reading.objects.count() == 10


def test_a_piece_that_the_variant_lacks_lies_aside_and_comes_back(held: Examination, cast: Cast) -> None:
    tag = tag_in(held, "COVER")
    change(held, cast)
    assert tag not in judgement_of(held).verdict
    assert Piece.objects.get(tag=tag).state == "tray"
    change(held, cast, variant=Variant.objects.get(code="FC"), why="It was right after all.")
    judgement = judgement_of(held)
    assert judgement.verdict[tag].verdict == "serviceable"
    assert judgement.of_check("LK-COVER")[0].state == "sound"
    # The remote cover that was laid out lies aside now, and is no second one when it is wanted again.
    change(held, cast)
    assert Piece.objects.filter(position__code="LID").count() == 1
    assert [one.deed for one in Audit.objects.filter(deed="variant changed")] == ["variant changed"] * 3


def test_new_positions_get_pieces_or_are_empty(held: Examination, cast: Cast) -> None:
    with pytest.raises(Refusal) as refused:
        change(held, cast, missing=["CASE"])
    assert "missing" in refused.value.errors
    assert ticket_of(held).variant.code == "FC"
    change(held, cast, missing=["LID"])
    lid = Piece.objects.get(position__code="LID")
    assert lid.missing
    assert judgement_of(held).status["LID"] == "missing"


def test_a_new_piece_joins_the_set_of_its_mates(held: Examination, cast: Cast) -> None:
    case = Piece.objects.get(position__code="CASE")
    assert case.bound_in is not None
    change(held, cast)
    assert Piece.objects.get(position__code="LID").bound_in_id == case.bound_in_id


def test_an_examined_ticket_is_stripped_again(held: Examination, cast: Cast) -> None:
    assert held.ticket is not None
    finish_examination(ticket=held.ticket, by=cast.actor("technician"))
    done = change(held, cast)
    assert done.back
    ticket = ticket_of(held)
    assert ticket.stage == "stripped"
    assert [one.why for one in ticket.stage_log.all()][-1] == f"The unit is of the variant RC: {WHY}"


def test_before_it_is_stripped_the_counter_says_it(cast: Cast) -> None:
    publish_guide(text=BOTH, by=PROGRAM)
    ticket = open_ticket()
    done = change_variant(ticket=ticket, variant=remote(), why=WHY, by=cast.actor("front_desk"))
    assert done.plan is None
    assert ticket.variant.code == "RC"
    line = Audit.objects.get(deed="variant changed")
    assert line.facts == {"before": "FC", "after": "RC", "why": WHY}


def test_once_it_is_stripped_it_is_the_benchs_to_say(held: Examination, cast: Cast) -> None:
    for name in ("front_desk", "stores", "manager"):
        with pytest.raises(Denied):
            change(held, cast, who=name)
    assert held.ticket is not None
    with pytest.raises(NotThere):
        change_variant(ticket=held.ticket, variant=remote(), why=WHY, by=actor_for(cast.supplier))


@pytest.mark.parametrize("stage", ["quoted", "agreed", "built", "handed over", "abandoned"])
def test_not_after_the_quote(stage: str, held: Examination, cast: Cast) -> None:
    Ticket.objects.filter(examination=held).update(stage=stage)
    with pytest.raises(Conflict):
        change(held, cast)


def test_what_is_wrong_is_said_beside_its_field(held: Examination, cast: Cast) -> None:
    with pytest.raises(Refusal) as refused:
        change(held, cast, why="  ")
    assert "why" in refused.value.errors
    with pytest.raises(Refusal) as refused:
        change(held, cast, why="x" * 201)
    assert "why" in refused.value.errors
    with pytest.raises(Refusal) as refused:
        change(held, cast, variant=VariantFactory.make(code="ZZ"))
    assert "variant" in refused.value.errors


def test_twice_is_once(held: Examination, cast: Cast) -> None:
    change(held, cast)
    counter = held.counter
    assert change(held, cast).plan is None
    assert held.counter == counter


def test_an_agreed_build_list_keeps_its_positions(held: Examination, cast: Cast) -> None:
    assert held.ticket is not None
    BuildRow.objects.create(ticket=held.ticket, position_code="COVER", way="own", label="Cover: own")
    with pytest.raises(Conflict, match="fills COVER"):
        change(held, cast)


def test_the_tablets_are_told(held: Examination, cast: Cast) -> None:
    counter = examined(held).state.counter
    change(held, cast)
    assert examined(held).state.counter > counter
