"""Building from the sheet: boxes, the second person, what is issued, fitted and put away, and the test."""

from __future__ import annotations

import pytest

from inspections.building.building import finish_build, finish_test, newest_boxes, record_box, sign_inside
from inspections.building.reworking import record_rework
from inspections.building.sheets import make_sheet
from inspections.models import AsBuilt, BuildSheet
from inventory.ledger import reserve_part
from inventory.models import Movement, Part, Piece, Reservation
from shop.access import PROGRAM, Denied, NotThere
from shop.models import Ticket
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
        by=made.actor("lead"),
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
        by=job.actor("lead"),
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
    assert try_out(job, "technician", "not for this unit").stage == "tested"


def try_out(job: Job, who: str, leak_test: str, reason: str = "") -> Ticket:
    return finish_test(
        ticket=job.ticket,
        turns_freely=True,
        gears_hold=True,
        interlock_refuses=True,
        leak_test=leak_test,
        reason=reason,
        by=job.actor(who),
    )


def test_a_leak_that_failed_is_waved_through_by_a_lead_alone(job: Job) -> None:
    sheet = built(job)
    with pytest.raises(Refusal, match="leak test"):
        try_out(job, "technician", "failed")
    for who, reason, field in (
        ("technician", "felt seals", "leak_test"),
        ("owner", "felt seals", "leak_test"),
        ("lead", " ", "reason"),
        ("lead", "x" * 91, "reason"),
    ):
        with pytest.raises(Refusal) as refused:
            try_out(job, who, "not for this unit", reason)
        assert list(refused.value.errors) == [field]
    job.ticket.refresh_from_db()
    assert job.ticket.stage == "built"
    assert newest_boxes(sheet)["TEST", "leak test"].text == "failed"
    assert try_out(job, "lead", "not for this unit", "felt seals").stage == "tested"
    assert newest_boxes(sheet)["TEST", "leak test"].text == "not for this unit: felt seals"


def test_a_leak_that_failed_may_pass_when_tried_again(job: Job) -> None:
    sheet = built(job)
    with pytest.raises(Refusal, match="leak test"):
        try_out(job, "technician", "failed")
    assert try_out(job, "technician", "passed").stage == "tested"
    lines = AsBuilt.objects.filter(sheet=sheet, box="leak test").order_by("id")
    assert [one.text for one in lines] == ["failed", "passed"]


def test_boxes_with_a_unit_take_figures(job: Job) -> None:
    sheet, by = a_sheet(job), job.actor("technician")
    for step, box, text, words in (
        ("B04", "front washer mm", "banana", "does not start with a number"),
        ("B04", "front washer mm", "2.15 bar", "not a unit of length"),
        ("B29", "litres", "plenty", "does not start with a number"),
        ("B27", "pressure bar", "8 bar", "at most 0.2 bar"),
        ("B27", "pressure bar", "0.21", "at most 0.2 bar"),
        ("B27", "pressure bar", "3.1 psi", "at most 0.2 bar"),
    ):
        with pytest.raises(Refusal, match=words) as refused:
            record_box(sheet=sheet, step_code=step, box=box, text=text, by=by)
        assert list(refused.value.errors) == ["text"]
    assert AsBuilt.objects.count() == 0
    for step, box, text in (
        ("B04", "front washer mm", "0.0846 in"),
        ("B29", "litres", "2.2"),
        ("B27", "pressure bar", "0.2 bar"),
        ("B27", "pressure bar", "3 psi"),
    ):
        assert record_box(sheet=sheet, step_code=step, box=box, text=text, by=by).text == text


def test_boxes_and_the_signature_are_closed_on_an_early_and_on_an_old_sheet(job: Job) -> None:
    def refused(sheet: BuildSheet, words: str) -> None:
        with pytest.raises(Conflict, match=words):
            record_box(
                sheet=sheet, step_code="B04", box="front washer mm", text="2", by=job.actor("technician")
            )
        with pytest.raises(Conflict, match=words):
            sign_inside(sheet=sheet, by=job.actor("lead"))

    job.stand_at("agreed")
    early = a_sheet(job)
    refused(early, "not final")
    job.stand_at("parts complete")
    early.refresh_from_db()
    refused(BuildSheet.objects.get(pk=early.pk), "Make a new revision")
    sheet = a_sheet(job)
    job.read("LAYSH.RE", "26.029 mm")
    refused(BuildSheet.objects.get(pk=sheet.pk), "out of date")


def test_a_bad_reading_after_rework_stops_the_build(job: Job) -> None:
    """The sleeved bore is 26.000 to 26.021; the planned fit is 0 to 35 µm of interference."""
    assert hindrances(job.ticket, "reworked") == []
    job.read("CASE.LSR", "26.060 mm", who="lead")
    record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="SLEEVE-LSR",
        minutes=10,
        good=True,
        key="k3",
        by=job.actor("lead"),
    )
    for feature, text in (("CASE.LSR", "26.060 mm"), ("CASE.FACE", "150.210 mm"), ("CASE.RVB", "20.006 mm")):
        job.read(feature, text)
    a_sheet(job)
    for stage in ("reworked", "built"):
        said = " ".join(hindrances(job.ticket, stage))
        assert "ME-CASE-LSR" in said
        assert job.piece("CASE").tag in said
    assert any("Step " in one and "outside" in one for one in hindrances(job.ticket, "built"))
    with pytest.raises(Refusal, match="ME-CASE-LSR"):
        finish_build(ticket=job.ticket, by=job.actor("technician"))


def test_readings_in_dispute_after_rework_stop_the_build(job: Job) -> None:
    job.read("CASE.LSR", "26.018 mm", who="second_technician")
    said = " ".join(hindrances(job.ticket, "reworked"))
    assert "ME-CASE-LSR" in said
    assert "Settle it" in said


def test_a_bore_that_suits_the_planned_size_is_no_hindrance(job: Job) -> None:
    """Agreed to stay: the bore is read at the oversize, and the layshaft that goes in is of that size."""
    record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="SLEEVE-LSR",
        minutes=10,
        good=False,
        key="k4",
        by=job.actor("lead"),
    )
    job.read("CASE.LSR", "26.110 mm")
    assert any("ME-CASE-LSR" in one for one in hindrances(job.ticket, "reworked"))
    row = job.row("LAYSH")
    row.size = "oversize"
    row.save(update_fields=["size"])
    assert not any("ME-CASE-LSR" in one for one in hindrances(job.ticket, "reworked"))


@pytest.mark.parametrize(("who", "answer"), [("front_desk", Denied), ("supplier", NotThere)])
def test_who_may_build(job: Job, who: str, answer: type[Exception]) -> None:
    sheet = a_sheet(job)
    with pytest.raises(answer):
        record_box(sheet=sheet, step_code="B04", box="front washer mm", text="2", by=job.actor(who))
    with pytest.raises(answer):
        finish_build(ticket=job.ticket, by=job.actor(who))
    with pytest.raises(answer):
        sign_inside(sheet=sheet, by=job.actor(who))
