"""Plans, quotes and the customer's answer. A plan and a sent quote are frozen copies."""

from __future__ import annotations

import secrets

from django.db import models
from django.db.models import Q

from shop.models import Ticket, choices


def fresh_nonce() -> str:
    return secrets.token_urlsafe(24)


class Plan(models.Model):
    """A solved plan, with what each choice beat and on what it stood."""

    append_only = True
    AIMS = ("least cost", "soonest", "soundest")
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="plans")
    number = models.PositiveSmallIntegerField()
    aim = models.CharField(max_length=12, choices=choices(AIMS))
    document = models.JSONField()
    cost_minor = models.BigIntegerField()
    days = models.PositiveSmallIntegerField()
    minutes = models.PositiveIntegerField()
    reading_counter = models.PositiveIntegerField()  # the examination's counter it was made on
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=60)

    class Meta:
        ordering = ["ticket", "-number"]
        constraints = [models.UniqueConstraint(fields=["ticket", "number"], name="one_plan_a_number")]

    def __str__(self) -> str:
        return f"plan {self.number} of {self.ticket}"


class Quote(models.Model):
    """One version of a quote. Once sent it never changes: a new version supersedes it."""

    STATES = ("draft", "sent", "accepted", "declined", "superseded")
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="quotes")
    version = models.PositiveSmallIntegerField()
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="quotes")
    state = models.CharField(max_length=10, choices=choices(STATES), default="draft")
    currency = models.CharField(max_length=3)
    tax_permille = models.PositiveIntegerField()
    net_minor = models.BigIntegerField()
    tax_minor = models.BigIntegerField()
    total_minor = models.BigIntegerField()
    cost_minor = models.BigIntegerField()  # what the work is expected to cost the shop; never shown outside
    nonce = models.CharField(max_length=48, default=fresh_nonce, unique=True)
    made_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    valid_until = models.DateField(null=True)
    answered_at = models.DateTimeField(null=True)
    answered_name = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["ticket", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["ticket", "version"], name="one_quote_a_version"),
            models.UniqueConstraint(
                fields=["ticket"], condition=Q(state="sent"), name="one_quote_before_the_customer"
            ),
        ]

    def __str__(self) -> str:
        return f"quote {self.version} of {self.ticket}"


class QuoteLine(models.Model):
    KINDS = ("examination", "part", "labour", "outside work", "consumables")
    quote = models.ForeignKey(Quote, models.CASCADE, related_name="lines")
    ordinal = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=choices(KINDS))
    position_code = models.CharField(max_length=20, blank=True)
    way = models.CharField(max_length=10, blank=True)
    words = models.CharField(max_length=240)
    cost_minor = models.BigIntegerField(default=0)
    amount_minor = models.BigIntegerField()

    class Meta:
        ordering = ["quote", "ordinal"]
        constraints = [models.UniqueConstraint(fields=["quote", "ordinal"], name="one_line_a_place")]

    def __str__(self) -> str:
        return self.words
