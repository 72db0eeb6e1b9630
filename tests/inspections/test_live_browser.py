"""Several people at one unit in real Chromium: each sees the others; a dispute opens and is settled."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from inspections.models import Examination, Reading
from tests.conftest import Cast
from tests.inspections.conftest import PATIENCE_MS, Tablet
from tests.inspections.shop import read, say, strip_unit, tag_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
UNIT, BORE, LOOK = "/bench/2401", "/bench/2401/CASE?check=BORE", "/bench/2401/CASE?check=LOOK"


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


@pytest.fixture(autouse=True)
def patient() -> None:
    expect.set_options(timeout=PATIENCE_MS)


def record(page: Page, text: str, gauge: str = "B1") -> None:
    page.get_by_label("Gauge").select_option(gauge)
    page.get_by_role("textbox", name="Reading").fill(text)
    with page.expect_response(lambda answer: answer.request.method == "POST" and "/bench/" in answer.url):
        page.get_by_role("button", name="Record reading").click()


def test_two_people_see_each_other_and_settle_a_dispute(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    rune, mira = tablet(cast.technician, UNIT), tablet(cast.second_technician, UNIT)
    jonas = tablet(cast.lead, BORE)
    expect(rune.locator("[data-present]")).to_contain_text("Jonas Prideaux on 1 Casing")
    expect(rune.locator("[data-present]")).to_contain_text("Mira Teasdale")
    expect(jonas.locator("[data-present]")).to_contain_text("Rune Okafor")
    expect(rune.locator('[data-presence="CASE"]')).to_contain_text("Jonas Prideaux here")

    rune.goto(BORE)
    mira.goto(BORE)
    for page in (rune, mira, jonas):
        page.evaluate("window.stayed = true")
    mira.get_by_role("textbox", name="Reading").fill("26.0")  # is typing when the other one records
    record(rune, "26.0040 mm")
    # The lead sees the figure; the second technician is blind until her own is sent, and types on.
    expect(jonas.locator('[data-live="readings"]')).to_contain_text("26.0040 mm")
    expect(mira.locator('[data-live="readings"]')).to_contain_text("One reading by another person")
    assert "26.0040" not in mira.content()
    assert mira.get_by_role("textbox", name="Reading").input_value() == "26.0"
    assert mira.evaluate("document.activeElement.id") == "id_text"
    assert [page.evaluate("window.stayed") for page in (mira, jonas)] == [True, True]

    rune.goto(BORE)
    rune.evaluate("window.stayed = true")
    record(mira, "26.0180 mm")
    for page in (rune, mira, jonas):
        expect(page.locator("#hand .decided")).to_contain_text("differ beyond their joint uncertainty")
    assert rune.evaluate("window.stayed") is True
    for page in (rune, jonas):
        expect(page.locator('[data-live="readings"]')).to_contain_text("26.0180 mm")
    record(jonas, "26.0170 mm")
    for page in (rune, mira):
        expect(page.locator("#hand .decided")).to_contain_text("Jonas Prideaux")
        expect(page.locator("#hand .decided")).not_to_contain_text("differ beyond")
    assert Reading.objects.count() == 3


def test_the_units_page_follows_without_loading_again(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.lead, UNIT)
    page.evaluate("window.stayed = true")
    page.locator('.positions a[href="/bench/2401/SHAFT"]').focus()
    say(bench, cast.actor("technician"), "LOOK", "CRACK")
    expect(page.locator('[data-live="sheet"]')).to_contain_text("Lugs: lug cracked.")
    expect(page.locator("[data-news]")).to_contain_text("Somebody recorded something")
    assert page.evaluate("window.stayed") is True
    assert page.evaluate("document.activeElement.getAttribute('href')") == "/bench/2401/SHAFT"
    read(bench, cast.actor("technician"), "BORE", "26.010 mm")
    expect(page.locator('.positions tr:has(a[href="/bench/2401/CASE"])')).to_contain_text("2 of 5")


def test_a_reason_that_is_being_typed_is_left_alone(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.0040 mm")
    page = tablet(cast.technician, BORE)
    page.get_by_text("Withdraw").first.click()
    page.get_by_label("Why").fill("digits turned")
    read(bench, cast.actor("lead"), "BORE", "26.0180 mm")
    expect(page.locator("#hand .decided")).to_contain_text("26.0180")  # another part of the page is new
    assert page.get_by_label("Why").input_value() == "digits turned"
    page.get_by_label("Why").fill("")
    page.get_by_text("Withdraw").first.click()
    expect(page.locator('[data-live="readings"]')).to_contain_text("26.0180 mm")


def test_who_went_away_is_not_shown_any_more(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    rune, mira = tablet(cast.technician, UNIT), tablet(cast.second_technician, f"{UNIT}/SHAFT")
    expect(rune.locator("[data-present]")).to_have_text(re.compile(r"Also here: Mira Teasdale on 2 Shaft\."))
    mira.goto("/handbook/")
    expect(rune.locator("[data-present]")).to_be_hidden(timeout=60_000)


def test_a_piece_that_turned_up_is_seen_by_the_others(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    from inspections.readings.examining import mark_missing

    page = tablet(cast.second_technician, UNIT)
    mark_missing(examination=bench, tag=tag_in(bench, "SHAFT"), by=cast.actor("technician"))
    row = page.locator('.positions tr:has(a[href="/bench/2401/SHAFT"])')
    expect(row).to_contain_text("missing")
    mark_missing(examination=bench, tag=tag_in(bench, "SHAFT"), missing=False, by=cast.actor("technician"))
    expect(row).not_to_contain_text("missing")


def test_a_donors_examination_is_as_live(cast: Cast, tablet: Tablet) -> None:
    from inspections.donors.stripping import strip_donor
    from inspections.guiding.guides import publish_guide
    from inventory.donors import buy_donor
    from shop.access import PROGRAM
    from shop.models import Variant
    from tests.inspections.shop import make_gauges
    from tests.inspections.small import SMALL

    publish_guide(text=SMALL, by=PROGRAM)
    make_gauges()
    variant = Variant.objects.select_related("family").get(family__code="X1", code="FC")
    donor = buy_donor(
        family=variant.family,
        variant=variant,
        cost_minor=9000,
        bought_of="an invented dealer",
        by=cast.actor("stores"),
    )
    held = strip_donor(donor=donor, by=cast.actor("technician"))
    page = tablet(cast.lead, f"/bench/donors/{donor.number}")
    other = tablet(cast.technician, f"/bench/donors/{donor.number}/CASE?check=BORE")
    expect(page.locator("[data-present]")).to_contain_text("Rune Okafor on 1 Casing")
    record(other, "26.0731 mm")
    expect(page.locator('[data-live="sheet"]')).to_contain_text("26.0731")
    assert held.readings.count() == 1
