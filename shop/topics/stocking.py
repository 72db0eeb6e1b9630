"""The topics of stock: when to order, how much, and what to expect of a part asked for now and then."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Any

from shop.handbook import ordering, stockcontrol
from shop.refusals import Refusal
from shop.topics.sums import Sum, one_currency, shown_sum
from shop.topics.table import Answer, Argument, Ledger, Topic, asked

Values = Mapping[str, Any]


def _pieces(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")


def _whole(point: float) -> str:
    """A point in whole pieces, upwards, with the figure of the formula beside it."""
    pieces = ceil(point - 1e-9)
    return f"{pieces}" if abs(pieces - point) < 1e-9 else f"{pieces} ({point:.1f} by the formula)"


def _ordered(whole: int, quantity: float) -> str:
    exact = abs(whole - quantity) < 1e-9
    return f"{whole} pieces" if exact else f"{whole} pieces ({quantity:.1f} by the formula)"


def _cost(amount: float, currency: str) -> float | str:
    """A number where no currency was given, otherwise text with it."""
    return shown_sum(amount, currency) if currency else amount


def _reorder(values: Values) -> Answer:
    model = values["model"]
    if values["sd_demand"] is None and model != "poisson":
        raise Refusal(sd_demand="This is needed unless the model is poisson. Write it like 4.")
    found = stockcontrol.reorder(
        values["mean_demand"],
        values["sd_demand"] or 0.0,
        values["lead_time"],
        values["service_level"],
        model,
        values["lead_time_sd"],
    )
    short = stockcontrol.expected_short(
        found.reorder_point, found.lead_time_demand, found.lead_time_variance, model
    )
    return Answer(
        {
            "reorder_point": found.reorder_point,
            "safety_stock": found.safety_stock,
            "lead_time_demand": found.lead_time_demand,
            "expected_short": short.expected_short,
        },
        (
            ("Order when stock falls to", _whole(found.reorder_point)),
            ("Of it safety stock", f"{found.safety_stock:.1f}".removesuffix(".0").replace("-", "−")),
            ("Demand over the lead time", _pieces(found.lead_time_demand)),
            ("Short in one cycle, on average", f"{short.expected_short:.3g}"),
        ),
        (*found.working, *short.working),
        found.cautions,
    )


def _order_quantity(values: Values) -> Answer:
    sums: list[Sum | None] = [values[name] for name in ("order_cost", "unit_cost", "shortage_cost")]
    currency = one_currency("unit_cost", [*sums, *(row["unit_cost"] for row in values["breaks"])])
    breaks = [ordering.Break(row["quantity"], row["unit_cost"].amount) for row in values["breaks"]]
    shortage: Sum | None = values["shortage_cost"]
    found = ordering.order_quantity(
        values["annual_demand"],
        values["order_cost"].amount,
        values["unit_cost"].amount,
        values["holding_rate"],
        breaks,
        None if shortage is None else shortage.amount,
    )
    reply = {
        "quantity": found.quantity,
        "whole_quantity": found.whole,
        "unit_cost": _cost(found.unit_cost, currency),
        "running_cost": _cost(found.running_cost, currency),
        "annual_cost": _cost(found.annual_cost, currency),
        "orders_a_year": found.orders_a_year,
        "backordered": found.backordered,
    }
    rows = [
        ("Order", _ordered(found.whole, found.quantity)),
        ("Price of a piece", shown_sum(found.unit_cost, currency)),
        ("Ordering and keeping, a year", shown_sum(found.running_cost, currency)),
        ("With the pieces", shown_sum(found.annual_cost, currency)),
        ("Orders a year", f"{found.orders_a_year:.3g}"),
    ]
    if shortage is not None:
        rows.append(("Share that waits", f"{found.backordered * 100:.2f} %"))
    ledger = Ledger(
        "The best order at each price",
        ("Price", "Pieces", "Ordering and keeping", "With the pieces"),
        tuple(
            (
                shown_sum(one.unit_cost, currency),
                f"{one.quantity:.1f}".removesuffix(".0"),
                shown_sum(one.running_cost, currency),
                shown_sum(one.annual_cost, currency),
            )
            for one in found.candidates
        ),
    )
    return Answer(reply, tuple(rows), found.working, found.cautions, ledger=ledger)


def _order_plan(values: Values) -> Answer:
    currency = one_currency("holding_cost", [values["order_cost"], values["holding_cost"]])
    found = ordering.order_plan(values["demands"], values["order_cost"].amount, values["holding_cost"].amount)
    lines = zip(values["demands"], found.orders, strict=True)
    ledger = Ledger(
        "Orders by period",
        ("Period", "Needed", "Order"),
        tuple((f"{n}", _pieces(need), _pieces(order)) for n, (need, order) in enumerate(lines, 1)),
    )
    return Answer(
        {"orders": list(found.orders), "cost": _cost(found.cost, currency)},
        (
            ("Cost", shown_sum(found.cost, currency)),
            ("Orders", f"{sum(one > 0 for one in found.orders)}"),
        ),
        found.working,
        found.cautions,
        ledger=ledger,
    )


def _intermittent(values: Values) -> Answer:
    found = asked(
        "history", stockcontrol.intermittent, values["history"], values["smoothing"], values["variant"]
    )
    return Answer(
        {"demand_per_period": found.per_period, "size": found.size, "interval": found.interval},
        (
            ("To expect in a period", f"{found.per_period:.4g}"),
            ("When there is demand", f"{found.size:.4g} pieces"),
            ("Periods from one to the next", f"{found.interval:.4g}"),
        ),
        found.working,
        found.cautions,
    )


def _money(name: str, label: str, example: str, required: bool = True, help: str = "") -> Argument:
    return Argument(name, label, "money", required, example=example, help=help)


def _number(name: str, label: str, example: str, default: str = "", help: str = "") -> Argument:
    return Argument(name, label, "number", not default, default, example, help)


TOPICS: tuple[Topic, ...] = (
    Topic(
        "reorder",
        "When to order",
        "The stock at which to order again, and how much of it is safety.",
        (
            _number("mean_demand", "Mean demand of a period", "20"),
            Argument(
                "sd_demand",
                "Its standard deviation",
                "number",
                False,
                example="4",
                help="Not used by the model poisson.",
            ),
            _number("lead_time", "Lead time, in such periods", "9"),
            _number("lead_time_sd", "Its standard deviation", "2", "0"),
            _number("service_level", "Service level", "0.95", help="Share of order cycles without shortage."),
            Argument(
                "model",
                "Model of demand",
                "choice",
                False,
                "normal",
                "normal",
                "normal for steady parts; poisson or negative binomial for few pieces.",
                choices=lambda: stockcontrol.MODELS,
            ),
        ),
        _reorder,
        formulas=(stockcontrol.reorder, stockcontrol.expected_short),
    ),
    Topic(
        "order-quantity",
        "How much to order",
        "The quantity that costs least over a year, also where the price falls for larger orders.",
        (
            _number("annual_demand", "Demand of a year", "1300"),
            _money("order_cost", "Cost of an order, whatever its size", "8.00 EUR"),
            _money("unit_cost", "Price of a piece", "0.75 EUR"),
            _number("holding_rate", "Keeping a year, as a share of the price", "0.3"),
            Argument(
                "breaks",
                "Lower prices, one a line",
                "rows",
                False,
                example="400; 0.72 EUR\n800; 0.68 EUR",
                help="From how many pieces on; price of every piece of such an order.",
                columns=(
                    _number("quantity", "From pieces", "400"),
                    _money("unit_cost", "Price", "0.72 EUR"),
                ),
                most=ordering.MOST_BREAKS,
            ),
            _money(
                "shortage_cost",
                "Cost of a piece that waits a year",
                "",
                False,
                "Leave it out where nothing may run short.",
            ),
        ),
        _order_quantity,
        formulas=(ordering.order_quantity,),
    ),
    Topic(
        "order-plan",
        "Orders for booked work",
        "When to order how much, for a demand that is known period by period.",
        (
            Argument(
                "demands",
                "Needed in each period, one a line",
                "number",
                example="90\n120\n80\n70",
                many=True,
                most=ordering.MOST_PERIODS,
            ),
            _money("order_cost", "Cost of an order", "500 EUR"),
            _money("holding_cost", "Keeping a piece for a period", "2 EUR"),
        ),
        _order_plan,
        formulas=(ordering.order_plan,),
    ),
    Topic(
        "intermittent",
        "Parts asked for now and then",
        "What to expect of a part that most periods do not ask for.",
        (
            Argument(
                "history",
                "Demand of each period, oldest first",
                "number",
                example="0\n0\n2\n0\n0\n0\n1\n0\n3\n0\n0\n1\n0\n0\n2\n0",
                help="One a line; 0 where there was none.",
                many=True,
                most=stockcontrol.MOST_PERIODS,
            ),
            _number("smoothing", "Smoothing", "0.1", "0.1", "0.01 to 1: how much the newest counts."),
            Argument(
                "variant",
                "Variant",
                "choice",
                False,
                "syntetos-boylan",
                "syntetos-boylan",
                "croston is too high on the average; syntetos-boylan puts that right.",
                choices=lambda: stockcontrol.VARIANTS,
            ),
        ),
        _intermittent,
        formulas=(stockcontrol.intermittent,),
    ),
)
