"""Pages of the Office."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shop.access import Actor
from shop.views import for_actor


@for_actor
def office(request: HttpRequest, by: Actor) -> HttpResponse:
    return render(request, "shop/base.html", {"place": "Office".lower()})
