"""Addresses of the Counter."""

from django.urls import path

from shop import counter_views

urlpatterns = [path("", counter_views.counter, name="counter")]
