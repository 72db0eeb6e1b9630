"""Addresses of the Office."""

from django.urls import path

from estimates import views

urlpatterns = [path("", views.office, name="office")]
