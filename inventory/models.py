"""Parts, pieces, stock and its ledger, suppliers and their prices. ``ledger`` alone writes stock."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from shop.models import Customer, Family, Position, Source, Ticket, Unit, User, Variant, choices


class Part(models.Model):
    """A thing that can be bought or stocked, by the shop's own number, in one size."""

    number = models.CharField(max_length=40, unique=True)
    search_key = models.CharField(max_length=40, db_index=True)  # number without marks, upper case
    name = models.CharField(max_length=120)
    size = models.CharField(max_length=30, default="standard")
    stock_unit = models.CharField(max_length=12, default="each")  # what the smallest unit is called
    per_unit = models.PositiveIntegerField(default=1)  # smallest units in one that is sold
    # measures of a part bought new or chosen from: feature code -> [lowest mm, highest mm]
    features = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class PartFit(models.Model):
    """Interchange: the part fills this position, in this variant or (none named) in all."""

    part = models.ForeignKey(Part, models.CASCADE, related_name="fits")
    position = models.ForeignKey(Position, models.PROTECT, related_name="parts")
    variant = models.ForeignKey(Variant, models.PROTECT, null=True, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["part", "position", "variant"], name="fit_said_once"),
            models.UniqueConstraint(
                fields=["part", "position"], condition=Q(variant__isnull=True), name="fit_to_all_said_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} in {self.position}"


class Bin(models.Model):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class PieceSet(models.Model):
    """Pieces bound together: ``must`` is taken whole, parting a ``should`` set costs soundness."""

    KINDS = ("must", "should")
    kind = models.CharField(max_length=6, choices=choices(KINDS))
    name = models.CharField(max_length=80)
    bond_code = models.CharField(max_length=20, blank=True)  # the guide's bond that made it
    parted_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class Donor(models.Model):
    """A unit bought to be stripped. Its cost is shared over its pieces before they go to bins."""

    number = models.PositiveIntegerField(unique=True)
    unit = models.OneToOneField(Unit, models.PROTECT, related_name="bought_as")
    cost_minor = models.BigIntegerField()
    bought_of = models.CharField(max_length=200)  # supplier's words: of whom, where, which paper
    bought_at = models.DateTimeField()
    bought_by = models.CharField(max_length=60)
    shares = models.JSONField(default=dict)  # tag -> parts of the cost, as stated last
    shared_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(condition=Q(cost_minor__gte=0), name="donor_cost_not_negative"),
        ]

    def __str__(self) -> str:
        return f"Donor {self.number}"


class PieceQuerySet(models.QuerySet["Piece"]):
    def in_stock(self) -> PieceQuerySet:
        return self.filter(state="bin")

    def free(self) -> PieceQuerySet:
        """In a bin, the shop's, and promised to nobody."""
        return (
            self.in_stock()
            .filter(owner__isnull=True)
            .exclude(reservations__resolved_at__isnull=True, reservations__isnull=False)
        )


class Piece(models.Model):
    """One physical part, or a set that is one position. ``condition`` goes up when what it is changes:
    reworked, exchanged or parted. Readings of an earlier condition are history."""

    STATES = ("tray", "bin", "fitted", "scrapped", "returned", "gone")
    tag = models.CharField(max_length=20, unique=True)
    family = models.ForeignKey(Family, models.PROTECT)
    position = models.ForeignKey(Position, models.PROTECT, related_name="pieces")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="pieces")
    size = models.CharField(max_length=30, default="standard")
    owner = models.ForeignKey(Customer, models.PROTECT, null=True, blank=True)  # none: the shop's
    owner_consents = models.BooleanField(default=False)  # may be fitted to another ticket
    source = models.ForeignKey(Source, models.PROTECT, null=True, blank=True, related_name="pieces")
    from_unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="pieces_out")
    ran_in = models.CharField(max_length=40, blank=True)  # pieces with one value ran together
    bound_in = models.ForeignKey(PieceSet, models.PROTECT, null=True, blank=True, related_name="pieces")
    state = models.CharField(max_length=10, choices=choices(STATES), default="tray")
    bin = models.ForeignKey(Bin, models.PROTECT, null=True, blank=True, related_name="pieces")
    in_unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="pieces_in")
    condition = models.PositiveIntegerField(default=1)
    missing = models.BooleanField(default=False)  # the position was empty when it was laid out
    cost_minor = models.BigIntegerField(default=0)
    words = models.CharField(max_length=200, blank=True)

    objects: ClassVar = PieceQuerySet.as_manager()

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="bin") | Q(bin__isnull=False), name="a_piece_in_stock_has_a_bin"
            ),
        ]

    def __str__(self) -> str:
        return self.tag


class Measure(models.Model):
    """The newest judged value of a feature of a piece, projected by recording, for search and mates."""

    piece = models.ForeignKey(Piece, models.CASCADE, related_name="measures")
    feature = models.CharField(max_length=40)
    condition = models.PositiveIntegerField()
    value_um = models.FloatField()
    expanded_um = models.FloatField()
    state = models.CharField(max_length=20)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["piece", "feature"], name="one_measure_a_feature")]
        indexes = [models.Index(fields=["feature", "value_um"])]

    def __str__(self) -> str:
        return f"{self.piece} {self.feature}"


class Lot(models.Model):
    """A counted quantity of like parts that nobody tells apart."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="lots")
    bin = models.ForeignKey(Bin, models.PROTECT, related_name="lots")
    cost_micro = models.BigIntegerField(default=0)  # what one smallest unit cost the shop
    received_at = models.DateTimeField()
    words = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["received_at", "id"]

    def __str__(self) -> str:
        return f"{self.part} in {self.bin}"


class Balance(models.Model):
    """What is there of a lot, and how much of it is promised; changed with its movements."""

    lot = models.OneToOneField(Lot, models.PROTECT, related_name="balance")
    on_hand = models.BigIntegerField(default=0)
    reserved = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(reserved__gte=0) & Q(reserved__lte=F("on_hand")),
                name="promised_is_there",
            )
        ]

    def __str__(self) -> str:
        return f"{self.on_hand} of {self.lot}"

    @property
    def free(self) -> int:
        return self.on_hand - self.reserved


ONE_THING = Q(lot__isnull=False, piece__isnull=True) | Q(lot__isnull=True, piece__isnull=False)


class Reservation(models.Model):
    """A promise of one lot's quantity or one piece to one ticket; resolved once."""

    ENDS = ("issued", "released", "lapsed")
    ticket = models.ForeignKey(Ticket, models.PROTECT, related_name="reservations")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="reservations")
    piece = models.ForeignKey(Piece, models.PROTECT, null=True, related_name="reservations")
    position_code = models.CharField(max_length=20, blank=True)
    quantity = models.BigIntegerField(default=1)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=60)
    end = models.CharField(max_length=10, choices=choices(ENDS), blank=True)
    resolved_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=ONE_THING, name="reserves_one_thing"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reserves_something"),
            models.CheckConstraint(
                condition=Q(end="", resolved_at__isnull=True) | (~Q(end="") & Q(resolved_at__isnull=False)),
                name="resolved_once_with_an_end",
            ),
            models.UniqueConstraint(
                fields=["piece"], condition=Q(resolved_at__isnull=True), name="a_piece_is_promised_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot or self.piece} for {self.ticket}"


class Movement(models.Model):
    """One append-only line of the stock ledger. A mistake is corrected by a counter-movement."""

    append_only = True
    KINDS = ("received", "issued", "adjusted", "moved", "scrapped", "returned")
    at = models.DateTimeField()
    by = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=choices(KINDS))
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="movements")
    piece = models.ForeignKey(Piece, models.PROTECT, null=True, related_name="movements")
    quantity = models.BigIntegerField()  # signed, in smallest units; a piece is ±1 or 0 (moved)
    cost_minor = models.BigIntegerField(default=0)  # what leaves or enters the shelf is worth, signed as it
    ticket = models.ForeignKey(Ticket, models.PROTECT, null=True, related_name="movements")
    corrects = models.ForeignKey("self", models.PROTECT, null=True, related_name="corrections")
    why = models.CharField(max_length=160, blank=True)
    key = models.CharField(max_length=160, unique=True)  # twice is once

    class Meta:
        constraints = [models.CheckConstraint(condition=ONE_THING, name="moves_one_thing")]

    def __str__(self) -> str:
        return f"{self.kind} {self.quantity} of {self.lot or self.piece}"


class Supplier(models.Model):
    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    user = models.OneToOneField(User, models.PROTECT, related_name="supplier")
    currency = models.CharField(max_length=3)
    lead_days = models.PositiveSmallIntegerField(default=3)
    manner = models.JSONField(default=dict, blank=True)  # how this supplier's CSV is read; see manners

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class PriceFile(models.Model):
    STATUSES = ("waiting", "reading", "done", "refused")
    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="price_files")
    name = models.CharField(max_length=120, blank=True)
    path = models.CharField(max_length=200)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    received_at = models.DateTimeField()
    status = models.CharField(max_length=10, choices=choices(STATUSES), default="waiting")
    trouble = models.CharField(max_length=300, blank=True)
    done_at = models.DateTimeField(null=True)
    rows = models.PositiveIntegerField(default=0)
    new = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    unchanged = models.PositiveIntegerField(default=0)
    refused_rows = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-received_at"]

    def __str__(self) -> str:
        return f"price file of {self.supplier}"


class PriceRefusal(models.Model):
    file = models.ForeignKey(PriceFile, models.CASCADE, related_name="refusals")
    line = models.PositiveIntegerField()
    column = models.CharField(max_length=60, blank=True)
    message = models.CharField(max_length=300)

    class Meta:
        ordering = ["line", "id"]

    def __str__(self) -> str:
        return f"line {self.line}: {self.message}"


class Price(models.Model):
    """What a supplier asks now for one of its numbers. ``unit_price_micro``: millionths of its currency."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="prices")
    number = models.CharField(max_length=60)  # the supplier's own
    part_number = models.CharField(max_length=40, blank=True, db_index=True)  # the shop's, if known
    name = models.CharField(max_length=160, blank=True)
    unit_price_micro = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    pack = models.PositiveIntegerField(default=1)
    lead_days = models.PositiveSmallIntegerField(null=True)
    since = models.DateTimeField()
    file = models.ForeignKey(PriceFile, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["supplier", "number"], name="one_price_a_number"),
            models.CheckConstraint(condition=Q(unit_price_micro__gte=0), name="price_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.number} from {self.supplier}"


class PriceChange(models.Model):
    """History: what a number cost before, append-only."""

    append_only = True
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="+")
    number = models.CharField(max_length=60)
    part_number = models.CharField(max_length=40, blank=True)
    unit_price_micro = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    since = models.DateTimeField()
    until = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["supplier", "number"])]

    def __str__(self) -> str:
        return f"{self.number} until {self.until:%Y-%m-%d}"


class PurchaseQuerySet(models.QuerySet["Purchase"]):
    def awaited(self) -> PurchaseQuerySet:
        return self.filter(state__in=("wanted", "ordered"))


class Purchase(models.Model):
    """A line to buy for a ticket: wanted at acceptance, ordered, then received into a lot for that ticket."""

    STATES = ("wanted", "ordered", "received", "cancelled")
    ticket = models.ForeignKey(Ticket, models.PROTECT, null=True, related_name="purchases")
    position_code = models.CharField(max_length=20, blank=True)
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="purchases")
    part = models.ForeignKey(Part, models.PROTECT, related_name="purchases")
    number = models.CharField(max_length=60)
    quantity = models.PositiveIntegerField(default=1)  # what the ticket needs, in units as sold
    pack = models.PositiveIntegerField(default=1)  # sold by so many: whole packs are bought
    unit_price_micro = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    rate_micro = models.BigIntegerField(default=1_000_000)
    rate_on = models.DateField(null=True)
    cost_minor = models.BigIntegerField()  # the line in the shop's currency, rounded once
    state = models.CharField(max_length=10, choices=choices(STATES), default="wanted")
    wanted_at = models.DateTimeField()
    due_on = models.DateField(null=True)
    ordered_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField(null=True)
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="+")

    objects: ClassVar = PurchaseQuerySet.as_manager()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.part} from {self.supplier}"

    @property
    def bought(self) -> int:
        """Units bought: the quantity in whole packs."""
        return -(-self.quantity // self.pack) * self.pack
