"""The gauges in real Chromium: a plug at the bench, a study read blind, and no barrier in either scheme."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from inspections.gauge_models import Gauge, Study, StudyReading, Zeroing
from inspections.gauging.registering import add_gauge
from inspections.gauging.zeroing import zero_gauge
from inspections.models import Examination, Reading
from shop import clock
from shop.access import PROGRAM
from tests.conftest import PASSWORD, Cast
from tests.inspections.shop import read
from tests.inspections.test_studies import boxes, lay_out, read_through

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
BORE = "/bench/2401/CASE?check=BORE"


@dataclass
class House:
    """Three boxes stripped and read, gauges of several kinds, one study read through and one begun."""

    bench: Examination
    done: Study
    begun: Study
    cast: Cast


@pytest.fixture
def house(cast: Cast) -> House:
    technician = cast.actor("technician")
    held = boxes(technician)
    soon, late = clock.today() + timedelta(days=9), clock.today() - timedelta(days=9)
    rows: tuple[dict[str, Any], ...] = (
        {"code": "PLG-GO", "kind": "plug gauge", "name": "go plug", "size_mm": 26.002},
        {"code": "PLG-NG", "kind": "plug gauge", "name": "not-go plug", "size_mm": 26.019},
        {"code": "MIC-1", "kind": "micrometer", "name": "micrometers", "to_mm": 50.0, "due_on": soon},
        {"code": "MIC-OLD", "kind": "micrometer", "name": "spare", "due_on": late},
        {"code": "TEL-1", "kind": "telescopic gauge", "name": "telescopic gauges", "from_mm": 12.0},
        {"code": "SET-26", "kind": "setting master", "name": "setting ring", "size_mm": 26.0},
    )
    for row in rows:
        figures: dict[str, Any] = {"expanded_um": 0.9, "calibration_um": 0.6, "resolution_um": 1.0}
        add_gauge(by=PROGRAM, **(figures | row))
    add_gauge(
        code="TEL-1.MIC-1",
        name="telescopic, read with MIC-1",
        kind="chain",
        first=Gauge.objects.get(code="TEL-1"),
        second=Gauge.objects.get(code="MIC-1"),
        by=PROGRAM,
    )
    add_gauge(
        code="TW-60",
        name="small wrench",
        kind="torque wrench",
        torque_percent=4.0,
        from_nm=5.0,
        to_nm=60.0,
        by=PROGRAM,
    )
    Gauge.objects.filter(code="B1").update(needs_zeroing=True)
    zero_gauge(gauge=Gauge.objects.get(code="B1"), master="SET-26", off="1 µm", key="z", by=technician)
    for one in held:
        read(one, cast.actor("second_technician"), "BORE", "26.006 mm", gauge="T2")
    done, begun = lay_out(cast, key="done"), lay_out(cast, key="begun")
    read_through(done, cast)
    return House(held[0], done, begun, cast)


@pytest.fixture
def complaints() -> list[str]:
    return []


@pytest.fixture
def open_page(chromium: Any, live_server: LiveServer, house: House, complaints: list[str]) -> Iterator[Any]:
    contexts = []

    def open_as(name: str, **options: Any) -> Page:
        options = {"viewport": {"width": 820, "height": 1180}, "reduced_motion": "reduce"} | options
        context = chromium.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        page: Page = context.new_page()
        page.on(
            "console",
            lambda told: (
                complaints.append(told.text) if told.type == "error" and "422" not in told.text else None
            ),
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto("/bench/gauges")
        page.get_by_label("Name").fill(getattr(house.cast, name).username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/bench/gauges")
        return page

    yield open_as
    for context in contexts:
        context.close()


def test_a_plug_is_answered_by_a_button_and_enter_records_a_size(
    open_page: Any, house: House, complaints: list[str]
) -> None:
    page = open_page("technician")
    before = Reading.objects.count()
    page.goto(BORE)
    page.get_by_label("Gauge").select_option("PLG-GO")
    page.get_by_role("button", name="Goes", exact=False).first.click()
    expect(page.locator(".note").first).to_contain_text("26.0")
    row = Reading.objects.get(gauge__code="PLG-GO")
    assert (row.outcome, row.value_mm) == ("goes", None)
    page.goto(BORE)
    page.get_by_label("Gauge").select_option("B1")
    page.locator("#id_text").fill("26.005 mm")
    page.keyboard.press("Enter")
    expect(page.locator(".note").first).to_contain_text("26.0")
    newest = Reading.objects.order_by("-sequence").filter(examination=house.bench)[0]
    assert (newest.value_mm, newest.outcome) == (26.005, "")
    assert newest.zeroing == Zeroing.objects.get()
    assert Reading.objects.count() == before + 2
    assert complaints == []


def test_a_gauge_is_set_and_found_again_at_the_bench(
    open_page: Any, house: House, complaints: list[str]
) -> None:
    page = open_page("technician")
    page.get_by_role("link", name="B1", exact=True).click()
    page.get_by_label("Set on").fill("SET-26")
    page.get_by_label("It was off by").fill("-0.5")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".note")).to_contain_text("zeroed on SET-26")
    page.goto(BORE)
    expect(page.locator(".zero-line")).to_contain_text("zeroed on SET-26 at ")
    page.locator(".zero-line a").click()
    page.wait_for_url("**/bench/gauge/B1#zero")
    assert complaints == []


def test_a_study_is_read_blind_by_keyboard(open_page: Any, house: House, complaints: list[str]) -> None:
    page = open_page("technician")
    page.goto(f"/bench/gauges/studies/{house.begun.pk}")
    page.get_by_role("link", name="Read your next piece").click()
    for n in range(1, 7):
        expect(page.locator(".lede")).to_contain_text(f"Turn {n} of 6")
        assert page.evaluate("document.activeElement.id") == "id_text"
        page.keyboard.type(f"26.00{n}")
        page.keyboard.press("Enter")
        expect(page.locator(".note")).to_contain_text("Recorded")
        assert f"26.00{n}" not in page.content()
    expect(page.locator(".none")).to_contain_text("You have read all that is yours")
    assert StudyReading.objects.filter(study=house.begun).count() == 6
    assert complaints == []


def test_what_is_aimed_at_is_large_enough(open_page: Any, house: House) -> None:
    page = open_page("lead")
    for path, selectors in (
        ("/bench/gauges", (".ledger tbody th a", ".aside li a")),
        ("/bench/gauge/B1", (".button", "input[type=text]", "summary")),
        (BORE, (".outcome", ".zero-line a", "select")),
        (f"/bench/gauges/studies/{house.begun.pk}", (".button",)),
    ):
        page.goto(path)
        for selector in selectors:
            found = [box for each in page.locator(selector).all() if (box := each.bounding_box())]
            assert found, (path, selector)
            assert min(box["height"] for box in found) >= 48, (path, selector)


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(
    open_page: Any, house: House, complaints: list[str], scheme: str, width: int
) -> None:
    page = open_page("lead", color_scheme=scheme, viewport={"width": width, "height": 1100})
    for path in (
        "/bench/gauges",
        "/bench/gauge/B1",
        "/bench/gauge/TEL-1.MIC-1",
        "/bench/gauge/B1/change",
        "/bench/gauges/add",
        "/bench/gauges/add?kind=micrometer",
        "/bench/gauges/add?kind=chain",
        "/bench/gauges/bias",
        "/bench/gauges/studies",
        "/bench/gauges/studies/add",
        "/bench/gauges/studies/add?family=X1&feature=CASE.B",
        f"/bench/gauges/studies/{house.done.pk}",
        f"/bench/gauges/studies/{house.begun.pk}/read",
        BORE,
    ):
        answer = page.goto(path)
        assert answer is not None
        assert answer.status == 200
        found = Axe().run(page, options={"runOnly": RULES})
        assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    assert complaints == []
