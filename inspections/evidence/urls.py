"""Addresses of photographs, of answers in words and of the examination report, below the Bench's."""

from django.urls import path

from inspections.evidence import answer_views, photograph_views, report_views

urlpatterns = [
    path("<int:number>/photographs", photograph_views.of_unit, name="bench_photographs"),
    path(
        "donors/<int:number>/photographs",
        photograph_views.of_unit,
        {"donor": True},
        name="donor_photographs",
    ),
    path("photographs/<uuid:pk>", photograph_views.photograph, name="photograph"),
    path("photographs/<uuid:pk>/whole", photograph_views.whole_file, name="photograph_whole"),
    path("photographs/<uuid:pk>/small", photograph_views.small_file, name="photograph_small"),
    path("<int:number>/answers", answer_views.answers, name="answers"),
    path("<int:number>/report", report_views.report, name="examination_report"),
    path("donors/<int:number>/report", report_views.report, {"donor": True}, name="donor_report"),
    path("reports/<int:pk>", report_views.paper, name="report_paper"),
]
