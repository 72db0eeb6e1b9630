"""Addresses of the Handbook."""

from django.urls import path

from shop import handbook_views

urlpatterns = [
    path("", handbook_views.index, name="handbook"),
    path("<slug:name>", handbook_views.topic, name="topic"),
]
