"""The Handbook in Chromium: no barrier in either scheme at desk and tablet, and no script needed."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import expect
from pytest_django.live_server_helper import LiveServer

from shop.topics.all import TOPICS
from tests.conftest import Cast, SignedIn

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def addresses() -> list[str]:
    examples = [f"/handbook/{one.name}?{urlencode(one.example)}" for one in TOPICS.values()]
    return ["/handbook/", "/handbook/end-float", "/handbook/limits?diameter=25&zone=", *examples]


def desk(chromium: Any, live_server: LiveServer, cookie: str, **options: Any) -> Any:
    context = chromium.new_context(reduced_motion="reduce", **options)
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}])
    return context.new_page()


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(
    cast: Cast, signed_in: SignedIn, live_server: LiveServer, chromium: Any, scheme: str, width: int
) -> None:
    cookie = signed_in(cast.technician).cookies[settings.SESSION_COOKIE_NAME].value
    page = desk(chromium, live_server, cookie, color_scheme=scheme, viewport={"width": width, "height": 1100})
    for address in addresses():
        page.goto(f"{live_server.url}{address}")
        found = Axe().run(page, options={"runOnly": RULES})
        assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == [], address
        assert page.evaluate("document.documentElement.scrollWidth") <= width, address
    page.context.close()


def test_it_works_without_a_script(
    cast: Cast, signed_in: SignedIn, live_server: LiveServer, chromium: Any
) -> None:
    cookie = signed_in(cast.technician).cookies[settings.SESSION_COOKIE_NAME].value
    page = desk(chromium, live_server, cookie, java_script_enabled=False)
    page.goto(f"{live_server.url}/handbook/fit")
    for name, text in (("diameter", "25 mm"), ("hole", "H7"), ("shaft", "p6")):
        page.locator(f"#id_{name}").fill(text)
    page.get_by_role("button", name="Work it out").click()
    assert "diameter=25+mm" in page.url
    assert page.get_by_text("interference", exact=True).is_visible()
    assert page.locator("details.working").get_attribute("open") is not None
    page.context.close()


@pytest.mark.parametrize("scripts", [True, False])
def test_the_answer_is_seen_first_and_prints_as_a_sheet(
    cast: Cast, signed_in: SignedIn, live_server: LiveServer, chromium: Any, scripts: bool
) -> None:
    """On a tablet a long form is above the answer, so what came of it is brought into sight."""
    cookie = signed_in(cast.technician).cookies[settings.SESSION_COOKIE_NAME].value
    view = {"width": 820, "height": 900}
    page = desk(chromium, live_server, cookie, java_script_enabled=scripts, viewport=view)
    page.goto(f"{live_server.url}/handbook/end-float")
    page.get_by_role("link", name="Fill in an example").click()
    expect(page.get_by_role("heading", name="Answer", exact=True)).to_be_in_viewport()
    page.locator("#id_gap").fill("150.21")
    page.locator("#id_gap").press("Enter")  # by keyboard alone
    expect(page.get_by_role("heading", name="One thing is not right yet")).to_be_in_viewport()
    page.locator("#id_gap").fill("150.21 mm")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("form.topic-asked")).to_be_visible()
    expect(page.locator(".topic-typed")).to_be_hidden()
    page.emulate_media(media="print")
    expect(page.locator("form.topic-asked")).to_be_hidden()
    expect(page.locator(".topic-typed")).to_contain_text("150.21 mm")
    expect(page.locator(".topic-drawing svg")).to_be_visible()
    expect(page.locator(".working .source").first).to_be_visible()
    expect(page.locator(".topic-others")).to_be_hidden()
    page.context.close()
