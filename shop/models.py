"""State of the ground floor, with what the database itself enforces. Written to by the rule modules alone."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property

from shop import clock
from shop.groups import LEAD, RIGHTS
from shop.prepared import Prepared

if TYPE_CHECKING:
    from django_stubs_ext.db.models.manager import RelatedManager

STAGES = (
    "received",
    "stripped",
    "examined",
    "quoted",
    "agreed",
    "parts complete",
    "reworked",
    "built",
    "tested",
    "handed over",
)
ENDINGS = ("declined", "abandoned")
CLOSED = ("handed over", *ENDINGS)


def choices(words: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(word, word) for word in words]


class User(AbstractUser):
    """A person of the shop, or a supplier's own user. Personal names stand here and nowhere append-only."""

    display_name = models.CharField(max_length=80, blank=True)
    decimal_mark = models.CharField(max_length=1, default=".", choices=[(".", "point"), (",", "comma")])

    class Meta(AbstractUser.Meta):
        swappable = "AUTH_USER_MODEL"
        permissions = [(code, says) for code, says in RIGHTS.items()]

    def __str__(self) -> str:
        return self.display_name or self.get_username()

    def may(self, right: str) -> bool:
        """Does this person hold the right? Asked by its short name."""
        return self.is_active and (self.is_superuser or right in self._held[1])

    @property
    def is_lead(self) -> bool:
        return self.is_active and LEAD in self._held[0]

    def holds(self, *, groups: set[str], rights: set[str]) -> None:
        """What was asked for together with the person is not asked for again."""
        self.__dict__["_held"] = groups, rights

    @cached_property
    def _held(self) -> tuple[set[str], set[str]]:
        """Names of groups and rights, asked for once a request."""
        rows = _HELD_BY.rows(self.pk)
        return {name for name, *_ in rows if name}, {one for _, *rights in rows for one in rights if one}


_HELD_BY = Prepared(
    lambda pk: (
        User.objects.filter(pk=pk)
        .order_by()
        .values_list("groups__name", "groups__permissions__codename", "user_permissions__codename")
    )
)


class Token(models.Model):
    """An API token: shown once, stored as a digest, revocable. It has its user's rights."""

    user = models.ForeignKey(User, models.CASCADE, related_name="tokens")
    label = models.CharField(max_length=80, blank=True)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"token of {self.user}"


class Customer(models.Model):
    """The only place where a customer's person is written down, so that it can be forgotten."""

    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True)
    forgotten_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class Family(models.Model):
    """The design that a unit belongs to."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    maker = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Variant(models.Model):
    family = models.ForeignKey(Family, models.PROTECT, related_name="variants")
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["family", "code"]
        constraints = [models.UniqueConstraint(fields=["family", "code"], name="one_variant_a_code")]

    def __str__(self) -> str:
        return self.name


class Position(models.Model):
    """A slot in a family. Its code is retired, never deleted; everything else said of it is in the guide."""

    family = models.ForeignKey(Family, models.PROTECT, related_name="positions")
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["family", "code"]
        constraints = [models.UniqueConstraint(fields=["family", "code"], name="one_position_a_code")]

    def __str__(self) -> str:
        return self.name


class Complaint(models.Model):
    """A complaint that the Counter can choose; the published guide says what can explain it."""

    family = models.ForeignKey(Family, models.PROTECT, related_name="complaints")
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["family", "code"]
        constraints = [models.UniqueConstraint(fields=["family", "code"], name="one_complaint_a_code")]

    def __str__(self) -> str:
        return self.name


class Unit(models.Model):
    """A physical gearbox: a customer's, the shop's own, or a donor bought to be stripped."""

    KINDS = ("customer", "shop", "donor")
    kind = models.CharField(max_length=10, choices=choices(KINDS))
    family = models.ForeignKey(Family, models.PROTECT)
    variant = models.ForeignKey(Variant, models.PROTECT)
    serial = models.CharField(max_length=60, blank=True)
    casting_numbers = models.CharField(max_length=120, blank=True)
    owner = models.ForeignKey(Customer, models.PROTECT, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="customer") | Q(owner__isnull=True), name="only_customers_own_units"
            )
        ]

    def __str__(self) -> str:
        return f"{self.family} {self.serial}".strip()


class TicketQuerySet(models.QuerySet["Ticket"]):
    def open(self) -> TicketQuerySet:
        return self.exclude(stage__in=CLOSED)

    def at(self, *stages: str) -> TicketQuerySet:
        return self.filter(stage__in=stages)

    def for_list(self) -> TicketQuerySet:
        return self.select_related("customer", "family", "variant").order_by("-number")


class Ticket(models.Model):
    """One job that yields one unit. No customer means that the shop rebuilds it for its shelf."""

    ON_NO = ("returned apart", "returned together", "left to the shop")
    number = models.PositiveIntegerField(unique=True)
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, blank=True, related_name="tickets")
    family = models.ForeignKey(Family, models.PROTECT)
    variant = models.ForeignKey(Variant, models.PROTECT)
    vehicle = models.CharField(max_length=120, blank=True)
    complaint_words = models.TextField(blank=True)
    missing_words = models.TextField(blank=True)
    oil_in = models.BooleanField(default=False)
    currency = models.CharField(max_length=3)
    declared_value_minor = models.BigIntegerField(default=0)
    examination_fee_minor = models.BigIntegerField(default=0)
    deposit_minor = models.BigIntegerField(default=0)
    on_no = models.CharField(max_length=20, choices=choices(ON_NO), default=ON_NO[0])
    storage_words = models.CharField(max_length=200, blank=True)
    agreed_by = models.CharField(max_length=120, blank=True)  # personal, so it stands here and is erasable
    agreed_at = models.DateTimeField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    stage = models.CharField(max_length=20, choices=choices((*STAGES, *ENDINGS)), default=STAGES[0])
    stage_since = models.DateTimeField()
    held_why = models.CharField(max_length=200, blank=True)
    held_until = models.DateField(null=True, blank=True)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    version = models.PositiveIntegerField(default=1)

    sources: RelatedManager[Source]
    objects: ClassVar = TicketQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(stage__in=(*STAGES, *ENDINGS)), name="stage_is_known"),
            models.CheckConstraint(
                condition=Q(declared_value_minor__gte=0)
                & Q(examination_fee_minor__gte=0)
                & Q(deposit_minor__gte=0),
                name="ticket_money_not_negative",
            ),
        ]
        indexes = [models.Index(fields=["stage", "stage_since"])]

    def __str__(self) -> str:
        return f"Ticket {self.number}"

    @property
    def is_open(self) -> bool:
        return self.stage not in CLOSED

    @property
    def for_shelf(self) -> bool:
        return self.customer_id is None

    def days_in_stage(self, at: datetime | None = None) -> int:
        return (clock.today(at) - clock.local(self.stage_since).date()).days


class TicketComplaint(models.Model):
    ticket = models.ForeignKey(Ticket, models.CASCADE, related_name="complaints")
    complaint = models.ForeignKey(Complaint, models.PROTECT)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["ticket", "complaint"], name="complaint_said_once")]

    def __str__(self) -> str:
        return str(self.complaint)


class Source(models.Model):
    """What feeds a ticket: the unit, a second unit, a box of loose parts. Each has an owner."""

    KINDS = ("unit", "second unit", "box of parts")
    ticket = models.ForeignKey(Ticket, models.CASCADE, related_name="sources")
    kind = models.CharField(max_length=20, choices=choices(KINDS))
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True)
    owner = models.ForeignKey(Customer, models.PROTECT, null=True, blank=True)  # none: the shop's
    words = models.TextField(blank=True)
    listed_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["ticket"], condition=Q(kind="unit"), name="one_unit_a_ticket")
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.ticket}"


class StageChange(models.Model):
    """One line of the stage log."""

    append_only = True
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="stage_log")
    before = models.CharField(max_length=20)
    after = models.CharField(max_length=20)
    why = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.CharField(max_length=60)  # the actor's key, never a name

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.ticket}: {self.before} to {self.after}"


class Document(models.Model):
    """A private file: a photograph, or a paper that the shop made. Served after its ticket's access check."""

    KINDS = (
        "photograph",
        "thumbnail",
        # The Bench gives its own out, to those who are not blind to them.
        "bench photograph",
        "bench thumbnail",
        "tag",
        "quote",
        "examination report",
        "build sheet",
        "warranty card",
        "price file",
    )
    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    ticket = models.ForeignKey(Ticket, models.PROTECT, null=True, related_name="documents")
    kind = models.CharField(max_length=20, choices=choices(KINDS))
    title = models.CharField(max_length=120)
    path = models.CharField(max_length=200)  # made by the server, below MEDIA_ROOT
    content_type = models.CharField(max_length=60)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=120, unique=True)  # the deed that made it: twice is once
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=60)

    class Meta:
        ordering = ["made_at"]

    def __str__(self) -> str:
        return self.title


class TimeEntry(models.Model):
    """Minutes that a person worked on a ticket; a mistake is taken back by a negative line."""

    append_only = True
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="time_entries")
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    minutes = models.IntegerField()
    work = models.CharField(max_length=60)
    at = models.DateTimeField()
    key = models.CharField(max_length=120, unique=True)

    def __str__(self) -> str:
        return f"{self.minutes} min {self.work}"


class Warranty(models.Model):
    ticket = models.OneToOneField(Ticket, models.PROTECT, related_name="warranty")
    fitted_on = models.DateField()
    ends_on = models.DateField()
    months = models.PositiveSmallIntegerField()
    distance_km = models.PositiveIntegerField(null=True, blank=True)
    hours = models.PositiveIntegerField(null=True, blank=True)
    conditions = models.TextField()
    opened_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"warranty of {self.ticket}"


class Reminder(models.Model):
    """One thing to remind of. Found by asking what is due; sent once, with a stable Message-ID."""

    KINDS = ("first oil change", "re-torque", "end of warranty")
    warranty = models.ForeignKey(Warranty, models.CASCADE, related_name="reminders")
    kind = models.CharField(max_length=20, choices=choices(KINDS))
    due_on = models.DateField()
    queued_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["due_on"]
        constraints = [models.UniqueConstraint(fields=["warranty", "kind"], name="reminded_once_of_each")]
        indexes = [models.Index(fields=["due_on"], condition=Q(queued_at__isnull=True), name="reminders_due")]

    def __str__(self) -> str:
        return f"{self.kind} on {self.due_on}"


class ExchangeRate(models.Model):
    """So many units of the shop's currency for one of the foreign one, typed by the office, with its day."""

    currency = models.CharField(max_length=3)
    on = models.DateField()
    rate_micro = models.BigIntegerField()
    typed_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["currency", "-on"]
        constraints = [
            models.UniqueConstraint(fields=["currency", "on"], name="one_rate_a_day"),
            models.CheckConstraint(condition=Q(rate_micro__gt=0), name="rate_is_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.currency} on {self.on}"


class Counter(models.Model):
    """Numbers that are given out in turn: tickets, pieces. Raised by a conditional update."""

    name = models.CharField(max_length=40, primary_key=True)
    last = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return self.name


class Outbox(models.Model):
    """What must happen, written in the transaction that calls for it; the key makes it happen once."""

    key = models.CharField(max_length=160, unique=True)
    rule = models.CharField(max_length=120)  # dotted name of one of the functions in shop.outbox.RULES
    payload = models.JSONField(default=dict)
    due_at = models.DateTimeField()
    made_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    done_at = models.DateTimeField(null=True)
    given_up_at = models.DateTimeField(null=True)
    trouble = models.TextField(blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["due_at"],
                condition=Q(done_at__isnull=True, given_up_at__isnull=True),
                name="outbox_waiting",
            )
        ]

    def __str__(self) -> str:
        return self.key


class Once(models.Model):
    """The first answer to a repeatable write, kept under the caller's key."""

    principal = models.CharField(max_length=60)
    operation = models.CharField(max_length=60)
    key = models.CharField(max_length=80)
    digest = models.CharField(max_length=64)
    answer = models.JSONField(null=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["principal", "operation", "key"], name="once_a_key")]

    def __str__(self) -> str:
        return f"{self.operation} {self.key}"


class Audit(models.Model):
    """One line a change: who did what to which thing. No personal field stands here."""

    append_only = True
    at = models.DateTimeField()
    by = models.CharField(max_length=60)
    deed = models.CharField(max_length=60)
    thing = models.CharField(max_length=60)
    thing_id = models.CharField(max_length=60)
    ticket_number = models.PositiveIntegerField(null=True, db_index=True)
    facts = models.JSONField(default=dict)

    def __str__(self) -> str:
        return f"{self.deed} {self.thing} {self.thing_id}"
