"""Pages of the Bench."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shop.access import Actor
from shop.views import for_actor


@for_actor
def bench(request: HttpRequest, by: Actor) -> HttpResponse:
    return render(request, "shop/base.html", {"place": "Bench".lower()})
