"""The page of a unit's examination reports: makes one, says that it is being printed, links the papers."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from inspections.bench.places import At, unit_url
from inspections.evidence.photograph_views import on_bench
from inspections.evidence.reporting import make_report, newest_report, paper_of, state_of_print
from inspections.models import ExaminationReport
from inspections.readings.findings import examination_for
from shop.access import Actor, NotThere
from shop.counter_views import give_out
from shop.models import User
from shop.refusals import Refusal
from shop.views import for_actor


@dataclass(frozen=True, slots=True)
class ReportRow:
    report: ExaminationReport
    who: str
    state: str  # done, waiting or failed
    url: str


def report_url(at: At) -> str:
    if isinstance(at, str):
        return reverse("donor_report", args=[int(at.removeprefix("D"))])
    return reverse("examination_report", args=[at])


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def report(request: HttpRequest, by: Actor, number: int, *, donor: bool = False) -> HttpResponse:
    """The reports of the unit on the bench, the newest first. Makes the next one."""
    ticket, held = on_bench(by, number, donor=donor)
    trouble: Refusal | None = None
    if request.method == "POST":
        before = newest_report(held)
        try:
            made = make_report(examination=held, by=by)
        except Refusal as refusal:
            trouble = refusal
        else:
            if before is not None and before.pk == made.pk:
                messages.info(request, f"Nothing has changed: report {made.number} stands.")
            else:
                messages.success(request, f"Report {made.number} is frozen. Its paper is being printed.")
            return redirect(report_url(ticket.number))
    rows = _rows(list(ExaminationReport.objects.filter(examination=held).defer("document")))
    context = {
        "ticket": ticket,
        "held": held,
        "unit_url": unit_url(ticket.number),
        "rows": rows,
        "waiting": any(one.state == "waiting" for one in rows),
        "failed": bool(rows) and rows[0].state == "failed",
        "newer": held.counter - rows[0].report.counter if rows else 0,
        "trouble": trouble.message if trouble else "",
    }
    status = trouble.status if trouble else 200
    return render(request, "inspections/report/page.html", context, status=status)


def _rows(reports: list[ExaminationReport]) -> list[ReportRow]:
    keys = {one.made_by.removeprefix("user:") for one in reports if one.made_by.startswith("user:")}
    names = {f"user:{one.pk}": str(one) for one in User.objects.filter(pk__in=keys)}
    return [
        ReportRow(
            report=one,
            who=names.get(one.made_by, "the program"),
            state=state_of_print(one),
            url=reverse("report_paper", args=[one.pk]),
        )
        for one in reports
    ]


@require_safe
@for_actor
def paper(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    """The PDF, to whoever may see the examination."""
    by.need("see_tickets")
    row = ExaminationReport.objects.defer("document").filter(pk=pk).first()
    if row is None:
        raise NotThere
    examination_for(by, row.examination_id)
    found = paper_of(row)
    if found is None:
        raise NotThere
    return give_out(found)
