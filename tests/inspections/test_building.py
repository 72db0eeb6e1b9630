"""Building from the sheet: boxes, the second person, what is issued, fitted and put away, and the test."""

from __future__ import annotations

import pytest

from inspections.building import finish_build, finish_test, newest_boxes, record_box, sign_inside
from inspections.models import AsBuilt, BuildSheet
from inspections.reworking import record_rework
from inspections.sheets import make_sheet
from inventory.ledger import reserve_part
from inventory.models import Movement, Part, Piece, Reservation
from shop.access import PROGRAM, Denied, NotThere
from shop.refusals import Conflict, Refusal
from shop.stages import hindrances
from tests.conftest import Cast
from tests.inspections.job import Job, agreed_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(cast: Cast) -> Job:
    """Parts complete, the bore sleeved and read again; the planned washers are promised."""
    made = agreed_job(cast)
    for code in ("THWF", "THWR"):
        part = Part.objects.get(number="TW-215")
        reserve_part(ticket=made.ticket, part=part, quantity=1, position_code=code, by=PROGRAM)
    record_rework(
        ticket=made.ticket,
        piece=made.piece("CASE"),
        remedy_code="SLEEVE-LSR",
        minutes=110,
        good=True,
        key="k1",
        by=made.actor("technician"),
    )
    for feature, text in (("CASE.LSR", "26.004 mm"), ("CASE.FACE", "150.210 mm"), ("CASE.RVB", "20.006 mm")):
        made.read(feature, text)
    made.stand_at("parts complete")
    return made


def a_sheet(job: Job) -> BuildSheet:
    return make_sheet(ticket=job.ticket, by=job.actor("technician"))


def built(job: Job) -> BuildSheet:
    sheet = a_sheet(job)
    record_box(sheet=sheet, step_code="B04", box="front washer mm", text="2.15", by=job.actor("technician"))
    sign_inside(sheet=sheet, by=job.actor("lead"))
    job.ticket = finish_build(ticket=job.ticket, by=job.actor("technician"))
    return sheet


def test_a_box_keeps_every_line_and_the_newest_counts(job: Job) -> None:
    sheet, by = a_sheet(job), job.actor("technician")
    for text in ("2.15", " 2.15 ", "2.16"):
        record_box(sheet=sheet, step_code="B04", box="front washer mm", text=text, by=by)
    assert [one.text for one in AsBuilt.objects.order_by("id")] == ["2.15", "2.16"]
    assert newest_boxes(sheet)["B04", "front washer mm"].text == "2.16"


def test_boxes_that_are_not_there_and_empty_ones_are_refused(job: Job) -> None:
    sheet, by = a_sheet(job), job.actor("technician")
    for step, box, text, field in (
        ("B04", "colour", "red", "box"),
        ("B99", "front washer mm", "2", "box"),
        ("B04", "front washer mm", "  ", "text"),
        ("B04", "front washer mm", "9" * 121, "text"),
        ("SIGN", "inside seen before the lid", "seen", "text"),
    ):
        with pytest.raises(Refusal) as refused:
            record_box(sheet=sheet, step_code=step, box=box, text=text, by=by)
        assert list(refused.value.errors) == [field]


def test_an_older_revision_is_closed(job: Job) -> None:
    sheet = a_sheet(job)
    job.read("LAYSH.RE", "26.029 mm")
    newer = a_sheet(job)
    assert newer.revision == sheet.revision + 1
    with pytest.raises(Conflict, match="newer revision"):
        record_box(sheet=sheet, step_code="B04", box="front washer mm", text="2", by=job.actor("technician"))


def test_building_issues_fits_and_moves_the_ticket(job: Job) -> None:
    built(job)
    assert job.ticket.stage == "built"
    assert not Reservation.objects.filter(ticket=job.ticket, resolved_at__isnull=True).exists()
    assert sum(one.quantity for one in Movement.objects.filter(ticket=job.ticket, kind="issued")) == -2
    case = job.piece("CASE")
    assert case.state == "fitted"
    assert case.in_unit == job.ticket.sources.get(kind="unit").unit
    # Replaced pieces are the customer's: they wait in the tray for the hand-over.
    assert job.piece("SEALF").state == "tray"


def test_building_twice_is_once(job: Job) -> None:
    built(job)
    count = Movement.objects.count()
    again = finish_build(ticket=job.ticket, by=job.actor("technician"))
    assert again.stage == "built"
    assert Movement.objects.count() == count


def test_the_shops_own_scrap_is_scrapped(job: Job) -> None:
    Piece.objects.filter(source__ticket=job.ticket).update(owner=None)
    built(job)
    assert job.piece("SEALF").state == "scrapped"
    assert job.piece("CASE").state == "fitted"


def test_the_second_person_is_not_the_builder(job: Job) -> None:
    sheet, technician = a_sheet(job), job.actor("technician")
    with pytest.raises(Refusal, match="Nobody has signed"):
        finish_build(ticket=job.ticket, by=technician)
    record_box(sheet=sheet, step_code="B04", box="front washer mm", text="2.15", by=technician)
    with pytest.raises(Refusal, match="second person"):
        sign_inside(sheet=sheet, by=technician)
    sign_inside(sheet=sheet, by=job.actor("lead"))
    with pytest.raises(Refusal, match="other than the builder"):
        finish_build(ticket=job.ticket, by=job.actor("lead"))
    job.ticket.refresh_from_db()
    assert finish_build(ticket=job.ticket, by=technician).stage == "built"


def test_a_sheet_that_is_out_of_date_is_refused(job: Job) -> None:
    sheet = a_sheet(job)
    sign_inside(sheet=sheet, by=job.actor("lead"))
    job.read("LAYSH.RE", "26.029 mm")
    with pytest.raises(Refusal, match="out of date"):
        finish_build(ticket=job.ticket, by=job.actor("technician"))
    assert job.piece("CASE").state == "tray"


def test_the_gates(job: Job) -> None:
    assert hindrances(job.ticket, "built") == ["There is no build sheet. Make one first."]
    record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="SLEEVE-LSR",
        minutes=10,
        good=False,
        key="k2",
        by=job.actor("technician"),
    )
    assert "failed" in " ".join(hindrances(job.ticket, "reworked"))
    a_sheet(job)
    assert any("measure" in one for one in hindrances(job.ticket, "built"))
    with pytest.raises(Refusal):
        finish_build(ticket=job.ticket, by=job.actor("technician"))


def test_all_passed_is_tested(job: Job) -> None:
    sheet = built(job)
    done = finish_test(
        ticket=job.ticket, turns_freely=True, gears_hold=True, interlock_refuses=True, by=job.actor("lead")
    )
    assert done.stage == "tested"
    assert {one.text for key, one in newest_boxes(sheet).items() if key[0] == "TEST"} == {"passed"}


def test_a_failed_test_stands_and_says_what_failed(job: Job) -> None:
    sheet, by = built(job), job.actor("technician")
    with pytest.raises(Refusal, match="every gear selects and holds"):
        finish_test(ticket=job.ticket, turns_freely=True, gears_hold=False, interlock_refuses=True, by=by)
    job.ticket.refresh_from_db()
    assert job.ticket.stage == "built"
    assert newest_boxes(sheet)["TEST", "every gear selects and holds"].text == "failed"
    assert hindrances(job.ticket, "tested") == ["Not passed: every gear selects and holds."]
    done = finish_test(
        ticket=job.ticket,
        turns_freely=True,
        gears_hold=True,
        interlock_refuses=True,
        leak_test="not for this unit",
        by=by,
    )
    assert done.stage == "tested"


@pytest.mark.parametrize(("who", "answer"), [("front_desk", Denied), ("supplier", NotThere)])
def test_who_may_build(job: Job, who: str, answer: type[Exception]) -> None:
    sheet = a_sheet(job)
    with pytest.raises(answer):
        record_box(sheet=sheet, step_code="B04", box="front washer mm", text="2", by=job.actor(who))
    with pytest.raises(answer):
        finish_build(ticket=job.ticket, by=job.actor(who))
    with pytest.raises(answer):
        sign_inside(sheet=sheet, by=job.actor(who))
