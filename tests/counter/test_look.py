"""The Counter's pages in real Chromium: no barrier in either scheme, at desk and tablet; and they work."""

import os
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings as shop_settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from shop import clock, outbox
from shop.access import PROGRAM
from shop.models import Reminder, Ticket, User
from shop.stages import hold_ticket
from shop.taking_in import Shot, keep_shots
from shop.warranty import hand_over
from tests.conftest import Cast
from tests.counter.making import (
    TO_TESTED,
    bring_to,
    make_box,
    make_customer,
    make_ticket,
    picture_bytes,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
SHOTS = os.environ.get("LAYSHAFT_SHOTS", "")  # a folder for pictures of what was seen


def open_context(chromium: Any, live_server: LiveServer, user: User, **options: Any) -> Any:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    context = chromium.new_context(reduced_motion="reduce", **options)
    cookie = client.cookies[shop_settings.SESSION_COOKIE_NAME].value
    context.add_cookies(
        [{"name": shop_settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
    )
    return context


def fill_the_shop() -> tuple[Ticket, Ticket]:
    """Tickets in several states; the first is rich in everything, the second is ready to go."""
    box = make_box()
    rich = make_ticket(
        box,
        make_customer(),
        vehicle="lorry of 1952 (invented)",
        complaints=[box.jumps, box.leaks],
        complaint_words="Jumps out downhill, leaks in front.",
        missing_words="The top cover.",
        declared_value_minor=45000,
        examination_fee_minor=9500,
        agreed_by="A. Harrow",
        promised_on=clock.today() + timedelta(days=20),
        more_sources=[("box of parts", "layshaft, two bearings")],
        serial="HX 4471",
    )
    keep_shots(ticket=rich, shots=[Shot("front", picture_bytes(size=(400, 300)))], key="look", by=PROGRAM)
    hold_ticket(ticket=rich, why="waits for the customer's word", until=None, by=PROGRAM)
    make_ticket(box, None)
    ready = bring_to(make_ticket(box, make_customer(email="")), *TO_TESTED)
    gone = bring_to(make_ticket(box, make_customer(email="")), *TO_TESTED)
    hand_over(ticket=gone, fitted_on=clock.today(), months=12, by=PROGRAM)
    Reminder.objects.filter(kind="re-torque").update(due_on=clock.today())
    outbox.put(key="look", rule="queue due reminders")
    outbox.run_due()
    return rich, ready


def see(page: Page, name: str) -> None:
    if SHOTS:
        page.screenshot(path=str(Path(SHOTS) / f"{name}.png"), full_page=True)


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(
    chromium: Any, live_server: LiveServer, cast: Cast, scheme: str, width: int
) -> None:
    rich, ready = fill_the_shop()
    context = open_context(
        chromium,
        live_server,
        cast.front_desk,
        color_scheme=scheme,
        viewport={"width": width, "height": 1000},
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    for name, address in (
        ("counter", reverse("counter")),
        ("open", reverse("open_ticket")),
        ("ticket", reverse("ticket", args=[rich.number])),
        ("ready", reverse("ticket", args=[ready.number])),
        ("hand-over", reverse("hand_over", args=[ready.number])),
        ("ring", reverse("to_ring")),
    ):
        assert page.goto(live_server.url + address).status == 200
        page.wait_for_load_state("networkidle")
        see(page, f"{name}-{scheme}-{width}")
        found = Axe().run(page, options={"runOnly": RULES})
        assert [(name, one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
    assert complaints == []
    context.close()


def test_a_ticket_is_opened_by_hand_without_javascript(
    chromium: Any, live_server: LiveServer, cast: Cast, tmp_path: Path
) -> None:
    make_box()
    make_box("H5")
    shot = tmp_path / "front.jpg"
    shot.write_bytes(picture_bytes())
    context = open_context(chromium, live_server, cast.front_desk, java_script_enabled=False)
    page = context.new_page()
    page.goto(live_server.url + reverse("counter"))
    page.get_by_role("link", name="Open a ticket").first.click()
    page.get_by_label("Family").select_option("H5")
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("New customer: name").fill("A. Harrow (invented)")
    page.get_by_label("Variant").select_option(label="remote change")
    page.get_by_label("leaks oil").check()
    page.get_by_label("Declared value").fill("four")
    page.get_by_label("Photographs").set_input_files(str(shot))
    page.get_by_role("button", name="Open the ticket").click()
    see(page, "open-wrong")
    assert page.get_by_text("Write an amount such as 84.50, without a currency sign.").count() == 2
    assert page.get_by_label("New customer: name").input_value() == "A. Harrow (invented)"
    assert page.get_by_label("leaks oil").is_checked()
    page.get_by_label("Declared value").fill("400")
    page.get_by_label("Photographs").set_input_files(str(shot))
    page.get_by_role("button", name="Open the ticket").click()
    ticket = Ticket.objects.get()
    assert page.url.endswith(reverse("ticket", args=[ticket.number]))
    assert (ticket.variant.code, ticket.declared_value_minor, ticket.documents.count()) == ("RC", 40000, 1)
    page.get_by_label("Why it waits").fill("waits for a casing")
    page.get_by_role("button", name="Hold it").click()
    assert page.get_by_text("is held.").count() == 1
    context.close()
