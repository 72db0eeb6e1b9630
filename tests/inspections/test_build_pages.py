"""Pages of rework and of the build sheet: who may see them, what forms do, and how they hold in Chromium."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from pytest_django.live_server_helper import LiveServer

from inspections.building.sheet_pictures import likely
from inspections.building.sheets import make_sheet, newest_sheet
from inspections.guiding.guides import guide_of
from inspections.models import AsBuilt, Examination, Rework
from shop.models import Ticket
from tests.conftest import Cast, SignedIn
from tests.inspections.job import Job, agreed_job

RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
COLLEAGUES = ("front_desk", "technician", "second_technician", "lead", "stores", "manager", "owner")
STRANGERS = ("supplier", "other_supplier", "stranger")
BUILDERS = ("technician", "second_technician", "lead", "owner")


@pytest.fixture
def job(cast: Cast) -> Job:
    return agreed_job(cast)


def path(job: Job, page: str = "sheet") -> str:
    return f"/bench/{job.ticket.number}/{page}"


@pytest.mark.django_db
@pytest.mark.parametrize("page", ["sheet", "rework"])
def test_who_may_look(job: Job, signed_in: SignedIn, page: str) -> None:
    for name in COLLEAGUES:
        assert signed_in(getattr(job.cast, name)).get(path(job, page)).status_code == 200, name
    for name in STRANGERS:
        assert signed_in(getattr(job.cast, name)).get(path(job, page)).status_code in {403, 404}, name
    assert signed_in(job.cast.owner).get(f"/bench/9999/{page}").status_code == 404


@pytest.mark.django_db
def test_nobody_looks_without_signing_in(job: Job, client: Any) -> None:
    for page in ("sheet", "rework"):
        answer = client.get(path(job, page))
        assert answer.status_code == 302
        assert "sign-in" in answer["Location"]


@pytest.mark.django_db
@pytest.mark.parametrize("deed", ["make", "boxes", "sign", "finish", "test"])
def test_who_may_do_it(job: Job, signed_in: SignedIn, deed: str) -> None:
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    body = {
        "deed": deed,
        "step": "B04",
        "revision": "1",
        "box-0": "2.15",
        "turns_freely": "passed",
        "gears_hold": "passed",
        "interlock_refuses": "passed",
        "leak_test": "passed",
    }
    for name in (*COLLEAGUES, *STRANGERS):
        status = signed_in(getattr(job.cast, name)).post(path(job), body).status_code
        if name in BUILDERS:
            assert status in {302, 409, 422}, name
        else:
            assert status in {403, 404}, name
    assert signed_in(job.cast.lead).post(path(job), {"deed": "melt"}).status_code == 404


@pytest.mark.django_db
def test_a_first_sheet_is_asked_for_and_made(job: Job, signed_in: SignedIn) -> None:
    client = signed_in(job.cast.technician)
    assert "Make the build sheet" in client.get(path(job)).content.decode()
    answer = client.post(path(job), {"deed": "make"}, follow=True)
    text = answer.content.decode()
    assert "Revision A is frozen" in text
    for words in ("29 N·m", "21 lbf ft", "The tapped thread limits", "TW-215", "interference 15 to 21 µm"):
        assert words in text, words
    assert "T = K F d" in text
    assert "Nothing has changed" in client.post(path(job), {"deed": "make"}, follow=True).content.decode()


@pytest.mark.django_db
def test_who_does_not_build_sees_no_forms(job: Job, signed_in: SignedIn) -> None:
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    text = signed_in(job.cast.stores).get(path(job)).content.decode()
    assert 'name="deed"' not in text
    assert "not filled in" in text


@pytest.mark.django_db
def test_boxes_are_written_and_nothing_typed_is_lost(job: Job, signed_in: SignedIn) -> None:
    job.stand_at("parts complete")
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    client = signed_in(job.cast.technician)
    body = {"deed": "boxes", "step": "B04", "revision": "1", "box-0": "2.15", "box-1": "2.16"}
    answer = client.post(path(job), body)
    assert answer.status_code == 302
    assert answer["Location"].endswith("#B04")
    assert client.post(path(job), body).status_code == 302
    assert AsBuilt.objects.count() == 2
    long = "9" * 130
    answer = client.post(path(job), body | {"box-0": long, "box-1": "2.17"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert long in text
    assert 'value="2.17"' in text
    assert 'aria-describedby="B04-0_error"' in text
    stale = client.post(path(job), body | {"revision": "7", "box-0": "2.99"})
    assert stale.status_code == 409
    assert 'value="2.99"' in stale.content.decode()


@pytest.mark.django_db
def test_the_page_says_when_it_is_out_of_date(job: Job, signed_in: SignedIn) -> None:
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    client = signed_in(job.cast.technician)
    assert "out of date" not in client.get(path(job)).content.decode()
    job.read("LAYSH.RE", "26.030 mm")
    assert "out of date" in client.get(path(job)).content.decode()


@pytest.mark.django_db
def test_rework_is_written_down_once(job: Job, signed_in: SignedIn) -> None:
    client, tag = signed_in(job.cast.lead), job.piece("CASE").tag
    body = {"piece": tag, "remedy": "SLEEVE-LSR", "key": str(uuid4()), "minutes": "115", "good": "yes"}
    assert client.post(path(job, "rework"), body).status_code == 302
    assert client.post(path(job, "rework"), body).status_code == 302
    assert Rework.objects.count() == 1
    text = client.get(path(job, "rework")).content.decode()
    assert "All of it is done." not in text
    assert "readings still asked for" in text
    # All that the build will ask, not the reworked check alone: face and idler bore count in floats and fits.
    for code in ("ME-CASE-LSR", "ME-CASE-FACE", "ME-CASE-RVB"):
        assert f'href="/bench/{job.ticket.number}/CASE?check={code}"' in text, code
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    text = client.get(path(job)).content.decode()
    assert f'href="/bench/{job.ticket.number}/CASE?check=ME-CASE-FACE"' in text


@pytest.mark.django_db
def test_rework_is_finished_by_a_button_when_nothing_stands_in_the_way(job: Job, signed_in: SignedIn) -> None:
    job.stand_at("parts complete")
    client, tag = signed_in(job.cast.lead), job.piece("CASE").tag
    button = "Rework is finished</button>"
    assert button not in client.get(path(job, "rework")).content.decode()
    assert client.post(path(job, "rework"), {"deed": "finish"}).status_code == 422
    body = {"piece": tag, "remedy": "SLEEVE-LSR", "key": str(uuid4()), "minutes": "115", "good": "yes"}
    client.post(path(job, "rework"), body)
    job.read("CASE.LSR", "26.060 mm")
    text = client.get(path(job, "rework")).content.decode()
    assert button not in text
    assert "Read after the rework, and not good" in text
    client.post(path(job, "rework"), body | {"key": str(uuid4())})
    for feature, typed in (
        ("CASE.LSR", "26.004 mm"),
        ("CASE.FACE", "150.210 mm"),
        ("CASE.RVB", "20.006 mm"),
        ("CASE.LSF", "25.012 mm"),
    ):
        job.read(feature, typed)
    text = client.get(path(job, "rework")).content.decode()
    assert "All of it is done." in text
    assert button in text
    assert button not in signed_in(job.cast.stores).get(path(job, "rework")).content.decode()
    assert client.post(path(job, "rework"), {"deed": "finish"}).status_code == 302
    assert Ticket.objects.get(pk=job.ticket.pk).stage == "reworked"
    assert "Make a new revision</a>" in client.get(path(job, "rework")).content.decode()


@pytest.mark.django_db
def test_minutes_are_asked_for_and_a_leads_work_has_no_form_for_others(job: Job, signed_in: SignedIn) -> None:
    text = signed_in(job.cast.lead).get(path(job, "rework")).content.decode()
    assert "(120 agreed)" in text
    assert 'value="120"' not in text
    text = signed_in(job.cast.technician).get(path(job, "rework")).content.decode()
    assert 'name="minutes"' not in text
    assert "A lead technician does this work" in text


@pytest.mark.django_db
def test_an_early_sheet_shows_no_boxes_to_fill(job: Job, signed_in: SignedIn) -> None:
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    text = signed_in(job.cast.technician).get(path(job)).content.decode()
    assert "its boxes stay closed" in text
    assert 'value="boxes"' not in text


@pytest.mark.django_db
def test_a_fit_that_may_be_outside_says_how_likely_it_is_inside(job: Job, signed_in: SignedIn) -> None:
    """Mean bore 26.026 less shaft 26.028 is −2 µm, and of it Φ(2 / 1.345) = 0.931 is interference.

    U of one reading: 2² + (2/√12)² = 4.33 µm², of which 1² is calibration; of the mean of two
    1 + 3.33/2 = 2.67; warmth adds about 0.1 to each: U = √(4.43 + 2.77) = 2.69 µm.
    """
    job.read("CASE.LSR", "26.042 mm")
    sheet = make_sheet(ticket=job.ticket, by=job.actor("lead"))
    fit = next(one["fit"] for one in sheet.document["steps"] if one["code"] == "B14")
    assert fit["state"] == "too close to call"
    assert fit["probability"] == pytest.approx(0.931, abs=0.004)
    text = signed_in(job.cast.technician).get(path(job)).content.decode()
    assert f"{likely(fit['probability'])} likely inside: <strong>too close to call</strong>" in text


@pytest.mark.django_db
def test_rework_says_when_it_is_not_worth_doing(
    job: Job, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    remedies = guide_of(Examination.objects.get(ticket=job.ticket).revision).remedy
    words = "A sound casing is on the shelf."
    monkeypatch.setitem(remedies, "SLEEVE-LSR", replace(remedies["SLEEVE-LSR"], not_when=words))
    text = signed_in(job.cast.lead).get(path(job, "rework")).content.decode()
    assert f"<strong>When it is not worth doing.</strong> {words}" in text


@pytest.mark.django_db
def test_rework_that_is_not_filled_in_comes_back(job: Job, signed_in: SignedIn) -> None:
    client, tag = signed_in(job.cast.lead), job.piece("CASE").tag
    body = {
        "piece": tag,
        "remedy": "SLEEVE-LSR",
        "key": str(uuid4()),
        "minutes": "two hours",
        "note": "bushed",
    }
    answer = client.post(path(job, "rework"), body)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Write whole minutes" in text
    assert "Say whether it came out well" in text
    assert 'value="two hours"' in text
    assert 'value="bushed"' in text
    assert body["key"] in text
    assert client.post(path(job, "rework"), body | {"piece": "P-9999"}).status_code == 422
    assert Rework.objects.count() == 0


@pytest.mark.django_db
def test_who_may_write_rework_down(job: Job, signed_in: SignedIn) -> None:
    body = {"piece": job.piece("CASE").tag, "remedy": "SLEEVE-LSR", "key": "k", "minutes": "x", "good": "yes"}
    for name in (*COLLEAGUES, *STRANGERS):
        status = signed_in(getattr(job.cast, name)).post(path(job, "rework"), body).status_code
        assert (status == 422) if name in BUILDERS else (status in {403, 404}), name


# --- in Chromium


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_no_barrier_is_found_on_the_pages(
    job: Job, signed_in: SignedIn, live_server: LiveServer, chromium: Any
) -> None:
    job.stand_at("parts complete")
    make_sheet(ticket=job.ticket, by=job.actor("lead"))
    cookie = signed_in(job.cast.lead).cookies[settings.SESSION_COOKIE_NAME].value
    for scheme in ("light", "dark"):
        for width in (1440, 820):
            context = chromium.new_context(
                color_scheme=scheme, reduced_motion="reduce", viewport={"width": width, "height": 1100}
            )
            context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
            )
            page = context.new_page()
            complaints: list[str] = []
            page.on(
                "console", lambda one, seen=complaints: seen.append(one.text) if one.type == "error" else None
            )
            for name in ("rework", "sheet"):
                page.goto(f"{live_server.url}{path(job, name)}")
                found = Axe().run(page, options={"runOnly": RULES})
                assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []
                assert page.evaluate("document.documentElement.scrollWidth") <= width
                short = [
                    one.bounding_box()["height"]
                    for one in page.locator(".boxes input:visible, .button").all()
                ]
                assert short
                assert min(short) >= 48
            assert complaints == []
            context.close()


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_a_builder_fills_in_signs_and_builds(
    job: Job, signed_in: SignedIn, live_server: LiveServer, chromium: Any
) -> None:
    """Without a script: JavaScript is off."""
    row = job.row("CASE")
    row.remedies = []
    row.save(update_fields=["remedies"])
    job.stand_at("parts complete")

    def desk(name: str) -> Any:
        cookie = signed_in(getattr(job.cast, name)).cookies[settings.SESSION_COOKIE_NAME].value
        context = chromium.new_context(java_script_enabled=False, viewport={"width": 820, "height": 1180})
        context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}])
        page = context.new_page()
        page.goto(f"{live_server.url}{path(job)}")
        return page

    builder = desk("technician")
    builder.get_by_role("button", name="Make the build sheet").click()
    builder.locator("#B04-0").fill("2.15")
    builder.get_by_role("button", name="Write down at step 4", exact=True).click()
    assert builder.locator("#B04-0").input_value() == "2.15"
    second = desk("lead")
    second.get_by_role("button", name="I have looked inside: sign").click()
    builder.reload()
    builder.get_by_role("button", name="The unit is built").click()
    assert Ticket.objects.get(pk=job.ticket.pk).stage == "built"
    for box in builder.locator("fieldset:has(legend) label:has-text('Passed') input").all():
        box.check()
    builder.get_by_role("button", name="Write the test down").click()
    assert Ticket.objects.get(pk=job.ticket.pk).stage == "tested"
    assert newest_sheet(job.ticket) is not None
