"""Addresses that a customer reaches by a signed link, without signing in."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
