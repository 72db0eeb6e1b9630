"""Addresses of the Bench."""

from django.urls import include, path

from inspections import views

urlpatterns = [
    path("", include("inspections.build_urls")),
    path("", include("inspections.gauge_urls")),
    path("", include("inspections.evidence_urls")),
    path("", views.bench, name="bench"),
    path("<int:number>", views.bench_ticket, name="bench_ticket"),
    path("<int:number>/<str:code>", views.bench_position, name="bench_position"),
]
