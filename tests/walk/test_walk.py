"""A real browser walks the whole job as the six roles of the shop, and as the customer.

The pages are used by what a person sees: labels, buttons, headings. Most of the hundred readings go in
through the API with a technician's token, as a gauge with a cable would send them; each kind of check is
also read by hand. Figures and people are the invented ones of fixtures/journeys/harrow_h4.toml.
"""

import re
import tomllib
import uuid
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import Group
from django.core import mail
from django.test import Client
from PIL import Image
from playwright.sync_api import Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from estimates.models import Quote
from estimates.opening_house import open_house
from inventory.feeds import take_in_file
from inventory.models import PriceFile, Purchase, Supplier
from shop import outbox
from shop.access import actor_for, make_token
from shop.models import Ticket, User, Warranty
from tests.conftest import PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
ROOT = Path(settings.BASE_DIR)
JOURNEY = tomllib.loads((ROOT / "fixtures" / "journeys" / "harrow_h4.toml").read_text())
# name of the sign-in -> what it is in the shop
ROLES = ("ada", "rune", "mira", "jonas", "betta", "ines", "olwen")
# read by hand in the browser, and so not sent through the API
BY_HAND = ("ID-CASE", "CT-W2M", "LK-W2M", "ME-SPIG-BORE", "TH-LID")


@pytest.fixture
def house() -> None:
    """The shop before the first customer: people, guide, stock, gauges, prices."""
    people = open_house(journey=JOURNEY)
    for user in people.values():
        user.set_password(PASSWORD)
        user.save()
    for code, name in JOURNEY["journey"]["price_files"]:
        supplier = Supplier.objects.get(code=code)
        data = (ROOT / name).read_bytes()
        take_in_file(supplier=supplier, data=data, name=name, by=actor_for(supplier.user))
    outbox.run_due()
    assert set(PriceFile.objects.values_list("status", flat=True)) == {"done"}
    assert Group.objects.count() == 6


Enter = Callable[[str], Page]


@pytest.fixture
def enter(chromium: Any, live_server: LiveServer) -> Iterator[Enter]:
    """Sign in as somebody, in a browser of its own; an empty name is the customer's browser."""
    contexts: list[Any] = []

    def make(name: str) -> Page:
        context = chromium.new_context(
            base_url=live_server.url, reduced_motion="reduce", viewport={"width": 1180, "height": 820}
        )
        context.set_default_timeout(60_000)
        contexts.append(context)
        page: Page = context.new_page()
        if name:
            page.goto("/sign-in")
            page.get_by_label("Username").fill(name)
            page.get_by_label("Password").fill(PASSWORD)
            page.get_by_role("main").get_by_role("button", name="Sign in").click()
            page.wait_for_url(lambda url: "sign-in" not in url)
        return page

    yield make
    for context in contexts:
        context.close()


def send(page: Page, button: Locator) -> None:
    """Press a button that posts, and wait for the answer, by a new page or in this one."""
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        button.click()
    page.wait_for_load_state()


def press(page: Page, name: str | re.Pattern[str]) -> None:
    send(page, page.get_by_role("main").get_by_role("button", name=name).first)


def open_ticket(page: Page, folder: Path) -> Ticket:
    """1. The front desk takes the unit in."""
    row = JOURNEY["ticket"]
    picture = folder / "front.png"
    Image.new("RGB", (320, 200), (180, 170, 150)).save(picture)
    page.goto("/counter/open")
    page.get_by_label("New customer: name").fill(row["customer"])
    page.get_by_label("Mail address").fill(row["email"])
    page.get_by_label("Vehicle").fill(row["vehicle"])
    page.get_by_label("Variant").select_option(label="floor change")
    page.get_by_label("Serial number").fill(row["serial"])
    for words in ("Jumps out of gear", "Noisy in second", "Leaks at the rear"):
        page.get_by_label(words).check()
    page.get_by_label("In the customer's words").fill(row["words"])
    page.get_by_label("A box of loose parts came with it").fill(row["sources"][0][1])
    page.get_by_label("Photographs").set_input_files(picture)
    page.get_by_label("Declared value").fill("eighteen hundred")
    page.get_by_label("Fee to strip and examine").fill(row["fee"])
    page.get_by_label("Agreed by").fill(row["agreed_by"])
    page.get_by_label("Promised date").fill("2099-11-06")
    press(page, "Open the ticket")
    # An amount that cannot be read is answered beside its field, and nothing typed is lost.
    expect(page.get_by_label("Declared value")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("In the customer's words")).to_have_value(row["words"])
    assert Ticket.objects.count() == 0
    page.get_by_label("Declared value").fill(row["value"])
    page.get_by_label("Photographs").set_input_files(picture)
    press(page, "Open the ticket")
    page.wait_for_url(re.compile(r"/counter/tickets/\d+"))
    ticket = Ticket.objects.get()
    assert ticket.declared_value_minor == 180000
    assert ticket.documents.filter(kind="photograph").count() == 1
    outbox.run_due()
    page.reload()
    expect(page.get_by_role("link", name=f"Tag of ticket {ticket.number}")).to_be_visible()
    return ticket


def read_by_hand(page: Page, ticket: Ticket) -> None:
    """2. A technician strips the unit and reads some of it at the bench."""
    page.goto(f"/bench/{ticket.number}")
    press(page, "The unit is stripped")
    expect(page.get_by_role("group", name=re.compile("Section of"))).to_be_visible()
    page.goto(f"/bench/{ticket.number}/CASE")
    page.get_by_label("Read on the part").fill("H4-101")
    press(page, "Record reading")
    expect(page.get_by_text("as expected").first).to_be_visible()
    page.goto(f"/bench/{ticket.number}/W2M")
    page.get_by_role("link", name="Teeth of the second wheel").click()
    page.get_by_role("button", name="3", exact=True).click()
    page.get_by_role("button", name="0", exact=True).click()
    press(page, "Record reading")
    page.get_by_role("link", name="Teeth and cone of the second wheel").first.click()
    press(page, re.compile("Tooth chipped"))
    expect(page.get_by_text("scrap").first).to_be_visible()
    page.goto(f"/bench/{ticket.number}/SPIG")
    page.get_by_role("link", name="Spigot bush bore").first.click()
    page.locator("[name=gauge]").select_option("BOR-1")
    page.locator("[name=text]").fill("20,095 mm")
    press(page, "Record reading")
    expect(page.locator("[name=text]")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("[name=text]")).to_have_value("20,095 mm")
    page.locator("[name=text]").fill("20.095 mm")
    press(page, "Record reading")
    page.goto(f"/bench/{ticket.number}/SPIG?check=ME-SPIG-BORE")
    expect(page.get_by_text("outside", exact=False).first).to_be_visible()
    page.goto(f"/bench/{ticket.number}/CASE")
    page.get_by_role("link", name=re.compile("Top cover holes")).click()
    press(page, re.compile("stripped", re.IGNORECASE))


def send_readings(
    live_server: LiveServer, ticket: Ticket, sitting: Mapping[str, Any], but: tuple[str, ...] = BY_HAND
) -> None:
    """The rest of a sitting, through the API with that person's token."""
    user = User.objects.get(username=sitting["by"])
    client = Client(headers={"Authorization": f"Bearer {make_token(user=user, label='gauge cable')}"})
    rows = []
    for check, text, gauge, place, temperature in (
        [*row, "", "", ""][:5] for row in sitting["readings"] if row[0] not in but
    ):
        rows.append(
            {
                "id": str(uuid.uuid4()),
                "check": check,
                "text": text,
                "gauge": gauge,
                "place": place,
                "part_temperature": temperature,
                "taken_at": "2026-10-06T10:00:00+01:00",
            }
        )
    answer = client.post(
        f"/api/v1/tickets/{ticket.number}/readings", {"readings": rows}, content_type="application/json"
    )
    assert answer.status_code == 200, answer.content
    assert {(one["status"], one.get("problem") or "") for one in answer.json()["results"]} == {
        ("recorded", "")
    }


def examine(enter: Enter, live_server: LiveServer, ticket: Ticket) -> None:
    read_by_hand(enter("rune"), ticket)
    for sitting in JOURNEY["sitting"]:
        if not sitting.get("after"):
            send_readings(live_server, ticket, sitting)
    wrong = JOURNEY["withdrawal"][0]
    rune = enter("rune")
    rune.goto(f"/bench/{ticket.number}/CASE")
    rune.get_by_role("link", name="Layshaft rear bore").first.click()
    row = rune.get_by_role("row").filter(has_text=wrong["text"])
    row.get_by_text("Withdraw").first.click()
    row.get_by_label("Why").fill(wrong["reason"])
    send(rune, row.get_by_role("button"))
    expect(rune.get_by_text("withdrawn").first).to_be_visible()
    send_readings(live_server, ticket, {"by": "rune", "readings": [wrong["again"]]})
    lead = enter("jonas")
    lead.goto(f"/bench/{ticket.number}")
    press(lead, "The examination is finished")
    ticket.refresh_from_db()
    assert ticket.stage == "examined"


def quote(page: Page, ticket: Ticket) -> str:
    """3 and 4. The front desk compares three aims, quotes and sends; returns the customer's link."""
    page.goto(f"/office/tickets/{ticket.number}/plan")
    for aim in ("least cost", "soonest", "soundest"):
        expect(page.get_by_text(aim).first).to_be_visible()
    press(page, "Keep it and make a quote")
    press(page, "Send it")
    outbox.run_due()
    letter = next(one for one in mail.outbox if JOURNEY["ticket"]["email"] in one.to)
    link = re.search(r"/quote/\S+", str(letter.body))
    assert link is not None
    return link.group().rstrip(".")


def answer(page: Page, link: str) -> None:
    """4. The customer says yes through the signed link, without signing in."""
    assert page.goto(link[:-2] + "xx").status == 404  # type: ignore[union-attr]
    page.goto(link)
    expect(page.get_by_text("1409.65").first).to_be_visible()
    press(page, "Yes, do the work")
    expect(page.get_by_label("Your name")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("Your name").fill(JOURNEY["quote"]["accepted_by"])
    press(page, "Yes, do the work")
    page.goto(link)
    expect(page.get_by_text(re.compile("accepted")).first).to_be_visible()
    assert Quote.objects.get().state == "accepted"


def buy(page: Page, ticket: Ticket) -> None:
    """5. Stores order what is wanted and receive it into a bin, for this ticket."""
    line = Purchase.objects.get(ticket=ticket)
    page.goto("/stores/purchases")
    page.get_by_role("link", name=line.number).first.click()
    press(page, "It is ordered")
    page.goto(f"/stores/purchases/{line.pk}")
    shelf = page.locator("[name=bin] option").filter(has_text="GOODS-IN").get_attribute("value")
    page.locator("[name=bin]").select_option(shelf)
    press(page, "Receive into the bin")
    line.refresh_from_db()
    assert line.state == "received"


def move_on(page: Page, ticket: Ticket, to: str) -> None:
    page.goto(f"/counter/tickets/{ticket.number}")
    page.get_by_label(to, exact=True).check()
    press(page, "Move on")
    ticket.refresh_from_db()
    assert ticket.stage == to


def rework_and_build(enter: Enter, live_server: LiveServer, ticket: Ticket) -> None:
    """6. Rework, measure again, the computed sheet, a second person, the tests."""
    page = enter("rune")
    page.goto(f"/bench/{ticket.number}/rework")
    lead = enter("jonas")
    lead.goto(f"/bench/{ticket.number}/rework")
    total = 0
    for one in (page, lead):  # the technician's work, then what asks for a lead
        one.reload()
        agreed = one.get_by_role("button", name=re.compile("Write it down")).count()
        total += agreed
        for _ in range(agreed):
            form = one.locator("form", has=one.locator("[name=remedy]")).first
            expect(form.get_by_label("Minutes worked")).to_have_value("")
            form.get_by_label("Minutes worked").fill("30")
            form.get_by_label("Good").check()
            send(one, form.get_by_role("button"))
    assert total == 5
    expect(lead.get_by_text(re.compile("The work is done; .* still asked for"))).to_be_visible()
    send_readings(live_server, ticket, next(one for one in JOURNEY["sitting"] if one.get("after")), but=())
    page.goto(f"/bench/{ticket.number}/rework")
    expect(page.get_by_text("All of it is done.")).to_be_visible()
    press(page, "Rework is finished")
    ticket.refresh_from_db()
    assert ticket.stage == "reworked"
    page.get_by_role("link", name="Make a new revision").click()
    press(page, re.compile("Make"))
    outbox.run_due()
    page.goto(f"/bench/{ticket.number}/sheet")
    expect(page.get_by_text("H4-THWR-225").first).to_be_visible()
    expect(page.get_by_text("29 N·m").first).to_be_visible()
    boxes = page.get_by_role("form", name="Boxes of step 4")
    for box in boxes.get_by_role("textbox").all():
        box.fill("0.30 mm")
    send(page, boxes.get_by_role("button"))
    lead.goto(f"/bench/{ticket.number}/sheet")
    press(lead, re.compile("I have looked inside"))
    page.goto(f"/bench/{ticket.number}/sheet")
    send(page, page.locator("form", has=page.locator("[name=deed][value=finish]")).get_by_role("button"))
    ticket.refresh_from_db()
    assert ticket.stage == "built"
    for choice in page.get_by_label("passed").all():
        choice.check()
    press(page, "Write the test down")
    ticket.refresh_from_db()
    assert ticket.stage == "tested"


def hand_over(page: Page, ticket: Ticket) -> None:
    """7. The front desk hands over and opens the warranty."""
    page.goto(f"/counter/tickets/{ticket.number}/hand-over")
    page.get_by_label("Fitted on").fill("2026-10-26")
    page.get_by_label("Conditions").fill(JOURNEY["hand_over"]["conditions"])
    press(page, "Hand over and open the warranty")
    ticket.refresh_from_db()
    assert ticket.stage == "handed over"
    assert Warranty.objects.get(ticket=ticket).reminders.count() == 3


def test_the_whole_job_in_a_browser(
    house: None, enter: Enter, live_server: LiveServer, tmp_path: Path
) -> None:
    desk = enter("ada")
    ticket = open_ticket(desk, tmp_path)
    examine(enter, live_server, ticket)
    link = quote(desk, ticket)
    answer(enter(""), link)
    buy(enter("betta"), ticket)
    move_on(enter("ines"), ticket, "parts complete")
    rework_and_build(enter, live_server, ticket)
    hand_over(desk, ticket)
    # 8. The manager and the owner see what was quoted against what it cost.
    for name in ("ines", "olwen"):
        page = enter(name)
        page.goto("/office/")
        expect(page.get_by_role("row").filter(has_text=str(ticket.number)).last).to_contain_text("1174.71")
    # Nobody of another role gets there.
    desk.goto("/office/")
    expect(desk.get_by_role("heading", name="This is not yours to open")).to_be_visible()
