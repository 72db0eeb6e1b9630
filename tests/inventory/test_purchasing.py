"""Buying: packs, currencies and dates; received for the ticket that wants it, both or neither."""

from datetime import UTC, date, datetime

import pytest

from inventory import ledger, purchasing
from inventory.models import Balance, Price, Purchase
from shop.access import PROGRAM, Denied
from shop.models import Ticket
from shop.refusals import Conflict, Refusal
from shop.stages import hindrances
from tests import factories
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
MONDAY = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


def wanted(price: Price, quantity: int = 1, ticket: Ticket | None = None) -> Purchase:
    return purchasing.want_purchase(
        ticket=ticket or factories.TicketFactory.make(stage="agreed"),
        position_code="INBRG",
        part=factories.PartFactory.make(),
        price=price,
        quantity=quantity,
        by=PROGRAM,
        at=MONDAY,
    )


def test_a_foreign_line_keeps_price_rate_and_day() -> None:
    """3 at 18.45 GBP and 1.17 EUR for one: 55.35 × 1.17 = 64.7595, 64.76 once rounded."""
    factories.ExchangeRateFactory.make()
    supplier = factories.SupplierFactory.make(code="PELL", currency="GBP")
    line = wanted(factories.PriceFactory.make(supplier=supplier, unit_price_micro=18_450_000), 3)
    assert (line.cost_minor, line.rate_micro, line.rate_on) == (6476, 1_170_000, date(2026, 3, 2))
    assert (line.currency, line.unit_price_micro, line.state) == ("GBP", 18_450_000, "wanted")


def test_without_a_rate_it_says_who_types_one() -> None:
    supplier = factories.SupplierFactory.make(code="PELL", currency="GBP")
    with pytest.raises(Refusal, match="no exchange rate for GBP"):
        wanted(factories.PriceFactory.make(supplier=supplier))


def test_whole_packs_are_bought_and_what_is_over_stays_free() -> None:
    """Four wanted, in packs of 3 at 2.00 each: 6 are bought for 12.00."""
    price = factories.PriceFactory.make(unit_price_micro=2_000_000, pack=3)
    ticket = factories.TicketFactory.make(stage="agreed")
    line = wanted(price, 4, ticket)
    assert (line.bought, line.cost_minor) == (6, 1200)
    purchasing.order_purchase(purchase=line, by=PROGRAM, at=MONDAY)
    lot = purchasing.receive_purchase(purchase=line, bin=factories.BinFactory.make(), key="k", by=PROGRAM)
    balance = Balance.objects.get(lot=lot)
    assert (balance.on_hand, balance.reserved) == (6, 4)
    assert lot.cost_micro == 2_000_000
    assert ticket.reservations.get().position_code == "INBRG"
    assert ledger.check_ledger() == []


def test_the_lead_time_of_the_line_comes_before_the_suppliers() -> None:
    line = wanted(factories.PriceFactory.make(lead_days=9))
    assert purchasing.order_purchase(purchase=line, by=PROGRAM, at=MONDAY).due_on == date(2026, 3, 11)
    other = wanted(factories.PriceFactory.make(lead_days=None))
    assert purchasing.order_purchase(purchase=other, by=PROGRAM, at=MONDAY).due_on == date(2026, 3, 5)


def test_receiving_twice_is_once() -> None:
    line = wanted(factories.PriceFactory.make())
    place = factories.BinFactory.make()
    with pytest.raises(Conflict, match="Only an ordered line"):
        purchasing.receive_purchase(purchase=line, bin=place, key="k", by=PROGRAM)
    purchasing.order_purchase(purchase=line, by=PROGRAM)
    lot = purchasing.receive_purchase(purchase=line, bin=place, key="k", by=PROGRAM)
    assert purchasing.receive_purchase(purchase=line, bin=place, key="k2", by=PROGRAM) == lot
    assert Balance.objects.get(lot=lot).on_hand == 1
    with pytest.raises(Conflict, match="is received"):
        purchasing.cancel_purchase(purchase=line, by=PROGRAM)


def test_a_ticket_closed_meanwhile_leaves_the_parts_free() -> None:
    line = wanted(factories.PriceFactory.make(), 2)
    purchasing.order_purchase(purchase=line, by=PROGRAM)
    Ticket.objects.update(stage="abandoned")
    lot = purchasing.receive_purchase(purchase=line, bin=factories.BinFactory.make(), key="k", by=PROGRAM)
    balance = Balance.objects.get(lot=lot)
    assert (balance.on_hand, balance.reserved) == (2, 0)


def test_parts_are_complete_when_all_is_received() -> None:
    ticket = factories.TicketFactory.make(stage="agreed")
    line = wanted(factories.PriceFactory.make(), 1, ticket)
    awaited = f"{line.part.number} from TARN is wanted, not received."
    assert awaited in hindrances(ticket, "parts complete")
    purchasing.order_purchase(purchase=line, by=PROGRAM)
    purchasing.receive_purchase(purchase=line, bin=factories.BinFactory.make(), key="k", by=PROGRAM)
    assert awaited not in hindrances(ticket, "parts complete")
    assert purchasing.awaited_parts(ticket) == []


def test_who_may(cast: Cast) -> None:
    line = wanted(factories.PriceFactory.make())
    with pytest.raises(Denied):
        purchasing.order_purchase(purchase=line, by=cast.actor("front_desk"))
    assert purchasing.order_purchase(purchase=line, by=cast.actor("stores")).state == "ordered"
