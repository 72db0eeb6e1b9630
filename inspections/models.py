"""Guides, gauges, readings, rework and the build. Findings are computed and stand in no table."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from inspections.gauge_models import Gauge, Study, StudyPerson, StudyPiece, StudyReading, Zeroing
from inventory.models import Lot, Part, Piece, Purchase
from shop.models import Complaint, Document, Family, Ticket, Unit, User, choices

__all__ = [
    "AsBuilt",
    "BuildRow",
    "BuildSheet",
    "Examination",
    "Gauge",
    "GuideCheck",
    "GuideRevision",
    "Reading",
    "ReadingPiece",
    "Rework",
    "Study",
    "StudyPerson",
    "StudyPiece",
    "StudyReading",
    "Zeroing",
]


class GuideRevision(models.Model):
    """One published revision of a family's guide: a frozen document."""

    append_only = True
    family = models.ForeignKey(Family, models.PROTECT, related_name="guide_revisions")
    number = models.PositiveIntegerField()
    document = models.JSONField()
    digest = models.CharField(max_length=64)
    published_at = models.DateTimeField()
    published_by = models.CharField(max_length=60)

    class Meta:
        ordering = ["family", "-number"]
        constraints = [models.UniqueConstraint(fields=["family", "number"], name="one_revision_a_number")]

    def __str__(self) -> str:
        return f"{self.family} guide, revision {self.number}"


class GuideDraft(models.Model):
    """A guide that is being written in the browser; one a family, until it is published or thrown away."""

    family_code = models.CharField(max_length=20, unique=True)  # its first revision makes the family
    document = models.JSONField()
    begun_from = models.PositiveIntegerField(null=True)  # number of the revision; none: a file
    version = models.PositiveIntegerField(default=1)
    touched = models.JSONField(default=dict)  # "table code" -> the version that changed it last
    begun_at = models.DateTimeField()
    begun_by = models.CharField(max_length=60)
    changed_at = models.DateTimeField()
    changed_by = models.CharField(max_length=60)

    class Meta:
        ordering = ["family_code"]

    def __str__(self) -> str:
        return f"draft of the {self.family_code} guide"


class GuideCheck(models.Model):
    """The checks of a revision as rows, naming positions by code, for lists and look-ups."""

    append_only = True
    revision = models.ForeignKey(GuideRevision, models.PROTECT, related_name="checks")
    code = models.CharField(max_length=40)
    position_code = models.CharField(max_length=20)
    kind = models.CharField(max_length=10)
    title = models.CharField(max_length=160)
    ordinal = models.PositiveIntegerField()

    class Meta:
        ordering = ["revision", "ordinal"]
        constraints = [models.UniqueConstraint(fields=["revision", "code"], name="one_check_a_code")]

    def __str__(self) -> str:
        return self.code


class Examination(models.Model):
    """The examination of a ticket's unit or of a donor, under one revision of the guide."""

    ticket = models.OneToOneField(Ticket, models.PROTECT, null=True, related_name="examination")
    donor = models.OneToOneField(Unit, models.PROTECT, null=True, related_name="examination")
    revision = models.ForeignKey(GuideRevision, models.PROTECT)
    opened_at = models.DateTimeField()
    opened_by = models.CharField(max_length=60)
    # Raised in the writer's transaction: tablets ask what came after it, and row ids cannot tell.
    counter = models.PositiveIntegerField(default=0)
    # Ids of readings that a newer revision has no use for: its check is another kind of question.
    set_aside = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(ticket__isnull=False, donor__isnull=True)
                | Q(ticket__isnull=True, donor__isnull=False),
                name="examines_a_ticket_or_a_donor",
            )
        ]

    def __str__(self) -> str:
        return f"examination of {self.ticket or self.donor}"


class Reading(models.Model):
    """One observation by one person with one gauge at one time. Never edited; withdrawn by another."""

    append_only = True
    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    examination = models.ForeignKey(Examination, models.PROTECT, related_name="readings")
    sequence = models.PositiveIntegerField()  # the examination's counter when it came in
    check_code = models.CharField(max_length=40)
    position_code = models.CharField(max_length=20)
    text = models.CharField(max_length=60)  # as typed
    unit = models.CharField(max_length=12, blank=True)
    value_mm = models.FloatField(null=True)
    resolution_um = models.FloatField(default=0)
    outcome = models.CharField(
        max_length=60, blank=True
    )  # sound, a defect's code, an identified text, a count
    place = models.CharField(max_length=60, blank=True)
    gauge = models.ForeignKey(Gauge, models.PROTECT, null=True)
    zeroing = models.ForeignKey(Zeroing, models.PROTECT, null=True, related_name="+")  # the last one then
    # The gauge's figures on that day: a later certificate does not change what was read before it.
    gauge_expanded_um = models.FloatField(null=True)
    gauge_calibration_um = models.FloatField(null=True)
    gauge_size_mm = models.FloatField(null=True)
    overdue_reason = models.CharField(max_length=200, blank=True)  # a lead's, for a gauge past due
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    as_lead = models.BooleanField(default=False)
    part_temperature_c = models.FloatField(null=True)
    taken_at = models.DateTimeField()  # the device's clock
    clock_off = models.BooleanField(default=False)  # the device's clock was far off: kept and said, no more
    received_at = models.DateTimeField()  # ours
    note = models.CharField(max_length=200, blank=True)
    withdraws = models.OneToOneField("self", models.PROTECT, null=True, related_name="withdrawn_by")
    reason = models.CharField(max_length=200, blank=True)
    digest = models.CharField(max_length=64)  # of what was sent: a known id with other content is refused

    class Meta:
        ordering = ["sequence"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "sequence"], name="one_reading_a_sequence"),
            models.CheckConstraint(
                condition=Q(withdraws__isnull=True) | ~Q(reason=""), name="withdrawn_with_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.check_code}: {self.text}"


class ReadingPiece(models.Model):
    """Which pieces a reading is of, and in which condition each was: it counts until one of them changes."""

    append_only = True
    reading = models.ForeignKey(Reading, models.PROTECT, related_name="of")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="readings")
    condition = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["reading", "piece"], name="a_piece_once_a_reading")]

    def __str__(self) -> str:
        return f"{self.reading} of {self.piece}"


class Presence(models.Model):
    """Who is on which position of an examination, as far as the bench's own questions tell."""

    examination = models.ForeignKey(Examination, models.CASCADE, related_name="presences")
    person = models.ForeignKey(User, models.CASCADE, related_name="+")
    position_code = models.CharField(max_length=20, blank=True)  # empty: on the whole unit
    seen_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["examination", "person"], name="one_presence_a_person")
        ]

    def __str__(self) -> str:
        return f"{self.person} on {self.position_code or 'the unit'}"


class BuildRow(models.Model):
    """One line of the build list: what goes into a position, as agreed, and how it came out."""

    WAYS = ("own", "reworked", "used", "new")
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="build_rows")
    position_code = models.CharField(max_length=20)
    way = models.CharField(max_length=10, choices=choices(WAYS))
    label = models.CharField(max_length=200)
    piece = models.ForeignKey(Piece, models.PROTECT, null=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, null=True, related_name="+")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="+")
    purchase = models.ForeignKey(Purchase, models.PROTECT, null=True, related_name="+")
    size = models.CharField(max_length=30, default="standard")
    remedies = models.JSONField(default=list)  # remedy codes that were agreed
    features = models.JSONField(default=dict)  # feature -> [lower, nominal, upper] mm as planned
    dropped_at = models.DateTimeField(null=True)  # a supplementary quote put another row in its place

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["ticket", "position_code"],
                condition=Q(dropped_at__isnull=True),
                name="one_way_a_position",
            )
        ]

    def __str__(self) -> str:
        return f"{self.position_code}: {self.label}"


class Rework(models.Model):
    """A remedy carried out on a piece. It ends the piece's condition: its readings become history."""

    append_only = True
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="rework")
    piece = models.ForeignKey(Piece, models.PROTECT, related_name="rework")
    remedy_code = models.CharField(max_length=40)
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    minutes = models.PositiveIntegerField(default=0)
    good = models.BooleanField(default=True)
    condition_before = models.PositiveIntegerField()
    restores = models.JSONField(default=list)  # check codes, as the guide said on that day
    note = models.CharField(max_length=200, blank=True)
    key = models.CharField(max_length=120, unique=True)

    def __str__(self) -> str:
        return f"{self.remedy_code} on {self.piece}"


class BuildSheet(models.Model):
    """One frozen revision of a ticket's build sheet: torque, sealing, end float and order, as computed."""

    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="build_sheets")
    revision = models.PositiveSmallIntegerField()  # shown as a letter
    document = models.JSONField()
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=60)

    class Meta:
        ordering = ["ticket", "-revision"]
        constraints = [models.UniqueConstraint(fields=["ticket", "revision"], name="one_sheet_a_revision")]

    def __str__(self) -> str:
        return f"build sheet {self.letter} of {self.ticket}"

    @property
    def letter(self) -> str:
        return chr(ord("A") + self.revision - 1)


class AsBuilt(models.Model):
    """What the builder wrote into a box of the sheet. Append-only: the newest line of a box counts."""

    append_only = True
    sheet = models.ForeignKey(BuildSheet, models.PROTECT, related_name="as_built")
    step_code = models.CharField(max_length=40)
    box = models.CharField(max_length=60)
    text = models.CharField(max_length=120)
    gauge = models.ForeignKey(Gauge, models.PROTECT, null=True, related_name="+")  # the torque wrench
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.step_code} {self.box}: {self.text}"


class Photograph(models.Model):
    """A picture taken at the bench, of a check on a piece; its file is a private document."""

    append_only = True
    id = models.UUIDField(primary_key=True)  # made by the client: sending it again is harmless
    examination = models.ForeignKey(Examination, models.PROTECT, related_name="photographs")
    sequence = models.PositiveIntegerField()  # the examination's counter when it came in
    check_code = models.CharField(max_length=40)
    position_code = models.CharField(max_length=20)
    piece = models.ForeignKey(Piece, models.PROTECT, null=True, related_name="+")
    condition = models.PositiveIntegerField(default=1)  # of the piece, when the picture was taken
    note = models.CharField(max_length=200, blank=True)
    document = models.OneToOneField(Document, models.PROTECT, related_name="+")
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()  # the device's clock
    received_at = models.DateTimeField()  # ours
    digest = models.CharField(max_length=64)  # of what was sent: a known id with other content is refused

    class Meta:
        ordering = ["sequence"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "sequence"], name="one_photograph_a_sequence"),
            models.CheckConstraint(condition=Q(width_px__gt=0, height_px__gt=0), name="a_picture_has_sides"),
        ]

    def __str__(self) -> str:
        return f"photograph of {self.check_code}"


class PhotographEnd(models.Model):
    """A photograph taken back, with the reason: it stays on record and is shown no more among the others."""

    append_only = True
    photograph = models.OneToOneField(Photograph, models.PROTECT, related_name="end")
    reason = models.CharField(max_length=200)
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="photograph_ends_with_a_reason")]

    def __str__(self) -> str:
        return f"{self.photograph}, taken back"


class PhotographMark(models.Model):
    """A numbered place on a photograph, in words. A mark is withdrawn by another row, with the reason."""

    append_only = True
    id = models.UUIDField(primary_key=True)
    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="marks")
    number = models.PositiveSmallIntegerField()
    across = models.FloatField(default=0)  # share of the picture's width, from the left
    down = models.FloatField(default=0)  # share of its height, from the top
    words = models.CharField(max_length=200)  # what is there, or why the mark is withdrawn
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    withdraws = models.OneToOneField("self", models.PROTECT, null=True, related_name="withdrawn_by")

    class Meta:
        ordering = ["photograph", "number", "at"]
        constraints = [
            models.UniqueConstraint(
                fields=["photograph", "number"],
                condition=Q(withdraws__isnull=True),
                name="one_mark_a_number",
            ),
            models.CheckConstraint(
                condition=Q(across__gte=0, across__lte=1, down__gte=0, down__lte=1),
                name="a_mark_is_on_its_picture",
            ),
            models.CheckConstraint(condition=~Q(words=""), name="a_mark_says_what"),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.words}"


class Answer(models.Model):
    """Why a complaint is explained by no finding, or why a position stays open. The newest of each counts."""

    append_only = True
    id = models.UUIDField(primary_key=True)
    examination = models.ForeignKey(Examination, models.PROTECT, related_name="answers")
    sequence = models.PositiveIntegerField()  # the examination's counter when it was given
    complaint = models.ForeignKey(Complaint, models.PROTECT, null=True, related_name="+")
    position_code = models.CharField(max_length=20, blank=True)  # neither: the customer's own words
    words = models.CharField(max_length=400)
    stands = models.BooleanField(default=True)  # not: the answer before it is taken back, the words say why
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["sequence"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "sequence"], name="one_answer_a_sequence"),
            models.CheckConstraint(
                condition=Q(complaint__isnull=True) | Q(position_code=""), name="answers_one_thing"
            ),
            models.CheckConstraint(condition=~Q(words=""), name="an_answer_has_words"),
        ]

    def __str__(self) -> str:
        return self.words


class ExaminationReport(models.Model):
    """A numbered report of an examination, frozen as it stood, and the counter of its last reading."""

    examination = models.ForeignKey(Examination, models.PROTECT, related_name="reports")
    number = models.PositiveSmallIntegerField()
    counter = models.PositiveIntegerField()
    document = models.JSONField()
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=60)

    class Meta:
        ordering = ["examination", "-number"]
        constraints = [models.UniqueConstraint(fields=["examination", "number"], name="one_report_a_number")]

    def __str__(self) -> str:
        return f"report {self.number} of {self.examination}"
