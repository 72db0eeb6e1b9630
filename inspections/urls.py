"""Addresses of the Bench."""

from django.urls import path

from inspections import views

urlpatterns = [path("", views.bench, name="bench")]
