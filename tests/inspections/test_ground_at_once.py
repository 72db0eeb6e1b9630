"""Two people at once on the ground of an examination: the guide's revisions, the unit's variant.

Real threads on the database in use; whichever of them comes first, the outcome is one of those allowed.
"""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

import pytest

from inspections.guiding.adopting import Adopted, adopt_revision
from inspections.guiding.drafting import begin_draft, change_entry, publish_draft
from inspections.guiding.drafts import entry_of
from inspections.guiding.guides import publish_guide
from inspections.guiding.varying import Varied, change_variant
from inspections.models import Examination, GuideDraft, GuideRevision, Reading
from inspections.readings.examining import finish_examination
from inspections.readings.findings import examined, judgement_of
from inventory.models import Piece
from shop.access import PROGRAM
from shop.models import Audit, Ticket, Variant
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast
from tests.inspections.shop import read_all, say, strip_unit
from tests.inspections.small import SMALL
from tests.inspections.test_adopting import NEW_POSITION
from tests.inspections.test_varying import BOTH, WHY
from tests.inventory.threads import at_once

pytestmark = pytest.mark.django_db(transaction=True)
CALLERS = 4


def test_a_draft_published_by_four_at_once_is_one_revision(cast: Cast) -> None:
    by = cast.actor("manager")
    draft = begin_draft(family=publish_guide(text=SMALL, by=PROGRAM).family, by=by)
    row = entry_of(draft.document, "remedy", "FACE")
    assert row is not None
    draft = change_entry(draft=draft, table="remedy", row=row | {"minutes": 7}, version=1, by=by)
    answers = at_once(CALLERS, lambda n: publish_draft(draft=draft, version=2, by=by))
    assert sum(isinstance(one, GuideRevision) for one in answers) == 1
    assert sum(isinstance(one, Conflict) for one in answers) == CALLERS - 1
    assert [*GuideRevision.objects.order_by("number").values_list("number", flat=True)] == [1, 2]
    assert not GuideDraft.objects.exists()


def test_four_files_published_at_once_are_numbered_one_after_another(cast: Cast) -> None:
    """By the command line and a draft, say: no number is given twice, none is lost."""
    publish_guide(text=SMALL, by=PROGRAM)
    texts = [SMALL.replace("minutes = 60", f"minutes = {50 + n}", 1) for n in range(CALLERS)]
    answers = at_once(CALLERS, lambda n: publish_guide(text=texts[n], by=PROGRAM))
    assert all(isinstance(one, GuideRevision) for one in answers), answers
    assert sorted(one.number for one in answers) == [2, 3, 4, 5]
    newer = GuideRevision.objects.filter(number__gt=1)
    faces = [entry_of(one.document, "remedy", "FACE") for one in newer]
    assert sorted(one["minutes"] for one in faces if one) == [50, 51, 52, 53]


def test_a_revision_adopted_by_four_at_once_is_adopted_once(cast: Cast) -> None:
    held = strip_unit(cast.actor("technician"))
    number = publish_guide(text=SMALL + NEW_POSITION, by=PROGRAM).number
    by = cast.actor("lead")
    answers = at_once(CALLERS, lambda n: adopt_revision(examination=held, number=number, by=by))
    assert all(isinstance(one, Adopted) for one in answers), answers
    assert sum(one.plan is not None for one in answers) == 1
    assert Piece.objects.filter(position__code="PLUG").count() == 1
    assert Audit.objects.filter(deed="guide adopted").count() == 1


def test_a_variant_changed_by_four_at_once_is_changed_once(cast: Cast) -> None:
    held = strip_unit(cast.actor("technician"), text=BOTH)
    ticket, by = Ticket.objects.get(examination=held), cast.actor("technician")
    remote = Variant.objects.get(family__code="X1", code="RC")
    answers = at_once(CALLERS, lambda n: change_variant(ticket=ticket, variant=remote, why=WHY, by=by))
    assert all(isinstance(one, Varied) for one in answers), answers
    assert sum(one.plan is not None for one in answers) == 1
    assert Piece.objects.filter(position__code="LID").count() == 1
    assert Audit.objects.filter(deed="variant changed").count() == 1


def _posted(held: Examination, cast: Cast, key: UUID, check: str) -> Any:
    return say(Examination.objects.get(pk=held.pk), cast.actor("technician"), check, "sound", id=key)


def test_readings_that_come_while_the_variant_changes_are_there_once_or_refused(cast: Cast) -> None:
    """What both variants have is kept; of a check that goes it is either on record or refused by name."""
    held = strip_unit(cast.actor("technician"), text=BOTH)
    ticket, by = Ticket.objects.get(examination=held), cast.actor("lead")
    remote = Variant.objects.get(family__code="X1", code="RC")
    keys = [uuid4() for _ in range(CALLERS)]

    def deed(n: int) -> Any:
        if n == 0:
            return change_variant(ticket=ticket, variant=remote, why=WHY, by=by)
        return _posted(held, cast, keys[n], "LOOK" if n < 3 else "LK-COVER")

    answers = at_once(CALLERS, deed)
    assert isinstance(answers[0], Varied), answers
    for n in (1, 2):
        assert answers[n].status == "recorded", answers
        assert Reading.objects.filter(pk=keys[n]).count() == 1
    there = Reading.objects.filter(pk=keys[3]).count()
    assert there == (1 if answers[3].status == "recorded" else 0)
    held.refresh_from_db()
    assert examined(held).state.variant == "RC"
    assert judgement_of(held).of_check("LOOK")[0].state == "sound"
    assert not judgement_of(held).of_check("LK-COVER")
    sequences = [*Reading.objects.filter(examination=held).values_list("sequence", flat=True)]
    assert len(sequences) == len({*sequences}) == 2 + there


def test_an_adoption_and_the_end_of_the_examination_at_once_leave_no_open_end(cast: Cast) -> None:
    """A ticket that is examined has no new position that nobody looked at."""
    technician = cast.actor("technician")
    held = strip_unit(technician)
    read_all(held, technician)
    text = (
        SMALL
        + NEW_POSITION
        + (
            '\n[[check]]\ncode = "LK-PLUG"\nposition = "PLUG"\nkind = "look"\ntitle = "Plug"\n'
            '\n[[defect]]\ncode = "ROUNDED"\ncheck = "LK-PLUG"\nname = "rounded"\ncondemns = true\n'
        )
    )
    number = publish_guide(text=text, by=PROGRAM).number
    lead, ticket = cast.actor("lead"), Ticket.objects.get(examination=held)

    def deed(n: int) -> Any:
        if n:
            return adopt_revision(examination=held, number=number, by=lead)
        return finish_examination(ticket=ticket, by=technician)

    finished, adopted = at_once(2, deed)
    assert isinstance(adopted, Adopted), adopted
    assert not isinstance(finished, Exception) or isinstance(finished, Refusal), finished
    held.refresh_from_db()
    assert held.revision.number == number
    assert Ticket.objects.get(examination=held).stage == "stripped"
    assert judgement_of(held).of_check("LK-PLUG")[0].state == "not examined"
