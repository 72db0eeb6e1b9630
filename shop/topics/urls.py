"""Addresses of the Handbook."""

from django.urls import path

from shop.topics import views

urlpatterns = [
    path("", views.index, name="handbook"),
    path("formulas", views.formulas, name="formulas"),
    path("<slug:name>", views.topic, name="topic"),
]
