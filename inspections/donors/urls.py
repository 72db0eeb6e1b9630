"""Addresses of donors in the Stores."""

from django.urls import path

from inspections.donors import views as donor_views

urlpatterns = [
    path("", donor_views.donor_list, name="donors"),
    path("<int:number>", donor_views.donor, name="donor"),
]
