"""Pages and calls by which an examination changes its ground: revision of the guide, variant of the unit."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from inspections.guiding.guides import publish_guide
from inspections.models import Examination
from shop.access import PROGRAM
from shop.models import Ticket
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import open_ticket, read_all, strip_unit
from tests.inspections.small import SMALL
from tests.inspections.test_adopting import NEW_CHECK, NEW_DEFECT, NEW_POSITION
from tests.inspections.test_varying import BOTH

pytestmark = pytest.mark.django_db
ADOPT = "/bench/2401/revision"
VARY = "/bench/2401/variant"
GUIDE = "/api/v1/tickets/2401/guide"


@pytest.fixture
def held(cast: Cast) -> Examination:
    examination = strip_unit(cast.actor("technician"), text=BOTH)
    read_all(examination, cast.actor("technician"))
    return examination


def newer(text: str = "") -> None:
    publish_guide(text=text or BOTH.replace("wear = 100.3", "wear = 100.25"), by=PROGRAM)


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def send(client: Client, url: str, **body: Any) -> Any:
    return client.post(url, json.dumps(body), content_type="application/json")


@pytest.fixture
def lead(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.lead)


# --- who


@pytest.mark.parametrize("url", [ADOPT, VARY])
@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("front_desk", 200),
        ("technician", 200),
        ("lead", 200),
        ("stores", 200),
        ("manager", 200),
        ("owner", 200),
        ("supplier", 404),
        ("stranger", 403),
    ],
)
def test_who_may_look(
    url: str, who: str, status: int, held: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    assert signed_in(getattr(cast, who)).get(url).status_code == status


@pytest.mark.parametrize(
    ("who", "adopts", "varies"),
    [
        ("front_desk", 403, 403),
        ("technician", 403, 302),
        ("lead", 302, 302),
        ("stores", 403, 403),
        ("manager", 302, 403),
        ("owner", 302, 302),
        ("supplier", 404, 404),
        ("stranger", 403, 403),
    ],
)
def test_who_may_change(
    who: str, adopts: int, varies: int, held: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    newer()
    client = signed_in(getattr(cast, who))
    assert client.post(ADOPT, {"revision": "2"}).status_code == adopts
    assert client.post(VARY, {"variant": "RC", "why": "It has the cover."}).status_code == varies


# --- the revision


def test_a_newer_revision_is_shown_and_adopted(held: Examination, lead: Client) -> None:
    assert "No newer revision" in text_of(lead.get(ADOPT))
    newer()
    page = text_of(lead.get(ADOPT))
    for words in ("What revision 2 changes", "8 readings still apply", "100.3", "100.25", "Adopt revision 2"):
        assert words in page
    answer = lead.post(ADOPT, {"revision": "2"}, follow=True)
    assert "examined under revision 2 now" in text_of(answer)
    held.refresh_from_db()
    assert held.revision.number == 2


def test_new_positions_are_asked_for(held: Examination, lead: Client) -> None:
    plug = NEW_POSITION.replace("number = 5", "number = 6")
    newer((BOTH + NEW_CHECK + NEW_DEFECT).replace("\n[[feature]]", plug + "\n[[feature]]", 1))
    page = text_of(lead.get(ADOPT))
    assert "New positions: which are empty?" in page
    assert "Plug" in page
    lead.post(ADOPT, {"revision": "2", "missing": ["PLUG"]})
    assert "missing" in text_of(lead.get("/bench/2401/PLUG"))


def test_after_the_quote_the_page_says_why_not(held: Examination, lead: Client) -> None:
    newer()
    Ticket.objects.update(stage="quoted")
    page = text_of(lead.get(ADOPT))
    assert "bring it back to examined first" in page
    answer = lead.post(ADOPT, {"revision": "2"})
    assert answer.status_code == 409
    assert "bring it back to examined first" in text_of(answer)


def test_the_unit_page_leads_there(held: Examination, lead: Client) -> None:
    page = text_of(lead.get("/bench/2401"))
    assert ADOPT in page
    assert VARY in page


def test_there_is_nothing_to_adopt_before_it_is_stripped(cast: Cast, lead: Client) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    open_ticket()
    assert lead.get(ADOPT).status_code == 404
    assert lead.get("/bench/9999/revision").status_code == 404


def test_readings_that_are_set_aside_are_struck_and_say_why(held: Examination, lead: Client) -> None:
    newer(BOTH.replace('places = ["left", "right"]', 'places = ["top", "bottom"]'))
    assert "no place “left” now" in text_of(lead.get(ADOPT))
    lead.post(ADOPT, {"revision": "2"})
    page = text_of(lead.get("/bench/2401/CASE?check=WIDTH"))
    assert page.count("under an earlier revision of the guide") == 2


# --- the variant


def test_another_variant_is_shown_and_said(held: Examination, lead: Client) -> None:
    page = text_of(lead.get(VARY))
    for words in (
        ", remote change</h2>",
        "X1-101",
        "X1-102",
        "Floor cover",
        "It is a Small box, remote change",
    ):
        assert words in page
    answer = lead.post(VARY, {"variant": "RC", "why": "It has the remote cover.", "missing": []}, follow=True)
    assert "The unit is a Small box, remote change, now" in text_of(answer)
    assert Ticket.objects.get().variant.code == "RC"


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({"variant": "RC", "why": ""}, "why"),
        ({"variant": "RC", "why": "x" * 201}, "why"),
        ({"variant": "RC", "why": "It is.", "missing": ["CASE"]}, "__all__"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    sent: dict[str, Any], field: str, held: Examination, lead: Client
) -> None:
    answer = lead.post(VARY, sent)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert form.errors[field]
    assert form["why"].value() == sent["why"]
    assert Ticket.objects.get().variant.code == "FC"


def test_the_counter_says_it_before_it_is_stripped(cast: Cast, signed_in: SignedIn) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    open_ticket()
    desk = signed_in(cast.front_desk)
    assert "not stripped yet" in text_of(desk.get(VARY))
    assert desk.post(VARY, {"variant": "RC", "why": "The plate says so."}).status_code == 302
    assert Ticket.objects.get().variant.code == "RC"


# --- the API


def test_the_api_tells_and_adopts(held: Examination, lead: Client) -> None:
    assert lead.get(GUIDE).json() == {"ticket": 2401, "revision": 1, "newer": [], "plan": None}
    newer()
    told = lead.get(GUIDE).json()
    assert (told["newer"], told["plan"]["revision"], told["plan"]["kept"]) == ([2], 2, 8)
    assert told["plan"]["changed"][0]["changes"] == [
        {"what": "limit standard, wear limit, mm", "before": "100.3", "after": "100.25"}
    ]
    done = send(lead, GUIDE, revision=2)
    assert done.status_code == 200
    assert (done.json()["revision"], done.json()["plan"]["set_aside"]) == (2, [])
    again = send(lead, GUIDE, revision=2).json()
    assert again["plan"] is None
    assert lead.get("/api/v1/tickets/2401/findings").json()["guide_revision"] == 2


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"revision": 9}, 404),
        ({"revision": 0}, 422),
        ({"revision": "two"}, 422),
        ({"revision": 2, "colour": 1}, 422),
        ({"revision": 2, "missing": ["CASE"]}, 422),
    ],
)
def test_the_api_refuses(body: dict[str, Any], status: int, held: Examination, lead: Client) -> None:
    newer()
    answer = send(lead, GUIDE, **body)
    assert answer.status_code == status
    assert answer.headers["Content-Type"].startswith("application/problem+json")
    held.refresh_from_db()
    assert held.revision.number == 1


@pytest.mark.parametrize(
    ("who", "status"),
    [("technician", 403), ("front_desk", 403), ("supplier", 404), ("stranger", 403), ("manager", 200)],
)
def test_who_adopts_by_the_api(
    who: str, status: int, held: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    newer()
    assert send(signed_in(getattr(cast, who)), GUIDE, revision=2).status_code == status


def test_after_the_quote_the_api_says_conflict(held: Examination, lead: Client) -> None:
    newer()
    Ticket.objects.update(stage="agreed")
    assert send(lead, GUIDE, revision=2).status_code == 409


def test_the_api_changes_the_variant(held: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    url = "/api/v1/tickets/2401/variant"
    done = send(client, url, variant="RC", why="It has the remote cover.")
    assert done.status_code == 200
    plan = done.json()["plan"]
    assert (plan["new_positions"], plan["kept"], plan["gone"]) == (["LID"], 8, ["LK-COVER"])
    assert len(plan["aside"]) == 1
    assert send(client, url, variant="RC", why="Again.").json()["plan"] is None
    assert send(client, url, variant="ZZ", why="x").status_code == 422
    assert send(client, url, variant="FC").json()["errors"][0]["field"] == "why"
    assert send(signed_in(cast.front_desk), url, variant="FC", why="No.").status_code == 403
