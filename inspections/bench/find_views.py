"""A scanned or typed tag leads to its page, from any page of the shop."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from inspections.bench.finding_tags import LONGEST, address_of_tag
from shop.access import Actor, NotThere
from shop.views import for_actor


@require_safe
@for_actor
def find(request: HttpRequest, by: Actor) -> HttpResponse:
    """To the ticket, piece, bin or part with this tag; a page that says so when there is none."""
    if not (by.may("see_tickets") or by.may("see_stock")):
        raise NotThere
    tag = request.GET.get("tag", "").strip()
    if address := address_of_tag(text=tag, by=by):
        return redirect(address)
    context = {"tag": tag[:LONGEST], "sees_stock": by.may("see_stock")}
    return render(request, "inspections/bench/not_found.html", context, status=404 if tag else 200)
