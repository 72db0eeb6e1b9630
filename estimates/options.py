"""From the database to the planning problem: what the ticket brought, what is free, what suppliers ask.

Read outside of any write transaction: solving takes time and holds no lock. Acceptance checks again.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.db.models import Q, Sum

from estimates.ways import OwnPiece, PartOffer, StockPiece, Ways, find_ways
from inspections.judgement.judging import Judgement
from inspections.models import Examination
from inspections.readings.findings import judgement_of
from inventory.models import Lot, PartFit, Piece, Price, Reservation
from shop import clock
from shop.models import Ticket
from shop.money import digits, line_minor, rate_for
from shop.refusals import Conflict, Refusal


@dataclass(frozen=True, slots=True)
class Basis:
    """What a plan stands on: the ways, the judgement, and notes on what had to be left out."""

    ways: Ways
    judgement: Judgement
    counter: int
    notes: tuple[str, ...]


def own_pieces(ticket: Ticket) -> list[OwnPiece]:
    """Pieces that came with the ticket's sources and are still at hand."""
    rows = list(
        Piece.objects.filter(source__ticket=ticket)
        .exclude(state__in=("scrapped", "returned", "gone"))
        .select_related("position", "bound_in")
    )
    return [
        OwnPiece(
            one.tag,
            one.position.code,
            one.size,
            one.missing,
            one.ran_in,
            tuple(other.tag for other in rows if _bound(one, other)),
            one.owner_id is None,
        )
        for one in rows
    ]


def _bound(one: Piece, other: Piece) -> bool:
    return (
        one.pk != other.pk
        and one.bound_in_id is not None
        and one.bound_in_id == other.bound_in_id
        and one.bound_in is not None
        and one.bound_in.kind == "must"
        and one.bound_in.parted_at is None
    )


def stock_pieces(ticket: Ticket) -> list[StockPiece]:
    """Used pieces of the family that are free or promised to this ticket already, fit the variant, and are
    not known to be outside."""
    to_nobody_else = Piece.objects.in_stock().filter(owner__isnull=True)
    to_nobody_else = to_nobody_else.exclude(
        pk__in=Reservation.objects.filter(resolved_at__isnull=True, piece__isnull=False)
        .exclude(ticket=ticket)
        .values("piece_id")
    )
    rows = (
        to_nobody_else.filter(family=ticket.family)
        .filter(
            Q(part__isnull=True) | Q(part__fits__variant__isnull=True) | Q(part__fits__variant=ticket.variant)
        )
        .select_related("position", "bin")
        .prefetch_related("measures")
        .distinct()
    )
    found = []
    for one in rows:
        current = [row for row in one.measures.all() if row.condition == one.condition]
        if any(row.state == "outside" for row in current):
            continue
        measures = {row.feature: (row.value_um / 1000, row.expanded_um / 1000) for row in current}
        shelf = one.bin.code if one.bin else ""
        found.append(
            StockPiece(one.tag, one.position.code, shelf, one.cost_minor, one.size, one.ran_in, measures)
        )
    return found


def _fits(ticket: Ticket) -> list[PartFit]:
    return list(
        PartFit.objects.filter(position__family=ticket.family)
        .filter(Q(variant__isnull=True) | Q(variant=ticket.variant))
        .select_related("part", "position")
        .order_by("part__number", "position__code")
    )


def shelf_offers(fits: Iterable[PartFit], ticket: Ticket) -> tuple[list[PartOffer], dict[str, int]]:
    """Parts in lots and how much of each is free, what this ticket has been promised already included."""
    fits = list(fits)
    promised = dict(
        Reservation.objects.filter(ticket=ticket, lot__isnull=False, resolved_at__isnull=True)
        .values_list("lot")
        .annotate(Sum("quantity"))
        .order_by()
    )
    lots: dict[int, list[tuple[Lot, int]]] = {}
    for lot in Lot.objects.filter(part__in=[one.part_id for one in fits]).select_related("balance"):
        if (free := lot.balance.free + promised.get(lot.pk, 0)) > 0:
            lots.setdefault(lot.part_id, []).append((lot, free))
    offers, on_shelf = [], {}
    for fit in fits:
        if not (held := lots.get(fit.part_id)):
            continue
        quantity = fit.quantity * fit.part.per_unit
        on_shelf[f"part:{fit.part.number}"] = sum(free for _, free in held)
        offers.append(
            PartOffer(
                fit.position.code,
                fit.part.number,
                fit.part.name,
                fit.part.size,
                quantity,
                _shelf_cost(held, quantity),
                features=_features(fit),
            )
        )
    return offers, on_shelf


def _shelf_cost(held: Iterable[tuple[Lot, int]], quantity: int) -> int:
    """What so much costs from the oldest lots first, as it will be handed out [minor units]."""
    left, micro = quantity, 0
    for lot, free in held:
        micro += lot.cost_micro * min(left, free)
        left -= min(left, free)
    return line_minor(micro, 1, settings.CURRENCY)


def _features(fit: PartFit) -> dict[str, tuple[float, float]]:
    return {code: (float(low), float(high)) for code, (low, high) in fit.part.features.items()}


def supplier_offers(fits: Iterable[PartFit], on: date) -> tuple[list[PartOffer], list[str]]:
    """What suppliers ask for parts that fit, in the shop's currency; notes name prices without a rate."""
    fits = list(fits)
    prices: dict[str, list[Price]] = {}
    for price in Price.objects.filter(
        part_number__in={one.part.number for one in fits}, supplier__user__is_active=True
    ).select_related("supplier"):
        prices.setdefault(price.part_number, []).append(price)
    offers, notes = [], set()
    for fit in fits:
        for price in prices.get(fit.part.number, ()):
            try:
                rate, _day = rate_for(price.currency, on)
            except Refusal as trouble:
                notes.add(f"{price.supplier.name}: {trouble.message}")
                continue
            offers.append(
                PartOffer(
                    fit.position.code,
                    fit.part.number,
                    fit.part.name,
                    fit.part.size,
                    fit.quantity,
                    line_minor(price.unit_price_micro, packs_of(price, fit.quantity), price.currency, rate),
                    price.supplier.code,
                    price.lead_days if price.lead_days is not None else price.supplier.lead_days,
                    price.pk,
                    _features(fit),
                )
            )
    return offers, sorted(notes)


def packs_of(price: Price, quantity: int) -> int:
    """Units to pay for: a supplier sells whole packs."""
    return -(-quantity // price.pack) * price.pack


def basis_for(*, ticket: Ticket, at: datetime | None = None) -> Basis:
    """All that a plan of this ticket stands on. Conflict if the unit was never opened for examination."""
    examination = (
        Examination.objects.select_related("revision", "ticket", "ticket__variant")
        .filter(ticket=ticket)
        .first()
    )
    if examination is None:
        raise Conflict("The unit is not examined yet. The Bench opens its examination first.")
    judgement = judgement_of(examination)
    fits = _fits(ticket)
    on_shelf, free = shelf_offers(fits, ticket)
    to_buy, notes = supplier_offers(fits, clock.today(at))
    ways = find_ways(
        judgement=judgement,
        own=own_pieces(ticket),
        stock=stock_pieces(ticket),
        offers=[*on_shelf, *to_buy],
        free=free,
        labour_minor_per_hour=settings.LABOUR_COST_MINOR_PER_HOUR,
        order_line_minor=settings.ORDER_LINE_MINOR,
        minor_digits=digits(settings.CURRENCY),
    )
    empty = set(ways.problem.slots) - {slot for one in ways.problem.options for slot in one.slots}
    if empty:
        names = ", ".join(sorted(judgement.guide.position[code].name.lower() for code in empty))
        raise Refusal(f"Nothing fills {names}: no own piece, no stock, no price. The Stores find a part.")
    return Basis(ways, judgement, examination.counter, tuple(notes))
