"""Pages of price files: what came, what became of it, what was refused; taking one in for a supplier."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory import feeds, shown
from inventory.access import price_file_for
from inventory.api import refusals_csv
from inventory.forms import UploadForm
from inventory.models import PriceFile, Supplier
from inventory.views import PAGE, rights
from shop.access import Actor
from shop.forms import add_refusal
from shop.once import once
from shop.refusals import Refusal
from shop.views import for_actor


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def price_files(request: HttpRequest, by: Actor) -> HttpResponse:
    """Suppliers and their files, newest first; the stores may take one in on a supplier's behalf."""
    by.need("see_prices")
    form = UploadForm()
    if request.method == "POST":
        by.need("keep_stock")
        form = UploadForm(request.POST, request.FILES)
        if form.is_valid():
            try:
                pk = _take_in(form, by)
            except Refusal as trouble:
                add_refusal(form, trouble)
            else:
                messages.success(request, "The file is taken in. It is read in the background.")
                return redirect("price_file", pk)
    files = PriceFile.objects.select_related("supplier").order_by("-received_at", "pk")
    context = {
        "form": form,
        "page": Paginator(files, PAGE).get_page(request.GET.get("page")),
        "suppliers": [
            {"supplier": one, "prices": one.prices.count(), "unmatched": shown.unmatched_prices(one)}
            for one in Supplier.objects.all()
        ],
    }
    status = 422 if form.errors else 200
    return render(request, "inventory/price_files.html", context | rights(by), status=status)


def _take_in(form: UploadForm, by: Actor) -> str:
    upload, supplier = form.cleaned_data["file"], form.cleaned_data["supplier"]
    draft = feeds.keep_draft(upload.chunks())
    kept: list[str] = []

    def rule() -> str:
        file = feeds.record_draft(supplier=supplier, draft=draft, name=upload.name or "", by=by)
        kept.append(str(file.pk))
        return str(file.pk)

    try:
        pk = once(
            by=by,
            operation="take in price file",
            key=form.cleaned_data["key"],
            body={"sha256": draft.sha256, "supplier": supplier.code},
            rule=rule,
        )
    except BaseException:
        draft.discard()
        raise
    if not kept:
        draft.discard()
    return str(pk)


@require_safe
@for_actor
def price_file(request: HttpRequest, by: Actor, pk: uuid.UUID) -> HttpResponse:
    """One file: how far it is, its figures, and the rows that were refused."""
    by.need("see_prices")
    file = price_file_for(by, pk)
    page = Paginator(file.refusals.order_by("line", "id"), PAGE).get_page(request.GET.get("page"))
    return render(request, "inventory/price_file.html", {"file": file, "page": page} | rights(by))


@require_safe
@for_actor
def refusals(request: HttpRequest, by: Actor, pk: uuid.UUID) -> HttpResponse:
    """All refusals as CSV."""
    by.need("see_prices")
    return refusals_csv(price_file_for(by, pk))
