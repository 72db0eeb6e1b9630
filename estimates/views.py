"""Pages of the Office: stages and margins, plans, quotes, exchange rates."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from estimates import shown
from estimates.charts import stage_chart
from estimates.forms import RateForm
from estimates.links import path_of_quote
from estimates.margins import quotes_that_count
from estimates.models import Quote
from estimates.office import BANDS, quoted_against_cost, standings, weeks_of_stages
from estimates.options import basis_for
from estimates.papers import paper_of
from estimates.planning import Aim
from estimates.quoting import Aims, make_plan, make_quote, plans_for_aims, send_quote
from estimates.rates import show_rate, type_rate
from shop.access import Actor, NotThere, ticket_for
from shop.models import ExchangeRate
from shop.refusals import Refusal
from shop.views import for_actor


@require_GET
@for_actor
def office(request: HttpRequest, by: Actor) -> HttpResponse:
    by.need("see_office")
    weeks = weeks_of_stages()
    context = {
        "standings": standings(),
        "chart": stage_chart(weeks),
        "weeks": weeks,
        "bands": [name for name, _ in BANDS],
        "margins": quoted_against_cost(),
        "currency": settings.CURRENCY,
        "keeps": by.may("keep_office"),
        "place": "office",
    }
    return render(request, "estimates/office.html", context)


@require_http_methods(["GET", "POST"])
@for_actor
def rates(request: HttpRequest, by: Actor) -> HttpResponse:
    by.need("keep_office")
    form = RateForm(request.POST if request.method == "POST" else None, currency=settings.CURRENCY)
    if request.method == "POST" and form.is_valid():
        try:
            row = type_rate(by=by, **form.cleaned_data)
        except Refusal as trouble:
            form.show(trouble)
        else:
            messages.success(request, f"{row.currency} on {row.on:%d %b %Y}: {show_rate(row.rate_micro)}.")
            return redirect("rates")
    rows = [
        (one, show_rate(one.rate_micro))
        for one in ExchangeRate.objects.select_related("typed_by").order_by("-on", "currency")[:200]
    ]
    context = {"form": form, "rates": rows, "currency": settings.CURRENCY, "place": "office"}
    return render(request, "estimates/rates.html", context, status=422 if form.errors else 200)


def _aim(text: str) -> str:
    return text if text in set(Aim) else Aim.LEAST_COST.value


@require_http_methods(["GET", "POST"])
@for_actor
def plan(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """Three aims side by side; the button keeps the plan of one and makes a quote of it."""
    ticket = ticket_for(by, number, "send_quotes")
    aim = _aim(request.POST.get("aim") or request.GET.get("aim", ""))
    context: dict[str, Any] = {"ticket": ticket, "aim": aim, "place": "office", "costs": by.may("see_prices")}
    if request.method == "POST":
        try:
            made = make_quote(plan=make_plan(ticket=ticket, aim=aim, by=by), by=by)
        except Refusal as trouble:
            context["trouble"] = trouble.message
        else:
            messages.success(request, f"Quote {made.version} is drawn up. Look it over, then send it.")
            return redirect("quote", made.pk)
    try:
        aims = plans_for_aims(basis=basis_for(ticket=ticket), ticket=ticket, chosen=aim)
    except Refusal as trouble:
        context.setdefault("trouble", trouble.message)
        return render(request, "estimates/plan.html", context, status=trouble.status)
    context |= _planned(aims)
    return render(request, "estimates/plan.html", context, status=422 if "trouble" in context else 200)


def _planned(aims: Aims) -> dict[str, Any]:
    document = aims.document
    guide = aims.guide
    choices = shown.stacked_choices(document)
    return {
        "rows": aims.rows,
        "document": document,
        "choices": [one for one in choices if not one["unchanged"]],
        "unchanged": [one for one in choices if one["unchanged"]],
        "stacks": shown.stack_rows(document),
        "parted": shown.bond_names(document, guide),
        "drawing": shown.plan_drawing(document, guide, aims.variant, "#choice-"),
        "cautions": shown.people_cautions(guide),
        "currency": settings.CURRENCY,
    }


def _quote_for(by: Actor, pk: int) -> Quote:
    by.need("see_tickets")
    found = (
        Quote.objects.select_related(
            "ticket", "ticket__customer", "ticket__family", "ticket__variant", "plan"
        )
        .filter(pk=pk)
        .first()
    )
    if found is None:
        raise NotThere
    by.need("send_quotes")
    return found


@require_GET
@for_actor
def ticket_quote(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """To the quote that counts, for who knows only the ticket; to the plan where there is none yet."""
    ticket = ticket_for(by, number, "send_quotes")
    found = quotes_that_count([ticket.pk]).get(ticket.pk)
    return redirect("quote", found.pk) if found else redirect("plan", ticket.number)


@require_GET
@for_actor
def quote(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    return _quote_page(request, by, _quote_for(by, pk))


def _quote_page(request: HttpRequest, by: Actor, row: Quote, trouble: Refusal | None = None) -> HttpResponse:
    context = shown.quote_context(row)
    context["costs"] = by.may("see_prices") or by.may("see_office")
    if context["costs"]:
        for line in context["lines"]:
            line["margin_minor"] = line["line"].amount_minor - line["line"].cost_minor
        context["margin_minor"] = row.net_minor - row.cost_minor
    context |= {
        "link": f"{settings.ADDRESS}{path_of_quote(row)}" if row.state != "draft" else "",
        "paper": paper_of(row),
        "versions": row.ticket.quotes.exclude(pk=row.pk),
        "trouble": trouble.message if trouble else "",
        "place": "office",
    }
    return render(request, "estimates/quote.html", context, status=trouble.status if trouble else 200)


@require_POST
@for_actor
def send(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    row = _quote_for(by, pk)
    try:
        send_quote(quote=row, by=by)
    except Refusal as trouble:
        row.refresh_from_db()
        return _quote_page(request, by, row, trouble)
    messages.success(request, "The quote is before the customer.")
    return redirect("quote", row.pk)
