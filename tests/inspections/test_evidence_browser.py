"""Photographs, answers and reports in real Chromium: tapped, typed, without a script, and no barrier."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from inspections.evidence.photographs import mark_place
from inspections.evidence.reporting import make_report
from inspections.models import Answer, Examination, ExaminationReport, Photograph, PhotographMark
from shop import outbox
from tests.conftest import PASSWORD, Cast
from tests.inspections.evidence import complain, demonstration, metal, photograph
from tests.inspections.shop import read, tag_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
CHECK = "/bench/2401/W3M?check=LK-W3M"
SHOTS = os.environ.get("LAYSHAFT_TEST_SHOTS", "")  # a folder for pictures of the pages, to be looked at


@pytest.fixture
def bench(cast: Cast) -> Examination:
    held = demonstration(cast)
    complain(held, "JUMPS-OUT", "LEAK-REAR")
    read(held, cast.actor("technician"), "ME-CLUS-BF", "31.042 mm")
    return held


@pytest.fixture
def row(bench: Examination, cast: Cast) -> Photograph:
    """A picture by the lead, with three places marked on it and one by the technician beside it."""
    lead = cast.actor("lead")
    made = photograph(bench, lead, "LK-W3M", note="chip beside the bore", data=metal((1600, 1200)))
    for across, down, words in (
        (0.69, 0.24, "catches a nail"),
        (0.5, 0.5, "bore, no scoring"),
        (0.2, 0.9, "x"),
    ):
        mark_place(photograph=made, id=uuid4(), across=across, down=down, words=words, by=lead)
    photograph(bench, cast.actor("technician"), "LK-W3M", data=metal((600, 900)))
    outbox.run_due()
    return made


@pytest.fixture
def troubles() -> list[str]:
    return []


@pytest.fixture
def open_page(chromium: Any, live_server: LiveServer, cast: Cast, troubles: list[str]) -> Iterator[Any]:
    """Opens a context of a person who has signed in by the form."""
    contexts = []

    def open_as(name: str, **options: Any) -> Page:
        options = {"viewport": {"width": 820, "height": 1180}, "reduced_motion": "reduce"} | options
        context = chromium.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        page: Page = context.new_page()
        page.on(
            "console",
            lambda told: (
                troubles.append(told.text) if told.type == "error" and "422" not in told.text else None
            ),
        )
        page.on("pageerror", lambda error: troubles.append(str(error)))
        page.goto("/bench/")
        page.get_by_label("Name").fill(getattr(cast, name).username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/bench/")
        return page

    yield open_as
    for context in contexts:
        context.close()


def keep_picture(page: Page, name: str) -> None:
    if SHOTS:
        page.screenshot(path=str(Path(SHOTS) / f"{name}.png"), full_page=True)


@pytest.mark.parametrize("script", [True, False])
def test_a_tap_marks_the_place_that_was_tapped(
    open_page: Any, row: Photograph, troubles: list[str], script: bool
) -> None:
    page = open_page("lead", java_script_enabled=script)
    page.goto(f"/bench/photographs/{row.pk}")
    page.get_by_label("What is there").fill("burr at the edge")
    picture = page.locator(".framed-picture input")
    box = picture.bounding_box()
    assert box is not None
    picture.click(position={"x": box["width"] * 0.25, "y": box["height"] * 0.75})
    expect(page.locator(".note")).to_contain_text("Place 4 is marked")
    mark = PhotographMark.objects.get(number=4)
    assert mark.across == pytest.approx(0.25, abs=0.01)
    assert mark.down == pytest.approx(0.75, abs=0.01)
    # The balloon's dot lies on the picture where it was tapped.
    spot, box = page.locator(".mark-spot").nth(3).bounding_box(), picture.bounding_box()
    assert spot is not None
    assert box is not None
    assert spot["x"] + spot["width"] / 2 == pytest.approx(box["x"] + box["width"] * 0.25, abs=3)
    assert spot["y"] + spot["height"] / 2 == pytest.approx(box["y"] + box["height"] * 0.75, abs=3)
    assert troubles == []


def test_the_keyboard_marks_a_zone_and_withdraws_it(open_page: Any, row: Photograph) -> None:
    page = open_page("lead")
    page.goto(f"/bench/photographs/{row.pk}")
    page.get_by_label("What is there").press_sequentially("pit that can be felt")
    page.get_by_role("textbox", name="Zone").press_sequentially("b3")
    page.keyboard.press("Enter")
    expect(page.locator(".note")).to_contain_text("Place 4 is marked")
    last = page.locator(".marked > li").last
    expect(last).to_contain_text("Zone B3")
    last.locator("summary").press("Enter")
    last.get_by_label("Why").press_sequentially("dirt")
    page.keyboard.press("Enter")
    expect(page.locator(".note")).to_contain_text("Mark 4 is withdrawn")
    assert page.locator(".mark-spot").count() == 3


def test_a_photograph_is_kept_by_a_plain_form(open_page: Any, bench: Examination) -> None:
    page = open_page("technician", java_script_enabled=False)
    page.goto(f"{CHECK}&piece={tag_in(bench, 'W3M')}")
    page.get_by_text("Add a photograph").first.click()
    page.get_by_label("Photograph", exact=True).set_input_files(
        {"name": "wheel.jpg", "mimeType": "image/jpeg", "buffer": metal()}
    )
    page.get_by_label("What it shows").fill("teeth, engaging side")
    page.get_by_role("button", name="Keep the photograph").click()
    expect(page.locator(".note")).to_contain_text("The photograph is kept")
    expect(page.locator(".shots-found")).to_contain_text("teeth, engaging side")
    assert Photograph.objects.get().note == "teeth, engaging side"
    # The picture may still be on its way: decode() waits for it, and fails if it cannot be shown.
    shown = page.locator(".shots-found img").evaluate("one => one.decode().then(() => one.naturalWidth)")
    assert shown > 0


def test_the_report_page_looks_again_by_itself(
    open_page: Any, bench: Examination, troubles: list[str]
) -> None:
    page = open_page("technician")
    page.goto("/bench/2401")
    page.get_by_role("link", name="Report").click()
    page.get_by_role("button", name="Make the report").click()
    expect(page.locator(".report-state")).to_contain_text("being printed")
    assert ExaminationReport.objects.count() == 1
    outbox.run_due()
    expect(page.get_by_role("link", name="Report 1 (PDF)")).to_be_visible(timeout=60_000)
    assert page.locator(".report-state").count() == 0
    assert troubles == []


def test_a_complaint_is_answered_on_the_page(open_page: Any, bench: Examination) -> None:
    page = open_page("technician")
    page.goto("/bench/2401/answers")
    entry = page.locator("#complaint-LEAK-REAR")
    entry.get_by_role("button", name="Write it down").click()
    expect(page.locator("#complaint-LEAK-REAR .message")).to_contain_text("Say it in words")
    entry.get_by_role("textbox").fill("Only mist at the breather.")
    entry.get_by_role("button", name="Write it down").click()
    expect(page.locator(".note").first).to_contain_text("Written down")
    assert Answer.objects.get().words == "Only mist at the breather."


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(
    open_page: Any, row: Photograph, cast: Cast, troubles: list[str], scheme: str, width: int
) -> None:
    make_report(examination=row.examination, by=cast.actor("lead"))
    outbox.run_due()
    page = open_page("lead", color_scheme=scheme, viewport={"width": width, "height": 1100})
    pages = {
        "check": f"{CHECK}#photographs",
        "photograph": f"/bench/photographs/{row.pk}",
        "photographs": "/bench/2401/photographs",
        "answers": "/bench/2401/answers",
        "report": "/bench/2401/report",
    }
    for name, path in pages.items():
        answer = page.goto(path)
        assert answer is None or answer.status == 200
        for one in page.locator("details.more").all():
            one.evaluate("each => each.open = true")
        found = Axe().run(page, options={"runOnly": RULES})
        keep_picture(page, f"{name}-{scheme}-{width}")
        assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        for each in page.locator(
            ".framed-picture input, .shots-found a, .answers .button, .marked .button"
        ).all():
            box = each.bounding_box()
            assert box is None or box["height"] >= 48, (path, each)
    assert troubles == []
