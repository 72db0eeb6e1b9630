"""Addresses that a customer reaches by a signed link, without signing in."""

from django.urls import path

from estimates import public_views

urlpatterns = [
    path("<str:token>", public_views.public_quote, name="public_quote"),
    path("<str:token>/paper", public_views.public_paper, name="public_paper"),
]
