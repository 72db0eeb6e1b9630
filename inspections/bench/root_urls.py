"""Addresses of the Bench that have to stand at the root."""

from django.urls import path

from inspections.bench import find_views, keeping_views

urlpatterns = [
    path("find", find_views.find, name="find"),
    path("bench-worker.js", keeping_views.bench_worker, name="bench_worker"),
]
