"""The build sheet: order, torque, washers and fits, revisions, and the paper."""

from __future__ import annotations

import io
import math
import tomllib
from dataclasses import replace
from typing import Any

import pytest
from pypdf import PdfReader

from inspections.building.floating import Chosen, Measured, Offer, fit_of, float_of, measure_of
from inspections.building.jointing import joint, shown_torque
from inspections.building.sheeting import Circle, compute, order_steps, same_work
from inspections.building.sheets import compute_sheet, make_sheet, newest_sheet, paper_of, print_sheet
from inspections.document import Bolts, BuildStep, GuideIndex, read
from inspections.models import BuildSheet
from shop import outbox
from shop.access import Denied
from shop.documents import path_of
from shop.models import Document, Outbox
from shop.refusals import Conflict
from tests.conftest import Cast
from tests.inspections.job import GUIDE, Job, agreed_job, washer

LBF_FT_NM = 1.3558179483314004  # exact: 0.3048 m × 4.4482216152605 N (NIST SP 811, B.8)


@pytest.fixture(scope="module")
def guide() -> GuideIndex:
    return GuideIndex(read(tomllib.loads(GUIDE.read_text())))


@pytest.fixture
def job(cast: Cast) -> Job:
    return agreed_job(cast)


def step(document: dict[str, Any], code: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in document["steps"] if one["code"] == code)
    return found


# --- order


def a_step(code: str, *after: str) -> BuildStep:
    return BuildStep(code, code, code, after=after)


def test_each_step_comes_after_what_it_names() -> None:
    order = [one.code for one in order_steps([a_step("C", "B"), a_step("A"), a_step("B", "A"), a_step("D")])]
    assert order == ["A", "B", "C", "D"]


def test_a_step_of_another_variant_is_passed_over() -> None:
    assert [one.code for one in order_steps([a_step("A", "ONLY-RC")])] == ["A"]


def test_a_circle_is_refused_and_named() -> None:
    with pytest.raises(Circle, match="A, B"):
        order_steps([a_step("A", "B"), a_step("B", "A"), a_step("C")])


@pytest.mark.parametrize("variant", ["FC", "RC"])
def test_the_demonstration_guide_has_an_order(guide: GuideIndex, variant: str) -> None:
    document = compute(guide, variant, [], {})
    codes = [one["code"] for one in document["steps"]]
    for one in guide.guide.steps:
        if one.exists_in(variant):
            assert all(codes.index(other) < codes.index(one.code) for other in one.after if other in codes)
    assert ("B26" in codes) == (variant == "RC")


# --- torque


def test_the_guides_own_figure_wins() -> None:
    said = joint(Bolts("3/8-16 UNC", "5", tapped_material="grey iron", engagement_mm=14, torque_nm=25.0))
    assert (said["kind"], said["torque_nm"]) == ("guide", 25.0)
    assert "guide's own figure" in said["why"]
    assert [one["torque_nm"] for one in said["passes"]] == [12.5, 25.0]


def test_a_computed_torque_by_hand() -> None:
    """3/8-16 UNC, SAE 5, oiled: As = π/4 (9.525 − 0.9743 × 25.4/16)² = 49.99 mm² (ASME B1.1, appendix B),
    proof 85 ksi = 586.05 MPa (SAE J429), F = 0.75 × proof × As, K = 0.15 (IFI N-12), T = K F d."""
    area = math.pi / 4 * (9.525 - 0.9743 * 25.4 / 16) ** 2
    alone = 0.15 * 0.75 * 85 * 6.894757 * area * 9.525 / 1000
    said = joint(Bolts("3/8-16 UNC", "5", "oiled", "grey iron", 14.0))
    assert said["kind"] == "computed"
    assert said["bolt_alone_nm"] == pytest.approx(alone, rel=1e-4)
    assert said["limited_by"] == "tapped thread"
    # The hole is held to half its stripping load: common practice, no source.
    assert said["torque_nm"] == pytest.approx(0.15 * said["stripping_load_n"] / 2 * 9.525 / 1000)
    assert said["why"].startswith("The tapped thread limits; the bolt alone would allow 31 N·m.")
    assert said["torque_min_nm"] == pytest.approx(0.75 * said["torque_nm"])
    assert any("fallback" in one for one in said["cautions"])


def test_both_systems_are_shown() -> None:
    for torque in (5.0, 17.07, 29.01, 140.0):
        shown = shown_torque(torque)
        assert float(shown["lbf_ft"]) == pytest.approx(torque / LBF_FT_NM, abs=0.5)
        assert float(shown["nm"]) == pytest.approx(torque, abs=0.5)


def test_an_unmarked_bolt_counts_as_the_lowest_grade() -> None:
    said = joint(Bolts("3/8-20 BSF", "", "oiled", "grey iron", 14.0))
    assert said["grade"] == "4.6"
    assert any("unmarked" in one for one in said["cautions"])


def test_a_taper_plug_has_turns_and_no_torque() -> None:
    said = joint(Bolts("1/2-14 NPT", turns="2 to 3 turns past hand-tight; no torque"))
    assert said["kind"] == "taper"
    assert "torque_nm" not in said
    assert said["passes"] == []
    assert any(one.startswith("R 1/2") for one in said["not_to_be_confused_with"])
    assert joint(Bolts("R 1/2"))["kind"] == "taper"


def test_a_thread_that_nobody_knows_gets_no_figure() -> None:
    said = joint(Bolts("7/8-99 ODD"))
    assert said["kind"] == "none"
    assert "competent person" in said["why"]
    assert joint(Bolts("7/8-99 ODD", torque_nm=12.0))["kind"] == "guide"


def test_the_order_goes_across() -> None:
    square = (("a", 0.0, 0.0), ("b", 100.0, 0.0), ("c", 100.0, 100.0), ("d", 0.0, 100.0))
    said = joint(Bolts("3/8-16 UNC", "5", "oiled", at=square))
    assert said["order"] == ["a", "c", "b", "d"]
    assert [turn for *_, turn in said["bolts"]] == [1, 3, 2, 4]


# --- floats and fits

LIMITS = {"CASE.FACE": Measured(150.21, 4.0, "P1"), "CLUS.LEN": Measured(145.65, 4.0, "P2")}


def pieces(**more: Any) -> dict[str, Chosen]:
    case = Chosen("CASE", "own", "casing", tag="P1", measured={"CASE.FACE": LIMITS["CASE.FACE"]}, **more)
    cluster = Chosen("CLUS", "own", "cluster", tag="P2", measured={"CLUS.LEN": LIMITS["CLUS.LEN"]})
    return {"CASE": case, "CLUS": cluster}


def float_step(guide: GuideIndex) -> BuildStep:
    return next(one for one in guide.guide.steps if one.float_check)


def test_washers_leave_the_float_that_arithmetic_says(guide: GuideIndex) -> None:
    """150.210 − 145.650 = 4.560 of room; 2.15 + 2.15 leave 0.260 of the 0.150 to 0.400 that is wanted."""
    offers = [Offer("TW-215", 2.15, 0.005, 2), Offer("TW-195", 1.95, 0.005, 2)]
    said = float_of(guide, float_step(guide), pieces(), offers)
    assert [one["code"] for one in said["choice"]] == ["TW-215", "TW-215"]
    assert said["float_mm"] == pytest.approx(0.260)
    assert said["float_min_mm"] < 0.260 < said["float_max_mm"]
    assert said["probability"] > 0.999


def test_the_planned_washers_stay_while_they_are_likely(guide: GuideIndex) -> None:
    planned = Offer("TW-220", 2.20, 0.005, 2, planned=True)  # float 0.160
    nearer = Offer("TW-215", 2.15, 0.005, 2, price=0.45)
    said = float_of(guide, float_step(guide), pieces(), [nearer, replace(planned, thickness_mm=2.16)])
    assert said["as_planned"]
    too_close = float_of(guide, float_step(guide), pieces(), [nearer, replace(planned, thickness_mm=2.205)])
    assert not too_close["as_planned"]
    assert too_close["others"]


def test_nothing_is_chosen_before_it_is_measured(guide: GuideIndex) -> None:
    chosen = pieces(reworked=("SPOT-FACE",))
    chosen["CASE"] = replace(chosen["CASE"], measured={})
    said = float_of(guide, float_step(guide), chosen, [Offer("TW-215", 2.15, 0.005, 2)])
    assert said["choice"] == []
    (first,) = said["measure_first"]
    assert (first["feature"], first["piece"], first["reworked"]) == ("CASE.FACE", "P1", True)
    assert "remedy only predicts" in first["why"]


def test_no_washers_at_hand_is_said(guide: GuideIndex) -> None:
    said = float_of(guide, float_step(guide), pieces(), [Offer("TW-100", 1.0, 0.005, 2)])
    assert said["choice"] == []
    assert said["words"] == "No washers at hand reach the limits."
    assert any("Nothing in the list reaches" in one for one in said["cautions"])


def test_a_new_part_counts_by_its_stated_limits(guide: GuideIndex) -> None:
    """Even between its ends, U = 2 × half / √3 (JCGM 100:2008, 4.3.7)."""
    bearing = Chosen("INBRG", "new", "bearing", part="BB-80", stated={"INBRG.OD": (79.990, 80.000)})
    found = measure_of(guide, "INBRG.OD", {"INBRG": bearing})
    assert found is not None
    assert found.value_mm == pytest.approx(79.995)
    assert found.expanded_um == pytest.approx(2 * 5 / math.sqrt(3))
    assert "as stated" in found.of
    guides = measure_of(guide, "INBRG.OD", {"INBRG": replace(bearing, stated={})})
    assert guides is not None
    assert "by the guide" in guides.of


def test_a_drive_fit_is_told_as_interference(guide: GuideIndex) -> None:
    """26.010 − 26.022 = −12 µm; U = √(3² + 2.6457²) = 4 µm, so 8 to 16."""
    chosen = {
        "CASE": Chosen("CASE", "own", "", tag="P1", measured={"CASE.LSR": Measured(26.010, 3.0, "P1")}),
        "LAYSH": Chosen("LAYSH", "own", "", tag="P2", measured={"LAYSH.RE": Measured(26.022, 7**0.5, "P2")}),
    }
    said = fit_of(guide, guide.check["MT-LSR"], chosen)
    assert said["words"] == "interference 8 to 16 µm"
    assert said["state"] == "within"
    assert said["limits"] == "interference 0 to 35 µm"


# --- revisions


@pytest.mark.django_db
def test_a_sheet_is_refused_before_the_yes(job: Job) -> None:
    job.stand_at("quoted")
    with pytest.raises(Conflict, match="once the plan is agreed"):
        make_sheet(ticket=job.ticket, by=job.actor("technician"))


@pytest.mark.django_db
def test_a_new_revision_only_if_the_work_changed(job: Job) -> None:
    by = job.actor("technician")
    first = make_sheet(ticket=job.ticket, by=by)
    assert first.letter == "A"
    assert first.document["preliminary"]
    assert make_sheet(ticket=job.ticket, by=by).pk == first.pk
    washer("TW-999", 2.01)  # more to choose from changes no order
    assert make_sheet(ticket=job.ticket, by=by).pk == first.pk
    job.stand_at("parts complete")
    second = make_sheet(ticket=job.ticket, by=by)
    assert second.letter == "B"
    assert not second.document["preliminary"]
    newest = newest_sheet(job.ticket)
    assert newest is not None
    assert newest.pk == second.pk
    assert BuildSheet.objects.get(pk=first.pk).document["preliminary"]
    with pytest.raises(Denied):
        make_sheet(ticket=job.ticket, by=job.actor("front_desk"))


@pytest.mark.django_db
def test_what_was_stored_is_what_was_computed(job: Job) -> None:
    sheet = make_sheet(ticket=job.ticket, by=job.actor("technician"))
    sheet.refresh_from_db()
    assert same_work(sheet.document, compute_sheet(job.ticket))


@pytest.mark.django_db
def test_washers_of_the_demonstration(job: Job) -> None:
    found = step(compute_sheet(job.ticket), "B04")["float"]
    assert [(one["place"], one["code"]) for one in found["choice"]] == [
        ("THWF", "TW-215"),
        ("THWR", "TW-215"),
    ]
    assert found["float_mm"] == pytest.approx(0.260)
    assert found["as_planned"]


# --- the paper


@pytest.mark.django_db
def test_the_print_is_asked_for_once_and_written_once(job: Job) -> None:
    sheet = make_sheet(ticket=job.ticket, by=job.actor("technician"))
    make_sheet(ticket=job.ticket, by=job.actor("technician"))
    row = Outbox.objects.get(rule="print build sheet")
    assert row.payload == {"sheet": sheet.pk}
    outbox.deliver(row.pk)
    assert Outbox.objects.get(pk=row.pk).done_at is not None
    print_sheet(row.key, sheet.pk)
    assert Document.objects.filter(kind="build sheet", ticket=job.ticket).count() == 1


@pytest.mark.django_db
def test_the_paper_says_what_the_sheet_says(job: Job) -> None:
    sheet = make_sheet(ticket=job.ticket, by=job.actor("technician"))
    print_sheet("by hand", sheet.pk)
    paper = paper_of(sheet)
    assert paper is not None
    pages = PdfReader(io.BytesIO(path_of(paper).read_bytes())).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    for words in (
        "revision A",
        "29 N·m",
        "21 lbf ft",
        "The tapped thread limits; the bolt alone would allow 31 N·m",
        "Computed, a fallback.",
        "grade 4.6",
        "no torque",
        "2 to 3 turns past hand-tight",
        "Not to be confused with",
        "TW-215",
        "0.26 mm",
        "Next best",
        "interference 15 to 21 µm",
        "Not final: parts are not complete",
        "Second person, not the builder",
        "The maker's data, local rules and a competent person come before any figure here.",
        "How the figures were worked out",
        "T = K F d",
    ):
        assert words in text or words.upper() in text, words
    assert "SMALL END FIRST" in text
    assert len(pages) < 20


@pytest.mark.django_db
def test_what_people_typed_is_escaped_on_the_paper(job: Job) -> None:
    job.ticket.vehicle = "<img src='file:///etc/passwd'> & co"
    job.ticket.save(update_fields=["vehicle"])
    sheet = make_sheet(ticket=job.ticket, by=job.actor("technician"))
    print_sheet("by hand", sheet.pk)
    paper = paper_of(sheet)
    assert paper is not None
    first = PdfReader(io.BytesIO(path_of(paper).read_bytes())).pages[0].extract_text()
    assert "<img src=" in first


@pytest.mark.django_db
def test_long_lists_of_work_stay_on_the_paper(job: Job) -> None:
    """The list is broken into lines; the longest line of a page is its foot, well under 140 letters."""
    row = job.row("CASE")
    row.remedies = ["DRESS-FACE", "REAM-OVERSIZE", "BUSH-R12", "BUSH-R34", "SLEEVE-RVB", "SPOT-FACE"]
    row.save(update_fields=["remedies"])
    sheet = make_sheet(ticket=job.ticket, by=job.actor("technician"))
    print_sheet("by hand", sheet.pk)
    paper = paper_of(sheet)
    assert paper is not None
    text = PdfReader(io.BytesIO(path_of(paper).read_bytes())).pages[1].extract_text()
    assert "dress the joint face" in text
    assert "spot-face the thrust faces" in " ".join(text.split())
    assert max(len(line) for line in text.splitlines()) < 140
