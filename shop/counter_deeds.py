"""Deeds on the page of a ticket: each parses, calls one rule and goes back; what cannot be is said there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from shop import clock, stages, timesheets, warranty
from shop.access import Actor, NotThere, ticket_for
from shop.counter_page import hand_form, ticket_context
from shop.forms import HandOverForm, HoldForm, Keyed, PhotographsForm, TimeForm, add_refusal
from shop.models import Reminder, Ticket
from shop.once import KeyReused
from shop.refusals import Refusal, Stale
from shop.taking_in import keep_shots
from shop.views import for_actor


def _done(
    request: HttpRequest,
    by: Actor,
    ticket: Ticket,
    form: tuple[str, forms.Form],
    deed: Callable[[dict[str, Any]], str],
) -> HttpResponse:
    """Do it and go back to the ticket with a word; or show the ticket again with the form as it was typed."""
    name, typed = form
    if typed.is_valid():
        try:
            says = deed(typed.cleaned_data)
        except Refusal as trouble:
            if isinstance(trouble, KeyReused) and isinstance(typed, Keyed):
                typed.take_new_key()
            add_refusal(typed, trouble)
        else:
            messages.success(request, says)
            return redirect("ticket", number=ticket.number)
    ticket.refresh_from_db()
    return render(request, "shop/counter/ticket.html", ticket_context(ticket, by, {name: typed}), status=422)


@require_POST
@for_actor
def move(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    ticket = ticket_for(by, number)
    stages.need_hand(by, request.POST.get("to", ""))
    form = hand_form(ticket, by, request.POST)

    def deed(said: dict[str, Any]) -> str:
        if said["seen"] != ticket.stage:
            raise Stale(f"Somebody moved this ticket meanwhile: it is {ticket.stage}. Look again.")
        moved = stages.move_by_hand(ticket=ticket, to=said["to"], why=said["why"], by=by)
        return f"Ticket {number} is {moved.stage}."

    return _done(request, by, ticket, form, deed)


@require_POST
@for_actor
def hold(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    ticket = ticket_for(by, number, "open_tickets")

    def deed(said: dict[str, Any]) -> str:
        stages.hold_ticket(ticket=ticket, why=said["held_why"], until=said["held_until"], by=by)
        return f"Ticket {number} is held."

    return _done(request, by, ticket, ("hold", HoldForm(request.POST, auto_id="hold_%s")), deed)


@require_POST
@for_actor
def lift(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    ticket = ticket_for(by, number, "open_tickets")

    def deed(_said: dict[str, Any]) -> str:
        stages.hold_ticket(ticket=ticket, why="", until=None, by=by)
        return f"Ticket {number} goes on."

    return _done(request, by, ticket, ("lift", forms.Form(request.POST)), deed)


@require_POST
@for_actor
def time(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    ticket = ticket_for(by, number)

    def deed(said: dict[str, Any]) -> str:
        entry = timesheets.book_time(
            ticket=ticket,
            person=by.person,
            minutes=said["minutes"],
            work=said["work"],
            key=f"{by.key}:{said['key']}",
            by=by,
        )
        return f"{entry.minutes} minutes at {entry.work} are booked."

    return _done(request, by, ticket, ("time", TimeForm(request.POST, auto_id="time_%s")), deed)


@require_POST
@for_actor
def photographs(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    ticket = ticket_for(by, number, "open_tickets")

    def deed(said: dict[str, Any]) -> str:
        kept = keep_shots(
            ticket=ticket, shots=said["photographs"], key=f"{by.key}:{number}:{said['key']}", by=by
        )
        return "1 photograph is kept." if len(kept) == 1 else f"{len(kept)} photographs are kept."

    form = PhotographsForm(request.POST, request.FILES, auto_id="photos_%s")
    return _done(request, by, ticket, ("photos", form), deed)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def hand_over(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """The warranty is opened and the unit handed over. A shelf unit has no warranty yet: it is moved on."""
    ticket = ticket_for(by, number, "open_tickets")
    if request.method != "POST":
        form = HandOverForm(initial={"fitted_on": clock.today(), "months": 12})
        return render(request, "shop/counter/hand_over.html", {"ticket": ticket, "form": form})
    form = HandOverForm(request.POST)
    if form.is_valid():
        try:
            opened = warranty.hand_over(ticket=ticket, by=by, **form.cleaned_data)
        except Refusal as trouble:
            add_refusal(form, trouble)
        else:
            messages.success(request, f"Handed over. The warranty runs to {opened.ends_on:%d %b %Y}.")
            return redirect("ticket", number=number)
    return render(request, "shop/counter/hand_over.html", {"ticket": ticket, "form": form}, status=422)


@require_POST
@for_actor
def rung(request: HttpRequest, by: Actor, pk: int) -> HttpResponse:
    by.need("open_tickets")
    reminder = Reminder.objects.select_related("warranty__ticket").filter(pk=pk).first()
    if reminder is None:
        raise NotThere
    try:
        warranty.note_rung(reminder=reminder, by=by)
    except Refusal as trouble:
        messages.error(request, trouble.message)
    else:
        messages.success(request, f"The customer of ticket {reminder.warranty.ticket.number} was told.")
    return redirect("to_ring")
