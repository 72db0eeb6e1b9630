"""The report of an examination: frozen as it stands, numbered, printed by the worker.

A report says by the examination's counter which readings it stands on. The document is plain JSON: what was
read later, or a gauge's later certificate, does not change it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections.evidence.report_document import report_document
from inspections.evidence.report_pictures import PICTURE_PX, with_drawings
from inspections.models import Examination, ExaminationReport
from inspections.readings.writing import locked, note_line
from shop import clock, outbox
from shop.access import PROGRAM, Actor
from shop.documents import keep_file, path_of, render_paper
from shop.models import Document, Outbox
from shop.photographs import reduced

PRINT = "print examination report"
KIND = "examination report"


def newest_report(examination: Examination) -> ExaminationReport | None:
    return ExaminationReport.objects.filter(examination=examination).order_by("-number").first()


def make_report(*, examination: Examination, by: Actor, at: datetime | None = None) -> ExaminationReport:
    """Freeze the next numbered report and ask for its print. While nothing has changed, the newest one is it;
    its print is asked for again if the worker had to give it up."""
    by.need("see_tickets")
    at = at or clock.now()
    with transaction.atomic():
        held = locked(examination)
        document = json.loads(json.dumps(report_document(held, at)))
        newest = newest_report(held)
        if newest is not None and same_report(newest.document, document):
            _print_again(newest, at)
            return newest
        report = ExaminationReport.objects.create(
            examination=held,
            number=newest.number + 1 if newest else 1,
            counter=held.counter,
            document=document,
            made_at=at,
            made_by=by.key,
        )
        outbox.put(key=f"{PRINT}:{report.pk}", rule=PRINT, payload={"report": report.pk}, at=at)
        note_line(by=by, deed="reported", thing=report, held=held, at=at, number=report.number)
    return report


def same_report(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Do two documents say the same? The day they were made on is no difference."""
    return {**one, "on": ""} == {**other, "on": ""}


def _rows(report: ExaminationReport) -> list[Outbox]:
    """The outbox rows that asked for this print, the newest last."""
    keys = [f"{PRINT}:{report.pk}"] + [f"{PRINT}:{report.pk}:{n}" for n in range(2, 10)]
    return list(Outbox.objects.filter(key__in=keys).order_by("pk"))


def _print_again(report: ExaminationReport, at: datetime) -> None:
    rows = _rows(report)
    if paper_of(report) is None and rows and rows[-1].given_up_at is not None:
        key = f"{PRINT}:{report.pk}:{len(rows) + 1}"
        outbox.put(key=key, rule=PRINT, payload={"report": report.pk}, at=at)


def paper_key(report: ExaminationReport) -> str:
    return f"{KIND}:{report.pk}"


def paper_of(report: ExaminationReport) -> Document | None:
    """The report's PDF once the worker has written it."""
    return Document.objects.filter(key=paper_key(report)).first()


def state_of_print(report: ExaminationReport) -> str:
    """``done``, ``waiting``, or ``failed`` once the worker has given it up."""
    if paper_of(report) is not None:
        return "done"
    rows = _rows(report)
    return "failed" if rows and rows[-1].given_up_at is not None else "waiting"


def print_report(key: str, report: int) -> None:
    """Outbox rule: write the report's PDF. Running twice keeps one paper."""
    row = ExaminationReport.objects.select_related("examination__ticket", "examination__donor").get(pk=report)
    if Document.objects.filter(key=paper_key(row)).exists():
        return
    shots = row.document["photographs"]
    files = {str(pk): one for pk, one in Document.objects.in_bulk([one["document"] for one in shots]).items()}
    pictures = {one["id"]: reduced(path_of(files[one["document"]]).read_bytes(), PICTURE_PX) for one in shots}
    context = {"report": row, "document": with_drawings(row.document)}
    data = render_paper("inspections/report/paper.html", context, pictures)
    held = row.examination
    keep_file(
        ticket=held.ticket,
        kind=KIND,
        title=f"Examination report {row.number}, {row.document['unit']}",
        suffix=".pdf",
        content_type="application/pdf",
        data=data,
        key=paper_key(row),
        by=PROGRAM,
    )
