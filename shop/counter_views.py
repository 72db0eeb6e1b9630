"""Pages of the Counter: the list, opening, a ticket, its files, who is to be rung."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_safe

from shop.access import Actor, NotThere, ticket_for
from shop.counter_page import ticket_context
from shop.documents import path_of
from shop.forms import FindForm, OpeningForm, add_refusal, known_customers, new_key
from shop.models import CLOSED, Document, Family, Ticket
from shop.once import KeyReused, once
from shop.refusals import Refusal
from shop.taking_in import take_in_unit
from shop.views import for_actor
from shop.warranty import reminders_to_ring

PAGE = 40


def find_tickets(q: str, stage: str) -> Any:
    """Tickets for the list: of a stage (all open ones if none is said), with the number, name or serial."""
    rows = Ticket.objects.for_list()
    if stage == "closed":
        rows = rows.filter(stage__in=CLOSED)
    elif stage:
        rows = rows.at(stage)
    elif not q:
        rows = rows.open()
    if q:
        serial = Q(pk__in=Ticket.objects.filter(sources__unit__serial__icontains=q).values("pk"))
        named = Q(customer__name__icontains=q) | serial
        number = q.removeprefix("T")
        if number.isascii() and number.isdigit() and len(number) < 10:
            named |= Q(number=int(number))
        rows = rows.filter(named)
    return rows


@require_safe
@for_actor
def counter(request: HttpRequest, by: Actor) -> HttpResponse:
    by.need("see_tickets")
    form = FindForm(request.GET)
    q, stage = form.said()
    page = Paginator(find_tickets(q, stage), PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "searched": bool(q or stage),
        "may_open": by.may("open_tickets"),
        "to_ring": reminders_to_ring().count(),
    }
    return render(request, "shop/counter/list.html", context)


def _chosen_family(request: HttpRequest, families: list[Family]) -> Family | None:
    code = request.POST.get("family") or request.GET.get("family") or ""
    found = next((one for one in families if one.code == code), None)
    return families[0] if found is None and len(families) == 1 else found


def _open(form: OpeningForm, by: Actor) -> int:
    """The number of the ticket that this form opened, now or when it was first sent."""
    answer = once(
        by=by,
        operation="open ticket",
        key=form.cleaned_data["key"],
        body=form.body(),
        rule=lambda: {
            "number": take_in_unit(key=form.cleaned_data["key"], by=by, **form.ticket_fields()).number
        },
    )
    return int(answer["number"])


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def open_ticket(request: HttpRequest, by: Actor) -> HttpResponse:
    """First the family, where there are several; then everything else, which follows from it."""
    by.need("open_tickets")
    families = list(Family.objects.all())
    family = _chosen_family(request, families)
    context: dict[str, Any] = {"families": families, "family": family, "currency": settings.CURRENCY}
    if family is None:
        return render(request, "shop/counter/open.html", context)
    if request.method != "POST":
        form = OpeningForm(family, initial={"key": new_key(), "family": family.code})
        return render(request, "shop/counter/open.html", context | _with_form(form))
    form = OpeningForm(family, request.POST, request.FILES)
    if form.is_valid():
        try:
            return redirect("ticket", number=_open(form, by))
        except KeyReused:
            form.take_new_key()
            form.add_error(None, "This form opened a ticket before. Send it again if you mean another one.")
        except Refusal as trouble:
            add_refusal(form, trouble)
    if request.FILES and form.errors:
        form.add_error("photographs", "Choose the photographs again: a browser does not keep them.")
    return render(request, "shop/counter/open.html", context | _with_form(form), status=422)


def _with_form(form: OpeningForm) -> dict[str, Any]:
    return {"form": form, "known_customers": known_customers()}


@require_safe
@for_actor
def ticket(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    return render(request, "shop/counter/ticket.html", ticket_context(ticket_for(by, number), by))


@require_safe
@for_actor
def to_ring(request: HttpRequest, by: Actor) -> HttpResponse:
    by.need("open_tickets")
    return render(request, "shop/counter/to_ring.html", {"reminders": reminders_to_ring()})


@require_safe
@for_actor
def document(request: HttpRequest, by: Actor, pk: UUID) -> HttpResponse:
    """A private file, after the access check of its ticket; one without a ticket needs see_prices."""
    by.need("see_tickets")
    row = Document.objects.select_related("ticket").filter(pk=pk).first()
    if row is None or row.kind.startswith("bench "):
        raise NotThere
    if row.ticket is None:
        by.need("see_prices")
    return give_out(row)


def give_out(row: Document) -> HttpResponse:
    """The file as an answer that never renders as a page. For views that have checked access."""
    path = path_of(row)
    if not path.is_file():
        raise NotThere
    answer = FileResponse(path.open("rb"), content_type=row.content_type)
    name = f"{row.title}{path.suffix}"
    inline = row.content_type == "image/jpeg"
    answer.headers["Content-Disposition"] = content_disposition_header(not inline, name) or "attachment"
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Content-Security-Policy"] = "default-src 'none'; sandbox; frame-ancestors 'none'"
    answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    return answer  # type: ignore[return-value]
