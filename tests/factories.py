# mypy: disable-error-code="no-untyped-call, attr-defined"
# (factory-boy says that it is typed, and is in part)
"""Rows for tests, by factory-boy: all makers, people and figures are invented.

Stock is made through the ledger (``stock_lot``, ``stock_piece``), so that it always adds up.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Generic, TypeVar
from uuid import uuid4

import factory
from django.db.models import Model

from inventory import ledger, pieces
from inventory.models import Bin, Lot, Part, PartFit, Piece, Price, Supplier
from shop.access import PROGRAM
from shop.models import Customer, ExchangeRate, Family, Position, Source, Ticket, Unit, User, Variant

M = TypeVar("M", bound=Model)
BEGINNING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


class Rows(factory.django.DjangoModelFactory[M], Generic[M]):
    """A factory that says what it makes."""

    class Meta:
        abstract = True

    @classmethod
    def make(cls, **fields: Any) -> M:
        return cls.create(**fields)

    @classmethod
    def make_some(cls, count: int, **fields: Any) -> list[M]:
        return cls.create_batch(count, **fields)


class UserFactory(Rows[User]):
    class Meta:
        model = User

    username = factory.Sequence(lambda n: f"person{n}")
    display_name = factory.Sequence(lambda n: f"Invented Person {n}")


class CustomerFactory(Rows[Customer]):
    class Meta:
        model = Customer

    name = factory.Sequence(lambda n: f"Invented Customer {n}")
    email = factory.Sequence(lambda n: f"customer{n}@example.org")


class FamilyFactory(Rows[Family]):
    class Meta:
        model = Family
        django_get_or_create = ("code",)

    code = "H4"
    name = "Hexworth H4"
    maker = "Hexworth (invented)"


class VariantFactory(Rows[Variant]):
    class Meta:
        model = Variant
        django_get_or_create = ("family", "code")

    family = factory.SubFactory(FamilyFactory)
    code = "FC"
    name = "floor change"


class PositionFactory(Rows[Position]):
    class Meta:
        model = Position
        django_get_or_create = ("family", "code")

    family = factory.SubFactory(FamilyFactory)
    code = "MNSH"
    name = "Mainshaft"


class UnitFactory(Rows[Unit]):
    class Meta:
        model = Unit

    kind = "customer"
    family = factory.SubFactory(FamilyFactory)
    variant = factory.SubFactory(VariantFactory, family=factory.SelfAttribute("..family"))
    serial = factory.Sequence(lambda n: f"HX{n:05d}")
    owner = factory.Maybe(
        factory.LazyAttribute(lambda unit: unit.kind == "customer"), factory.SubFactory(CustomerFactory), None
    )


class TicketFactory(Rows[Ticket]):
    class Meta:
        model = Ticket

    number = factory.Sequence(lambda n: 2401 + n)
    customer = factory.SubFactory(CustomerFactory)
    family = factory.SubFactory(FamilyFactory)
    variant = factory.SubFactory(VariantFactory, family=factory.SelfAttribute("..family"))
    currency = "EUR"
    stage = "received"
    stage_since = BEGINNING
    opened_at = BEGINNING


class SourceFactory(Rows[Source]):
    class Meta:
        model = Source

    ticket = factory.SubFactory(TicketFactory)
    kind = "unit"
    owner = factory.SelfAttribute("ticket.customer")
    unit = factory.SubFactory(
        UnitFactory,
        family=factory.SelfAttribute("..ticket.family"),
        variant=factory.SelfAttribute("..ticket.variant"),
        owner=factory.SelfAttribute("..owner"),
    )


class PartFactory(Rows[Part]):
    class Meta:
        model = Part

    number = factory.Sequence(lambda n: f"H4-{n:04d}")
    search_key = factory.LazyAttribute(lambda part: key_of(part.number))
    name = "Ball bearing"


def key_of(number: str) -> str:
    from inventory.parts import search_key

    return search_key(number)


class PartFitFactory(Rows[PartFit]):
    class Meta:
        model = PartFit

    part = factory.SubFactory(PartFactory)
    position = factory.SubFactory(PositionFactory)


class BinFactory(Rows[Bin]):
    class Meta:
        model = Bin

    code = factory.Sequence(lambda n: f"BIN-{n}")


class PieceFactory(Rows[Piece]):
    """A piece in a tray. For one in stock use :func:`stock_piece`: a bin without its movement is untrue."""

    class Meta:
        model = Piece

    tag = factory.LazyFunction(pieces.next_tag)
    family = factory.SubFactory(FamilyFactory)
    position = factory.SubFactory(PositionFactory, family=factory.SelfAttribute("..family"))
    state = "tray"


class SupplierFactory(Rows[Supplier]):
    class Meta:
        model = Supplier
        django_get_or_create = ("code",)

    code = "TARN"
    name = "Tarn Gear Supply (invented)"
    user = factory.SubFactory(UserFactory)
    currency = "EUR"


class PriceFactory(Rows[Price]):
    class Meta:
        model = Price

    supplier = factory.SubFactory(SupplierFactory)
    number = factory.Sequence(lambda n: f"TG{n:05d}")
    unit_price_micro = 12_500_000
    currency = factory.SelfAttribute("supplier.currency")
    since = BEGINNING


class ExchangeRateFactory(Rows[ExchangeRate]):
    class Meta:
        model = ExchangeRate

    currency = "GBP"
    on = BEGINNING.date()
    rate_micro = 1_170_000


def stock_lot(quantity: int = 10, *, part: Part | None = None, cost_micro: int = 4_000_000) -> Lot:
    """A lot of so many, received through the ledger."""
    return ledger.receive_lot(
        part=part or PartFactory.make(),
        bin=BinFactory.make(),
        quantity=quantity,
        cost_micro=cost_micro,
        key=f"test {uuid4()}",
        by=PROGRAM,
        at=BEGINNING,
    )


def stock_piece(position_code: str = "MNSH", *, cost_minor: int = 8400, **fields: Any) -> Piece:
    """A used piece of the shop's in a bin, taken in through the ledger."""
    family = fields.pop("family", None) or FamilyFactory.make()
    PositionFactory.make(family=family, code=position_code)
    return pieces.take_in_piece(
        family=family,
        position_code=position_code,
        bin=fields.pop("bin", None) or BinFactory.make(),
        cost_minor=cost_minor,
        key=f"test {uuid4()}",
        by=PROGRAM,
        at=BEGINNING,
        **fields,
    )
