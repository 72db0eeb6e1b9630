"""Addresses for looking at the specimen alone: the places lead nowhere."""

from django.http import HttpRequest, HttpResponse
from django.urls import path

from shop.specimen import specimen


def nowhere(request: HttpRequest) -> HttpResponse:
    return HttpResponse("")


PLACES = ("counter", "bench", "stores", "office", "handbook", "sign_in", "sign_out", "scheme")
urlpatterns = [path("specimen", specimen, name="specimen")] + [
    path(name, nowhere, name=name) for name in PLACES
]
