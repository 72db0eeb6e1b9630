"""The specimen in real Chromium: no barrier in either scheme, at desk or tablet; targets for oily hands."""

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

pytestmark = [
    pytest.mark.browser,
    pytest.mark.urls("tests.look.urls"),
    pytest.mark.django_db(transaction=True),
]

RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture
def browser(chromium: Browser) -> Browser:
    """The session's one Chromium: a second synchronous driver cannot run beside it."""
    return chromium


def open_specimen(browser: Browser, live_server: LiveServer, **options: Any) -> tuple[Page, list[str]]:
    options = {"viewport": {"width": 1440, "height": 1000}, "reduced_motion": "reduce"} | options
    page = browser.new_context(**options).new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    answer = page.goto(f"{live_server.url}/specimen")
    assert answer is not None
    assert answer.status == 200
    page.wait_for_load_state("networkidle")
    return page, complaints


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(browser: Browser, live_server: LiveServer, scheme: str, width: int) -> None:
    page, complaints = open_specimen(
        browser, live_server, color_scheme=scheme, viewport={"width": width, "height": 1000}
    )
    found = Axe().run(page, options={"runOnly": RULES})
    assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert complaints == []


def test_targets_are_large_enough_for_the_bench(browser: Browser, live_server: LiveServer) -> None:
    """48 px is the house's own measure; WCAG 2.2, 2.5.8 asks for 24."""
    page, _ = open_specimen(browser, live_server, viewport={"width": 820, "height": 1180})
    for selector in (
        ".pad button",
        ".button",
        ".places a",
        ".checks a",
        "summary",
        ".brand",
        ".field input",
        "select",
    ):
        boxes = [box for each in page.locator(selector).all() if (box := each.bounding_box())]
        assert boxes, selector
        if selector == ".field input":
            boxes = [box for box in boxes if box["width"] > 30]  # a tick is aimed at by its label
        assert min(box["height"] for box in boxes) >= 48, selector
    widths = [box["width"] for e in page.locator(".pad button").all() if (box := e.bounding_box())]
    assert min(widths) >= 48
    ticks = [box["height"] for e in page.locator("label:has(input)").all() if (box := e.bounding_box())]
    assert ticks
    assert min(ticks) >= 48


def test_the_pad_types_what_is_pressed(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server)
    field = page.locator("#typed")

    def press(*keys: str) -> str:
        for key in keys:
            page.locator(f'.pad button[data-key="{key}"]').click()
        return field.input_value()

    assert press("clear") == ""
    assert press("3", "8", ".", "1", "mm") == "38.1 mm"
    assert press("in") == "38.1 in"
    assert press("←", "←", "←", "←") == "38."
    assert press("clear", "−", "1", "space", "1", "/", "1", "6", "in") == "−1 1/16 in"
    assert press("clear", "1", ",", "5") == "1,5"
    field.fill("12")
    page.evaluate("document.getElementById('typed').setSelectionRange(1, 1)")
    assert press("0") == "102"


def test_the_pad_never_passes_the_length_of_the_field(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server)
    page.locator("#typed").fill("1" * 40)
    page.locator('.pad button[data-key="7"]').click()
    page.locator('.pad button[data-key="thou"]').click()
    assert page.locator("#typed").input_value() == "1" * 40


def test_the_pad_is_one_stop_and_obeys_the_arrow_keys(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server)
    page.locator("#typed").fill("")
    page.locator("#typed").press("Tab")
    for key in ("ArrowRight", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    assert page.locator("#typed").input_value() == "5"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Record reading"


def test_the_chosen_scheme_wins_over_the_device_and_stays(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server, color_scheme="light")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.get_by_role("button", name="Blueprint").click()
    blueprint = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert blueprint != paper
    page.reload()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == blueprint
    assert page.get_by_role("button", name="Blueprint").get_attribute("aria-pressed") == "true"


def test_mistakes_take_the_focus_and_lead_to_their_field(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server)
    assert page.evaluate("document.activeElement.className") == "summary"
    page.locator(".summary a", has_text="Came as").click()
    assert page.evaluate("document.activeElement.type") == "radio"


def test_the_focus_can_be_seen(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server)
    page.locator(".skip").focus()
    for _ in range(12):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            "(() => { const at = document.activeElement, style = getComputedStyle(at);"
            " const part = at.querySelector('.part');"
            " return part ? getComputedStyle(part).strokeWidth : style.outlineWidth; })()"
        )
        assert float(seen.removesuffix("px")) >= 3


def test_hatchings_are_drawn_from_the_page(browser: Browser, live_server: LiveServer) -> None:
    """A pattern that is not found paints nothing: the scrapped part must show both ink and ground."""
    from io import BytesIO

    from PIL import Image

    page, _ = open_specimen(browser, live_server, color_scheme="light")
    picture = Image.open(BytesIO(page.locator(".part.v-scrap").last.screenshot())).convert("L")
    counts = picture.histogram()
    dark, light = sum(counts[:100]), sum(counts[200:])
    assert dark > 0.1 * sum(counts)
    assert light > 0.1 * sum(counts)


def test_the_page_serves_without_javascript(browser: Browser, live_server: LiveServer) -> None:
    page, _ = open_specimen(browser, live_server, java_script_enabled=False)
    assert page.locator("number-pad").is_hidden()
    assert page.locator("#typed").is_editable()
    page.locator(".working summary").click()
    assert page.get_by_text("JCGM 106:2012, 7.2").is_visible()
    assert page.locator("[data-scheme-form]").get_attribute("action") == "/scheme"
