"""Gauges and scanners that type like a keyboard, in real Chromium: nothing set up, nothing pressed."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from inspections.models import Examination, Reading
from inventory.models import Bin
from shop.tags import address_of
from tests.conftest import Cast
from tests.inspections.conftest import PATIENCE_MS, Tablet
from tests.inspections.shop import read, say, strip_unit, tag_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CASE = "/bench/2401/CASE"


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


@pytest.fixture(autouse=True)
def patient() -> None:
    expect.set_options(timeout=PATIENCE_MS)


def burst(page: Page, text: str) -> None:
    """What a scanner does: all signs at once and Enter."""
    for sign in text:
        page.keyboard.press(sign if sign.isalnum() else {" ": "Space"}.get(sign, sign))
    page.keyboard.press("Enter")


def test_a_gauge_types_its_way_through_the_checks(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    """Same position first, then the next; the gauge that was chosen last stays chosen."""
    by = cast.actor("technician")
    read(bench, by, "DIAMETER", "25.90 mm")
    say(bench, by, "ID", "X1-101")
    say(bench, by, "LOOK", "sound")
    say(bench, by, "THREAD", "sound")
    page = tablet(cast.technician, f"{CASE}?check=BORE")
    for text, follows in (
        ("26.010 mm", "Width"),
        ("100.05 mm", "Width"),
        ("100.06 mm", "Teeth"),
        ("18", ""),
    ):
        expect(page.locator("#id_text")).to_be_focused()
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        if follows:
            expect(page.locator("#hand-title")).to_have_text(follows)
            expect(page.locator("#id_text")).to_have_value("")
    expect(page.locator(".note")).to_contain_text("18")
    rows = Reading.objects.order_by("sequence").values_list("check_code", "text", "place")
    assert list(rows)[-4:] == [
        ("BORE", "26.010 mm", ""),
        ("WIDTH", "100.05 mm", "left"),
        ("WIDTH", "100.06 mm", "right"),
        ("TEETH", "18", ""),
    ]


def test_digits_outside_a_field_go_into_the_reading(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    read(bench, cast.actor("technician"), "DIAMETER", "25.90 mm")
    page = tablet(cast.technician, f"{CASE}?check=BORE")
    page.locator("#id_gauge").focus()
    burst(page, "26.010")
    expect(page.locator("#hand-title")).not_to_have_text("Bore")
    row = Reading.objects.get(check_code="BORE")
    assert row.gauge is not None
    assert (row.text, row.gauge.code) == ("26.010", "B1")  # the choice was not moved by the digits


def test_a_gauge_presses_no_button(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, f"{CASE}?check=LOOK")
    page.get_by_role("button", name="lug cracked").focus()
    burst(page, "26.010")
    page.keyboard.press("Tab")
    assert page.url.endswith("check=LOOK")
    assert Reading.objects.count() == 0


def test_a_scanned_tag_opens_its_piece_from_any_page(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    Bin.objects.create(code="C4")
    tag = tag_in(bench, "SHAFT")
    page = tablet(cast.technician, "/handbook/")
    burst(page, tag)
    page.wait_for_url(f"**/bench/2401/SHAFT?piece={tag}")
    # Into the field of a reading, which cannot be a tag.
    page.goto(f"{CASE}?check=BORE")
    expect(page.locator("#id_text")).to_be_focused()
    burst(page, tag)
    page.wait_for_url(f"**/bench/2401/SHAFT?piece={tag}")
    assert Reading.objects.count() == 0


def test_a_scanned_ticket_opens(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    assert bench.ticket is not None
    page = tablet(cast.front_desk, "/handbook/")
    burst(page, address_of(bench.ticket))
    page.wait_for_url("**/counter/tickets/2401")


def test_slow_typing_outside_a_field_opens_nothing(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, "/handbook/")
    page.keyboard.type("2401", delay=150)
    page.keyboard.press("Enter")
    page.get_by_label("Find by tag").fill("2401")
    page.get_by_role("search", name="By tag").get_by_role("button", name="Find").click()
    page.wait_for_url("**/bench/2401")


def test_the_form_finds_without_a_script(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, "/handbook/", java_script_enabled=False)
    page.get_by_label("Find by tag").fill(tag_in(bench, "CASE"))
    page.get_by_role("search", name="By tag").get_by_role("button", name="Find").click()
    page.wait_for_url("**/bench/2401/CASE?piece=*")
