"""Pages of the Handbook: the topics, and one page a topic whose inputs stand in its address."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from shop.access import Actor, NotThere
from shop.topics.all import GROUPS, TOPICS, group_of
from shop.topics.forms import TopicForm
from shop.topics.formulas import rooms
from shop.topics.reading import example_inputs
from shop.views import for_actor


def need_person(by: Actor) -> None:
    """The Handbook is the shop's own: a supplier has no part in it."""
    if by.kind != "person":
        raise NotThere


@require_safe
@for_actor
def index(request: HttpRequest, by: Actor) -> HttpResponse:
    """What can be worked out here."""
    need_person(by)
    return render(request, "shop/handbook/index.html", {"groups": GROUPS})


@require_safe
@for_actor
def formulas(request: HttpRequest, by: Actor) -> HttpResponse:
    """Every formula with its source, and the topics that use it."""
    need_person(by)
    return render(request, "shop/handbook/formulas.html", {"rooms": rooms()})


@require_safe
@for_actor
def topic(request: HttpRequest, by: Actor, name: str) -> HttpResponse:
    """One topic: its form, and the answer with its working when the address carries inputs."""
    need_person(by)
    found = TOPICS.get(name)
    if found is None:
        raise NotThere
    typed = request.GET if any(one in request.GET for one in found.names) else None
    form = TopicForm(found, typed, by.person.decimal_mark)
    good = form.is_valid()
    group = group_of(found)
    worked = example_inputs(found, by.person.decimal_mark)
    context = {
        "topic": found,
        "form": form,
        "answer": form.answer if good else None,
        "example": f"{reverse('topic', args=[name])}?{urlencode(worked)}#answer",
        "group": group.title,
        "topics": group.topics,
    }
    return render(request, "shop/handbook/topic.html", context, status=422 if typed and not good else 200)
