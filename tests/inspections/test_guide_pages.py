"""Pages of guides and drafts as a browser without JavaScript uses them."""

import tomllib
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from inspections.guiding import drafting
from inspections.guiding.drafting import begin_draft, change_entry
from inspections.guiding.drafts import entry_of
from inspections.guiding.guides import publish_guide
from inspections.models import GuideDraft, GuideRevision
from shop.access import PROGRAM
from shop.models import Position
from tests.conftest import Cast, SignedIn
from tests.inspections.small import SMALL
from tests.inspections.test_publishing import DEMONSTRATION

pytestmark = pytest.mark.django_db
GUIDES = "/office/guides/"
DRAFT = "/office/guides/X1/draft"
BORE = f"{DRAFT}/feature/CASE.B"


@pytest.fixture
def revision(db: None) -> GuideRevision:
    return publish_guide(text=SMALL, by=PROGRAM)


@pytest.fixture
def draft(revision: GuideRevision, cast: Cast) -> GuideDraft:
    return begin_draft(family=revision.family, by=cast.actor("manager"))


@pytest.fixture
def manager(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.manager)


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def typed(client: Client, url: str, **other: Any) -> dict[str, Any]:
    """What the form of a page holds, as a browser would send it, with some of it typed anew."""
    form = client.get(url).context["form"]
    sent = {}
    for name in form.fields:
        value = form[name].value()
        if value not in (None, False, ""):
            sent[name] = value
    return sent | other


@pytest.mark.parametrize("who", ["manager", "owner"])
def test_the_office_reads_and_writes(who: str, draft: GuideDraft, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(getattr(cast, who))
    for url in (
        GUIDES,
        f"{GUIDES}X1",
        f"{GUIDES}X1/1",
        f"{GUIDES}X1/1.toml",
        DRAFT,
        f"{DRAFT}.toml",
        f"{DRAFT}/publish",
        f"{DRAFT}/guide",
        f"{DRAFT}/drawing",
        BORE,
        f"{DRAFT}/position/new",
        f"{DRAFT}/check/new",
        f"{DRAFT}/check/new?kind=measure&position=CASE",
    ):
        assert client.get(url).status_code == 200, url


@pytest.mark.parametrize("who", ["front_desk", "technician", "lead", "stores"])
def test_colleagues_are_refused(who: str, draft: GuideDraft, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(getattr(cast, who))
    for url in (GUIDES, f"{GUIDES}X1", f"{GUIDES}X1/1", f"{GUIDES}X1/1.toml", DRAFT, BORE):
        assert client.get(url).status_code == 403, url
    assert client.post(f"{DRAFT}/publish", {"deed": "publish", "version": 1}).status_code == 403
    assert client.post(BORE, {"version": 1}).status_code == 403
    assert client.post(f"{GUIDES}X1").status_code == 403


@pytest.mark.parametrize("who", ["supplier", "stranger"])
def test_strangers_find_nothing(who: str, draft: GuideDraft, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(getattr(cast, who))
    expected = 404 if who == "supplier" else 403
    for url in (GUIDES, f"{GUIDES}X1", f"{GUIDES}X1/1", DRAFT, BORE):
        assert client.get(url).status_code == expected, url


def test_nobody_signed_in_is_sent_to_the_door(draft: GuideDraft, client: Client) -> None:
    assert client.get(DRAFT).headers["Location"].startswith("/sign-in")


def test_the_list_names_what_is_published_and_what_is_written(draft: GuideDraft, manager: Client) -> None:
    page = text_of(manager.get(GUIDES))
    assert "Revision 1" in page
    assert "Draft of X1" in page


def test_a_revision_is_read_whole_and_as_a_file(revision: GuideRevision, manager: Client) -> None:
    page = text_of(manager.get(f"{GUIDES}X1/1"))
    for words in ("Small box, revision 1", "casing bore", "26 to 26.021", "Braze the lug", "Shaft in."):
        assert words in page
    answer = manager.get(f"{GUIDES}X1/1.toml")
    assert tomllib.loads(text_of(answer)) == revision.document
    assert 'filename="x1_revision_1.toml"' in answer.headers["Content-Disposition"]
    assert manager.get(f"{GUIDES}X1/9").status_code == 404
    assert manager.get(f"{GUIDES}NONE").status_code == 404


def test_a_newer_revision_says_what_it_changed(revision: GuideRevision, manager: Client) -> None:
    publish_guide(text=SMALL.replace("26.021", "26.025"), by=PROGRAM)
    page = text_of(manager.get(f"{GUIDES}X1/2"))
    assert "What it changed of revision 1" in page
    assert "26 to 26.021" in page
    assert "26 to 26.025" in page


def test_a_draft_is_begun_from_the_newest_or_from_an_older_one(
    revision: GuideRevision, manager: Client
) -> None:
    publish_guide(text=SMALL.replace("26.021", "26.025"), by=PROGRAM)
    assert manager.post(f"{GUIDES}X1").headers["Location"] == DRAFT
    assert GuideDraft.objects.get().begun_from == 2
    GuideDraft.objects.all().delete()
    manager.post(f"{GUIDES}X1", {"revision": "1"})
    assert GuideDraft.objects.get().begun_from == 1


def test_a_file_becomes_a_draft(cast: Cast, manager: Client) -> None:
    file = SimpleUploadedFile("small.toml", SMALL.encode())
    answer = manager.post(GUIDES, {"file": file})
    assert answer.headers["Location"] == DRAFT
    assert text_of(manager.get(f"{DRAFT}/publish")).count("Publish revision 1") == 1
    answer = manager.post(f"{DRAFT}/publish", {"deed": "publish", "version": 1})
    assert answer.headers["Location"] == f"{GUIDES}X1/1"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "needs a [guide] table"),
        (b"\xff\xfe", "not UTF-8 text"),
        (b"[guide", "not TOML"),
        (SMALL.replace("minutes = 60", "minutes = -1").encode(), "remedy FACE.minutes"),
    ],
)
def test_a_file_that_cannot_be_used_is_answered_beside_the_field(
    content: bytes, words: str, cast: Cast, manager: Client
) -> None:
    answer = manager.post(GUIDES, {"file": SimpleUploadedFile("x.toml", content)})
    assert answer.status_code == 422
    assert words in str(answer.context["form"].errors["file"])
    assert not GuideDraft.objects.exists()


# --- entries


def test_a_limit_is_changed_in_its_form(draft: GuideDraft, manager: Client) -> None:
    answer = manager.post(BORE, typed(manager, BORE, limit__0__new__high="26.030"))
    assert answer.headers["Location"] == f"{DRAFT}#feature"
    draft.refresh_from_db()
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    assert row["limit"] == [
        {"new": [26.0, 26.03]},
        {"size": "oversize", "new": [26.1, 26.121]},
    ]
    assert row["form"] == 0.012
    page = text_of(manager.get(f"{DRAFT}/publish"))
    assert "limit standard, new size, mm" in page
    assert "26 to 26.021" in page
    assert "26 to 26.03" in page


def test_there_is_room_for_another_row_however_often_it_comes_back(
    draft: GuideDraft, manager: Client
) -> None:
    form = manager.get(BORE).context["form"]
    assert "limit__3__size" in form.fields
    assert "limit__4__size" not in form.fields
    answer = manager.post(BORE, typed(manager, BORE, name="", limit__2__size="undersize"))
    again = answer.context["form"]
    assert again["limit__2__size"].value() == "undersize"
    assert "limit__4__size" in again.fields
    assert "limit__5__size" not in again.fields


def test_the_newest_revision_stands_first(revision: GuideRevision, manager: Client) -> None:
    publish_guide(text=SMALL.replace("26.021", "26.025"), by=PROGRAM)
    page = text_of(manager.get(f"{GUIDES}X1"))
    assert page.index("Revision 2") < page.index("Revision 1")


def test_a_limit_is_typed_in_inches_and_a_size_is_added(draft: GuideDraft, manager: Client) -> None:
    more = {
        "limit__1__new__high": "1.03 in",
        "limit__2__size": "undersize",
        "limit__2__new__low": "25.9",
        "limit__2__new__high": "25.921",
        "limit__2__wear": "25.95",
    }
    manager.post(BORE, typed(manager, BORE, **more))
    draft.refresh_from_db()
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    assert row["limit"][1]["new"] == [26.1, 26.162]
    assert row["limit"][2] == {"size": "undersize", "new": [25.9, 25.921], "wear": 25.95}


def test_an_entry_in_inches_is_typed_in_inches(draft: GuideDraft, manager: Client) -> None:
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    inches = row | {"unit": "in", "limit": [{"new": [1.0236, 1.0244]}], "form": 0.0005}
    change_entry(draft=draft, table="feature", row=inches, version=1, by=PROGRAM)
    manager.post(BORE, typed(manager, BORE, limit__0__new__high="1.025", limit__0__wear="26.0604 mm"))
    draft.refresh_from_db()
    assert entry_of(draft.document, "feature", "CASE.B") == inches | {
        "limit": [{"new": [1.0236, 1.025], "wear": 1.026}]
    }
    assert "limit standard, wear limit, in" in text_of(manager.get(f"{DRAFT}/publish"))


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("limit__0__new__high", "thick", "does not start with a number"),
        ("limit__0__new__high", "", "“New, to” is missing"),
        ("limit__0__wear", "26 kg", "kg"),
        ("form", "26 N", "N"),
        ("name", "", "Name is missing"),
        ("rest", "[", "not TOML"),
        ("rest", 'name = "twice"', "in its own field"),
        ("rest", "colour = 3", "colour is not known here"),
    ],
)
def test_what_cannot_be_used_stands_beside_its_field_and_nothing_is_lost(
    field: str, text: str, words: str, draft: GuideDraft, manager: Client
) -> None:
    sent = typed(manager, BORE, source="typed and kept", **{field: text})
    answer = manager.post(BORE, sent)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert words in str(form.errors[field])
    assert form["source"].value() == "typed and kept"
    assert (form[field].value() or "") == text
    draft.refresh_from_db()
    assert draft.version == 1


def test_a_person_with_a_decimal_comma_changes_nothing_by_saving(
    draft: GuideDraft, cast: Cast, manager: Client
) -> None:
    cast.manager.decimal_mark = ","
    cast.manager.save()
    manager.post(BORE, typed(manager, BORE, name="main bore"))
    draft.refresh_from_db()
    before = entry_of(tomllib.loads(SMALL), "feature", "CASE.B")
    assert before is not None
    assert entry_of(draft.document, "feature", "CASE.B") == before | {"name": "main bore"}


def test_two_managers_at_one_entry(draft: GuideDraft, cast: Cast, manager: Client) -> None:
    sent = typed(manager, BORE, limit__0__new__high="26.04")
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    change_entry(draft=draft, table="feature", row=row | {"form": 0.02}, version=1, by=cast.actor("owner"))
    answer = manager.post(BORE, sent)
    assert answer.status_code == 412
    page = text_of(answer)
    assert "was changed since you opened it" in page
    assert "What stands now, against what you typed" in page
    assert answer.context["form"]["limit__0__new__high"].value() == "26.04"
    assert "0.02" in page
    # Having read that, the second save is meant.
    again = sent | {"version": answer.context["form"]["version"].value()}
    assert manager.post(BORE, again).status_code == 302
    draft.refresh_from_db()
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    assert row["limit"][0]["new"] == [26.0, 26.04]


def test_the_checker_speaks_beside_the_field(draft: GuideDraft, manager: Client) -> None:
    url = f"{DRAFT}/check/BORE"
    answer = manager.post(url, typed(manager, url, remedies="FACE, NOWHERE"))
    assert answer.headers["Location"] == url
    answer = manager.get(url)
    assert "There is no remedy NOWHERE" in str(answer.context["form"].errors["remedies"])
    page = text_of(manager.get(DRAFT))
    assert "check BORE.remedies" in page
    assert f'href="{url}"' in page
    row = next(one for one in manager.get(DRAFT).context["problems"] if "NOWHERE" in one["problem"].message)
    lines = text_of(manager.get(f"{DRAFT}.toml")).splitlines()
    block = "\n".join(lines[row["problem"].line - 1 : row["problem"].line + 12])
    assert "NOWHERE" in block
    answer = manager.post(f"{DRAFT}/publish", {"deed": "publish", "version": 2})
    assert answer.status_code == 422
    assert "cannot be published yet" in text_of(answer)
    assert GuideRevision.objects.count() == 1


def test_a_position_a_check_a_defect_and_a_remedy_are_added(draft: GuideDraft, manager: Client) -> None:
    def add(table: str, query: str = "", **said: Any) -> None:
        url = f"{DRAFT}/{table}/new{query}"
        answer = manager.post(url, typed(manager, url, **said))
        assert answer.status_code == 302, answer.context["form"].errors

    add("position", code="PLUG", number="5", name="Plug", variants=["RC"])
    add("check", "?kind=look&position=PLUG", code="LK-PLUG", title="Plug", kind="look")
    add("remedy", code="NEWPLUG", name="New plug", minutes="3", restores="LK-PLUG", fails="0,05")
    add("defect", "?check=LK-PLUG", code="ROUNDED", name="rounded off", remedies="NEWPLUG")
    draft.refresh_from_db()
    document = draft.document
    assert entry_of(document, "position", "PLUG") == {
        "code": "PLUG",
        "number": 5,
        "name": "Plug",
        "variants": ["RC"],
    }
    assert entry_of(document, "check", "LK-PLUG") == {
        "code": "LK-PLUG",
        "kind": "look",
        "position": "PLUG",
        "title": "Plug",
    }
    assert entry_of(document, "remedy", "NEWPLUG") == {
        "code": "NEWPLUG",
        "name": "New plug",
        "minutes": 3,
        "restores": ["LK-PLUG"],
        "fails": 0.05,
    }
    assert entry_of(document, "defect", "ROUNDED") == {
        "code": "ROUNDED",
        "check": "LK-PLUG",
        "name": "rounded off",
        "remedies": ["NEWPLUG"],
    }
    answer = manager.post(f"{DRAFT}/publish", {"deed": "publish", "version": draft.version})
    assert answer.status_code == 302
    assert Position.objects.filter(code="PLUG").exists()


def test_a_new_entry_with_a_code_that_stands_is_refused(draft: GuideDraft, manager: Client) -> None:
    url = f"{DRAFT}/remedy/new"
    answer = manager.post(url, typed(manager, url, code="FACE", name="Again", minutes="1", restores="WIDTH"))
    assert answer.status_code == 422
    assert "already" in str(answer.context["form"].errors["code"])
    answer = manager.post(url, typed(manager, url, code="no code", name="x", minutes="1", restores="WIDTH"))
    assert "code of capitals" in str(answer.context["form"].errors["code"])


def test_a_check_is_asked_for_its_kind_first(draft: GuideDraft, manager: Client) -> None:
    page = text_of(manager.get(f"{DRAFT}/check/new?position=CASE"))
    assert "Kind of check" in page
    assert "Choose the kind from the list" in text_of(manager.get(f"{DRAFT}/check/new?kind=dance"))
    measure = manager.get(f"{DRAFT}/check/new?kind=measure").context["form"].fields
    look = manager.get(f"{DRAFT}/check/new?kind=look").context["form"].fields
    assert "gauge_um" in measure
    assert "gauge_um" not in look


def test_taking_out_and_retiring(draft: GuideDraft, manager: Client) -> None:
    page = text_of(manager.get(f"{DRAFT}/position/LID"))
    assert "Named by <a" in page
    answer = manager.post(f"{DRAFT}/position/LID", {"deed": "remove", "version": 1})
    assert answer.status_code == 409
    step = f"{DRAFT}/step/S1"
    manager.post(step, typed(manager, step, positions="CASE"))
    assert "Retire the position" in text_of(manager.get(f"{DRAFT}/position/LID"))
    answer = manager.post(f"{DRAFT}/position/LID", {"deed": "remove", "version": 2})
    assert answer.status_code == 302
    answer = manager.post(f"{DRAFT}/defect/RUST", {"deed": "remove", "version": 3}, follow=True)
    assert "taken out of the draft" in text_of(answer)
    answer = manager.post(f"{DRAFT}/publish", {"deed": "publish", "version": 4})
    assert answer.status_code == 302
    assert Position.objects.get(code="LID").retired_at is not None


def test_the_head_and_the_drawing(draft: GuideDraft, manager: Client) -> None:
    head = f"{DRAFT}/guide"
    manager.post(head, typed(manager, head, oil="SAE 90", cautions="Heavy.\n\nSharp edges."))
    draft.refresh_from_db()
    assert draft.document["guide"]["cautions"] == ["Heavy.", "Sharp edges."]
    assert draft.document["guide"]["family"] == "X1"
    drawing = f"{DRAFT}/drawing"
    answer = manager.post(drawing, {"version": 2, "rest": "centre_mm = 84.0\n[[drawing.part]]\nx = 1"})
    assert answer.status_code == 302
    draft.refresh_from_db()
    assert draft.document["drawing"] == {"centre_mm": 84.0, "part": [{"x": 1}]}
    assert "drawing" in text_of(manager.get(DRAFT))
    answer = manager.post(drawing, {"version": 3, "rest": "a = 1\n[guide]\nb = 2"})
    assert answer.status_code == 422


def test_throwing_away(draft: GuideDraft, manager: Client) -> None:
    answer = manager.post(f"{DRAFT}/publish", {"deed": "throw away", "version": 1})
    assert answer.headers["Location"] == GUIDES
    assert not GuideDraft.objects.exists()
    assert manager.get(DRAFT).status_code == 404
    answer = manager.post(f"{DRAFT}/publish", {"deed": "publish", "version": 1}, follow=True)
    assert answer.redirect_chain == [(GUIDES, 302)]
    assert "This draft is gone" in text_of(answer)


def test_what_was_typed_outlives_the_draft(draft: GuideDraft, cast: Cast, manager: Client) -> None:
    url = f"{DRAFT}/remedy/FACE"
    sent = typed(manager, url, name="Face it <twice>")
    publish_nothing = {"deed": "throw away", "version": draft.version}
    manager.post(f"{DRAFT}/publish", publish_nothing)
    for address in (url, f"{DRAFT}/remedy/new"):
        answer = manager.post(address, sent)
        assert answer.status_code == 409
        page = text_of(answer)
        assert "This draft is gone" in page
        assert "Face it &lt;twice&gt;" in page
        assert "csrfmiddlewaretoken</dt>" not in page
    assert not GuideDraft.objects.exists()


def test_a_draft_that_goes_while_it_is_saved(
    draft: GuideDraft, manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the page's look at the draft and the rule's lock somebody publishes it."""
    url = f"{DRAFT}/remedy/FACE"
    sent = typed(manager, url, name="Face it twice")

    def late(**facts: Any) -> GuideDraft:
        GuideDraft.objects.all().delete()
        return change_entry(**facts)

    monkeypatch.setattr(drafting, "change_entry", late)
    answer = manager.post(url, sent)
    assert answer.status_code == 409
    assert "Face it twice" in text_of(answer)


def test_a_limit_upside_down_is_said_at_its_own_figure(draft: GuideDraft, manager: Client) -> None:
    sent = typed(manager, BORE, limit__1__new__low="26.121", limit__1__new__high="26.1")
    assert manager.post(BORE, sent).headers["Location"] == BORE
    errors = manager.get(BORE).context["form"].errors
    assert [*errors] == ["limit__1__new__low"]
    assert "upside down" in str(errors)


def test_a_code_keeps_its_letters_in_a_message(draft: GuideDraft, cast: Cast, manager: Client) -> None:
    row = entry_of(draft.document, "feature", "CASE.B")
    assert row is not None
    sent = typed(manager, BORE, form="0.02")
    change_entry(draft=draft, table="feature", row=row | {"form": 0.03}, version=1, by=cast.actor("owner"))
    assert "Feature CASE.B was changed" in text_of(manager.post(BORE, sent))


def test_what_names_an_entry_is_a_link_to_it(draft: GuideDraft, manager: Client) -> None:
    assert f'<a href="{DRAFT}/step/S1">step S1</a>' in text_of(manager.get(f"{DRAFT}/position/LID"))


def test_publishing_a_draft_that_changed_says_so(draft: GuideDraft, cast: Cast, manager: Client) -> None:
    row = entry_of(draft.document, "remedy", "FACE")
    assert row is not None
    change_entry(draft=draft, table="remedy", row=row | {"minutes": 7}, version=1, by=cast.actor("owner"))
    answer = manager.post(f"{DRAFT}/publish", {"deed": "publish", "version": 1})
    assert answer.status_code == 412
    assert "since you opened the page" in text_of(answer)


def test_every_entry_of_the_demonstration_survives_its_form(cast: Cast, manager: Client) -> None:
    """Opening each form and sending it as it stands changes nothing."""
    revision = publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    draft = begin_draft(family=revision.family, by=cast.actor("manager"))
    some = [("position", "LID"), ("bond", None), ("feature", None), ("step", "B01"), ("defect", None)]
    kinds = {row["kind"]: row["code"] for row in draft.document["check"]}
    some += [("check", code) for code in kinds.values()] + [("remedy", None), ("complaint", None)]
    for table, named in some:
        rows = draft.document.get(table, [])
        code = named or rows[0]["code"]
        url = f"/office/guides/H4/draft/{table}/{code}"
        answer = manager.post(url, typed(manager, url))
        assert answer.status_code == 302, (url, answer.context["form"].errors)
    draft.refresh_from_db()
    assert draft.version == 1
    assert draft.document == revision.document
