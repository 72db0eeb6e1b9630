"""The Stores in real Chromium: no barrier in either scheme, at desk and tablet; nothing wider than it."""

import os
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from pytest_django.live_server_helper import LiveServer

from inventory.models import Price
from shop.access import PROGRAM
from tests import factories
from tests.conftest import Cast, SignedIn
from tests.inventory.test_pages import house
from tests.inventory.test_stocklist import LIST, publish_positions

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
SHOTS = os.environ.get("LAYSHAFT_SHOTS", "")  # a folder for pictures of the pages, for the eye


def furnish() -> dict[str, str]:
    from inventory.ledger import reserve_part
    from inventory.models import Part, Piece
    from inventory.stocklist import load_stock_list

    publish_positions()
    load_stock_list(data=LIST, by=PROGRAM)
    pages = house()
    part = Part.objects.get(number="H4-INBRG-01")
    reserve_part(
        ticket=factories.TicketFactory.make(), part=part, quantity=1, position_code="INBRG", by=PROGRAM
    )
    Price.objects.update(part_number=part.number)
    wheel = Piece.objects.get(position__code="CLUS")
    return pages | {"part": f"/stores/parts/{part.number}", "piece": f"/stores/pieces/{wheel.tag}"}


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(
    cast: Cast, signed_in: SignedIn, chromium: Any, live_server: LiveServer, scheme: str, width: int
) -> None:
    pages = furnish()
    pages.pop("refusals")
    session = signed_in(cast.stores).cookies[settings.SESSION_COOKIE_NAME].value
    context = chromium.new_context(
        viewport={"width": width, "height": 1000},
        color_scheme=scheme,
        reduced_motion="reduce",
        java_script_enabled=True,
    )
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    page, complaints = context.new_page(), []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    for name, address in pages.items():
        assert page.goto(f"{live_server.url}{address}").status == 200
        page.wait_for_load_state("networkidle")
        found = Axe().run(page, options={"runOnly": RULES})
        wrong = [(name, one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]]
        assert wrong == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        if SHOTS:
            page.screenshot(path=str(Path(SHOTS) / f"{name}-{scheme}-{width}.png"), full_page=True)
    context.close()
    assert complaints == []


def test_a_refused_form_is_told_beside_its_field_without_javascript(
    cast: Cast, signed_in: SignedIn, chromium: Any, live_server: LiveServer
) -> None:
    part = factories.PartFactory.make()
    factories.BinFactory.make(code="A1", name="Bearings")
    session = signed_in(cast.stores).cookies[settings.SESSION_COOKIE_NAME].value
    context = chromium.new_context(java_script_enabled=False)
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}/stores/parts/{part.number}")
    page.get_by_label("Quantity").fill("3")
    page.get_by_label("Cost of one").fill("two")
    page.get_by_label("Bin").select_option(label="A1  Bearings")
    page.get_by_role("button", name="Receive").click()
    assert "Write an amount such as" in page.locator("#id_cost_error").inner_text()
    assert page.get_by_label("Quantity").input_value() == "3"
    page.get_by_label("Cost of one").fill("2.50")
    page.get_by_role("button", name="Receive").click()
    assert "3 on hand, 0 promised, 3 free" in page.locator(".lede").inner_text()
    context.close()
