"""A ticket takes up a newer revision of its guide: what still applies stays, and nothing is lost."""

from __future__ import annotations

from typing import Any

import pytest

from inspections.guiding.adopting import adopt_revision, newer_revisions, plan_adoption
from inspections.guiding.guides import publish_guide
from inspections.models import BuildRow, Examination, Reading
from inspections.readings.examining import finish_examination
from inspections.readings.findings import examined, judgement_of
from inventory.models import Measure, Piece
from shop.access import PROGRAM, Denied, NotThere, actor_for
from shop.models import Audit, StageChange, Ticket
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast
from tests.inspections.shop import read, read_all, say, strip_unit, tag_in
from tests.inspections.small import SMALL

pytestmark = pytest.mark.django_db

WEAR = SMALL.replace("new = [25.980, 25.993], wear = 25.960", "new = [25.990, 25.993], wear = 25.988")
NEW_POSITION = '\n[[position]]\ncode = "PLUG"\nnumber = 5\nname = "Plug"\n'
NEW_CHECK = '\n[[check]]\ncode = "FACE"\nposition = "CASE"\nkind = "look"\ntitle = "Face"\n'
NEW_DEFECT = '\n[[defect]]\ncode = "PITTED"\ncheck = "FACE"\nname = "pitted"\ncondemns = true\n'


@pytest.fixture
def held(cast: Cast) -> Examination:
    """The small unit, stripped and read whole under revision 1."""
    examination = strip_unit(cast.actor("technician"))
    read_all(examination, cast.actor("technician"))
    return examination


def publish(text: str) -> int:
    return publish_guide(text=text, by=PROGRAM).number


def adopt(held: Examination, number: int, cast: Cast, **more: Any) -> Any:
    done = adopt_revision(examination=held, number=number, by=cast.actor("lead"), **more)
    held.refresh_from_db()
    return done


def test_a_limit_that_changed_judges_the_readings_that_stand(held: Examination, cast: Cast) -> None:
    assert judgement_of(held).of_check("DIAMETER")[0].state == "within"
    number = publish(WEAR)
    plan = plan_adoption(held, number)
    (one,) = plan.changed
    assert [(row.what, row.before, row.after) for row in one.changes] == [
        ("limit standard, new size, mm", "25.98 to 25.993", "25.99 to 25.993"),
        ("limit standard, wear limit, mm", "25.96", "25.988"),
    ]
    assert (plan.kept, plan.lost, plan.added, plan.gone) == (8, (), (), ())
    done = adopt(held, number, cast)
    assert held.revision.number == 2
    assert not done.back
    assert judgement_of(held).of_check("DIAMETER")[0].state == "outside"
    assert Measure.objects.get(feature="SHAFT.D").state == "outside"
    line = Audit.objects.get(deed="guide adopted")
    assert line.facts == {"before": 1, "after": 2, "kept": 8, "aside": 0}
    assert line.ticket_number == 2401


def test_new_checks_are_asked_and_gone_ones_are_not(held: Examination, cast: Cast) -> None:
    text = (SMALL + NEW_CHECK + NEW_DEFECT).replace(
        '\n[[check]]\ncode = "TEETH"\nposition = "SHAFT"\nkind = "count"\ntitle = "Teeth"\n'
        'identifies = true\nexpected = { "*" = "18" }\n',
        "",
    )
    plan = plan_adoption(held, publish(text))
    assert [one.code for one in plan.added] == ["FACE"]
    assert [one.code for one in plan.gone] == ["TEETH"]
    assert [(check, why) for _, check, why in plan.lost] == [("TEETH", "the check is gone")]
    assert plan.reopened == ()
    adopt(held, 2, cast)
    judgement = judgement_of(held)
    assert judgement.of_check("FACE")[0].state == "not examined"
    assert judgement.of_check("TEETH") == ()
    assert Reading.objects.filter(check_code="TEETH").count() == 1


@pytest.mark.parametrize(
    ("old", "new", "check", "why"),
    [
        (
            'kind = "measure"\ntitle = "Bore"\nfeature = "CASE.B"',
            'kind = "identify"\ntitle = "Bore"\nexpected = { "*" = "26" }',
            "BORE",
            "of kind identify now",
        ),
        ('places = ["left", "right"]', 'places = ["top", "bottom"]', "WIDTH", "no place “left” now"),
        ('places = ["left", "right"]\n', "", "WIDTH", "no place “left” now"),
        (
            'title = "Diameter"\n',
            'title = "Diameter"\nplaces = ["one", "two"]\n',
            "DIAMETER",
            "at places now",
        ),
    ],
)
def test_a_reading_of_another_question_is_set_aside_and_the_check_is_open_again(
    old: str, new: str, check: str, why: str, held: Examination, cast: Cast
) -> None:
    text = SMALL.replace(old, new, 1)
    if check == "BORE":  # the mate has no reading of the bore then
        a = text.index('[[check]]\ncode = "MATE"')
        text = text[:a] + text[text.index('[[check]]\ncode = "SEALS"') :]
    number = publish(text)
    plan = plan_adoption(held, number)
    assert {code for _, code, _ in plan.lost} == {check}
    assert why in plan.lost[0][2]
    before = Reading.objects.count()
    adopt(held, number, cast)
    assert len(held.set_aside) == len(plan.lost)
    assert judgement_of(held).of_check(check)[0].state == "not examined"
    assert Reading.objects.count() == before
    superseded = judgement_of(held).of_check(check)[0].superseded
    assert {*superseded} == {*held.set_aside}


def test_a_defect_that_the_check_no_longer_knows_is_set_aside(cast: Cast) -> None:
    technician = cast.actor("technician")
    held = strip_unit(technician)
    say(held, technician, "LOOK", "GONE")
    text = SMALL.replace(
        '\n[[defect]]\ncode = "GONE"\ncheck = "LOOK"\nname = "lug broken off"\ncondemns = true\n', ""
    )
    plan = plan_adoption(held, publish(text))
    assert [why for *_, why in plan.lost] == ["the check knows no defect GONE now"]
    adopt(held, 2, cast)
    assert judgement_of(held).of_check("LOOK")[0].state == "not examined"
    say(held, technician, "LOOK", "CRACK")
    assert judgement_of(held).of_check("LOOK")[0].state == "defect"


def test_what_was_set_aside_stays_so_under_a_later_revision(held: Examination, cast: Cast) -> None:
    publish(SMALL.replace('places = ["left", "right"]', 'places = ["top", "bottom"]'))
    adopt(held, 2, cast)
    aside = list(held.set_aside)
    publish(SMALL)
    adopt(held, 3, cast)
    assert held.set_aside == aside
    assert judgement_of(held).of_check("WIDTH")[0].state == "not examined"


def test_a_new_position_gets_a_piece_or_is_empty(held: Examination, cast: Cast) -> None:
    text = SMALL.replace("\n[[feature]]", NEW_POSITION + "\n[[feature]]", 1)
    more = NEW_POSITION.replace("PLUG", "VENT").replace("number = 5", "number = 6")
    number = publish(text.replace("\n[[feature]]", more + "\n[[feature]]", 1))
    plan = plan_adoption(held, number)
    assert [one.code for one in plan.laying.new] == ["PLUG", "VENT"]
    with pytest.raises(Refusal) as refused:
        adopt(held, number, cast, missing=["CASE"])
    assert "CASE" in refused.value.errors["missing"]
    adopt(held, number, cast, missing=["VENT"])
    plug = Piece.objects.get(position__code="PLUG")
    assert (plug.source and plug.source.ticket_id, plug.missing) == (held.ticket_id, False)
    assert plug.owner_id == Piece.objects.get(position__code="CASE").owner_id
    assert Piece.objects.get(position__code="VENT").missing
    assert judgement_of(held).status["VENT"] == "missing"


def test_the_piece_of_a_position_that_is_gone_lies_aside(held: Examination, cast: Cast) -> None:
    text = SMALL.replace(
        '\n[[check]]\ncode = "SEALS"\nposition = "SEAL"\nkind = "replaced"\ntitle = "Seal"\n', ""
    ).replace('\n[[position]]\ncode = "SEAL"\nnumber = 3\nname = "Seal"\n', "")
    number = publish(text.replace('"SHAFT", "SEAL"]', '"SHAFT"]'))
    tag = tag_in(held, "SEAL")
    assert [one.tag for one in plan_adoption(held, number).laying.aside] == [tag]
    adopt(held, number, cast)
    judgement = judgement_of(held)
    assert "SEAL" not in judgement.status
    assert tag not in judgement.verdict
    assert Piece.objects.get(tag=tag).state == "tray"
    assert any(one.tag == tag for one in examined(held).state.pieces)


def test_an_examined_ticket_with_open_ends_is_stripped_again(held: Examination, cast: Cast) -> None:
    assert held.ticket is not None
    finish_examination(ticket=held.ticket, by=cast.actor("technician"))
    number = publish(SMALL + NEW_CHECK + NEW_DEFECT)
    done = adopt(held, number, cast)
    assert done.back
    ticket = Ticket.objects.get(examination=held)
    assert ticket.stage == "stripped"
    change = StageChange.objects.filter(ticket=ticket).last()
    assert change is not None
    assert change.why == "Guide revision 2 adopted."


def test_an_examined_ticket_without_open_ends_stays_examined(held: Examination, cast: Cast) -> None:
    assert held.ticket is not None
    finish_examination(ticket=held.ticket, by=cast.actor("technician"))
    done = adopt(held, publish(SMALL.replace("minutes = 60", "minutes = 70")), cast)
    assert not done.back
    assert Ticket.objects.get(examination=held).stage == "examined"


@pytest.mark.parametrize("stage", ["quoted", "agreed", "parts complete", "reworked", "built", "tested"])
def test_not_after_the_quote(stage: str, held: Examination, cast: Cast) -> None:
    number = publish(WEAR)
    Ticket.objects.filter(examination=held).update(stage=stage)
    with pytest.raises(Conflict, match="bring it back to examined"):
        adopt(held, number, cast)
    held.refresh_from_db()
    assert held.revision.number == 1


def test_twice_is_once_and_older_is_refused(held: Examination, cast: Cast) -> None:
    number = publish(WEAR)
    adopt(held, number, cast)
    counter = held.counter
    assert adopt(held, number, cast).plan is None
    assert held.counter == counter
    assert Audit.objects.filter(deed="guide adopted").count() == 1
    with pytest.raises(Conflict, match="not newer"):
        adopt(held, 1, cast)
    with pytest.raises(NotThere):
        adopt(held, 9, cast)
    assert newer_revisions(held) == []


def test_an_agreed_build_list_keeps_its_positions(held: Examination, cast: Cast) -> None:
    assert held.ticket is not None
    BuildRow.objects.create(ticket=held.ticket, position_code="SEAL", way="new", label="Seal: new")
    text = SMALL.replace(
        '\n[[check]]\ncode = "SEALS"\nposition = "SEAL"\nkind = "replaced"\ntitle = "Seal"\n', ""
    ).replace('\n[[position]]\ncode = "SEAL"\nnumber = 3\nname = "Seal"\n', "")
    number = publish(text.replace('"SHAFT", "SEAL"]', '"SHAFT"]'))
    with pytest.raises(Conflict, match="fills SEAL"):
        adopt(held, number, cast)


def test_who_may_adopt(held: Examination, cast: Cast) -> None:
    number = publish(WEAR)
    for name in ("technician", "front_desk", "stores"):
        with pytest.raises(Denied):
            adopt_revision(examination=held, number=number, by=cast.actor(name))
    with pytest.raises(NotThere):
        adopt_revision(examination=held, number=number, by=actor_for(cast.supplier))
    adopt_revision(examination=held, number=number, by=cast.actor("manager"))


def test_readings_go_on_under_the_new_revision(held: Examination, cast: Cast) -> None:
    number = publish(SMALL.replace('places = ["left", "right"]', 'places = ["top", "bottom"]'))
    adopt(held, number, cast)
    technician = cast.actor("technician")
    for place in ("top", "bottom"):
        assert read(held, technician, "WIDTH", "100.05 mm", place=place).status == "recorded"
    assert judgement_of(held).of_check("WIDTH")[0].state == "within"
