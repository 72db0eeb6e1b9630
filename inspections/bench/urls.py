"""Addresses of the Bench."""

from django.urls import include, path

from inspections.bench import views
from inspections.donors import views as donor_views
from inspections.guiding import changing_views

urlpatterns = [
    path("", include("inspections.building.urls")),
    path("", include("inspections.gauging.urls")),
    path("", include("inspections.evidence.urls")),
    path("", views.bench, name="bench"),
    path("donors/<int:number>", donor_views.bench_donor, name="bench_donor"),
    path("donors/<int:number>/<str:code>", donor_views.donor_position, name="donor_position"),
    path("<int:number>/revision", changing_views.adopt, name="adopt_revision"),
    path("<int:number>/variant", changing_views.vary, name="vary_ticket"),
    path("<int:number>", views.bench_ticket, name="bench_ticket"),
    path("<int:number>/<str:code>", views.bench_position, name="bench_position"),
]
