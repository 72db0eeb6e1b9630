"""Pages of donors: in the Stores, where they are bought and put away, and on the bench."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inspections.bench.live_pages import live_page
from inspections.bench.pages import mark_of_position
from inspections.bench.views import cautions_of, position_of, sheet_of
from inspections.donors import stripping as bench
from inspections.donors.forms import AwayForm, DonorForm, SharesForm
from inspections.guiding.guides import guide_of, newest_revision
from inspections.readings.findings import Examined, examinations, examined
from inventory import donors
from inventory.donors import donor_for, pieces_of_donor
from inventory.models import Donor, Movement, Piece
from inventory.shown import people
from inventory.views import rights
from shop.access import Actor, NotThere
from shop.forms import add_refusal
from shop.once import KeyReused, once
from shop.refusals import Refusal
from shop.views import for_actor

MOST_DONORS = 200


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def donor_list(request: HttpRequest, by: Actor) -> HttpResponse:
    """Donors, the newest first; a new one is written down."""
    by.need("see_stock")
    form = DonorForm()
    if request.method == "POST":
        by.need(donors.RIGHT)
        form = DonorForm(request.POST)
        if form.is_valid() and (number := _bought(form, by)):
            messages.success(request, f"Donor {number} is written down. It can be stripped.")
            return redirect("donor", number)
    rows = Donor.objects.select_related("unit__family", "unit__variant")[:MOST_DONORS]
    context = {"rows": rows, "form": form} | rights(by)
    return render(request, "inspections/donors/list.html", context, status=422 if form.errors else 200)


def _bought(form: DonorForm, by: Actor) -> int:
    """The number of the donor that this form wrote down, now or when it was first sent; 0 if it did not."""
    said = {name: value for name, value in form.cleaned_data.items() if name != "key"}
    variant = said["variant"]

    def rule() -> dict[str, int]:
        made = donors.buy_donor(
            family=variant.family,
            variant=variant,
            cost_minor=said["cost"],
            bought_of=said["bought_of"],
            serial=said["serial"],
            casting_numbers=said["casting_numbers"],
            by=by,
        )
        return {"number": made.number}

    try:
        body = said | {"variant": variant.pk}
        answer = once(by=by, operation="buy donor", key=form.cleaned_data["key"], body=body, rule=rule)
    except KeyReused:
        form.add_error(None, "This form wrote down a donor before. Open the page again for another one.")
    except Refusal as trouble:
        add_refusal(form, trouble)
    else:
        return int(answer["number"])
    return 0


# --- one donor in the Stores


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def donor(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """What it cost and of whom it was bought; its pieces with verdict, share and bin."""
    found = donor_for(by, number)
    pieces = pieces_of_donor(found)
    there = [one for one in pieces if not one.missing]
    waiting = [one for one in there if one.state == "tray"]
    shares, away = SharesForm(found, there), AwayForm(waiting)
    if request.method == "POST":
        by.need(donors.RIGHT)
        if request.POST.get("deed") == "share":
            shares = SharesForm(found, there, request.POST)
            if _shared(shares, found, by):
                messages.success(request, "The cost is shared over the pieces.")
                return redirect("donor", number)
        else:
            away = AwayForm(waiting, request.POST)
            if (count := _put_away(away, found, by)) is not None:
                words = "1 piece lies in its bin." if count == 1 else f"{count} pieces lie in their bins."
                messages.success(request, words)
                return redirect("donor", number)
    return _donor_page(request, by, found, pieces, shares, away)


def _shared(form: SharesForm, found: Donor, by: Actor) -> bool:
    if not form.is_valid():
        return False
    try:
        donors.share_cost(donor=found, shares=form.shares(), by=by)
    except Refusal as trouble:
        found.refresh_from_db()
        add_refusal(form, trouble)
        return False
    return True


def _put_away(form: AwayForm, found: Donor, by: Actor) -> int | None:
    if not form.is_valid():
        return None
    key = f"donor {found.number} {form.cleaned_data['key']}"
    try:
        return len(donors.put_away(donor=found, bins=form.bins(), key=key, by=by))
    except Refusal as trouble:
        found.refresh_from_db()
        add_refusal(form, trouble)
    return None


def _donor_page(
    request: HttpRequest, by: Actor, found: Donor, pieces: list[Piece], shares: SharesForm, away: AwayForm
) -> HttpResponse:
    held = examinations().filter(donor=found.unit).first()
    whole = examined(held) if held is not None else None
    moved = Movement.objects.filter(piece__in=pieces).exists()
    waiting = {one.tag for one in pieces if one.state == "tray" and not one.missing}
    context = {
        "donor": found,
        "held": held,
        "by": people([found.bought_by])[found.bought_by],
        "rows": [_piece_row(one, whole, shares, away, waiting) for one in pieces],
        "shares": shares,
        "away": away,
        "may_share": by.may(donors.RIGHT) and held is not None and not moved,
        "may_put": by.may(donors.RIGHT) and found.shared_at is not None and bool(waiting),
    }
    status = 422 if shares.errors or away.errors else 200
    return render(request, "inspections/donors/donor.html", context | rights(by), status=status)


def _piece_row(
    one: Piece, whole: Examined | None, shares: SharesForm, away: AwayForm, waiting: set[str]
) -> dict[str, Any]:
    row: dict[str, Any] = {"piece": one, "mark": "", "read": 0}
    if whole is not None:
        verdict = whole.judgement.verdict.get(one.tag)
        if one.position.code in whole.judgement.status:
            row["mark"] = mark_of_position(whole.judgement, one.position.code)
        row["because"] = verdict.because[:2] if verdict and verdict.verdict != "serviceable" else ()
    if f"share_{one.tag}" in shares.fields:
        row["share"] = shares[f"share_{one.tag}"]
    if one.tag in waiting:
        row["bin"] = away[f"bin_{one.tag}"]
    return row


# --- on the bench


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def bench_donor(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """The donor as drawn, its positions. Strips it."""
    at = bench.donor_at_bench(by, number)
    trouble: Refusal | None = None
    if request.method == "POST":
        if request.POST.get("deed") != "strip":
            raise NotThere
        try:
            bench.strip_donor(donor=at.donor, missing=request.POST.getlist("missing"), by=by)
        except Refusal as refusal:
            trouble = refusal
        else:
            messages.success(request, "The donor is stripped and its pieces have their tags.")
            return redirect("bench_donor", number)
    held = examinations().filter(donor=at.unit).first()
    context: dict[str, Any] = {
        "at": at,
        "trouble": trouble.message if trouble else "",
        "may_read": by.may("record_readings"),
        "may_strip": any(by.may(right) for right in bench.RIGHTS),
        "sees_stock": by.may("see_stock"),
        "place": "bench",
    }
    status = trouble.status if trouble else 200
    if held is None:
        return _unstripped(request, at.unit, context, status)
    held.donor = at.unit
    whole = examined(held)
    sheet = sheet_of(held, at.number, whole, by)
    context |= {
        "held": held,
        "sheet": sheet,
        "live": live_page(
            examination=held,
            whole=whole,
            by=by,
            unit_url=request.path,
            named=f"Donor {at.donor.number}",
        ),
        "cautions": cautions_of(whole.judgement.guide.guide),
    }
    return render(request, "inspections/donors/unit.html", context, status=status)


def _unstripped(request: HttpRequest, unit: Any, context: dict[str, Any], status: int) -> HttpResponse:
    try:
        guide = guide_of(newest_revision(unit.family))
    except Refusal as none:
        context["trouble"] = none.message
    else:
        context["positions"] = guide.positions_of(unit.variant.code)
        context["cautions"] = cautions_of(guide.guide)
    context["missing"] = request.POST.getlist("missing")
    return render(request, "inspections/donors/strip.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def donor_position(request: HttpRequest, by: Actor, number: int, code: str) -> HttpResponse:
    """A position of a donor: the same page as that of a ticket's unit."""
    return position_of(request, by, bench.donor_at_bench(by, number), code)
