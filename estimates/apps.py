"""Office, one of the four apps."""

from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    name = "estimates"
    verbose_name = "Office"
