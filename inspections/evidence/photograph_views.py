"""Pages of photographs: those of a unit, one with its marks, and the files themselves."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.files.base import File
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from inspections.bench.blind import Sight, sight_of
from inspections.bench.places import At, OnBench, position_url, unit_url
from inspections.donors.stripping import donor_at_bench
from inspections.evidence import photograph_pages as pages
from inspections.evidence.photograph_forms import KINDS, MarkForm, PhotographForm, new_mark
from inspections.evidence.photographs import (
    mark_place,
    mark_zone,
    record_photograph,
    small_of,
    take_back_photograph,
    withdraw_mark,
)
from inspections.models import Examination, Photograph
from inspections.readings.examining import READABLE_STAGES
from inspections.readings.findings import Examined, examinations, examined
from inventory.models import Donor
from shop.access import Actor, NotThere, ticket_for
from shop.counter_views import give_out
from shop.refusals import Refusal
from shop.views import for_actor

PAGE = 36


def on_bench(by: Actor, number: int, *, donor: bool = False) -> tuple[OnBench, Examination]:
    """The ticket, or the donor, with its examination; NotThere before the unit is stripped."""
    if donor:
        at = donor_at_bench(by, number)
        return at, _held(examinations().filter(donor=at.unit))
    ticket = ticket_for(by, number)
    return ticket, _held(examinations().filter(ticket=ticket))


def _held(found: QuerySet[Examination]) -> Examination:
    held = found.first()
    if held is None:
        raise NotThere
    return held


def at_of(held: Examination) -> At | None:
    """Where the examined unit lies: its ticket's number, or its donor's; nothing for a unit of neither."""
    if held.ticket is not None:
        return held.ticket.number
    bought = Donor.objects.filter(unit=held.donor_id).only("number").first()
    return f"D{bought.number}" if bought else None


def place_on_bench(row: Photograph) -> str:
    """The address of the check that the photograph is of."""
    at = at_of(row.examination)
    if at is None:
        return ""
    said = {"check": row.check_code} | ({"piece": row.piece.tag} if row.piece else {})
    return f"{position_url(at, row.position_code)}?{urlencode(said)}"


def photographs_url(at: At) -> str:
    """The page of all photographs of the unit, which takes new ones too."""
    if isinstance(at, str):
        return reverse("donor_photographs", args=[int(at.removeprefix("D"))])
    return reverse("bench_photographs", args=[at])


# --- those of a unit, and adding one


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def of_unit(request: HttpRequest, by: Actor, number: int, *, donor: bool = False) -> HttpResponse:
    """All photographs of the unit on the bench. Takes a new one, of the check that the form names."""
    ticket, held = on_bench(by, number, donor=donor)
    if request.method != "POST":
        return _list(request, by, ticket, held)
    by.need("record_readings")
    form = PhotographForm(request.POST, request.FILES)
    if form.is_valid():
        try:
            row, new = _keep(held, form, by)
        except Refusal as trouble:
            form.take_refusal(trouble)
        else:
            said = "The photograph is kept." if new else "That photograph is kept already."
            messages.success(request, said)
            return redirect(place_on_bench(row) or photographs_url(ticket.number))
    if request.FILES:
        form.add_error("file", "Choose the photograph again: a browser does not keep it.")
    return _list(request, by, ticket, held, form)


def _keep(held: Examination, form: PhotographForm, by: Actor) -> tuple[Photograph, bool]:
    said = form.cleaned_data
    upload: File[bytes] | None = said["file"] or None
    return record_photograph(
        examination=held,
        id=said["id"],
        check=said["check"],
        piece=said["piece"],
        note=said["note"],
        upload=upload,
        by=by,
    )


def _list(
    request: HttpRequest,
    by: Actor,
    ticket: OnBench,
    held: Examination,
    form: PhotographForm | None = None,
) -> HttpResponse:
    whole = examined(held)
    shots = pages.shots_of(held, whole, sight_of(by, whole.state, whole.records), by)
    about = whole.judgement.guide.check.get(str(form["check"].value())) if form else None
    context = {
        "ticket": ticket,
        "form": form,
        "unit_url": unit_url(ticket.number),
        "photographs_url": photographs_url(ticket.number),
        "about": about,
        "page": Paginator(shots.seen, PAGE).get_page(request.GET.get("page")),
        "hidden": shots.hidden,
    }
    return render(request, "inspections/photographs/list.html", context, status=422 if form else 200)


def hand_context(
    held: Examination, whole: Examined, sight: Sight, by: Actor, check: str, tag: str, at: At
) -> dict[str, Any]:
    """What the bench shows of photographs with the check in hand."""
    return {
        "shots": pages.shots_of_check(held, whole, sight, by, check, tag),
        "photographs_url": photographs_url(at),
        "picture_kinds": KINDS,
    }


# --- one photograph


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def photograph(request: HttpRequest, by: Actor, pk: UUID) -> HttpResponse:
    """The picture with its marks. Marks a place, withdraws a mark, takes the photograph back."""
    row, whole = pages.photograph_for(by, pk)
    if request.method != "POST":
        return _page(request, by, row, whole, new_mark())
    by.need("record_readings")
    deed = request.POST.get("deed", "tap" if "tap.x" in request.POST else "")
    if deed in {"withdraw", "take back"}:
        return _take_back(request, by, row, whole, deed)
    if deed not in {"tap", "zone", "place"}:
        raise NotThere
    return _mark(request, by, row, whole, deed)


def _tapped(request: HttpRequest, row: Photograph) -> tuple[float, float] | None:
    """The place that was tapped, as shares; by keyboard a browser says the corner, which is nobody's mark."""
    wide, high = pages.shown_size(row)
    try:
        x, y = int(request.POST.get("tap.x", "0")), int(request.POST.get("tap.y", "0"))
    except ValueError:
        return None
    if not (0 <= x <= wide and 0 <= y <= high) or (x, y) == (0, 0):
        return None
    return x / wide, y / high


def _mark(request: HttpRequest, by: Actor, row: Photograph, whole: Examined, deed: str) -> HttpResponse:
    form = MarkForm(request.POST)
    tapped = _tapped(request, row) if deed == "tap" else None
    if form.is_valid():
        said = form.cleaned_data
        if deed == "place" and said["across"] is not None and said["down"] is not None:
            tapped = said["across"], said["down"]
        try:
            if tapped is not None:
                across, down = tapped
                mark = mark_place(
                    photograph=row, id=said["id"], across=across, down=down, words=said["words"], by=by
                )
            else:
                mark = mark_zone(photograph=row, id=said["id"], zone=said["zone"], words=said["words"], by=by)
        except Refusal as trouble:
            form.take_refusal(trouble)
        else:
            messages.success(request, f"Place {mark.number} is marked.")
            return redirect("photograph", pk=row.pk)
    return _page(request, by, row, whole, form, pending=tapped, status=422)


def _take_back(request: HttpRequest, by: Actor, row: Photograph, whole: Examined, deed: str) -> HttpResponse:
    reason = request.POST.get("reason", "")
    try:
        if deed == "take back":
            take_back_photograph(photograph=row, reason=reason, by=by)
            messages.success(request, "The photograph is taken back. It stays on record.")
        else:
            mark = row.marks.filter(number=_whole(request.POST.get("number")), withdraws__isnull=True).first()
            if mark is None:
                raise Refusal("There is no such mark. Look again.")
            mark.photograph = row
            withdraw_mark(mark=mark, id=uuid4(), reason=reason, by=by)
            messages.success(request, f"Mark {mark.number} is withdrawn. It stays listed, struck through.")
    except Refusal as trouble:
        said = {
            "trouble": trouble.message,
            "taking": {"deed": deed, "number": request.POST.get("number", ""), "reason": reason},
        }
        return _page(request, by, row, whole, new_mark(), status=trouble.status, more=said)
    return redirect("photograph", pk=row.pk)


def _whole(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 5 else 0


def _page(
    request: HttpRequest,
    by: Actor,
    row: Photograph,
    whole: Examined,
    form: MarkForm,
    *,
    pending: tuple[float, float] | None = None,
    status: int = 200,
    more: dict[str, Any] | None = None,
) -> HttpResponse:
    ticket = row.examination.ticket
    open_stage = ticket is None or ticket.stage in READABLE_STAGES
    may = by.may("record_readings") and open_stage and pages.end_of(row) is None
    wide, high = pages.shown_size(row)
    if pending is not None:
        tapped = {"across": f"{pending[0]:.5f}", "down": f"{pending[1]:.5f}"}
        form.data = {**form.data.dict(), **tapped} if isinstance(form.data, QueryDict) else tapped
    context = {
        "shot": pages.shot_of(whole, row),
        "ticket": ticket,
        "back": place_on_bench(row),
        "drawn": pages.drawn_over(row, pending),
        "pending": pending is not None,
        "grid": pages.grid_for(row),
        "wide": wide,
        "high": high,
        "marks": pages.mark_rows(row),
        "form": form,
        "may_mark": may,
        "may_take_back": may and (row.person_id == by.person.pk or by.person.is_lead),
        "me": by.person.pk,
        "is_lead": may and by.person.is_lead,
    }
    return render(request, "inspections/photographs/photograph.html", context | (more or {}), status=status)


# --- the files


@require_safe
@for_actor
def whole_file(request: HttpRequest, by: Actor, pk: UUID) -> HttpResponse:
    """The whole picture, to whoever may see it."""
    row, _ = pages.photograph_for(by, pk)
    return give_out(row.document)


@require_safe
@for_actor
def small_file(request: HttpRequest, by: Actor, pk: UUID) -> HttpResponse:
    """The thumbnail; until the worker has made it, the whole picture."""
    row, _ = pages.photograph_for(by, pk)
    return give_out(small_of(row))
