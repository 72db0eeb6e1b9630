"""Guides and donors in real Chromium: a limit goes from a draft to a ticket; no barrier anywhere."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from inspections.donors.stripping import strip_donor
from inspections.guiding.drafting import begin_draft, change_entry
from inspections.guiding.drafts import entry_of
from inspections.guiding.guides import publish_guide
from inspections.models import Examination, GuideDraft, GuideRevision
from inspections.readings.findings import judgement_of
from inventory.donors import buy_donor, share_cost
from inventory.models import Bin, Donor, Piece
from shop.access import PROGRAM
from shop.models import Variant
from tests.conftest import PASSWORD, Cast
from tests.inspections.shop import make_gauges, open_ticket, read, read_all, strip_unit
from tests.inspections.test_bench_browser import RULES
from tests.inspections.test_publishing import DEMONSTRATION
from tests.inspections.test_varying import BOTH

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def open_page(chromium: Any, live_server: LiveServer, cast: Cast) -> Iterator[Any]:
    """Opens a context of a person who has signed in by the form."""
    contexts = []

    def open_as(name: str, **options: Any) -> Page:
        options = {"viewport": {"width": 1440, "height": 1000}, "reduced_motion": "reduce"} | options
        context = chromium.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        page: Page = context.new_page()
        page.goto("/bench/")
        page.get_by_label("Name").fill(getattr(cast, name).username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/bench/")
        return page

    yield open_as
    for context in contexts:
        context.close()


def test_a_limit_goes_from_a_draft_to_a_ticket(open_page: Any, cast: Cast) -> None:
    held = strip_unit(cast.actor("technician"), text=BOTH)
    read_all(held, cast.actor("technician"))
    assert judgement_of(held).of_check("DIAMETER")[0].state == "within"

    office = open_page("manager")
    office.goto("/office/")
    office.get_by_role("link", name="Guides").click()
    office.get_by_role("link", name="X1 Small box").click()
    office.get_by_role("button", name="Begin a draft").click()
    office.get_by_role("link", name="SHAFT.D").click()
    # What cannot be read stands beside its field, with everything that was typed.
    office.locator("#id_limit__0__wear").fill("26 kg")
    office.locator("#id_source").fill("The shop's own, invented")
    office.get_by_role("button", name="Save in the draft").click()
    expect(office.locator(".summary")).to_contain_text("kg")
    expect(office.locator("#id_source")).to_have_value("The shop's own, invented")
    # A wear limit inside the new limits is a fault of the guide: saved, and said beside the field.
    office.locator("#id_limit__0__wear").fill("25.985")
    office.get_by_role("button", name="Save in the draft").click()
    expect(office.locator(".summary")).to_contain_text("lies inside the new limits")
    office.locator("#id_limit__0__new__low").fill("25.990 mm")
    office.locator("#id_limit__0__wear").fill("25.988")
    office.get_by_role("button", name="Save in the draft").click()
    office.wait_for_url("**/draft#feature")
    office.get_by_role("link", name="What it changes, and publish").click()
    rows = office.locator(".differences tbody tr")
    expect(rows.filter(has_text="wear limit")).to_contain_text("25.96")
    expect(rows.filter(has_text="wear limit")).to_contain_text("25.988")
    office.get_by_role("button", name="Publish revision 2").click()
    office.wait_for_url("**/office/guides/X1/2")
    expect(office.locator(".note")).to_contain_text("Published: revision 2")
    assert not GuideDraft.objects.exists()

    bench = open_page("lead")
    bench.goto("/bench/2401")
    bench.get_by_role("link", name="guide revision 1").click()
    expect(bench.locator("main")).to_contain_text("8 readings still apply")
    expect(bench.locator(".differences")).to_contain_text("25.988")
    bench.get_by_role("button", name="Adopt revision 2").click()
    bench.wait_for_url("**/bench/2401")
    expect(bench.locator("main")).to_contain_text("guide revision 2")
    held.refresh_from_db()
    assert held.revision.number == 2
    assert judgement_of(held).of_check("DIAMETER")[0].state == "outside"


def test_two_managers_at_one_entry_see_each_other(open_page: Any, cast: Cast) -> None:
    revision = publish_guide(text=BOTH, by=PROGRAM)
    begin_draft(family=revision.family, by=cast.actor("manager"))
    one, two = open_page("manager"), open_page("owner")
    for page in (one, two):
        page.goto("/office/guides/X1/draft/remedy/FACE")
    one.locator("#id_minutes").fill("75")
    one.get_by_role("button", name="Save in the draft").click()
    one.wait_for_url("**/draft#remedy")
    two.locator("#id_minutes").fill("90")
    two.get_by_role("button", name="Save in the draft").click()
    expect(two.locator(".summary")).to_contain_text("was changed since you opened it")
    expect(two.locator("#standing")).to_be_visible()
    expect(two.locator("#id_minutes")).to_have_value("90")
    row = entry_of(GuideDraft.objects.get().document, "remedy", "FACE")
    assert row is not None
    assert row["minutes"] == 75


def test_a_donor_goes_to_its_bins(open_page: Any, cast: Cast) -> None:
    publish_guide(text=BOTH, by=PROGRAM)
    make_gauges()
    Bin.objects.create(code="D4")
    stores = open_page("stores")
    stores.goto("/stores/")
    stores.get_by_role("link", name="Donors").click()
    stores.get_by_label("Family and variant").select_option(label="X1 Small box, floor change")
    stores.get_by_label("What it cost").fill("240")
    stores.get_by_label("Bought of").fill("A breaker (invented)")
    stores.get_by_role("button", name="Write it down").click()
    stores.wait_for_url("**/stores/donors/1")
    stores.get_by_role("link", name="On the bench").first.click()
    stores.get_by_label("3 Seal").check()
    stores.get_by_role("button", name="The donor is stripped").click()
    stores.wait_for_url("**/bench/donors/1")
    bench = open_page("technician", viewport={"width": 820, "height": 1180})
    bench.get_by_role("link", name="D1", exact=True).click()
    bench.goto("/bench/donors/1/CASE?check=BORE")
    bench.get_by_label("Gauge").select_option("B1")
    bench.get_by_role("textbox", name="Reading").fill("26.010 mm")
    bench.get_by_role("button", name="Record reading").click()
    bench.wait_for_url(lambda url: "check=BORE" not in url)
    stores.goto("/stores/donors/1")
    for share in stores.locator("input[name^=share_]").all():
        share.fill("2")
    stores.get_by_role("button", name="Share the cost").click()
    expect(stores.locator(".note")).to_contain_text("shared")
    tag = Piece.objects.get(position__code="CASE").tag
    stores.get_by_label(f"Bin for {tag}").select_option(label="D4  ")
    stores.get_by_role("button", name="Put into the bins").click()
    expect(stores.locator(".note")).to_contain_text("1 piece lies in its bin")
    stores.get_by_role("link", name=tag).click()
    expect(stores.locator("table").filter(has_text="Readings")).to_contain_text("26.010 mm")


@pytest.fixture
def whole_shop(cast: Cast) -> Examination:
    """The demonstration guide in two revisions with a draft that has faults; a unit, and a donor in bins."""
    text = DEMONSTRATION.read_text()
    first = publish_guide(text=text, by=PROGRAM)
    manager = cast.actor("manager")
    make_gauges()
    ticket = open_ticket(2401, family="H4")
    from inspections.readings.examining import open_examination

    held = open_examination(ticket=ticket, by=cast.actor("technician"))
    read(held, cast.actor("technician"), "ME-CLUS-BF", "31.042 mm")
    publish_guide(text=text.replace("build_minutes = 540", "build_minutes = 560"), by=PROGRAM)
    draft = begin_draft(family=first.family, by=manager)
    row = entry_of(draft.document, "check", "ME-CLUS-BF")
    assert row is not None
    changed = row | {"remedies": ["NOWHERE"], "gauge_um": 3.5}
    change_entry(draft=draft, table="check", row=changed, version=1, by=manager)
    Bin.objects.create(code="D4", name="Donor shelves")
    donor = buy_donor(
        family=first.family,
        variant=Variant.objects.get(family=first.family, code="FC"),
        cost_minor=48000,
        bought_of="A breaker (invented), receipt 7",
        by=cast.actor("stores"),
    )
    examined = strip_donor(donor=donor, by=cast.actor("technician"), missing=["RING3"])
    read(examined, cast.actor("technician"), "ME-CLUS-BF", "31.028 mm")
    return held


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(
    open_page: Any, whole_shop: Examination, cast: Cast, scheme: str, width: int
) -> None:
    page = open_page("owner", color_scheme=scheme, viewport={"width": width, "height": 1100})
    draft = "/office/guides/H4/draft"
    tag = Piece.objects.get(position__code="CLUS", source__isnull=True).tag
    for path in (
        "/office/guides/",
        "/office/guides/H4",
        f"/office/guides/H4/{GuideRevision.objects.count()}",
        draft,
        f"{draft}/publish",
        f"{draft}/check/ME-CLUS-BF",
        f"{draft}/feature/CASE.LSR",
        f"{draft}/check/new",
        f"{draft}/step/new",
        f"{draft}/guide",
        "/bench/2401/revision",
        "/bench/2401/variant",
        "/bench/",
        "/bench/donors/1",
        "/stores/donors/",
        "/stores/donors/1",
        f"/stores/pieces/{tag}",
    ):
        answer = page.goto(path)
        assert answer is not None
        assert answer.status == 200, path
        found = Axe().run(page, options={"runOnly": RULES})
        assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    donor = Donor.objects.get()
    tags = [one.tag for one in Piece.objects.filter(source__isnull=True, missing=False)]
    share_cost(donor=donor, shares=dict.fromkeys(tags, 1), by=cast.actor("stores"))
    page.goto("/stores/donors/1")
    found = Axe().run(page, options={"runOnly": RULES})
    assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []
