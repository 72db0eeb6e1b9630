"""What a ticket was quoted at, what it was expected to cost, and what it has cost so far.

All in minor units of the shop's currency, before tax. The cost so far counts each thing once: a part that was
bought counts as bought until it is handed out, then as what was handed out.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.db.models import QuerySet, Sum

from estimates.models import Quote
from estimates.quoting import labour_minor
from inspections.guiding.guides import guide_of
from inspections.models import Examination, Rework
from inventory.models import Movement, Purchase
from shop.handbook.working import Step
from shop.models import Ticket, TimeEntry
from shop.money import show_minor

LEDGER = "the shop's own stock ledger"
RATE = "the shop's own cost of an hour"


@dataclass(frozen=True, slots=True)
class Margin:
    """``cost_minor`` is what was issued, bought, worked and used up so far; ``margin_minor`` what is left of
    the quote after it. ``accepted``: the customer agreed to the quote that it is counted against.
    ``due_minor``: what the customer still pays, tax included and the deposit taken off."""

    ticket: Ticket
    accepted: bool
    quoted_minor: int
    expected_minor: int
    issued_minor: int
    bought_minor: int
    minutes: int
    labour_minor: int
    used_up_minor: int
    working: tuple[Step, ...]
    due_minor: int = 0

    @property
    def parts_minor(self) -> int:
        return self.issued_minor + self.bought_minor

    @property
    def cost_minor(self) -> int:
        return self.parts_minor + self.labour_minor + self.used_up_minor

    @property
    def margin_minor(self) -> int:
        return self.quoted_minor - self.cost_minor

    @property
    def expected_margin_minor(self) -> int:
        return self.quoted_minor - self.expected_minor


def margin_of(ticket: Ticket) -> Margin:
    """The ticket's figures with their working. Without a quote, quoted and expected are nothing."""
    return margins_of([ticket])[0]


def margins_of(tickets: Iterable[Ticket]) -> list[Margin]:
    """The same for many tickets, in their order, by a handful of queries."""
    tickets = list(tickets)
    keys = [one.pk for one in tickets]
    quotes = quotes_that_count(keys)
    issued, by_lot = _issued(keys)
    bought = _bought(keys, by_lot)
    minutes = _sums(TimeEntry.objects.filter(ticket__in=keys), "minutes")
    used_up = _used_up(keys)
    return [
        _margin(
            one, quotes.get(one.pk), issued[one.pk], bought[one.pk], minutes.get(one.pk, 0), used_up[one.pk]
        )
        for one in tickets
    ]


def quotes_that_count(keys: list[int]) -> dict[int, Quote]:
    """The newest accepted quote of each ticket, else the newest that was sent."""
    found: dict[int, Quote] = {}
    rows = Quote.objects.filter(ticket__in=keys, state__in=("accepted", "sent"))
    for one in rows.order_by("version"):
        if one.state == "accepted" or one.ticket_id not in found or found[one.ticket_id].state == "sent":
            found[one.ticket_id] = one
    return found


def _sums(rows: QuerySet[TimeEntry], field: str) -> dict[int, int]:
    return dict(rows.values_list("ticket").annotate(Sum(field)).order_by())


def _issued(keys: list[int]) -> tuple[dict[int, int], dict[tuple[int, int], int]]:
    """What was handed out less what came back, by ticket, and by ticket and lot."""
    by_ticket: dict[int, int] = defaultdict(int)
    by_lot: dict[tuple[int, int], int] = defaultdict(int)
    rows = Movement.objects.filter(ticket__in=keys, kind__in=("issued", "returned"))
    for ticket, lot, cost in rows.values_list("ticket", "lot").annotate(Sum("cost_minor")).order_by():
        by_ticket[ticket] -= cost
        if lot is not None:
            by_lot[ticket, lot] -= cost
    return by_ticket, by_lot


def _bought(keys: list[int], by_lot: dict[tuple[int, int], int]) -> dict[int, int]:
    """Ordered or received for a ticket and not handed out yet."""
    found: dict[int, int] = defaultdict(int)
    for one in Purchase.objects.filter(ticket__in=keys, state__in=("ordered", "received")):
        assert one.ticket_id is not None
        handed_out = by_lot.get((one.ticket_id, one.lot_id), 0) if one.lot_id is not None else 0
        # What is over from whole packs stays on the shelf for others once the line was handed out.
        found[one.ticket_id] += 0 if handed_out > 0 else one.cost_minor
    return found


def _used_up(keys: list[int]) -> dict[int, int]:
    """Consumables and outside work of the rework done, as the guide states them."""
    found: dict[int, int] = defaultdict(int)
    rework = list(Rework.objects.filter(ticket__in=keys).values_list("ticket", "remedy_code"))
    guides = {
        one.ticket_id: guide_of(one.revision)
        for one in Examination.objects.filter(ticket__in={ticket for ticket, _ in rework})
        .select_related("revision")
        .defer("revision__document")
    }
    for ticket, code in rework:
        remedy = guides[ticket].remedy.get(code) if ticket in guides else None
        if remedy is not None:
            found[ticket] += remedy.consumables_minor + remedy.outside_minor
    return found


def _margin(
    ticket: Ticket, quote: Quote | None, issued: int, bought: int, minutes: int, used_up: int
) -> Margin:
    worked = labour_minor(minutes, settings.LABOUR_COST_MINOR_PER_HOUR)
    quoted, expected = (quote.net_minor, quote.cost_minor) if quote else (0, 0)
    cost = issued + bought + worked + used_up
    currency = settings.CURRENCY

    def said(minor: int) -> str:
        return show_minor(minor, currency, sign=True)

    steps = (
        Step(
            f"cost of time = minutes ÷ 60 × cost of an hour = {said(worked)}",
            (("minutes", f"{minutes} min"), ("cost of an hour", said(settings.LABOUR_COST_MINOR_PER_HOUR))),
            RATE,
        ),
        Step(
            f"cost so far = handed out + bought + time + used up in rework = {said(cost)}",
            (
                ("handed out", said(issued)),
                ("bought, not handed out yet", said(bought)),
                ("time", said(worked)),
                ("consumables and outside work", said(used_up)),
            ),
            f"{LEDGER}, its purchases and time clock; the ticket's guide for rework",
        ),
        Step(
            f"margin = quoted, net − cost so far = {said(quoted - cost)}",
            (("quoted, net", said(quoted)), ("expected cost", said(expected))),
            f"quote {quote.version}" if quote else "no quote yet",
        ),
    )
    accepted = quote is not None and quote.state == "accepted"
    due = quote.total_minor - ticket.deposit_minor if quote else 0
    return Margin(ticket, accepted, quoted, expected, issued, bought, minutes, worked, used_up, steps, due)
