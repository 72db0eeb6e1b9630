"""Pages of the gauges: the register, one gauge, adding, changing, zeroing, taking out of use."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inspections.gauge_models import KINDS, Gauge
from inspections.gauging.forms import GaugeForm, RetireForm, ZeroForm, initial_of, said_of
from inspections.gauging.kinds import CHAIN, FIXED, WRENCH
from inspections.gauging.registering import (
    add_gauge,
    change_gauge,
    may_keep_gauges,
    need_gauges,
    retire_gauge,
)
from inspections.gauging.rows import gauge_rows, readings_of, row_of
from inspections.gauging.zeroing import MASTERS, zero_gauge, zeroings_of
from shop import clock
from shop.access import Actor, NotThere
from shop.forms import add_refusal
from shop.refusals import Refusal, Stale
from shop.views import for_actor


def gauge_for(by: Actor, code: str) -> Gauge:
    """The gauge of that code, for anybody who sees tickets."""
    by.need("see_tickets")
    found = Gauge.objects.select_related("first", "second").filter(code=code).first()
    if found is None:
        raise NotThere
    return found


@require_safe
@for_actor
def gauges(request: HttpRequest, by: Actor) -> HttpResponse:
    """The register: what there is, what it reads, when it is due."""
    by.need("see_tickets")
    retired = request.GET.get("show") == "retired"
    rows = gauge_rows(Gauge.objects.filter(retired_at__isnull=not retired))
    context = {
        "rows": rows,
        "retired": retired,
        "late": [one for one in rows if one.past_due],
        "soon": [one for one in rows if one.soon],
        "keeps": may_keep_gauges(by),
        "kinds": KINDS,
        "place": "bench",
    }
    return render(request, "inspections/gauges/list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def add(request: HttpRequest, by: Actor) -> HttpResponse:
    """A new gauge of a kind."""
    need_gauges(by)
    kind = request.POST.get("kind") or request.GET.get("kind", "")
    if kind not in KINDS:
        return render(request, "inspections/gauges/kinds.html", {"kinds": KINDS, "place": "bench"})
    mark = by.person.decimal_mark
    form = GaugeForm(kind, initial=initial_of(kind), mark=mark)
    status = 200
    if request.method == "POST":
        form = GaugeForm(kind, request.POST, mark=mark)
        if form.is_valid():
            try:
                made = add_gauge(kind=kind, by=by, **form.figures())
            except Refusal as trouble:
                add_refusal(form, trouble)
            else:
                messages.success(request, f"{made.code} is in the register.")
                return redirect("gauge", made.code)
        status = 422
    return render(
        request, "inspections/gauges/edit.html", {"form": form, "kind": kind, "place": "bench"}, status=status
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def change(request: HttpRequest, by: Actor, code: str) -> HttpResponse:
    """Say a gauge differently: a new certificate, another place."""
    row = gauge_for(by, code)
    need_gauges(by)
    mark = by.person.decimal_mark
    form = GaugeForm(row.kind, initial=said_of(row), mark=mark, gauge=row)
    status = 200
    if request.method == "POST":
        form = GaugeForm(row.kind, request.POST, mark=mark, gauge=row)
        status = 422
        if form.is_valid():
            try:
                changed = change_gauge(
                    gauge=row, version=form.cleaned_data["version"] or 0, by=by, **form.figures()
                )
            except Refusal as trouble:
                add_refusal(form, trouble)
                status = trouble.status
                if isinstance(trouble, Stale):
                    row.refresh_from_db()
                    _take_version(form, row)
            else:
                messages.success(request, f"{changed.code} is changed. Earlier readings keep their figures.")
                return redirect("gauge", changed.code)
    context = {"form": form, "kind": row.kind, "gauge": row, "now": row_of(row), "place": "bench"}
    return render(request, "inspections/gauges/edit.html", context, status=status)


def _take_version(form: GaugeForm, row: Gauge) -> None:
    """What was typed stays; sent again it is made from the gauge as it stands now, which the page shows."""
    assert isinstance(form.data, QueryDict)
    data = form.data.copy()
    data["version"] = str(row.version)
    form.data = data


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def gauge(request: HttpRequest, by: Actor, code: str) -> HttpResponse:
    """One gauge: its figures, when it was zeroed, what was read with it. Zeroes it, takes it out of use."""
    row = gauge_for(by, code)
    zero, retire = ZeroForm(), RetireForm()
    if request.method != "POST":
        return _page(request, by, row, zero, retire)
    if request.POST.get("deed") == "retire":
        need_gauges(by)
        retire = RetireForm(request.POST)
        if retire.is_valid():
            try:
                retire_gauge(gauge=row, why=retire.cleaned_data["why"], by=by)
            except Refusal as trouble:
                add_refusal(retire, trouble)
            else:
                messages.success(request, f"{row.code} is out of use. Its readings stay.")
                return redirect("gauge", row.code)
        return _page(request, by, row, zero, retire, 422)
    by.need("record_readings")
    zero = ZeroForm(request.POST)
    if zero.is_valid():
        said = zero.cleaned_data
        try:
            made = zero_gauge(
                gauge=row,
                master=said["master"],
                off=said["off"],
                note=said["note"],
                key=f"form {said['key']}",
                by=by,
            )
        except Refusal as trouble:
            add_refusal(zero, trouble)
        else:
            messages.success(request, f"{row.code}: zeroed on {made.master_told}.")
            return redirect("gauge", row.code)
    return _page(request, by, row, zero, retire, 422)


def _page(
    request: HttpRequest, by: Actor, row: Gauge, zero: ZeroForm, retire: RetireForm, status: int = 200
) -> HttpResponse:
    in_use = row.retired_at is None
    context: dict[str, Any] = {
        "gauge": row,
        "row": row_of(row),
        "zeroings": zeroings_of(row),
        "readings": readings_of(row),
        "chains": [*row.chains_begun.all(), *row.chains_ended.all()],
        "masters": Gauge.objects.filter(kind__in=MASTERS, retired_at__isnull=True).exclude(pk=row.pk),
        "keeps": may_keep_gauges(by) and in_use,
        "zeroes": by.may("record_readings") and in_use and row.kind not in {*FIXED, WRENCH, "thread gauge"},
        "is_chain": row.kind == CHAIN,
        "zero": zero,
        "retire": retire,
        "today": clock.today(),
        "place": "bench",
    }
    return render(request, "inspections/gauges/gauge.html", context, status=status)
