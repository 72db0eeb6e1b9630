"""Addresses of the Office."""

from django.urls import include, path

from estimates import views

urlpatterns = [
    path("", views.office, name="office"),
    path("rates", views.rates, name="rates"),
    path("guides/", include("inspections.guiding.urls")),
    path("tickets/<int:number>/plan", views.plan, name="plan"),
    path("tickets/<int:number>/quote", views.ticket_quote, name="ticket_quote"),
    path("quotes/<int:pk>", views.quote, name="quote"),
    path("quotes/<int:pk>/send", views.send, name="send_quote"),
]
