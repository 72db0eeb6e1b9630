"""Pages of the Stores: search, a part, a piece, taking in, correcting."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory import ledger, pieces, shown
from inventory.access import part_for, piece_for
from inventory.forms import AdjustForm, CorrectForm, FindForm, PutForm, ReceiveForm, ScrapForm, TakeInForm
from inventory.models import Movement, Part, Piece, Reservation
from inventory.parts import find_parts, find_pieces
from shop.access import Actor, NotThere
from shop.forms import add_refusal
from shop.money import digits
from shop.refusals import Refusal
from shop.views import for_actor

PAGE = 50


def rights(by: Actor) -> dict[str, Any]:
    return {
        "keeps": by.may("keep_stock"),
        "sees_prices": by.may("see_prices"),
        "currency": settings.CURRENCY,
        "place": "stores",
    }


def micro_of(minor: int) -> int:
    return minor * int(10 ** (6 - digits(settings.CURRENCY)))


@require_safe
@for_actor
def stores(request: HttpRequest, by: Actor) -> HttpResponse:
    """One search; parts with their counts, then pieces with who holds them."""
    by.need("see_stock")
    form = FindForm(request.GET)
    asked = {name: value.strip() for name, value in form.cleaned_data.items()} if form.is_valid() else {}
    parts, found = find_parts(**asked), find_pieces(**asked)
    page = Paginator(parts, PAGE).get_page(request.GET.get("page"))
    piece_page = Paginator(found.prefetch_related("measures"), PAGE).get_page(request.GET.get("pieces"))
    rows = list(piece_page)
    held = shown.holders(rows)
    context = {
        "form": form,
        "lines": shown.part_lines(page.object_list),
        "pieces": [{"piece": one, "ticket": held.get(one.pk)} for one in rows],
        "counts": (page.paginator.count, piece_page.paginator.count),
        "page": page,
        "piece_page": piece_page,
        "asked": any(asked.values()),
    }
    return render(request, "inventory/stores.html", context | rights(by))


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def part(request: HttpRequest, by: Actor, number: str) -> HttpResponse:
    """Lots, movements and prices of a part; receiving a lot and adjusting one."""
    row = part_for(by, number)
    receive: Form = ReceiveForm()
    adjust: Form = AdjustForm(part=row)
    if request.method == "POST":
        by.need("keep_stock")
        if request.POST.get("deed") == "adjust":
            adjust = AdjustForm(request.POST, part=row)
            if _done(adjust, lambda data: _adjust(data, by)):
                messages.success(request, "The count is changed.")
                return redirect("part", row.number)
        else:
            receive = ReceiveForm(request.POST)
            if _done(receive, lambda data: _receive(row, data, by)):
                messages.success(request, "Taken in.")
                return redirect("part", row.number)
    return _part_page(request, by, row, receive, adjust)


def _part_page(request: HttpRequest, by: Actor, row: Part, receive: Form, adjust: Form) -> HttpResponse:
    lots = shown.lots_of(row)
    reservations = Reservation.objects.filter(lot__part=row, resolved_at__isnull=True)
    context = {
        "part": row,
        "fits": row.fits.select_related("position__family", "variant"),
        "lots": lots,
        "on_hand": sum(one.balance.on_hand for one in lots),
        "reserved": sum(one.balance.reserved for one in lots),
        "free": sum(one.balance.free for one in lots),
        "promises": reservations.select_related("ticket", "lot__bin").order_by("id"),
        "movements": shown.movement_rows(Movement.objects.filter(lot__part=row)),
        "prices": shown.price_rows(row) if by.may("see_prices") else [],
        "receive": receive,
        "adjust": adjust,
    }
    status = 422 if receive.errors or adjust.errors else 200
    return render(request, "inventory/part.html", context | rights(by), status=status)


def _receive(row: Part, data: dict[str, Any], by: Actor) -> None:
    ledger.receive_lot(
        part=row,
        bin=data["bin"],
        quantity=data["quantity"],
        cost_micro=micro_of(data["cost"]),
        why=data["why"],
        key=f"form {data['key']}",
        by=by,
    )


def _adjust(data: dict[str, Any], by: Actor) -> None:
    ledger.adjust_lot(
        lot=data["lot"], quantity=data["quantity"], why=data["why"], key=f"form {data['key']}", by=by
    )


def _done(form: Form, rule: Any) -> bool:
    """Run the rule on what a valid form holds; what it refuses stands beside the form's fields."""
    if not form.is_valid():
        return False
    try:
        rule(form.cleaned_data)
    except Refusal as trouble:
        add_refusal(form, trouble)
        return False
    return True


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def piece(request: HttpRequest, by: Actor, tag: str) -> HttpResponse:
    """A piece: measures, who holds it, its movements; putting it into a bin and scrapping it."""
    row = piece_for(by, tag)
    put: Form = PutForm()
    scrap: Form = ScrapForm()
    if request.method == "POST":
        by.need("keep_stock")
        if request.POST.get("deed") == "scrap":
            scrap = ScrapForm(request.POST)
            if _done(scrap, lambda data: _scrap(row, data, by)):
                messages.success(request, f"{row.tag} is scrapped.")
                return redirect("piece", row.tag)
        else:
            put = PutForm(request.POST)
            if _done(put, lambda data: _put(row, data, by)):
                messages.success(request, f"{row.tag} lies in its bin.")
                return redirect("piece", row.tag)
    return _piece_page(request, by, row, put, scrap)


def _piece_page(request: HttpRequest, by: Actor, row: Piece, put: Form, scrap: Form) -> HttpResponse:
    promises = row.reservations.select_related("ticket").order_by("-id")
    context = {
        "piece": piece_for(by, row.tag),
        "measures": row.measures.order_by("feature"),
        "readings": [line for read in shown.READINGS for line in read(row, by)],
        "donor": ledger.donor_of(row),
        "mates": row.bound_in.pieces.exclude(pk=row.pk).select_related("position") if row.bound_in else [],
        "promises": promises[: shown.MOST_LINES],
        "holder": next((one.ticket for one in promises if one.resolved_at is None), None),
        "movements": shown.movement_rows(row.movements.all()),
        "put": put,
        "scrap": scrap,
        "can_move": row.state in {"tray", "bin"} and not row.missing,
    }
    status = 422 if put.errors or scrap.errors else 200
    return render(request, "inventory/piece.html", context | rights(by), status=status)


def _put(row: Piece, data: dict[str, Any], by: Actor) -> None:
    ledger.bin_piece(piece=row, bin=data["bin"], key=f"form {data['key']}", by=by)


def _scrap(row: Piece, data: dict[str, Any], by: Actor) -> None:
    pieces.scrap_piece(piece=row, why=data["why"], key=f"form {data['key']}", by=by)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def take_in(request: HttpRequest, by: Actor) -> HttpResponse:
    """Take a piece of the shop's own to stock."""
    by.need("keep_stock")
    form = TakeInForm(request.POST or None)
    made: list[Piece] = []
    if request.method == "POST" and _done(form, lambda data: made.append(_take_in(data, by))):
        messages.success(request, f"{made[0].tag} is in stock. Write this number on its tag.")
        return redirect("piece", made[0].tag)
    return render(
        request, "inventory/take_in.html", {"form": form} | rights(by), status=422 if form.errors else 200
    )


def _take_in(data: dict[str, Any], by: Actor) -> Piece:
    position = data["position"]
    return pieces.take_in_piece(
        family=position.family,
        position_code=position.code,
        bin=data["bin"],
        size=data["size"],
        cost_minor=data["cost"],
        words=data["words"],
        ran_in=data["ran_in"],
        key=f"form {data['key']}",
        by=by,
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def correct(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    """Take a movement back by a counter-movement, with the reason."""
    by.need("keep_stock")
    line = (
        Movement.objects.select_related("lot__part", "lot__bin", "piece", "ticket")
        .filter(Q(pk=pk) if pk < 2**63 else Q(pk=0))
        .first()
    )
    if line is None:
        raise NotThere
    back = ("part", line.lot.part.number) if line.lot else ("piece", line.piece.tag if line.piece else "")
    form = CorrectForm(request.POST or None)
    if request.method == "POST" and _done(form, lambda data: _correct(line, data, by)):
        messages.success(request, "The movement is taken back by a line of its own.")
        return redirect(*back)
    context = {"form": form, "line": line, "quantity": shown.signed(line.quantity), "back": back}
    return render(request, "inventory/correct.html", context | rights(by), status=422 if form.errors else 200)


def _correct(line: Movement, data: dict[str, Any], by: Actor) -> None:
    ledger.correct_movement(movement=line, why=data["why"], key=f"form {data['key']}", by=by)
