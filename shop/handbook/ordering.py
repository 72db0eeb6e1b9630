"""How much to order: economic order quantity with price breaks, and orders for a demand that is known.

Money is in one currency of the caller's; the holding rate is the share of its price that a piece costs to
keep for a year.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, inf, isclose, sqrt

from shop.handbook.working import OutOfRange, Step, within

MOST_BREAKS = 20
MOST_PERIODS = 200
_MOST = 1e9
HARRIS = "Harris 1913; Snyder and Shen, Fundamentals of Supply Chain Theory, 3.2 (from memory)"
ALL_UNITS = "Snyder and Shen, Fundamentals of Supply Chain Theory, 3.4 (all-units discount, from memory)"
BACKORDERS = "Snyder and Shen, Fundamentals of Supply Chain Theory, 3.5 (planned backorders, from memory)"
WAGNER_WHITIN = "Wagner and Whitin 1958, Management Science 5:89 (from memory)"


@dataclass(frozen=True, slots=True)
class Break:
    """From ``quantity`` pieces on, every piece of the order costs ``unit_cost``."""

    quantity: float
    unit_cost: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """The best order at one price, and what a year costs with it."""

    quantity: float
    unit_cost: float
    running_cost: float
    annual_cost: float


@dataclass(frozen=True, slots=True)
class OrderQuantity:
    """The quantity that costs least over a year.

    ``running_cost`` is ordering and holding; ``annual_cost`` has the pieces as well. ``whole`` is the best
    whole number of pieces at that price. ``backordered`` is the share of demand that waits, 0 unless shortage
    is planned.
    """

    quantity: float
    whole: int
    unit_cost: float
    running_cost: float
    annual_cost: float
    orders_a_year: float
    backordered: float
    candidates: tuple[Candidate, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """How much to order in each period; 0 where an earlier order serves."""

    orders: tuple[float, ...]
    cost: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def order_quantity(
    annual_demand: float,
    order_cost: float,
    unit_cost: float,
    holding_rate: float,
    breaks: Sequence[Break] = (),
    shortage_cost: float | None = None,
) -> OrderQuantity:
    """Economic order quantity, also with prices that fall for the whole order from a quantity on.

    Q = √(2 D K/h), h = holding rate × price. With breaks, each price gives its own Q, moved into the range
    where that price holds; the one with the least D c + D K/Q + h Q/2 wins. With planned shortage at b a
    piece and year, h becomes h b/(h + b) and the share h/(h + b) of demand waits.

    :param annual_demand: D [pieces a year], above 0
    :param order_cost: K, for each order whatever its size [money], above 0
    :param unit_cost: price of a piece in the smallest order [money], above 0
    :param holding_rate: cost of keeping a piece for a year, as a share of its price, 0.001 to 10
    :param breaks: lower prices for larger orders, quantities rising
    :param shortage_cost: b, for each piece that waits a year [money], or None: no shortage

    Reference: Harris 1913; Snyder and Shen, Fundamentals of Supply Chain Theory, 3.2, 3.4 and 3.5 (from
    memory).

    >>> found = order_quantity(1300, 8, 0.75, 0.3, [Break(400, 0.72), Break(800, 0.68)])
    >>> found.quantity, found.unit_cost, round(found.annual_cost, 2)
    (800.0, 0.68, 978.6)
    """
    within("annual_demand", annual_demand, 1e-6, _MOST, "pieces a year")
    within("order_cost", order_cost, 1e-6, _MOST, "")
    within("holding_rate", holding_rate, 0.001, 10.0, "")
    if shortage_cost is not None:
        within("shortage_cost", shortage_cost, 1e-6, _MOST, "")
    prices = _prices(unit_cost, breaks)
    found = []
    for (start, price), end in zip(prices, [*(start for start, _ in prices[1:]), inf], strict=True):
        held = _held(price * holding_rate, shortage_cost)
        best = min(max(sqrt(2 * annual_demand * order_cost / held), start), end)
        if best < end:  # at the next break the next price holds
            found.append(_candidate(best, price, annual_demand, order_cost, held))
    # Equal cost: the smaller order ties up less.
    chosen = min(found, key=lambda one: (one.annual_cost, one.quantity))
    plain = chosen.unit_cost * holding_rate
    waits = 0.0 if shortage_cost is None else plain / (plain + shortage_cost)
    whole = _whole(chosen, prices, annual_demand, order_cost, _held(plain, shortage_cost))
    steps = _order_steps(annual_demand, order_cost, holding_rate, shortage_cost, chosen, found)
    cautions = ["The cost is flat about its least: a fifth more or less costs about two in a hundred more"]
    if chosen.quantity > 2 * annual_demand:
        cautions.append("More than two years' demand in one order: think of what may go out of use")
    return OrderQuantity(
        chosen.quantity,
        whole,
        chosen.unit_cost,
        chosen.running_cost,
        chosen.annual_cost,
        annual_demand / chosen.quantity,
        waits,
        tuple(found),
        steps,
        tuple(cautions),
    )


def order_plan(demands: Sequence[float], order_cost: float, holding_cost: float) -> OrderPlan:
    """When to order how much for a demand that is known for each period; nothing may run short.

    Least cost of the first t periods: F(t) = min over j ≤ t of F(j − 1) + K + h Σ (i − j) dᵢ for i = j … t.

    :param demands: pieces needed in each period, 0 or more, at most 200 periods
    :param order_cost: K, for each order [money]
    :param holding_cost: h, for each piece kept to the next period [money]

    Reference: Wagner and Whitin 1958, Management Science 5:89 (from memory).

    >>> order_plan([90, 120, 80, 70], 500, 2).orders
    (210.0, 0.0, 150.0, 0.0)
    """
    if not 1 <= len(demands) <= MOST_PERIODS:
        raise OutOfRange("demands", f"{len(demands)} periods", f"1 to {MOST_PERIODS} periods")
    for demand in demands:
        within("demands", demand, 0.0, _MOST, "pieces")
    within("order_cost", order_cost, 0.0, _MOST, "")
    within("holding_cost", holding_cost, 0.0, _MOST, "")
    least, begins = [0.0], [0]
    for end in range(1, len(demands) + 1):
        best, at, held, carried = inf, end, 0.0, 0.0
        for start in range(end, 0, -1):
            # One period earlier: all that is already in this order is kept one period longer.
            held += holding_cost * carried
            carried += demands[start - 1]
            cost = least[start - 1] + (order_cost if carried > 0 else 0.0) + held
            if cost < best:
                best, at = cost, start
        least.append(best)
        begins.append(at)
    orders, end = [0.0] * len(demands), len(demands)
    while end > 0:
        start = begins[end]
        orders[start - 1] = float(sum(demands[start - 1 : end]))
        end = start - 1
    inputs = (("K", f"{order_cost:g}"), ("h", f"{holding_cost:g} a piece and period"))
    step = Step(f"least cost over {len(demands)} periods = {least[-1]:.6g}", inputs, WAGNER_WHITIN)
    return OrderPlan(
        tuple(orders), least[-1], (step,), ("Holds for a demand that is sure, such as booked work",)
    )


def _prices(unit_cost: float, breaks: Sequence[Break]) -> list[tuple[float, float]]:
    """Each price with the quantity from which it holds; quantities rise and prices fall."""
    within("unit_cost", unit_cost, 1e-6, _MOST, "")
    if len(breaks) > MOST_BREAKS:
        raise OutOfRange("breaks", f"{len(breaks)} breaks", f"at most {MOST_BREAKS}")
    prices = [(0.0, float(unit_cost))]
    for one in breaks:
        within("breaks", one.quantity, 1e-6, _MOST, "pieces")
        within("breaks", one.unit_cost, 1e-6, _MOST, "")
        if not (one.quantity > prices[-1][0] and one.unit_cost < prices[-1][1]):
            shown = f"{one.unit_cost:g} from {one.quantity:g} pieces"
            raise OutOfRange("breaks", shown, "rising quantities with falling prices")
        prices.append((float(one.quantity), float(one.unit_cost)))
    return prices


def _held(holding: float, shortage: float | None) -> float:
    return holding if shortage is None else holding * shortage / (holding + shortage)


def _candidate(quantity: float, price: float, demand: float, order_cost: float, held: float) -> Candidate:
    running = demand * order_cost / quantity + held * quantity / 2
    return Candidate(quantity, price, running, running + demand * price)


def _whole(
    chosen: Candidate, prices: list[tuple[float, float]], demand: float, order_cost: float, held: float
) -> int:
    """The better of the whole numbers either side, at the chosen price."""
    start = next(start for start, price in prices if price == chosen.unit_cost)
    either = {max(1, floor(chosen.quantity)), max(1, ceil(chosen.quantity))}
    allowed = [one for one in either if one >= start]
    return min(
        allowed,
        key=lambda one: (_candidate(one, chosen.unit_cost, demand, order_cost, held).running_cost, one),
    )


def _order_steps(
    demand: float,
    order_cost: float,
    rate: float,
    shortage: float | None,
    chosen: Candidate,
    found: Sequence[Candidate],
) -> tuple[Step, ...]:
    inputs = [("D", f"{demand:g} a year"), ("K", f"{order_cost:g}"), ("holding rate", f"{rate:g}")]
    if shortage is not None:
        inputs.append(("b", f"{shortage:g}"))
    formula = "Q = √(2 D K/h)" if shortage is None else "Q = √(2 D K/h'), h' = h b/(h + b)"
    held = _held(rate * chosen.unit_cost, shortage)
    if not isclose(chosen.quantity, sqrt(2 * demand * order_cost / held)):
        formula += ", moved to where its price begins,"
    steps = [
        Step(
            f"{formula} = {chosen.quantity:.6g} pieces",
            (*inputs, ("h", f"{rate * chosen.unit_cost:.6g}")),
            HARRIS if shortage is None else BACKORDERS,
        )
    ]
    if len(found) > 1 or chosen.quantity != found[0].quantity:
        shown = tuple(
            (f"at {one.unit_cost:g}", f"{one.quantity:.6g} pieces, {one.annual_cost:.6g} a year")
            for one in found
        )
        steps.append(Step("the least of D c + D K/Q + h Q/2 over the prices", shown, ALL_UNITS))
    return tuple(steps)
