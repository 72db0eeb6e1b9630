"""Drafts of guides: begun, changed by two managers, published once; what was published stays."""

from typing import Any

import pytest

from inspections.guiding.drafting import (
    begin_draft,
    begin_draft_from_file,
    change_entry,
    draft_for,
    follow_newest,
    publish_draft,
    remove_entry,
    throw_away_draft,
)
from inspections.guiding.drafts import entry_of
from inspections.guiding.guides import GuideRefused, publish_guide
from inspections.models import GuideDraft, GuideRevision
from shop.access import PROGRAM, Denied, NotThere, actor_for
from shop.models import Audit, Family, Position
from shop.refusals import Conflict, Refusal, Stale
from tests.conftest import Cast
from tests.inspections.small import SMALL
from tests.inventory.threads import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def revision(db: None) -> GuideRevision:
    return publish_guide(text=SMALL, by=PROGRAM)


def begun(revision: GuideRevision, cast: Cast) -> GuideDraft:
    return begin_draft(family=revision.family, by=cast.actor("manager"))


def bore(draft: GuideDraft, highest: float = 26.03) -> dict[str, Any]:
    """The casing bore with another upper limit."""
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    return row | {"limit": [{"new": [26.0, highest]}, row["limit"][1]]}


def test_a_limit_is_changed_and_published_as_the_next_revision(revision: GuideRevision, cast: Cast) -> None:
    by = cast.actor("manager")
    draft = begun(revision, cast)
    assert (draft.begun_from, draft.version) == (1, 1)
    draft = change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=by)
    assert draft.version == 2
    made = publish_draft(draft=draft, version=2, by=by)
    assert (made.number, made.published_by) == (2, by.key)
    assert made.document["feature"][0]["limit"][0]["new"] == [26.0, 26.03]
    revision.refresh_from_db()
    assert revision.document["feature"][0]["limit"][0]["new"] == [26.0, 26.021]
    assert not GuideDraft.objects.exists()
    deeds = Audit.objects.filter(by=by.key).order_by("id").values_list("deed", flat=True)
    assert [*deeds] == ["draft begun", "draft changed", "published"]


def test_one_draft_a_family_whoever_begins_it(revision: GuideRevision, cast: Cast) -> None:
    first = begun(revision, cast)
    change_entry(draft=first, table="feature", row=bore(first), version=1, by=cast.actor("owner"))
    again = begin_draft(family=revision.family, by=cast.actor("owner"))
    assert again.pk == first.pk
    assert again.version == 2


def test_two_managers_at_different_entries_do_not_disturb_each_other(
    revision: GuideRevision, cast: Cast
) -> None:
    draft = begun(revision, cast)
    change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=cast.actor("manager"))
    remedy = entry_of(draft.document, "remedy", "FACE")
    assert remedy is not None
    saved = change_entry(
        draft=draft, table="remedy", row=remedy | {"minutes": 75}, version=1, by=cast.actor("owner")
    )
    assert saved.version == 3
    assert saved.document["feature"][0]["limit"][0]["new"] == [26.0, 26.03]


def test_the_same_entry_changed_meanwhile_is_not_overwritten(revision: GuideRevision, cast: Cast) -> None:
    draft = begun(revision, cast)
    change_entry(draft=draft, table="feature", row=bore(draft, 26.03), version=1, by=cast.actor("manager"))
    with pytest.raises(Stale, match="changed since you opened it"):
        change_entry(draft=draft, table="feature", row=bore(draft, 26.04), version=1, by=cast.actor("owner"))
    with pytest.raises(Stale):
        remove_entry(draft=draft, table="feature", code="CASE.B", version=1, by=cast.actor("owner"))
    draft.refresh_from_db()
    assert draft.document["feature"][0]["limit"][0]["new"] == [26.0, 26.03]
    # Having seen it, it is the second person's to decide.
    saved = change_entry(
        draft=draft, table="feature", row=bore(draft, 26.04), version=2, by=cast.actor("owner")
    )
    assert saved.document["feature"][0]["limit"][0]["new"] == [26.0, 26.04]


def test_saving_the_same_twice_changes_nothing_more(revision: GuideRevision, cast: Cast) -> None:
    draft = begun(revision, cast)
    row = bore(draft)
    once = change_entry(draft=draft, table="feature", row=row, version=1, by=cast.actor("manager"))
    twice = change_entry(draft=draft, table="feature", row=row, version=2, by=cast.actor("manager"))
    assert once.version == twice.version == 2


def test_publishing_what_was_not_looked_at_is_refused(revision: GuideRevision, cast: Cast) -> None:
    draft = begun(revision, cast)
    change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=cast.actor("owner"))
    with pytest.raises(Stale):
        publish_draft(draft=draft, version=1, by=cast.actor("manager"))
    with pytest.raises(Stale):
        throw_away_draft(draft=draft, version=1, by=cast.actor("manager"))
    assert GuideRevision.objects.count() == 1


def test_publishing_twice_is_one_revision(revision: GuideRevision, cast: Cast) -> None:
    draft = begun(revision, cast)
    draft = change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=cast.actor("manager"))
    publish_draft(draft=draft, version=2, by=cast.actor("manager"))
    with pytest.raises(Conflict, match="published it or threw it away"):
        publish_draft(draft=draft, version=2, by=cast.actor("manager"))
    assert GuideRevision.objects.count() == 2


def test_a_draft_that_says_nothing_new_is_not_published(revision: GuideRevision, cast: Cast) -> None:
    with pytest.raises(Conflict, match="what revision 1 says"):
        publish_draft(draft=begun(revision, cast), version=1, by=cast.actor("manager"))


def test_a_draft_that_was_overtaken_does_not_take_back_in_silence(
    revision: GuideRevision, cast: Cast
) -> None:
    by = cast.actor("manager")
    draft = begun(revision, cast)
    draft = change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=by)
    publish_guide(text=SMALL.replace("minutes = 60", "minutes = 90"), by=PROGRAM)
    with pytest.raises(Conflict, match="Revision 2 was published since"):
        publish_draft(draft=draft, version=2, by=by)
    with pytest.raises(Stale):
        follow_newest(draft=draft, number=3, version=2, by=by)
    draft = follow_newest(draft=draft, number=2, version=2, by=by)
    assert publish_draft(draft=draft, version=3, by=by).number == 3


def test_a_guide_that_cannot_work_is_not_published(revision: GuideRevision, cast: Cast) -> None:
    by = cast.actor("manager")
    draft = begun(revision, cast)
    row = bore(draft) | {"position": "NOWHERE"}
    draft = change_entry(draft=draft, table="feature", row=row, version=1, by=by)
    with pytest.raises(GuideRefused, match="There is no position NOWHERE"):
        publish_draft(draft=draft, version=2, by=by)
    assert GuideDraft.objects.filter(pk=draft.pk, version=2).exists()


@pytest.mark.parametrize(
    ("table", "row", "field", "words"),
    [
        ("remedy", {"code": "FACE", "name": "Face it", "restores": []}, "minutes", "missing"),
        ("remedy", {"code": "FACE", "name": "F", "restores": [], "minutes": -1}, "minutes", "whole number"),
        ("check", {"code": "BORE", "position": "CASE", "kind": "measure", "title": ""}, "title", "1 to 160"),
        ("remedy", {"code": "FACE", "name": "F", "restores": [], "minutes": 1, "x": 1}, "rest", "not known"),
        ("guide", {"family": "X2", "name": "n", "maker": "m", "note": "", "oil": ""}, "family", "stays"),
    ],
)
def test_an_entry_that_is_wrong_by_itself_is_refused_beside_its_key(
    revision: GuideRevision, cast: Cast, table: str, row: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        change_entry(draft=begun(revision, cast), table=table, row=row, version=1, by=cast.actor("manager"))
    assert words in refused.value.errors[field]


def test_a_new_entry_needs_a_code_of_its_own(revision: GuideRevision, cast: Cast) -> None:
    by = cast.actor("manager")
    draft = begun(revision, cast)
    row = {"code": "FACE", "name": "Another", "minutes": 5, "restores": ["WIDTH"]}
    with pytest.raises(Refusal, match="already"):
        change_entry(draft=draft, table="remedy", row=row, version=1, new=True, by=by)
    draft = change_entry(
        draft=draft, table="remedy", row=row | {"code": "FACE-2"}, version=1, new=True, by=by
    )
    assert entry_of(draft.document, "remedy", "FACE-2") is not None


def test_a_published_position_is_retired_and_comes_back_under_its_code(
    revision: GuideRevision, cast: Cast
) -> None:
    by = cast.actor("manager")
    draft = begun(revision, cast)
    with pytest.raises(Conflict, match="named by step S1"):
        remove_entry(draft=draft, table="position", code="LID", version=1, by=by)
    step = entry_of(draft.document, "step", "S1")
    assert step is not None
    draft = change_entry(draft=draft, table="step", row=step | {"positions": ["CASE"]}, version=1, by=by)
    draft = remove_entry(draft=draft, table="position", code="LID", version=2, by=by)
    again = remove_entry(draft=draft, table="position", code="LID", version=3, by=by)
    assert again.version == 3
    publish_draft(draft=draft, version=3, by=by)
    lid = Position.objects.get(code="LID")
    assert lid.retired_at is not None
    draft = begun(revision, cast)
    row = {"code": "LID", "number": 4, "name": "Remote cover", "variants": ["RC"]}
    draft = change_entry(draft=draft, table="position", row=row, version=1, new=True, by=by)
    publish_draft(draft=draft, version=2, by=by)
    lid.refresh_from_db()
    assert lid.retired_at is None


def test_a_draft_from_a_file_makes_a_family_when_it_is_published(cast: Cast) -> None:
    by = cast.actor("manager")
    draft = begin_draft_from_file(text=SMALL, by=by)
    assert (draft.family_code, draft.begun_from) == ("X1", None)
    assert not Family.objects.exists()
    assert begin_draft_from_file(text=SMALL, by=by).pk == draft.pk
    with pytest.raises(Conflict, match="begun already"):
        begin_draft_from_file(text=SMALL.replace("minutes = 60", "minutes = 61"), by=by)
    made = publish_draft(draft=draft, version=1, by=by)
    assert (made.number, made.family.code) == (1, "X1")


def test_a_file_that_cannot_be_edited_names_its_lines(cast: Cast) -> None:
    with pytest.raises(Refusal) as refused:
        begin_draft_from_file(
            text=SMALL.replace("minutes = 60", 'minutes = "long"'), by=cast.actor("manager")
        )
    line = SMALL[: SMALL.index("minutes = 60")].count("\n") + 1
    assert f"Line {line}, remedy FACE.minutes" in refused.value.errors["file"]
    assert not GuideDraft.objects.exists()


def test_throwing_away_leaves_what_is_published(revision: GuideRevision, cast: Cast) -> None:
    draft = begun(revision, cast)
    throw_away_draft(draft=draft, version=1, by=cast.actor("manager"))
    throw_away_draft(draft=draft, version=1, by=cast.actor("manager"))
    assert not GuideDraft.objects.exists()
    assert Audit.objects.filter(deed="draft thrown away").count() == 1
    with pytest.raises(Conflict):
        change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=cast.actor("manager"))


def test_only_the_office_writes(revision: GuideRevision, cast: Cast) -> None:
    draft = begun(revision, cast)
    for name in ("front_desk", "technician", "lead", "stores"):
        with pytest.raises(Denied):
            change_entry(draft=draft, table="feature", row=bore(draft), version=1, by=cast.actor(name))
        with pytest.raises(Denied):
            publish_draft(draft=draft, version=1, by=cast.actor(name))
        with pytest.raises(Denied):
            draft_for(cast.actor(name), "X1")
    with pytest.raises(NotThere):
        begin_draft(family=revision.family, by=actor_for(cast.supplier))


@pytest.mark.django_db(transaction=True)
def test_two_who_save_one_entry_at_once_are_told_apart(cast: Cast) -> None:
    """Whatever the database locks, one is saved and the others are told."""
    draft = begun(publish_guide(text=SMALL, by=PROGRAM), cast)
    rows = [bore(draft, 26.03 + n / 100) for n in range(4)]
    by = cast.actor("manager")
    answers = at_once(4, lambda n: change_entry(draft=draft, table="feature", row=rows[n], version=1, by=by))
    assert sum(isinstance(one, GuideDraft) for one in answers) == 1
    assert sum(isinstance(one, Stale) for one in answers) == 3
    draft.refresh_from_db()
    assert draft.version == 2
