"""What the page of one ticket shows, read in few queries."""

from __future__ import annotations

from typing import Any

from django import forms

from shop import stages
from shop.access import Actor
from shop.forms import EndForm, HoldForm, MoveForm, PhotographsForm, TimeForm, new_key
from shop.models import STAGES, Document, Ticket, User, Warranty
from shop.photographs import thumbnail_key
from shop.timesheets import minutes_of


def stations(ticket: Ticket) -> list[dict[str, Any]]:
    """The usual way of a ticket as stations; one that ended otherwise stands at its ending."""
    if ticket.stage not in STAGES:
        return [
            {"word": STAGES[0], "past": True, "current": False},
            {"word": ticket.stage, "past": False, "current": True},
        ]
    here = STAGES.index(ticket.stage)
    return [{"word": word, "past": at < here, "current": at == here} for at, word in enumerate(STAGES)]


def ways_on(ticket: Ticket, by: Actor) -> list[dict[str, Any]]:
    """Each stage that this person may move the ticket on to by hand, with what stands in its way."""
    free = [to for to in stages.forward_by_hand(ticket) if stages.may_move(by, to)]
    return [{"to": to, "hindrances": stages.hindrances(ticket, to)} for to in free]


def next_deed(ticket: Ticket, by: Actor) -> dict[str, Any] | None:
    """The deed that brings the ticket on, if its next stage has one: where, what, and what is in its way."""
    if ticket.stage not in STAGES[:-1]:
        return None
    to = STAGES[STAGES.index(ticket.stage) + 1]
    if to not in stages.BY_DEED or to in stages.forward_by_hand(ticket):
        return None
    deed = stages.BY_DEED[to]
    return deed._asdict() | {
        "to": to,
        "may_open": by.may(deed.right),
        # The page that hands over does itself what its gate asks for.
        "hindrances": [] if to == "handed over" else stages.hindrances(ticket, to),
    }


def move_form(ticket: Ticket, by: Actor, data: Any = None) -> MoveForm:
    free = [way["to"] for way in ways_on(ticket, by) if not way["hindrances"]]
    return MoveForm(free, data, initial={"seen": ticket.stage}, auto_id="move_%s")


def back_form(ticket: Ticket, by: Actor, data: Any = None) -> MoveForm:
    free = [
        to for to in stages.backward(ticket) if stages.may_move(by, to) and not stages.hindrances(ticket, to)
    ]
    return MoveForm(free, data, label="Back to", initial={"seen": ticket.stage}, auto_id="back_%s")


def end_form(ticket: Ticket, data: Any = None) -> EndForm:
    return EndForm(data, initial={"seen": ticket.stage, "to": stages.ENDED_BY_HAND}, auto_id="end_%s")


def hand_form(ticket: Ticket, by: Actor, data: Any) -> tuple[str, forms.Form]:
    """The one of the three forms that was sent, with its name on the page."""
    if data.get("to") == stages.ENDED_BY_HAND:
        return "end", end_form(ticket, data)
    if data.get("to") in stages.backward(ticket):
        return "back", back_form(ticket, by, data)
    return "move", move_form(ticket, by, data)


def stage_log(ticket: Ticket) -> list[dict[str, Any]]:
    """The log with the names of people, which it does not hold itself."""
    lines = list(ticket.stage_log.all())
    keys = {line.by.removeprefix("user:") for line in lines if line.by.startswith("user:")}
    names = {f"user:{one.pk}": str(one) for one in User.objects.filter(pk__in=keys)}
    others = {"program": "the program", "link": "the customer"}
    return [
        {
            "at": line.at,
            "before": line.before,
            "after": line.after,
            "why": line.why,
            "who": names.get(line.by) or others.get(line.by.split(":")[0], "a person who left"),
        }
        for line in lines
    ]


PICTURES = {"photograph", "thumbnail", "bench photograph", "bench thumbnail"}


def _shots(papers: list[Document]) -> list[tuple[Document, Document]]:
    """Each photograph with what is shown of it in a list: its thumbnail, once the worker has made it."""
    small = {one.key: one for one in papers if one.kind == "thumbnail"}
    shots = [one for one in papers if one.kind == "photograph"]
    return [(one, small.get(thumbnail_key(str(one.pk)), one)) for one in shots]


def ticket_context(ticket: Ticket, by: Actor, bound: dict[str, forms.Form] | None = None) -> dict[str, Any]:
    """Everything for the template. ``bound``: forms that came back, under their names."""
    ways = ways_on(ticket, by)
    papers = list(ticket.documents.order_by("made_at", "pk"))
    sources = list(ticket.sources.select_related("unit", "owner", "listed_by").order_by("pk"))
    return {
        "ticket": ticket,
        "unit": next((one.unit for one in sources if one.kind == "unit"), None),
        "sources": sources,
        "complaints": [one.complaint for one in ticket.complaints.select_related("complaint")],
        "photographs": _shots(papers),
        "papers": [one for one in papers if one.kind not in PICTURES],
        "at_bench": sum(one.kind == "bench photograph" for one in papers),
        "log": stage_log(ticket),
        "stations": stations(ticket),
        "ways": ways,
        "warranty": Warranty.objects.filter(ticket=ticket).prefetch_related("reminders").first(),
        "minutes": minutes_of(ticket),
        "may_change": by.may("open_tickets"),
        "days": ticket.days_in_stage(),
        "deed": next_deed(ticket, by),
        "move": move_form(ticket, by),
        "back": back_form(ticket, by),
        "end": end_form(ticket),
        "hold": HoldForm(auto_id="hold_%s"),
        "time": TimeForm(initial={"key": new_key()}, auto_id="time_%s"),
        "photos": PhotographsForm(initial={"key": new_key()}, auto_id="photos_%s"),
    } | (bound or {})
