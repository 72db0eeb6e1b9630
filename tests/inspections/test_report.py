"""The examination report: frozen, numbered, printed once by the worker, and what stands on its paper."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from pypdf import PdfReader

from inspections.evidence import reporting
from inspections.evidence.answering import give_answer
from inspections.evidence.photographs import mark_place, take_back_photograph, withdraw_mark
from inspections.evidence.reporting import make_report, paper_of, print_report, state_of_print
from inspections.guiding.guides import guide_of
from inspections.judgement.seeing import SOUND
from inspections.models import Examination, ExaminationReport
from shop import outbox
from shop.access import make_token
from shop.documents import path_of
from shop.models import Customer, Document, Outbox, Ticket, Unit
from tests.conftest import Cast, SignedIn
from tests.inspections.evidence import (
    complain,
    demonstration,
    metal,
    overdue,
    photograph,
    read_everything_good,
)
from tests.inspections.shop import read, read_all, say, strip_unit

pytestmark = pytest.mark.django_db
READERS = {"front_desk", "technician", "second_technician", "lead", "stores", "manager", "owner"}
NAMES = sorted({*READERS, "supplier", "stranger"})


@pytest.fixture
def bench(cast: Cast) -> Examination:
    held = strip_unit(cast.actor("technician"))
    read_all(held, cast.actor("technician"))
    held.refresh_from_db()
    return held


# --- frozen and numbered


def test_a_report_says_what_it_stands_on(bench: Examination, cast: Cast) -> None:
    report = make_report(examination=bench, by=cast.actor("technician"))
    assert (report.number, report.counter) == (1, bench.counter)
    assert report.document["readings"] == 8
    assert report.document["unfinished"] == []
    assert [one["mark"] for one in report.document["positions"]] == ["serviceable", "serviceable", "replaced"]


def test_while_nothing_has_changed_it_is_the_same_one(bench: Examination, cast: Cast) -> None:
    first = make_report(examination=bench, by=cast.actor("technician"))
    assert make_report(examination=bench, by=cast.actor("lead")) == first
    assert ExaminationReport.objects.count() == 1
    assert Outbox.objects.filter(rule=reporting.PRINT).count() == 1


def test_new_readings_make_the_next_one_and_the_first_stays_as_it_was(bench: Examination, cast: Cast) -> None:
    first = make_report(examination=bench, by=cast.actor("technician"))
    before = first.document
    read(bench, cast.actor("technician"), "DIAMETER", "25.984 mm")
    second = make_report(examination=bench, by=cast.actor("technician"))
    first.refresh_from_db()
    assert (second.number, second.counter) == (2, first.counter + 1)
    assert first.document == before


@pytest.mark.parametrize("deed", ["photograph", "mark", "answer", "stage"])
def test_everything_that_it_shows_makes_it_another(bench: Examination, cast: Cast, deed: str) -> None:
    by = cast.actor("technician")
    complain(bench, "LEAKS")
    shot = photograph(bench, by, "LOOK")
    first = make_report(examination=bench, by=by)
    if deed == "photograph":
        photograph(bench, by, "BORE")
    elif deed == "mark":
        mark_place(photograph=shot, id=uuid4(), across=0.5, down=0.5, words="crack", by=by)
    elif deed == "answer":
        give_answer(examination=bench, id=uuid4(), complaint="LEAKS", words="Mist only.", by=by)
    else:
        Ticket.objects.update(stage="examined")
    assert make_report(examination=bench, by=by).number == first.number + 1


def test_printing_twice_keeps_one_paper(bench: Examination, cast: Cast) -> None:
    report = make_report(examination=bench, by=cast.actor("technician"))
    assert (paper_of(report), state_of_print(report)) == (None, "waiting")
    row = Outbox.objects.get(rule=reporting.PRINT)
    print_report(row.key, **row.payload)
    print_report(row.key, **row.payload)
    paper = Document.objects.get(kind="examination report")
    assert (paper.ticket, paper.content_type) == (bench.ticket, "application/pdf")
    assert state_of_print(report) == "done"


def test_a_print_that_was_given_up_is_asked_for_again(
    bench: Examination, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    by = cast.actor("technician")
    report = make_report(examination=bench, by=by)
    Outbox.objects.filter(rule=reporting.PRINT).update(given_up_at=bench.opened_at, tries=8)
    assert state_of_print(report) == "failed"
    assert make_report(examination=bench, by=by) == report
    assert state_of_print(report) == "waiting"
    assert make_report(examination=bench, by=by) == report  # and not a third row while that one waits
    assert Outbox.objects.filter(rule=reporting.PRINT).count() == 2
    outbox.run_due()
    assert state_of_print(report) == "done"


def test_a_photograph_that_was_taken_back_and_a_withdrawn_mark_are_left_out(
    bench: Examination, cast: Cast
) -> None:
    by = cast.actor("technician")
    kept, gone = photograph(bench, by, "LOOK"), photograph(bench, by, "BORE")
    mark = mark_place(photograph=kept, id=uuid4(), across=0.5, down=0.5, words="crack", by=by)
    withdraw_mark(mark=mark, id=uuid4(), reason="a scratch", by=by)
    take_back_photograph(photograph=gone, reason="wrong wheel", by=by)
    report = make_report(examination=bench, by=by)
    shots = report.document["photographs"]
    assert [(one["id"], one["marks"]) for one in shots] == [(str(kept.pk), [])]


# --- the paper


def text_of(report: ExaminationReport, tmp_path: Path) -> str:
    """The text of the paper as pdftotext reads it, without line breaks inside sentences."""
    tool = shutil.which("pdftotext")
    assert tool is not None, "pdftotext (poppler-utils) is needed to read the paper back"
    paper = paper_of(report)
    assert paper is not None
    out = tmp_path / "paper.txt"
    subprocess.run([tool, "-enc", "UTF-8", str(path_of(paper)), str(out)], check=True, timeout=120)
    return re.sub(r"\s+", " ", out.read_text())


@pytest.fixture
def story(cast: Cast) -> Examination:
    """An examination with something of everything: disputes open and settled, a gauge past its due date, a
    withdrawn reading, inches, photographs with marks, complaints explained, answered and neither."""
    held = demonstration(cast)
    Ticket.objects.update(
        vehicle="Lorry <b>invented</b>", complaint_words="Jumps out of third, and it whines."
    )
    Customer.objects.update(name="Alma Harrow (invented)", phone="01632 960001")
    assert held.ticket is not None
    held.ticket.refresh_from_db()
    technician, second, lead = (cast.actor(name) for name in ("technician", "second_technician", "lead"))
    complain(held, "JUMPS-OUT", "NOISY-SECOND", "LEAK-REAR")
    read(held, technician, "ME-CLUS-BF", "31.042 mm")
    read(held, second, "ME-CLUS-BF", "31.052 mm")
    read(held, technician, "ME-CLUS-BR", "1.2218 in", note="burr dressed first")
    for by, text in ((technician, "145.65 mm"), (second, "145.75 mm"), (lead, "145.66 mm")):
        assert read(held, by, "ME-CLUS-LEN", text).status == "recorded"
    wrong = uuid4()
    read(held, technician, "ME-LAYSH-FE", "24.189 mm", id=wrong)
    read(held, technician, "ME-LAYSH-FE", "24.901 mm", withdraws=wrong, reason="digits turned round")
    overdue("T2")
    late = read(held, lead, "ME-RVSH-D", "19.98 mm", gauge="T2", override="B1 is away")
    assert late.status == "recorded", late
    own = {"ME-CLUS-BF", "ME-CLUS-BR", "ME-CLUS-LEN", "ME-LAYSH-FE", "ME-RVSH-D", "LK-W3M", "ME-MNSH-RUN"}
    read_everything_good(held, technician, but=tuple(own))
    chipped = next(
        one for one in guide_of(held.revision).guide.defects if one.check == "LK-W3M" and one.condemns
    )
    assert say(held, technician, "LK-W3M", chipped.code).status == "recorded"
    shot = photograph(held, technician, "LK-W3M", note="chip beside the bore")
    mark_place(photograph=shot, id=uuid4(), across=0.69, down=0.24, words="catches a nail", by=technician)
    photograph(held, second, "ME-CLUS-BF", data=metal((500, 800)))
    give_answer(
        examination=held, id=uuid4(), complaint="LEAK-REAR", words="Only mist at the breather.", by=lead
    )
    give_answer(
        examination=held, id=uuid4(), position="MNSH", words="Waits for the crack test.", by=technician
    )
    held.refresh_from_db()
    return held


def test_the_paper_tells_the_story(story: Examination, cast: Cast, tmp_path: Path) -> None:
    report = make_report(examination=story, by=cast.actor("technician"))
    outbox.run_due()
    text = text_of(report, tmp_path)
    sheets = len(PdfReader(path_of(paper_of(report) or Document())).pages)
    for said in (
        "Examination report, Hexworth H4, floor change",
        f"Sheet 1 of {sheets}",
        f"Sheet {sheets} of {sheets}",
        "Ticket 2401, Lorry <b>invented</b>",
        "Not finished.",
        f"the first {story.counter} entries of the examination",
        "Detent springs are loaded",
        # complaints
        "Jumps out of third, and it whines.",
        "tooth chipped or pitted",
        "Only mist at the breather. Jonas Prideaux",
        "Not explained yet.",
        # positions
        "Waits for the crack test.",
        "Not read: Runout between centres",
        # readings in both systems, who and with what
        "145.65 mm (5.734 in)",
        "1.2218 in (31.034 mm)",
        "limits in inches",
        "burr dressed first",
        "Jonas Prideaux (lead)",
        "withdrawn",
        "reason: digits turned round",
        # disputes and how they were settled
        "In dispute. Rune Okafor read 31.0420 mm and Mira Teasdale 31.0520 mm",
        "Settled by a later reading by a lead, Jonas Prideaux",
        # gauges
        "B1 bore gauge ± 3 µm",
        "31 Jan 2020",
        "on a lead's word: B1 is away",
        # photographs
        "Chip beside the bore",
        "B6: catches a nail",
        "How the figures were worked out",
        "JCGM 106:2012",
        "For the shop, not for the customer",
        "a competent person come before any figure here",
    ):
        assert said in text, said
    assert "Harrow" not in text  # the customer is not named on a shop paper
    assert "960001" not in text


def test_the_paper_carries_the_drawing_the_bars_and_the_pictures(story: Examination, cast: Cast) -> None:
    report = make_report(examination=story, by=cast.actor("technician"))
    assert 'data-verdict="scrap"' in report.document["drawing"] or "v-scrap" in report.document["drawing"]
    bars = [one["bar"] for place in report.document["positions"] for one in place["findings"] if one["bar"]]
    assert len(bars) > 40
    outbox.run_due()
    paper = paper_of(report)
    assert paper is not None
    images = {
        one.image.size for sheet in PdfReader(path_of(paper)).pages for one in sheet.images if one.image
    }
    assert images == {(500, 800), (800, 600)}


def test_the_document_holds_when_the_bench_goes_on(story: Examination, cast: Cast) -> None:
    """Printed late, a report shows what stood when it was ordered."""
    report = make_report(examination=story, by=cast.actor("technician"))
    kept = report.document
    assert say(story, cast.actor("lead"), "LK-W3M", SOUND).status == "recorded"
    outbox.run_due()
    report.refresh_from_db()
    assert report.document == kept


def test_a_donors_report_is_made_too(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    family = bench.revision.family
    donor = Unit.objects.create(kind="donor", family=family, variant=family.variants.get(code="FC"))
    held = Examination.objects.create(
        donor=donor, revision=bench.revision, opened_at=bench.opened_at, opened_by="program"
    )
    path = f"/api/v1/examinations/{held.pk}/report"
    answer = Client().post(path, headers=headers(cast.technician))
    assert answer.status_code == 202, answer.content
    outbox.run_due()
    report = ExaminationReport.objects.get(examination=held)
    listed = Client().get(f"{path}s", headers=headers(cast.stores)).json()["items"]
    assert [one["status"] for one in listed] == ["done"]
    paper = signed_in(cast.stores).get(f"/bench/reports/{report.pk}")
    assert b"".join(paper.streaming_content)[:4] == b"%PDF"  # type: ignore[attr-defined]


# --- page and API


def headers(user: Any) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(user=user, label='test')}"}


def answered(client: Client, path: str, **more: Any) -> int:
    """The status of a GET; a file that it gives out is read to its end, which closes it."""
    answer: Any = client.get(path, **more)
    if answer.streaming:
        b"".join(answer.streaming_content)
    return int(answer.status_code)


def test_the_page_says_that_it_is_being_made_and_then_links_it(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(cast.technician)
    assert "No report yet" in client.get("/bench/2401/report").content.decode()
    assert client.post("/bench/2401/report").status_code == 302
    page = client.get("/bench/2401/report").content.decode()
    assert "is being printed" in page
    assert 'hx-trigger="every 2s"' in page
    outbox.run_due()
    page = client.get("/bench/2401/report").content.decode()
    report = ExaminationReport.objects.get()
    assert f'href="/bench/reports/{report.pk}"' in page
    assert "every 2s" not in page
    read(bench, cast.actor("technician"), "DIAMETER", "25.984 mm")
    assert "1 entry has come since the newest report" in client.get("/bench/2401/report").content.decode()
    assert 'href="/bench/2401/report"' in client.get("/bench/2401").content.decode()


def test_the_api_orders_it_and_gives_it_out(bench: Examination, cast: Cast) -> None:
    known = headers(cast.front_desk)
    ordered = [Client().post("/api/v1/tickets/2401/report", headers=known) for _ in range(2)]
    assert [one.status_code for one in ordered] == [202, 202]
    body = ordered[0].json()
    assert (body["number"], body["counter"], body["status"], body["url"]) == (
        1,
        bench.counter,
        "waiting",
        None,
    )
    assert ordered[1].json()["number"] == 1
    outbox.run_due()
    done = Client().get("/api/v1/tickets/2401/reports", headers=known).json()["items"][0]
    assert done["status"] == "done"
    paper = Client().get(done["url"], headers=known)
    assert b"".join(paper.streaming_content)[:4] == b"%PDF"  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", NAMES)
def test_who_may(bench: Examination, cast: Cast, signed_in: SignedIn, name: str) -> None:
    report = make_report(examination=bench, by=cast.actor("lead"))
    outbox.run_due()
    user = getattr(cast, name)
    wanted = 200 if name in READERS else 404 if name == "supplier" else 403
    client, known = signed_in(user), headers(user)
    for path in ("/bench/2401/report", f"/bench/reports/{report.pk}"):
        assert answered(client, path) == wanted, path
    assert client.post("/bench/2401/report").status_code == (302 if wanted == 200 else wanted)
    for path in ("/tickets/2401/reports", f"/reports/{report.pk}/paper"):
        assert answered(Client(), f"/api/v1{path}", headers=known) == wanted, path
    ordered = Client().post("/api/v1/tickets/2401/report", headers=known)
    assert ordered.status_code == (202 if wanted == 200 else wanted)
    for path in ("/bench/2401/report", f"/bench/reports/{report.pk}"):
        assert Client().get(path).status_code == 302


def test_what_is_not_there_is_not_found(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.lead)
    report = make_report(examination=bench, by=cast.actor("lead"))
    for path in (f"/bench/reports/{report.pk}", "/bench/reports/9999", "/bench/9999/report"):
        assert client.get(path).status_code == 404, path  # the first one is not printed yet
