"""Addresses of the Bench."""

from django.urls import include, path

from inspections import views

urlpatterns = [path("", include("inspections.build_urls")), path("", views.bench, name="bench")]
