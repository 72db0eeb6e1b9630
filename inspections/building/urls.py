"""Addresses of rework and of the build sheet, below the Bench's."""

from django.urls import path

from inspections.building import views as build_views

urlpatterns = [
    path("<int:number>/sheet", build_views.sheet, name="sheet"),
    path("<int:number>/rework", build_views.rework, name="rework"),
]
