"""Addresses of the Handbook."""

from django.urls import path

from shop.topics import views

urlpatterns = [
    path("", views.index, name="handbook"),
    path("<slug:name>", views.topic, name="topic"),
]
