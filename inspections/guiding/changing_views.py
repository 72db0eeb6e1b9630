"""Pages on which an examination changes its ground: a newer revision of the guide, another variant."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inspections.guiding import adopting, varying
from inspections.guiding.adopting import adopt_revision, newer_revisions, plan_adoption
from inspections.guiding.varying import change_variant, plan_variant
from inspections.models import Examination
from inspections.readings.findings import examinations
from shop.access import Actor, NotThere, ticket_for
from shop.forms import add_refusal
from shop.models import Ticket, Variant
from shop.refusals import Refusal
from shop.views import for_actor


def _held(ticket: Ticket) -> Examination | None:
    return examinations().filter(ticket=ticket).first()


def _whole(typed: str) -> int:
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 10 else 0


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def adopt(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """What a newer revision of the guide changes for this unit, and taking it up."""
    ticket = ticket_for(by, number)
    held = _held(ticket)
    if held is None:
        raise NotThere
    newer = newer_revisions(held)
    typed = (request.POST if request.method == "POST" else request.GET).get("revision", "")
    asked = _whole(typed) or (newer[0].number if newer else 0)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            done = adopt_revision(
                examination=held, number=asked, missing=request.POST.getlist("missing"), by=by
            )
        except Refusal as refusal:
            trouble, status = refusal.message, refusal.status
        else:
            words = f"The unit is examined under revision {done.examination.revision.number} now."
            more = " It has open ends, so the ticket is stripped again." if done.back else ""
            messages.success(request, words + more)
            return redirect("bench_ticket", number=number)
    plan = None
    if any(one.number == asked for one in newer):
        plan = plan_adoption(held, asked)
    context = {
        "ticket": ticket,
        "held": held,
        "newer": newer,
        "plan": plan,
        "checks": _named(plan, held) if plan else {},
        "trouble": trouble,
        "missing": request.POST.getlist("missing"),
        "may": any(by.may(right) for right in adopting.RIGHTS),
        "in_time": ticket.stage in adopting.STAGES,
        "place": "bench",
    }
    return render(request, "inspections/changing/adopt.html", context, status=status)


def _named(plan: adopting.Adoption, held: Examination) -> list[tuple[str, str, int]]:
    """Readings that do not apply any more, by check: title, why, how many."""
    titles = {row["code"]: row["title"] for row in plan.before.document["check"]}
    counts: dict[tuple[str, str], int] = {}
    for _, check, why in plan.lost:
        counts[check, why] = counts.get((check, why), 0) + 1
    return [(titles.get(check, check), why, count) for (check, why), count in counts.items()]


class VariantForm(forms.Form):
    """Which variant it is, and how that was found."""

    variant = forms.CharField(widget=forms.HiddenInput, max_length=20)
    why = forms.CharField(
        label="How it was found",
        max_length=varying.MOST_WORDS,
        help_text="It stands in the log: the casting number, the cover that is on it.",
        error_messages={"required": "Say how it was found to be another variant: it stands in the log."},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def vary(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """The unit is another variant than the ticket says."""
    ticket = ticket_for(by, number)
    held = _held(ticket)
    others = list(Variant.objects.filter(family=ticket.family).exclude(pk=ticket.variant_id))
    typed = (request.POST if request.method == "POST" else request.GET).get("variant", "")
    chosen = next((one for one in others if one.code == typed), None)
    if chosen is None and len(others) == 1:
        chosen = others[0]
    form = VariantForm(initial={"variant": chosen.code if chosen else ""})
    if request.method == "POST":
        form = VariantForm(request.POST)
        if (answer := _vary(request, by, ticket, chosen, form)) is not None:
            return answer
    context: dict[str, Any] = {
        "ticket": ticket,
        "held": held,
        "others": others,
        "chosen": chosen,
        "plan": plan_variant(held, chosen) if held is not None and chosen is not None else None,
        "form": form,
        "missing": request.POST.getlist("missing"),
        "may": by.may("record_readings") or (held is None and by.may("open_tickets")),
        "in_time": ticket.stage in ("received", *adopting.STAGES),
        "place": "bench",
    }
    return render(request, "inspections/changing/vary.html", context, status=422 if form.errors else 200)


def _vary(
    request: HttpRequest, by: Actor, ticket: Ticket, chosen: Variant | None, form: VariantForm
) -> HttpResponse | None:
    """Do it and go to the unit; None if something stands beside the form's fields."""
    if not form.is_valid():
        return None
    if chosen is None:
        if form.cleaned_data["variant"] == ticket.variant.code:
            return redirect("bench_ticket", number=ticket.number)
        form.add_error(None, "Choose one of the variants of this family.")
        return None
    try:
        done = change_variant(
            ticket=ticket,
            variant=chosen,
            why=form.cleaned_data["why"],
            missing=request.POST.getlist("missing"),
            by=by,
        )
    except Refusal as trouble:
        ticket.refresh_from_db()
        add_refusal(form, trouble)
        return None
    more = " It has open ends, so the ticket is stripped again." if done.back else ""
    messages.success(request, f"The unit is a {ticket.family}, {chosen}, now.{more}")
    return redirect("bench_ticket", number=ticket.number)
