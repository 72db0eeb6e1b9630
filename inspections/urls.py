"""Addresses of the Bench."""

from django.urls import include, path

from inspections import changing_views, donor_views, views

urlpatterns = [
    path("", include("inspections.build_urls")),
    path("", include("inspections.gauge_urls")),
    path("", include("inspections.evidence_urls")),
    path("", views.bench, name="bench"),
    path("donors/<int:number>", donor_views.bench_donor, name="bench_donor"),
    path("donors/<int:number>/<str:code>", donor_views.donor_position, name="donor_position"),
    path("<int:number>/revision", changing_views.adopt, name="adopt_revision"),
    path("<int:number>/variant", changing_views.vary, name="vary_ticket"),
    path("<int:number>", views.bench_ticket, name="bench_ticket"),
    path("<int:number>/<str:code>", views.bench_position, name="bench_position"),
]
