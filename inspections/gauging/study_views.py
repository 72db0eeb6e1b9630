"""Pages of gauge studies: laid out, read blind, worked out; and the watch on bias, which is none."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inspections.gauge_models import Gauge, Study
from inspections.gauging.bias import MOST_EXAMINATIONS, biases, differences
from inspections.gauging.kinds import FIXED, Asks, standing
from inspections.gauging.registering import may_keep_gauges, need_gauges
from inspections.gauging.studies import (
    Offer,
    Standing,
    close_study,
    last_of,
    name_of,
    next_turn,
    offers,
    open_study,
    proposed_pieces,
    record_turn,
    result_of,
    standing_of,
)
from inspections.gauging.study_forms import StudyForm, TurnForm
from inspections.readings.findings import examinations, examined_many
from inventory.csvout import csv_lines
from shop import clock
from shop.access import Actor, NotThere
from shop.forms import add_refusal
from shop.refusals import Refusal
from shop.views import for_actor

HEAD = (
    "piece",
    "person",
    "repeat",
    "take",
    "text",
    "unit",
    "value_mm",
    "zeroed_on",
    "zeroed_at",
    "received_at",
)


def study_for(by: Actor, pk: int) -> Study:
    by.need("see_tickets")
    found = Study.objects.select_related("gauge", "family").filter(pk=pk).first()
    if found is None:
        raise NotThere
    return found


@require_safe
@for_actor
def studies(request: HttpRequest, by: Actor) -> HttpResponse:
    """The studies there are, and how far each is."""
    by.need("see_tickets")
    rows = [standing_of(one) for one in Study.objects.select_related("gauge", "family")[:50]]
    context = {"rows": rows, "keeps": may_keep_gauges(by), "place": "bench"}
    return render(request, "inspections/gauges/studies.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def propose(request: HttpRequest, by: Actor) -> HttpResponse:
    """Which pieces to read again: a feature first, then pieces that spread over its range."""
    need_gauges(by)
    there = offers()
    said = request.POST if request.method == "POST" else request.GET
    wanted = (said.get("family", ""), said.get("feature", ""))
    offer = next((one for one in there if (one.family.code, one.feature) == wanted), None)
    if offer is None:
        return render(request, "inspections/gauges/offers.html", {"offers": there, "place": "bench"})
    tags = [tag for tag, _ in proposed_pieces(offer.family, offer.feature)]
    gauges = _gauges_for(offer)
    form = StudyForm(offer, tags, gauges)
    status = 200
    if request.method == "POST":
        form = StudyForm(offer, tags, gauges, request.POST)
        status = 422
        if form.is_valid():
            data = form.cleaned_data
            try:
                made = open_study(
                    gauge=form.chosen_gauge(),
                    family=offer.family,
                    feature=offer.feature,
                    tags=data["pieces"],
                    people=form.chosen_people(),
                    repeats=data["repeats"],
                    key=f"form {data['key']}",
                    by=by,
                )
            except Refusal as trouble:
                add_refusal(form, trouble)
            else:
                messages.success(request, "Laid out. Each person reads on a page of their own.")
                return redirect("gauge_study", made.pk)
    context = {"form": form, "offer": offer, "place": "bench"}
    return render(request, "inspections/gauges/propose.html", context, status=status)


def _gauges_for(offer: Offer) -> list[Gauge]:
    today = clock.today()
    asks = Asks(offer.name, offer.dimension, None, offer.low_mm, offer.high_mm)
    rows = Gauge.objects.filter(retired_at__isnull=True).exclude(kind__in=FIXED)
    return [one for one in rows if not standing(one, asks, today).refused]


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def study(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    """One study: who has read how much; worked out once nobody reads any more."""
    row = study_for(by, pk)
    if request.method == "POST":
        need_gauges(by)
        close_study(study=row, by=by)
        messages.success(request, "The study is closed.")
        return redirect("gauge_study", row.pk)
    stands = standing_of(row)
    result, why = result_of(stands) if stands.shown else (None, "")
    context: dict[str, Any] = {
        "study": row,
        "stands": stands,
        "progress": [
            {"name": name_of(one), "done": stands.read_by(one), "of": len(stands.pieces) * row.repeats}
            for one in stands.people
        ],
        "turn": next_turn(stands, by.user) if by.user else None,
        "result": result,
        "why": why,
        "figures": _figures(result, row) if result else [],
        "cells": _cells(stands) if stands.shown else [],
        "keeps": may_keep_gauges(by) and row.closed_at is None,
        "place": "bench",
    }
    return render(request, "inspections/gauges/study.html", context)


def _figures(result: Any, row: Study) -> list[tuple[str, str]]:
    """The figures of a study in words; deviations in µm."""
    many = result.distinct_categories
    rows = [
        ("Repeatability (the gauge)", f"{result.repeatability * 1000:.2f} µm"),
        ("Reproducibility (the people)", f"{result.reproducibility * 1000:.2f} µm"),
        ("Gauge and people together", f"{result.gauge_rr * 1000:.2f} µm"),
        ("The pieces", f"{result.part_variation * 1000:.2f} µm"),
        ("Share of the study's variation", f"{result.gauge_rr_percent:.1f} %"),
    ]
    if result.percent_of_tolerance is not None:
        rows.append(
            (f"Share of the zone, {row.tolerance_mm * 1000:.0f} µm", f"{result.percent_of_tolerance:.1f} %")
        )
    rows.append(("Sizes that it tells apart", "all" if many is None else str(many)))
    return rows


def _cells(stands: Standing) -> list[dict[str, Any]]:
    """By piece: what each person read, in the order of the repeats."""
    read: dict[tuple[int, int], list[str]] = {}
    for one in sorted(stands.readings, key=lambda row: row.repeat):
        read.setdefault((one.piece_id, one.person_id), []).append(f"{one.value_mm:.4f}")
    return [
        {"tag": piece.tag, "cells": [", ".join(read.get((piece.pk, one.pk), [])) for one in stands.people]}
        for piece in stands.pieces
    ]


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def read(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    """One's next turn, with no earlier value on the page, not even one's own."""
    row = study_for(by, pk)
    by.need("record_readings")
    again = request.GET.get("again") == "1"
    status = 200
    form = None
    if request.method == "POST":
        form = TurnForm(request.POST, again=again)
        status = 422
        if form.is_valid():
            said = form.cleaned_data
            try:
                record_turn(
                    study=row,
                    pk=said["id"],
                    tag=said["piece"],
                    repeat=said["repeat"],
                    text=said["text"],
                    reason=said.get("reason", ""),
                    by=by,
                )
            except Refusal as trouble:
                add_refusal(form, trouble)
                status = trouble.status
            else:
                messages.success(request, "Recorded.")
                return redirect("read_study", row.pk)
    return _read_page(request, by, row, form, again, status)


def _read_page(
    request: HttpRequest, by: Actor, row: Study, form: TurnForm | None, again: bool, status: int
) -> HttpResponse:
    stands = standing_of(row)
    turn, last = next_turn(stands, by.person), last_of(stands, by.person)
    if again and last is not None:
        piece, repeat = last.piece, last.repeat
    elif turn is not None:
        piece, repeat, again = turn.piece, turn.repeat, False
    else:
        piece, repeat, again = None, 0, False
    if form is None and piece is not None:
        form = TurnForm(initial={"id": uuid4(), "piece": piece.tag, "repeat": repeat}, again=again)
    context = {
        "study": row,
        "turn": turn,
        "piece": piece,
        "form": form,
        "again": again,
        "may_read_again": last is not None and row.closed_at is None and not stands.complete and not again,
        "mine": by.person.pk in {one.pk for one in stands.people},
        "place": "bench",
    }
    return render(request, "inspections/gauges/read.html", context, status=status)


@require_safe
@for_actor
def csv(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    """What was read, as CSV; not while anybody still reads."""
    row = study_for(by, pk)
    stands = standing_of(row)
    if not stands.shown:
        messages.warning(request, "The study is still being read: its values are shown when all have read.")
        return redirect("gauge_study", row.pk)
    lines = csv_lines(HEAD, (_line(one) for one in stands.readings))
    answer = HttpResponse("".join(lines), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="gauge-study-{row.pk}.csv"'
    return answer


def _line(one: Any) -> tuple[Any, ...]:
    zero = one.zeroing
    return (
        one.piece.tag,
        name_of(one.person),
        one.repeat,
        one.take,
        one.text.strip(),
        one.unit,
        f"{one.value_mm:.6f}",
        zero.master_told if zero else "",
        zero.at.isoformat() if zero else "",
        one.received_at.isoformat(),
    )


@require_safe
@for_actor
def bias(request: HttpRequest, by: Actor) -> HttpResponse:
    """How far each gauge and each person reads from what was settled, over the newest jobs."""
    need_gauges(by)
    several = examined_many(list(examinations().order_by("-pk")[:MOST_EXAMINATIONS]))
    tables = [
        {"caption": caption, "id": name, "head": head, "rows": biases(differences(several, who))}
        for caption, name, head, who in (
            ("By gauge", "by-gauge", "Gauge", lambda one: one.gauge),
            ("By person", "by-person", "Person", lambda one: one.person),
        )
    ]
    context = {"tables": tables, "most": MOST_EXAMINATIONS, "place": "bench"}
    return render(request, "inspections/gauges/bias.html", context)
