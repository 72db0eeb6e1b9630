"""The bench without a network, in real Chromium: pages are kept, what is typed waits and is sent once."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Page, expect

from inspections.models import Examination, Photograph, Reading
from shop.models import Ticket
from tests.conftest import Cast
from tests.inspections.conftest import PATIENCE_MS, Tablet, sign_in
from tests.inspections.shop import strip_unit
from tests.inspections.test_bench_browser import RULES
from tests.inspections.test_bench_pages import two_cases
from tests.inspections.test_judging_trying import TRIED

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
UNIT = "/bench/2401"


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


@pytest.fixture(autouse=True)
def patient() -> None:
    expect.set_options(timeout=PATIENCE_MS)


def wait_until_kept(page: Page) -> None:
    """The worker serves this unit's pages, and all of them are kept."""
    expect(page.locator("html")).to_have_attribute("data-kept", UNIT)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")


def cut_off(page: Page) -> None:
    page.context.set_offline(True)


def connect(page: Page) -> None:
    page.context.set_offline(False)


def go(page: Page, path: str) -> None:
    page.goto(f"{UNIT}/{path}")
    expect(page.locator("#hand")).to_be_attached()


def headline(page: Page) -> Any:
    return page.locator("[data-headline]")


def typed(page: Page, text: str, gauge: str = "B1") -> None:
    """Type and press Enter, as a gauge does; wait for the check that follows."""
    if page.get_by_label("Gauge").count():
        page.get_by_label("Gauge").select_option(gauge)
    page.get_by_role("textbox", name=re.compile("Reading|Counted|Read on the part")).fill(text)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_ten_readings_and_a_photograph_wait_on_the_tablet_and_are_sent_once(
    bench: Examination, cast: Cast, tablet: Tablet, tmp_path: Path
) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    go(page, "CASE")
    expect(page.locator("[data-own-note]")).to_contain_text("as it was kept at")
    # 1-2 at the position that is open: the next check takes the focus by itself.
    typed(page, "X1-101")
    expect(page.locator("#hand-title")).to_have_text("Lugs")
    expect(headline(page)).to_have_text("1 waits, no network")
    with page.expect_navigation():
        page.get_by_role("button", name="lug cracked").click()
    expect(page.locator("#hand-title")).to_have_text("Cover holes")
    with page.expect_navigation():
        page.get_by_role("button", name="Sound").click()
    expect(page.locator("#hand-title")).to_have_text("Bore")
    typed(page, "26.0100 mm")
    # Two places, one after the other.
    expect(page.locator("#hand-title")).to_have_text("Width")
    typed(page, "100.05 mm")
    expect(page.locator("input[name=place]:checked")).to_have_value("right")
    typed(page, "100.06 mm")
    # The page is loaded again without a network: what waits is still there.
    expect(page.locator("h1")).to_contain_text("Shaft")
    page.reload()
    expect(page.locator("h1")).to_contain_text("Shaft")
    expect(headline(page)).to_have_text("6 wait, no network")
    typed(page, "18")
    typed(page, "25.985 mm")
    for text in ("26.0101 mm", "26.0102 mm"):
        go(page, "CASE?check=BORE")
        typed(page, text)
    expect(headline(page)).to_have_text("10 wait, no network")
    go(page, "CASE?check=LOOK")
    picture = tmp_path / "lug.jpg"
    Image.new("RGB", (320, 200), (90, 110, 130)).save(picture)
    page.get_by_text("Add a photograph").click()
    page.get_by_label("Photograph", exact=True).set_input_files(picture)
    page.get_by_label("What it shows").fill("the cracked lug")
    page.get_by_role("button", name="Keep the photograph").click()
    expect(headline(page)).to_have_text("11 wait, no network")
    page.reload()
    expect(headline(page)).to_have_text("11 wait, no network")
    assert (Reading.objects.count(), Photograph.objects.count()) == (0, 0)
    page.evaluate("window.stayed = true")

    connect(page)
    expect(headline(page)).to_have_text("all sent")
    rows = list(Reading.objects.order_by("sequence"))
    assert [(one.check_code, one.text) for one in rows] == [
        ("ID", "X1-101"),
        ("LOOK", "CRACK"),
        ("THREAD", "sound"),
        ("BORE", "26.0100 mm"),
        ("WIDTH", "100.05 mm"),
        ("WIDTH", "100.06 mm"),
        ("TEETH", "18"),
        ("DIAMETER", "25.985 mm"),
        ("BORE", "26.0101 mm"),
        ("BORE", "26.0102 mm"),
    ]
    shot = Photograph.objects.get()
    assert (shot.check_code, shot.note, shot.person) == ("LOOK", "the cracked lug", cast.technician)
    assert [one.place for one in rows][4:6] == ["left", "right"]
    assert {one.person for one in rows} == {cast.technician}
    assert not any(one.clock_off for one in rows)
    assert all(one.taken_at <= one.received_at for one in rows)
    expect(page.locator("#hand .decided")).to_contain_text("Lug cracked")
    expect(page.locator("[data-own-note]")).to_have_count(0)
    assert page.evaluate("window.stayed") is True


def test_a_refused_one_stays_with_its_reason_and_is_mended(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    go(page, "CASE?check=BORE")
    typed(page, "about 26")
    go(page, "SHAFT?check=DIAMETER")
    typed(page, "25.985 mm")
    connect(page)
    expect(headline(page)).to_have_text("1 refused")
    assert Reading.objects.get().check_code == "DIAMETER"  # the one behind it is not held up
    page.reload()
    page.locator("[data-waiting] summary").click()
    box = page.locator(".sending-box")
    expect(box.locator("li")).to_contain_text("does not start with a number")
    expect(box.get_by_label("Reading")).to_have_value("about 26")
    box.get_by_label("Reading").fill("26.010 mm")
    box.get_by_role("button", name="Send again").click()
    expect(headline(page)).to_have_text("all sent")
    assert Reading.objects.get(check_code="BORE").text == "26.010 mm"


def test_what_became_of_a_photograph_is_said_where_it_is_seen(
    bench: Examination, cast: Cast, tablet: Tablet, tmp_path: Path
) -> None:
    page = tablet(cast.technician, UNIT)
    go(page, "CASE?check=LOOK")
    page.get_by_text("Add a photograph").click()
    words, picture = tmp_path / "words.jpg", tmp_path / "picture.jpg"
    words.write_text("no picture")
    Image.new("RGB", (60, 40), "grey").save(picture)
    for path, told in ((words, "Not done"), (picture, "Done")):
        page.locator("input[type=file]").set_input_files(path)
        page.get_by_role("button", name="Keep the photograph").click()
        note = page.locator("[data-own-note]", has_text=re.compile(f"^{told}"))
        expect(note).to_be_in_viewport()
        assert note.inner_text().count(path.name) == (told == "Not done")
    assert Photograph.objects.count() == 1
    expect(headline(page)).to_have_text("1 refused")


def test_what_was_seen_is_told_by_its_name_alone(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    go(page, "CASE?check=LOOK")
    with page.expect_navigation():
        page.get_by_role("button", name="Rust worth a note, no more").click()
    expect(page.locator("[data-own-note]")).to_contain_text("Lugs: Rust. It waits on this tablet.")


def test_what_a_try_was_assembled_with_waits_and_is_mended(cast: Cast, tablet: Tablet) -> None:
    held = strip_unit(cast.actor("technician"), text=TRIED)
    first, second = two_cases(held)
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    for chosen in (second, ""):
        go(page, "SHAFT?check=TURNS")
        page.get_by_label("Casing").select_option(chosen)
        with page.expect_navigation():
            page.get_by_role("button", name="Sound").click()
    connect(page)
    expect(headline(page)).to_have_text("1 refused")
    assert second in Reading.objects.get().of.values_list("piece__tag", flat=True)
    page.locator("[data-waiting] summary").click()
    box = page.locator(".sending-box")
    box.get_by_label("Tried with").fill(first)
    box.get_by_role("button", name="Send again").click()
    expect(headline(page)).to_have_text("all sent")
    newest = Reading.objects.latest("sequence")
    assert first in newest.of.values_list("piece__tag", flat=True)


def test_what_was_refused_can_be_thrown_away(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    go(page, "CASE?check=BORE")
    typed(page, "26.010 kg")
    connect(page)
    expect(headline(page)).to_have_text("1 refused")
    page.locator("[data-waiting] summary").click()
    page.get_by_role("button", name="Throw away").click()
    page.get_by_role("button", name="Throw it away for good").click()
    expect(headline(page)).to_have_text("all sent")
    page.reload()
    expect(headline(page)).to_have_text("all sent")
    assert Reading.objects.count() == 0


def test_what_came_too_late_is_refused_in_words(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    for text in ("26.010 mm", "26.011 mm"):
        go(page, "CASE?check=BORE")
        typed(page, text)
    Ticket.objects.update(stage="built")
    connect(page)
    expect(headline(page)).to_have_text("2 refused")
    page.locator("[data-waiting] summary").click()
    expect(page.locator(".sending-box li").first).to_contain_text("The ticket is built: nothing is read now.")
    assert Reading.objects.count() == 0


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found_in_what_waits(
    bench: Examination, cast: Cast, tablet: Tablet, scheme: str, width: int
) -> None:
    """The drawer without a network, with a refusal in it, and a tag that is not found."""
    page = tablet(cast.technician, UNIT, color_scheme=scheme, viewport={"width": width, "height": 1100})

    def look() -> None:
        found = Axe().run(page, options={"runOnly": RULES})
        assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width

    wait_until_kept(page)
    cut_off(page)
    go(page, "CASE?check=BORE")
    typed(page, "about 26")
    page.locator("[data-waiting] summary").click()
    look()
    connect(page)
    expect(headline(page)).to_have_text("1 refused")
    look()
    aims = page.locator(
        ".sending summary, .sending-box :is(button, input, a:visible), .find-tag :is(input, button)"
    )
    assert min(box["height"] for one in aims.all() if (box := one.bounding_box())) >= 48
    page.goto("/find?tag=nothing")
    look()


def test_another_persons_sign_in_neither_sees_nor_sends_what_waits(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    cut_off(page)
    go(page, "CASE?check=BORE")
    typed(page, "26.0731 mm")
    page.context.clear_cookies()  # the session ended while the network was away
    connect(page)
    expect(headline(page)).to_have_text("1 waits, sign in to send")
    page.goto("/bench/2401")
    sign_in(page, cast.second_technician)
    expect(headline(page)).to_have_text("all sent")
    assert "26.0731" not in page.content()
    wait_until_kept(page)
    assert Reading.objects.count() == 0
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in**")
    page.goto("/bench/2401")
    sign_in(page, cast.technician)
    expect(headline(page)).to_have_text("all sent")
    row = Reading.objects.get()
    assert (row.text, row.person) == ("26.0731 mm", cast.technician)


def test_signing_out_throws_the_kept_pages_away(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    names = "caches.keys().then(all => all.filter(one => one.startsWith('bench-pages:')).length)"
    assert page.evaluate(names) == 1
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in**")
    assert page.evaluate(names) == 0
    cut_off(page)
    page.goto("/bench/2401")
    expect(page.locator("body")).to_contain_text("This page is not kept on this tablet")


def test_an_entry_that_was_cut_off_is_sent_again_and_counts_once(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    """The server has recorded it; its answer never came."""
    page = tablet(cast.technician, f"{UNIT}/CASE?check=BORE")
    cut: list[str] = []

    def lose_the_answer(route: Any) -> None:
        if route.request.method == "POST" and not cut:
            cut.append(route.request.url)
            route.fetch()
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/bench/2401/CASE**", lose_the_answer)
    page.get_by_label("Gauge").select_option("B1")
    page.get_by_role("textbox", name="Reading").fill("26.010 mm")
    page.get_by_role("button", name="Record reading").click()
    expect(page.locator("#hand-title")).not_to_have_text("Bore")
    expect(headline(page)).to_have_text("all sent")
    assert len(cut) == 1
    assert [one.text for one in Reading.objects.all()] == ["26.010 mm"]


def test_a_session_that_has_ended_loses_nothing(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    page = tablet(cast.technician, f"{UNIT}/CASE?check=BORE")
    page.get_by_label("Gauge").select_option("B1")
    page.get_by_role("textbox", name="Reading").fill("26.010 mm")
    page.context.clear_cookies()
    page.get_by_role("button", name="Record reading").click()
    page.wait_for_url("**/sign-in**")  # the next check asks who it is
    sign_in(page, cast.technician)
    expect(headline(page)).to_have_text("all sent")
    assert Reading.objects.get().text == "26.010 mm"


def test_a_page_left_open_sends_nothing_as_the_person_who_signed_in_beside_it(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    left = tablet(cast.technician, f"{UNIT}/CASE?check=BORE")
    beside = left.context.new_page()
    beside.goto(UNIT)
    beside.get_by_role("button", name="Sign out").click()
    beside.wait_for_url("**/sign-in**")
    beside.goto(UNIT)
    sign_in(beside, cast.second_technician)
    left.get_by_label("Gauge").select_option("B1")
    left.get_by_role("textbox", name="Reading").fill("26.0731 mm")
    left.get_by_role("button", name="Record reading").click()
    expect(headline(left)).to_have_text("all sent")  # the page that follows is the other person's
    assert Reading.objects.count() == 0
    assert "26.0731" not in left.locator("[data-waiting]").inner_text()
    left.get_by_role("button", name="Sign out").click()
    left.wait_for_url("**/sign-in**")
    left.goto(UNIT)
    sign_in(left, cast.technician)
    expect(headline(left)).to_have_text("all sent")
    row = Reading.objects.get()
    assert (row.text, row.person) == ("26.0731 mm", cast.technician)


def test_where_no_page_can_be_kept_the_open_one_goes_on(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    """Over plain http at a host name there is no worker: what is typed waits all the same."""
    page = tablet(cast.technician, f"{UNIT}/CASE?check=WIDTH", service_workers="block")
    page.evaluate("window.stayed = true")
    cut_off(page)
    for number, (place, text) in enumerate((("left", "100.05 mm"), ("right", "100.06 mm")), 1):
        expect(page.locator("input[name=place]:checked")).to_have_value(place)
        page.get_by_label("Gauge").select_option("B1")
        page.get_by_role("textbox", name="Reading").fill(text)
        page.get_by_role("button", name="Record reading").click()
        expect(page.locator("[data-own-note]")).to_contain_text(text)
        expect(headline(page)).to_contain_text(f"{number} wait")
        expect(page.get_by_role("textbox", name="Reading")).to_have_value("")
    assert page.evaluate("window.stayed") is True
    connect(page)
    expect(headline(page)).to_have_text("all sent")
    rows = Reading.objects.order_by("sequence").values_list("text", "place")
    assert list(rows) == [("100.05 mm", "left"), ("100.06 mm", "right")]
    expect(page.locator("#hand .decided")).to_contain_text("Within.")


def test_ids_are_made_where_the_browser_makes_none(bench: Examination, cast: Cast, tablet: Tablet) -> None:
    """Over plain http at a host name there is no randomUUID. RFC 9562: version 4, variant 10x."""
    page = tablet(cast.technician, UNIT)
    made = page.evaluate(
        """async () => {
          Object.defineProperty(crypto, "randomUUID", { value: undefined });
          const { uuid } = await import("/static/inspections/uuid.js");
          return Array.from({ length: 200 }, uuid);
        }"""
    )
    assert len(set(made)) == 200
    ids = [UUID(one) for one in made]
    assert {(one.version, one.variant) for one in ids} == {(4, "specified in RFC 4122")}
    assert [str(one) for one in ids] == made


def test_a_deed_without_a_page_of_its_own_says_that_it_needs_the_network(
    bench: Examination, cast: Cast, tablet: Tablet
) -> None:
    page = tablet(cast.technician, UNIT)
    wait_until_kept(page)
    page.reload()  # from here on the worker is in charge
    cut_off(page)
    page.get_by_role("button", name="The examination is finished").click()
    expect(page.locator("body")).to_contain_text("This needs the network, and nothing was sent")
