"""Tables of the gauges: the register, when each was zeroed, and gauge studies. mm, µm (k = 2), N·m."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from inventory.models import Piece
from shop.models import Family, User, choices

# The trade's names of measuring instruments; common practice, no source.
KINDS = (
    "micrometer",
    "calliper",
    "bore gauge",
    "telescopic gauge",
    "depth gauge",
    "dial gauge",
    "feeler set",
    "plug gauge",
    "ring gauge",
    "thread gauge",
    "setting master",
    "torque wrench",
    "chain",
    "other",
)


class Gauge(models.Model):
    """A measuring instrument. Uncertainties are expanded, k = 2, µm; of a torque wrench, % of the torque.

    A chain is two gauges used one after the other: what it is made of stands in ``first`` and ``second``,
    and its figures and due date are worked out from theirs whenever one of them changes.
    """

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=choices(KINDS), default="other")
    expanded_um = models.FloatField()
    calibration_um = models.FloatField()  # the part of it that two readings with this gauge share
    resolution_um = models.FloatField()
    measures = models.CharField(max_length=80, default="any")  # kinds of dimension with commas, or "any"
    from_mm = models.FloatField(null=True, blank=True)  # range; none: not stated
    to_mm = models.FloatField(null=True, blank=True)
    size_mm = models.FloatField(null=True, blank=True)  # of a plug, ring or master, as its certificate says
    torque_percent = models.FloatField(null=True, blank=True)
    from_nm = models.FloatField(null=True, blank=True)
    to_nm = models.FloatField(null=True, blank=True)
    certificate = models.CharField(max_length=200, blank=True)
    calibrated_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    needs_zeroing = models.BooleanField(default=False)
    whereabouts = models.CharField(max_length=80, blank=True)
    first = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="chains_begun")
    second = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="chains_ended")
    version = models.PositiveIntegerField(default=1)
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="torque wrench", torque_percent__isnull=False, torque_percent__gt=0)
                | (~Q(kind="torque wrench") & Q(expanded_um__gt=0, calibration_um__gte=0)),
                name="a_gauge_has_uncertainty",
            ),
            models.CheckConstraint(
                condition=Q(kind="chain", first__isnull=False, second__isnull=False)
                | (~Q(kind="chain") & Q(first__isnull=True, second__isnull=True)),
                name="a_chain_has_two_gauges",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=("plug gauge", "ring gauge")) | Q(size_mm__isnull=False, size_mm__gt=0),
                name="a_fixed_gauge_has_a_size",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Zeroing(models.Model):
    """One time that a gauge was set: by whom, on which master, and how far it was off before."""

    append_only = True
    gauge = models.ForeignKey(Gauge, models.PROTECT, related_name="zeroings")
    master = models.ForeignKey(Gauge, models.PROTECT, null=True, related_name="+")
    master_words = models.CharField(max_length=80, blank=True)  # a master that is not in the register
    off_um = models.FloatField(null=True)
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    note = models.CharField(max_length=200, blank=True)
    key = models.CharField(max_length=120, unique=True)  # the same form sent twice is one zeroing

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.gauge.code} zeroed on {self.master_told}"

    @property
    def master_told(self) -> str:
        return self.master.code if self.master else self.master_words


class Study(models.Model):
    """A gauge study: so many pieces, read blind by every person so many times with one gauge."""

    gauge = models.ForeignKey(Gauge, models.PROTECT, related_name="studies")
    family = models.ForeignKey(Family, models.PROTECT, related_name="+")
    feature = models.CharField(max_length=40)
    feature_name = models.CharField(max_length=160)
    tolerance_mm = models.FloatField()
    repeats = models.PositiveSmallIntegerField()
    opened_at = models.DateTimeField()
    opened_by = models.CharField(max_length=60)
    closed_at = models.DateTimeField(null=True)
    key = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "studies"

    def __str__(self) -> str:
        return f"study of {self.gauge.code} on {self.feature_name}"


class StudyPiece(models.Model):
    """A piece of a study, in the condition that it had when the study was laid out."""

    study = models.ForeignKey(Study, models.CASCADE, related_name="pieces")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="+")
    condition = models.PositiveIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["study", "piece"], name="a_piece_once_a_study")]

    def __str__(self) -> str:
        return f"{self.piece} in {self.study}"


class StudyPerson(models.Model):
    """A person who reads in a study."""

    study = models.ForeignKey(Study, models.CASCADE, related_name="people")
    person = models.ForeignKey(User, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["study", "person"], name="a_person_once_a_study")]

    def __str__(self) -> str:
        return f"{self.person} in {self.study}"


class StudyReading(models.Model):
    """One blind reading of a study. A slip is read again: the newest take of a repeat counts."""

    append_only = True
    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    study = models.ForeignKey(Study, models.PROTECT, related_name="readings")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="+")
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    repeat = models.PositiveSmallIntegerField()
    take = models.PositiveSmallIntegerField(default=1)
    text = models.CharField(max_length=60)  # as typed
    unit = models.CharField(max_length=12)
    value_mm = models.FloatField()
    zeroing = models.ForeignKey(Zeroing, models.PROTECT, null=True, related_name="+")
    received_at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)  # why it was read again

    class Meta:
        ordering = ["received_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["study", "piece", "person", "repeat", "take"], name="one_reading_a_take"
            ),
            models.CheckConstraint(condition=Q(take=1) | ~Q(reason=""), name="read_again_with_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.piece} by {self.person}, repeat {self.repeat}"
