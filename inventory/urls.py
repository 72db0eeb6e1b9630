"""Addresses of the Stores."""

from django.urls import path

from inventory import views

urlpatterns = [path("", views.stores, name="stores")]
