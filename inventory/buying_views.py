"""Pages of buying: what is wanted and ordered, by supplier; ordering, receiving, striking a line."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory import purchasing, shown
from inventory.forms import ReceivePurchaseForm
from inventory.models import Purchase
from inventory.prices import show_micro
from inventory.views import rights
from shop.access import Actor, NotThere
from shop.forms import add_refusal
from shop.refusals import Refusal
from shop.views import for_actor


@require_safe
@for_actor
def purchases(request: HttpRequest, by: Actor) -> HttpResponse:
    """The buying list: wanted, then ordered, each by supplier with totals in both currencies."""
    by.need("see_stock")
    by.need("see_prices")
    rows = Purchase.objects.all()
    received = rows.filter(state="received").select_related("supplier", "part", "ticket", "lot__bin")
    context = {
        "wanted": shown.baskets(rows.filter(state="wanted")),
        "ordered": shown.baskets(rows.filter(state="ordered")),
        "received": received.order_by("-received_at", "-id")[:30],
    }
    return render(request, "inventory/purchases.html", context | rights(by))


def _purchase_for(by: Actor, pk: int) -> Purchase:
    by.need("see_stock")
    by.need("keep_stock")
    row = (
        Purchase.objects.select_related("supplier", "part", "ticket", "lot__bin")
        .filter(pk=min(pk, 2**63 - 1))
        .first()
    )
    if row is None:
        raise NotThere
    return row


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def purchase(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    """One line: order it, receive it, or strike it."""
    row = _purchase_for(by, pk)
    deed = request.POST.get("deed", "") if request.method == "POST" else ""
    form: Form = ReceivePurchaseForm(request.POST if deed == "receive" else None)
    trouble = ""
    try:
        if deed == "order":
            purchasing.order_purchase(purchase=row, by=by)
            messages.success(request, f"{row.number} is ordered from {row.supplier.name}.")
            return redirect("purchases")
        if deed == "cancel":
            purchasing.cancel_purchase(purchase=row, by=by)
            messages.success(request, f"The line {row.number} is struck.")
            return redirect("purchases")
        if deed == "receive" and form.is_valid():
            data: dict[str, Any] = form.cleaned_data
            lot = purchasing.receive_purchase(purchase=row, bin=data["bin"], key=f"form {data['key']}", by=by)
            messages.success(request, f"{row.part.number} lies in bin {lot.bin.code} for its ticket.")
            return redirect("purchases")
    except Refusal as told:
        trouble = told.message
        if deed == "receive":
            add_refusal(form, told)
    context = {"line": row, "form": form, "trouble": trouble, "asks": show_micro(row.unit_price_micro)}
    status = 422 if trouble or form.errors else 200
    return render(request, "inventory/purchase.html", context | rights(by), status=status)
