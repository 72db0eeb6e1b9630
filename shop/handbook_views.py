"""Pages of the Handbook."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shop.access import Actor
from shop.views import for_actor


@for_actor
def index(request: HttpRequest, by: Actor) -> HttpResponse:
    return render(request, "shop/base.html", {"place": "Handbook".lower()})
