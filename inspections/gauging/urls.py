"""Addresses of the gauges, below the Bench's."""

from django.urls import path

from inspections.gauging import study_views
from inspections.gauging import views as gauge_views

urlpatterns = [
    path("gauges", gauge_views.gauges, name="gauges"),
    path("gauges/add", gauge_views.add, name="add_gauge"),
    path("gauges/bias", study_views.bias, name="gauge_bias"),
    path("gauges/studies", study_views.studies, name="gauge_studies"),
    path("gauges/studies/add", study_views.propose, name="propose_study"),
    path("gauges/studies/<int:pk>", study_views.study, name="gauge_study"),
    path("gauges/studies/<int:pk>/read", study_views.read, name="read_study"),
    path("gauges/studies/<int:pk>/readings.csv", study_views.csv, name="study_csv"),
    path("gauge/<str:code>", gauge_views.gauge, name="gauge"),
    path("gauge/<str:code>/change", gauge_views.change, name="change_gauge"),
]
