"""Publishing a guide: numbered, frozen, projected; and the command that does it."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, transaction

from inspections.guiding.guides import GuideRefused, guide_of, newest_revision, publish_guide
from inspections.models import GuideCheck, GuideRevision
from shop.access import PROGRAM, Denied, NotThere, actor_for
from shop.models import Audit, Complaint, Family, Position, Variant
from shop.refusals import Refusal
from tests.conftest import Cast
from tests.inspections.small import SMALL

pytestmark = pytest.mark.django_db
DEMONSTRATION = Path(__file__).parents[2] / "fixtures" / "guides" / "hexworth_h4.toml"


def test_a_guide_becomes_revision_one_and_its_projection() -> None:
    revision = publish_guide(text=SMALL, by=PROGRAM)
    assert (revision.number, revision.family.code, revision.family.maker) == (1, "X1", "Hexworth (invented)")
    assert [*Variant.objects.values_list("code", flat=True)] == ["FC", "RC"]
    assert {*Position.objects.values_list("code", flat=True)} == {"CASE", "SHAFT", "SEAL", "LID"}
    assert {*Complaint.objects.values_list("code", flat=True)} == {"LEAKS", "NOISY"}
    checks = GuideCheck.objects.filter(revision=revision)
    assert [one.code for one in checks][:3] == ["ID", "TEETH", "LOOK"]
    assert checks.get(code="MATE").position_code == "SHAFT"
    assert Audit.objects.filter(deed="published", thing_id=str(revision.pk)).count() == 1


def test_the_same_text_again_is_the_same_revision() -> None:
    first = publish_guide(text=SMALL, by=PROGRAM)
    assert publish_guide(text=SMALL, by=PROGRAM) == first
    assert GuideRevision.objects.count() == 1


def test_another_text_is_the_next_revision_and_retires_what_it_leaves_out() -> None:
    first = publish_guide(text=SMALL, by=PROGRAM)
    without = SMALL.replace(
        '\n[[complaint]]\ncode = "NOISY"\nname = "Noisy"\nexplained_by = ["DIAMETER"]\n', ""
    ).replace('\n[[position]]\ncode = "LID"\nnumber = 4\nname = "Remote cover"\nvariants = ["RC"]\n', "")
    without = without.replace('positions = ["CASE", "LID"]', 'positions = ["CASE"]')
    second = publish_guide(text=without, by=PROGRAM)
    assert second.number == 2
    assert Position.objects.get(code="LID").retired_at is not None
    assert Complaint.objects.get(code="NOISY").retired_at is not None
    assert newest_revision(Family.objects.get()) == second
    # What was published stays as it was, and a return of the code wakes it.
    first.refresh_from_db()
    assert "LID" in guide_of(first).position
    assert "LID" not in guide_of(second).position
    assert publish_guide(text=SMALL, by=PROGRAM).number == 3
    assert Position.objects.get(code="LID").retired_at is None


def test_a_revision_is_frozen() -> None:
    revision = publish_guide(text=SMALL, by=PROGRAM)
    with pytest.raises(DatabaseError), transaction.atomic():
        GuideRevision.objects.filter(pk=revision.pk).update(number=9)


def test_a_bad_guide_is_refused_with_its_line_and_nothing_is_written() -> None:
    bad = SMALL.replace('feature = "CASE.B"\n\n', 'feature = "CASE.X"\n\n', 1)
    with pytest.raises(GuideRefused) as refused:
        publish_guide(text=bad, by=PROGRAM)
    problem = next(one for one in refused.value.problems if "CASE.X" in one.message)
    assert bad.splitlines()[problem.line - 1] == 'feature = "CASE.X"'
    assert "There is no feature CASE.X" in str(refused.value)
    assert Family.objects.count() == 0


def test_a_drawing_that_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(GuideRefused, match="drawing: lines is missing"):
        publish_guide(text=SMALL + "\n[drawing]\ncentre_mm = 84.0\nmodule_mm = 3.5\npart = []\n", by=PROGRAM)


def test_the_demonstration_guide_is_published(cast: Cast) -> None:
    revision = publish_guide(text=DEMONSTRATION.read_text(), by=cast.actor("manager"))
    assert revision.family.code == "H4"
    assert GuideCheck.objects.filter(revision=revision).count() >= 60
    assert Position.objects.filter(family=revision.family).count() >= 25
    assert guide_of(revision) is guide_of(GuideRevision.objects.defer("document").get(pk=revision.pk))


def test_only_the_office_publishes(cast: Cast) -> None:
    for name in ("front_desk", "technician", "lead", "stores"):
        with pytest.raises(Denied):
            publish_guide(text=SMALL, by=cast.actor(name))
    with pytest.raises(NotThere):
        publish_guide(text=SMALL, by=actor_for(cast.supplier))
    assert GuideRevision.objects.count() == 0


def test_a_family_without_a_guide_says_so() -> None:
    family = Family.objects.create(code="X9", name="Unknown box", maker="Hexworth (invented)")
    with pytest.raises(Refusal, match="No guide is published"):
        newest_revision(family)


def test_the_command_publishes(tmp_path: Path) -> None:
    file, out = tmp_path / "small.toml", StringIO()
    file.write_text(SMALL)
    call_command("guide", str(file), stdout=out, stderr=StringIO())
    assert "revision 1" in out.getvalue()
    assert GuideRevision.objects.count() == 1


def test_the_command_names_line_and_key_and_fails(tmp_path: Path) -> None:
    file, trouble = tmp_path / "bad.toml", StringIO()
    file.write_text(SMALL.replace("minutes = 100", 'minutes = "long"'))
    with pytest.raises(CommandError, match="Not published"):
        call_command("guide", str(file), stdout=StringIO(), stderr=trouble)
    line = SMALL[: SMALL.index("minutes = 100")].count("\n") + 1
    assert f"bad.toml:{line}: refused: remedy BRAZE.minutes" in trouble.getvalue()


def test_the_command_fails_on_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("guide", str(tmp_path / "none.toml"))
