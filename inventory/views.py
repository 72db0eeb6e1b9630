"""Pages of the Stores."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shop.access import Actor
from shop.views import for_actor


@for_actor
def stores(request: HttpRequest, by: Actor) -> HttpResponse:
    return render(request, "shop/base.html", {"place": "Stores".lower()})
