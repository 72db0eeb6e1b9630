"""When to order and how much; rows of data/stock.csv name their sources."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shop.handbook.ordering import Break, order_plan, order_quantity
from shop.handbook.quantities import Refused
from shop.handbook.stockcontrol import MODELS, expected_short, intermittent, reorder
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks


def _short(point: float, mean: float, variance: float, model: str) -> float:
    return expected_short(point, mean, variance, model).expected_short


def _held_and_short(
    point: float, mean: float, variance: float, model: str, hold: float, lack: float
) -> float:
    """Cost of a stock of ``point``: what is over at ``hold``, what is short at ``lack``."""
    short = _short(point, mean, variance, model)
    return hold * (point - mean + short) + lack * short


def _newsvendor(given: dict[str, Any], quantity: str) -> list[float]:
    """The stock at the critical ratio p/(h + p), and its cost from what runs short."""
    mean, ratio = given["mean"], given["p"] / (given["h"] + given["p"])
    model = "poisson" if "Poisson" in quantity else "normal"
    point = reorder(mean, given.get("sd", 0), 1, ratio, model).reorder_point
    variance = given["sd"] ** 2 if model == "normal" else mean
    return [point, _held_and_short(point, mean, variance, model, given["h"], given["p"])]


def _reorder_and_batch(given: dict[str, Any]) -> list[float]:
    """The cheapest (r, Q) by trial of all near: (K λ + Σ G(y) for y = r + 1 … r + Q)/Q."""
    mean = given["mean"] * given["L"]
    cost = {y: _held_and_short(y, mean, mean, "poisson", given["h"], given["p"]) for y in range(40)}
    tried = {
        (r, q): (given["K"] * given["mean"] + sum(cost[y] for y in range(r + 1, r + q + 1))) / q
        for r in range(12)
        for q in range(1, 20)
    }
    best = min(tried, key=lambda pair: tried[pair])
    return [*best, tried[best]]


def _level_and_top(given: dict[str, Any]) -> list[float]:
    """The cheapest (s, S) by trial: (K + Σ m(j) G(S − j))/Σ m(j), m renewals of the Poisson demand."""
    mean = given["mean"]
    chance = [math.exp(-mean) * mean**x / math.factorial(x) for x in range(60)]
    cost = [_held_and_short(y, mean, mean, "poisson", given["h"], given["p"]) for y in range(40)]
    renewal = [1 / (1 - chance[0])]
    for j in range(1, 30):
        renewal.append(sum(chance[x] * renewal[j - x] for x in range(1, j + 1)) / (1 - chance[0]))
    tried = {}
    for low, top in itertools.product(range(12), range(1, 30)):
        if low < top:
            gone = range(top - low)
            paid = given["K"] + sum(renewal[j] * cost[top - j] for j in gone)
            tried[low, top] = paid / sum(renewal[j] for j in gone)
    best = min(tried, key=lambda pair: tried[pair])
    return [*best, tried[best]]


def _ordered(given: dict[str, Any], quantity: str) -> list[float]:
    if "unit" in given:
        breaks = [Break(*pair) for pair in given["breaks"]]
        priced = order_quantity(given["demand"], given["K"], given["unit"], given["rate"], breaks)
        return [priced.quantity, priced.annual_cost]
    found = order_quantity(given["demand"], given["K"], 0.75, given["h"] / 0.75, (), given.get("p"))
    if "p" in given:
        return [found.quantity, found.backordered, found.running_cost]
    return [found.quantity, found.running_cost]


def _lead_time(given: dict[str, Any], quantity: str) -> float:
    if "sd_L" in given:
        return reorder(
            given["d"], given["sd_d"], given["L"], given["service"], lead_time_sd=given["sd_L"]
        ).reorder_point
    if "var" in given:
        sd = math.sqrt(given["var"])
        return reorder(given["mean"], sd, 1, given["service"], "negative binomial").reorder_point
    return reorder(given["mean"], 0, 1, given["service"], "poisson").reorder_point


def _loss(given: dict[str, Any], quantity: str) -> float:
    if "z" in given:
        return _short(given["z"] + 5, 5, 1, "normal")
    if "var" in given:
        return _short(given["s"], given["mean"], given["var"], "negative binomial")
    model = "normal" if "sd" in given else "poisson"
    return _short(given["s"], given["mean"], given.get("sd", 0) ** 2, model)


def _answer(check: Check) -> Any:
    given, quantity = check.inputs, check.quantity
    if "history" in given:
        both = (
            intermittent(given["history"], given["alpha"], name) for name in ("croston", "syntetos-boylan")
        )
        return [one.per_period for one in both]
    if "Wagner-Whitin" in quantity:
        plan = order_plan(given["demand"], given["K"], given["h"])
        return plan.cost if "least" in quantity else [*plan.orders, plan.cost]
    if "newsvendor" in quantity:
        return _newsvendor(given, quantity)
    if "(r,Q)" in quantity:
        return _reorder_and_batch(given)
    if "(s,S)" in quantity:
        return _level_and_top(given)
    if "demand" in given:
        return _ordered(given, quantity)
    return _lead_time(given, quantity) if "service" in given else _loss(given, quantity)


@pytest.mark.parametrize("check", checks("stock.csv"), ids=str)
def test_published_value(check: Check) -> None:
    # A tolerance of 0 is a whole number; the last place of a sum of doubles is not held against it.
    assert _answer(check) == pytest.approx(check.expected, abs=max(check.tolerance, 1e-9)), check.source


def test_every_check_value_names_its_source() -> None:
    found = checks("stock.csv")
    assert len(found) == 28
    assert all(check.source and check.source_status for check in found)


def test_poisson_from_a_table_of_its_sums() -> None:
    """Cumulative Poisson tables, mean 2 (from memory): 0.6767 at 2, 0.8571 at 3, 0.9473 at 4, 0.9834 at 5."""
    found = [reorder(2, 0, 1, level, "poisson").reorder_point for level in (0.67, 0.68, 0.86, 0.94, 0.95)]
    assert found == [2, 3, 4, 4, 5]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(MODELS[1:]), st.floats(0.05, 60), st.floats(1.05, 8), st.floats(0.02, 0.9999))
def test_a_whole_reorder_point_is_the_smallest_that_holds(
    model: str, mean: float, ratio: float, level: float
) -> None:
    from scipy.stats import nbinom, poisson

    found = reorder(mean, math.sqrt(mean * ratio), 1, level, model)
    if model == "poisson":
        law = poisson(mean)
    else:
        law = nbinom(mean / (ratio - 1), 1 / ratio)
        assert law.mean() == pytest.approx(mean)
        assert law.var() == pytest.approx(mean * ratio)
    total = sum(law.pmf(x) for x in range(int(found.reorder_point) + 1))
    last = law.pmf(found.reorder_point)
    assert total >= level - 1e-9
    assert total - last < level + 1e-9


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(MODELS), st.floats(0.5, 50), st.floats(0.02, 0.99), st.floats(0.0001, 0.0099))
def test_a_higher_level_never_orders_later(model: str, mean: float, level: float, more: float) -> None:
    sd = math.sqrt(mean * 1.7)
    points = [reorder(mean, sd, 2, at, model).reorder_point for at in (level, level + more)]
    assert points[0] <= points[1]
    short = [_short(point, 2 * mean, 2 * sd**2, model) for point in points]
    assert short[0] >= short[1] - 1e-9


@pytest.mark.parametrize("point", [-3, 0, 1, 4, 9])
@pytest.mark.parametrize("model", MODELS[1:])
def test_what_runs_short_is_the_sum_over_what_is_above(point: int, model: str) -> None:
    from scipy.stats import nbinom, poisson

    law = poisson(3.0) if model == "poisson" else nbinom(3.0**2 / 2.4, 3 / 5.4)
    plain = sum((x - point) * law.pmf(x) for x in range(max(point, 0), 300))
    assert _short(point, 3.0, 5.4, model) == pytest.approx(plain, rel=1e-9)


def test_what_does_not_fit_the_model_is_said() -> None:
    with pytest.raises(OutOfRange, match=r"sd_demand.*above its mean"):
        reorder(5, math.sqrt(5), 1, 0.95, "negative binomial")
    with pytest.raises(OutOfRange, match=r"lead_time_sd.*negative binomial"):
        reorder(5, 0, 2, 0.95, "poisson", 1.0)
    with pytest.raises(Refused, match="one of normal"):
        reorder(5, 1, 2, 0.95, "gamma")
    with pytest.raises(Refused, match="one of normal"):
        expected_short(5, 5, 5, "gamma")
    with pytest.raises(OutOfRange, match="whole number"):
        expected_short(1.5, 5, 5, "poisson")
    wide = reorder(5, 5, 2, 0.95, "poisson")
    assert "does not fit" in wide.cautions[0]
    assert any("below 0" in one for one in reorder(5, 1, 2, 0.3).cautions)
    good: dict[str, Any] = {"mean_demand": 5.0, "sd_demand": 1.0, "lead_time": 2.0, "service_level": 0.9}
    for name, bad in itertools.product(good, (-1.0, math.nan, math.inf)):
        with pytest.raises(OutOfRange, match=name):
            reorder(**(good | {name: bad}))


def test_a_break_just_beyond_reach_and_one_just_within() -> None:
    """By hand: 304.05 at 0.75 cost 1043.41; 400 at 0.745 cost 968.5 + 26 + 44.7 = 1039.2."""
    near = order_quantity(1300, 8, 0.75, 0.3, [Break(400, 0.745)])
    assert (near.quantity, round(near.annual_cost, 2)) == (400, 1039.2)
    assert "moved to where its price begins" in near.working[0].formula
    far = order_quantity(1300, 8, 0.75, 0.3, [Break(400, 0.749)])
    assert far.quantity == pytest.approx(304.0467800264)
    assert [round(one.annual_cost, 2) for one in far.candidates] == [1043.41, 1044.64]


prices = st.lists(
    st.tuples(st.integers(1, 400), st.floats(0.5, 0.99)),
    min_size=0,
    max_size=4,
    unique_by=lambda pair: pair[0],
)


@settings(max_examples=100, deadline=None)
@given(st.floats(5, 2000), st.floats(1, 60), st.floats(0.05, 0.6), prices)
def test_no_whole_order_costs_less(demand: float, order: float, rate: float, steps: list[Any]) -> None:
    """Against trial of every whole quantity to 1500 with the price that holds for it."""
    price, breaks = 10.0, []
    for start, factor in sorted(steps):
        price *= factor
        breaks.append(Break(start + 1, price))
    found = order_quantity(demand, order, 10.0, rate, breaks)
    assume(found.quantity <= 1500)

    def costs(quantity: int) -> float:
        each = min([10.0, *(one.unit_cost for one in breaks if quantity >= one.quantity)])
        return demand * each + demand * order / quantity + rate * each * quantity / 2

    least = min(costs(quantity) for quantity in range(1, 1501))
    assert found.annual_cost <= least * (1 + 1e-12)
    assert costs(found.whole) == pytest.approx(least, rel=2e-2)


def test_orders_out_of_range_are_named() -> None:
    good: dict[str, Any] = {"annual_demand": 9.0, "order_cost": 9.0, "unit_cost": 9.0, "holding_rate": 0.3}
    for name, bad in itertools.product(good, (0.0, -1.0, math.nan, math.inf)):
        with pytest.raises(OutOfRange, match=name):
            order_quantity(**(good | {name: bad}))
    for steps in (
        [Break(10, 9.0)],
        [Break(10, 8.0), Break(10, 7.0)],
        [Break(math.nan, 1.0)],
        [Break(9, 0.0)],
    ):
        with pytest.raises(OutOfRange, match="breaks"):
            order_quantity(**good, breaks=steps)
    with pytest.raises(OutOfRange, match="at most 20"):
        order_quantity(**good, breaks=[Break(n + 1, 8 - n / 100) for n in range(21)])
    with pytest.raises(OutOfRange, match="demands"):
        order_plan([], 1, 1)
    with pytest.raises(OutOfRange, match="demands"):
        order_plan([1.0, math.nan], 1, 1)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 30), min_size=1, max_size=8), st.integers(0, 90), st.integers(0, 5))
def test_no_other_plan_of_orders_costs_less(demands: list[int], order: int, hold: int) -> None:
    """Against trial of every set of periods in which to order."""
    found = order_plan([float(one) for one in demands], order, hold)
    periods = range(len(demands))
    least = math.inf
    for chosen in itertools.product((False, True), repeat=len(demands)):
        paid, at = 0.0, None
        for period in periods:
            at = period if chosen[period] else at
            if demands[period] and at is None:
                break
            paid += (order if chosen[period] else 0) + (
                hold * (period - at) * demands[period] if at is not None else 0
            )
        else:
            least = min(least, paid)
    assert found.cost == pytest.approx(least)
    stock, paid = 0.0, 0.0
    for need, ordered in zip(demands, found.orders, strict=True):
        stock += ordered - need
        assert stock >= -1e-9
        paid += (order if ordered else 0) + hold * stock
    assert paid == pytest.approx(found.cost)
    assert stock == pytest.approx(0)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 9), st.floats(0.1, 99), st.integers(1, 12), st.floats(0.01, 1))
def test_even_demand_is_found_again(gap: int, size: float, times: int, smoothing: float) -> None:
    history = ([0.0] * (gap - 1) + [size]) * times
    plain = intermittent(history, smoothing, "croston")
    assert (plain.size, plain.interval) == pytest.approx((size, gap))
    assert plain.per_period == pytest.approx(size / gap)
    corrected = intermittent(history, smoothing)
    assert corrected.per_period == pytest.approx((1 - smoothing / 2) * size / gap)


def test_the_corrected_variant_is_less_biased() -> None:
    """Demand of 1 in one period of four, α 0.3: the true mean is 0.25 a period (Syntetos and Boylan 2001)."""
    import numpy

    draw = numpy.random.default_rng(4)
    runs = [(draw.random(300) < 0.25).astype(float).tolist() for _ in range(400)]
    croston, corrected = (
        sum(intermittent(run, 0.3, name).per_period for run in runs) / len(runs)
        for name in ("croston", "syntetos-boylan")
    )
    assert croston > 0.27
    assert abs(corrected - 0.25) < abs(croston - 0.25) / 2


def test_histories_that_say_nothing_are_refused() -> None:
    with pytest.raises(Refused, match="no demand at all"):
        intermittent([0.0, 0.0])
    for bad in ([], [0.0] * 1001, [-1.0], [math.nan]):
        with pytest.raises(OutOfRange, match="history"):
            intermittent(bad)
    with pytest.raises(OutOfRange, match="smoothing"):
        intermittent([1.0], 0.0)
    with pytest.raises(Refused, match="variant"):
        intermittent([1.0], 0.1, "other")
    assert any("died out" in one for one in intermittent([1.0, 1.0, 1.0] + [0.0] * 9).cautions)
