"""Finish dates, their back-test, queues and pace; rows of data/flow.csv name their sources."""

from __future__ import annotations

import itertools
import math
from datetime import date, timedelta
from typing import Any

import numpy
import pytest
import scoringrules
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.handbook.quantities import Refused
from shop.handbook.queueing import queue, weeks_to_finish
from shop.handbook.resampling import Job, Stage, _through, finish_dates, quantile
from shop.handbook.scoring import back_test, pinball, score
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks, table

MONDAY = date(2026, 1, 5)


def _queue(check: Check) -> Any:
    given = check.inputs
    arrivals = given.get("lam_per_yr") or given.get("lam_per_h") or given["lam"]
    service = (
        60 / given["service_min"] if "service_min" in given else given.get("mu_per_yr", given.get("mu", 0))
    )
    found = queue(arrivals, service, given["c"])
    names = {
        **{"L": found.present, "Lq": found.waiting, "W": found.stay, "Wq": found.wait},
        **{"p0": found.idle, "P0": found.idle, "Wq(min)": found.wait * 60},
    }
    asked = [names[name.strip()] for name in check.quantity.split(":")[1].split(",")]
    return asked if isinstance(check.expected, list) else asked[0]


def _crps(values: list[float], came: float) -> float:
    """2 ∫ pinball(y, Q(τ), τ) dτ: between its steps the quantile stands still and the loss is straight."""
    steps = [n / len(values) for n in range(len(values) + 1)]
    middles = [(low + high) / 2 for low, high in itertools.pairwise(steps)]
    return sum(2 * pinball(came, quantile(values, at), at) for at in middles) / len(values)


def _normal_crps(given: dict[str, Any]) -> float:
    from scipy.integrate import quad
    from scipy.special import ndtri

    def loss(level: float) -> float:
        return 2 * pinball(given["y"], given["mu"] + given["sigma"] * float(ndtri(level)), level)

    return float(sum(quad(loss, low, low + 0.5, epsabs=1e-12)[0] for low in (0.0, 0.5)))


def _scored(check: Check) -> Any:
    given = check.inputs
    if "tau" in given:
        return score([[one] for one in given["q"]], given["y"], [given["tau"]]).scores[0].pinball * len(
            given["y"]
        )
    if "ens" in given:
        return _crps(given["ens"], given["y"])
    if "sigma" in given:
        return _normal_crps(given)
    if "alpha" in given:
        half = given["alpha"] / 2
        ends = pinball(given["y"], given["l"], half) + pinball(given["y"], given["u"], 1 - half)
        return 2 / given["alpha"] * ends
    below = [0.0] * given["k"] + [2.0] * (given["n"] - given["k"])
    return score([[1.0]] * given["n"], below, [given["p"]]).scores[0].p_value


def _answer(check: Check) -> Any:
    given = check.inputs
    if "jobs" in given:
        found = weeks_to_finish(given["history"], given["jobs"], 0.85)
        return found.at_level if "85" in check.quantity else list(found.chances)
    if "agents" in given:
        return queue(given["calls"] / given["period_s"], 1 / given["aht_s"], given["agents"]).wait
    if "a" in given:
        return queue(given["a"], 1.0, given["c"]).chance_of_waiting
    if "c" in given:
        return _queue(check)
    if "data" in given:
        return quantile(given["data"], given["p"])
    return _scored(check)


@pytest.mark.parametrize("check", checks("flow.csv"), ids=str)
def test_published_value(check: Check) -> None:
    assert _answer(check) == pytest.approx(check.expected, abs=max(check.tolerance, 1e-12)), check.source


def test_every_check_value_names_its_source() -> None:
    found = checks("flow.csv")
    assert len(found) == 19
    assert all(check.source and check.source_status for check in found)


# --- stages and benches


def test_a_run_of_units_as_an_independent_package_has_it() -> None:
    """data/queue_run.csv: ciw 3.2.7, two stages with 2 and 3 benches, first come, first served."""
    rows = [{name: float(text) for name, text in row.items()} for row in table("queue_run.csv")]
    assert len(rows) == 40

    def column(name: str) -> Any:
        return numpy.asarray([[row[name] for row in rows]])

    nobody = numpy.zeros(len(rows))
    first = _through(column("comes"), column("first_took"), nobody, 2)
    assert first == pytest.approx(column("first_ends"), abs=2e-3)
    second = _through(first, column("second_took"), nobody, 3)
    assert second == pytest.approx(column("second_ends"), abs=2e-3)


def test_the_long_run_of_a_queue_is_that_of_its_formula() -> None:
    """M/M/3 at ρ 0.8, 400 runs of 1500 units: the mean stay lies near the formula's (within 3 %)."""
    draw = numpy.random.default_rng(8)
    comes = draw.exponential(1 / 2.4, (400, 1500)).cumsum(axis=1)
    took = draw.exponential(1.0, (400, 1500))
    stay = (_through(comes, took, numpy.zeros(1500), 3) - comes)[:, 500:]
    assert stay.mean() == pytest.approx(queue(2.4, 1.0, 3).stay, rel=0.03)


def test_dates_by_hand() -> None:
    """Three units, one bench to strip, none to wait for at the outside work, and a bench that is taken.

    C is being built and has 3 − 1 days left: Monday, Tuesday. A is stripped on Monday, B on Tuesday; each is
    two days away; A is back on Wednesday evening and built on Thursday, Friday and Monday; B waits for it.
    """
    stages = [Stage("strip", (1.0,)), Stage("away", (2.0,), None), Stage("build", (3.0,))]
    jobs = [Job("A", "strip"), Job("B", "strip"), Job("C", "build", done=1.0)]
    found = finish_dates(stages, jobs, MONDAY, [0.5, 0.95])
    assert [one.dates[1] for one in found.jobs] == [date(2026, 1, 12), date(2026, 1, 15), date(2026, 1, 6)]
    assert [one.days[0] for one in found.jobs] == [6, 9, 2]


def test_those_being_worked_on_keep_their_bench() -> None:
    stages = [Stage("build", (4.0,))]
    jobs = [Job("A", "build"), Job("B", "build", done=1.0)]
    found = finish_dates(stages, jobs, MONDAY, [0.5])
    assert [one.days[0] for one in found.jobs] == [7, 3]


def test_a_unit_that_has_been_long_at_it_takes_from_the_longer_ones() -> None:
    """By hand: past 2, 4, 10; after 3 days only 4 and 10 are possible, 1 or 7 left, each half the time."""
    found = finish_dates([Stage("build", (2.0, 4.0, 10.0))], [Job("A", "build", 3.0)], MONDAY, [0.4, 0.6])
    assert found.jobs[0].days == (1, 7)
    longer = finish_dates([Stage("build", (2.0, 4.0))], [Job("A", "build", 9.0)], MONDAY, [0.5])
    assert any("longer than any before" in one for one in longer.cautions)


@pytest.mark.parametrize(
    ("days", "week", "holidays", "ends"),
    [
        (0.0, "mon tue wed thu fri", [], "2026-01-05"),
        (1.0, "mon tue wed thu fri", [], "2026-01-05"),
        (1.2, "mon tue wed thu fri", [], "2026-01-06"),
        (6.0, "mon tue wed thu fri", [], "2026-01-12"),
        (6.0, "mon tue wed thu fri sat", [], "2026-01-10"),
        (2.0, "sun", [], "2026-01-18"),
        (1.0, "mon tue wed thu fri", ["2026-01-05", "2026-01-06"], "2026-01-07"),
    ],
)
def test_working_days(days: float, week: str, holidays: list[str], ends: str) -> None:
    """Counted on a calendar of January 2026: the fifth is a Monday."""
    off = [date.fromisoformat(day) for day in holidays]
    found = finish_dates(
        [Stage("one", (days,))], [Job("A", "one")], MONDAY, [0.5], week=week.split(), holidays=off
    )
    assert found.jobs[0].dates[0].isoformat() == ends


def test_the_chance_of_a_promise_is_its_share_of_the_draws() -> None:
    """Past 1, 2, 3, 4 days: done by Tuesday in half of the draws (within four deviations of 2000)."""
    job = Job("A", "one", promised=date(2026, 1, 6))
    found = finish_dates([Stage("one", (1.0, 2.0, 3.0, 4.0))], [job], MONDAY, draws=2000)
    assert found.jobs[0].chance_kept == pytest.approx(0.5, abs=4 * math.sqrt(0.25 / 2000))


def test_one_seed_gives_one_answer() -> None:
    stages = [Stage("one", tuple(float(n) for n in range(1, 30)), 2), Stage("two", (1.0, 5.0, 9.0))]
    jobs = [Job(f"T-{n}", "one") for n in range(6)]
    first, again, other = (finish_dates(stages, jobs, MONDAY, seed=seed) for seed in (1, 1, 2))
    assert first == again
    assert [one.days for one in first.jobs] != [one.days for one in other.jobs]
    assert (first.seed, first.draws) == (1, 1000)


def test_sums_of_two_stages_are_those_of_the_exact_distribution() -> None:
    """Past 1, 2, 3 and 1, 2, 3: sums 2 to 6 with chances 1, 2, 3, 2, 1 of 9."""
    both = (1.0, 2.0, 3.0)
    found = finish_dates(
        [Stage("a", both), Stage("b", both)], [Job("A", "a")], MONDAY, [0.2, 0.5, 0.8, 0.95], draws=2000
    )
    assert found.jobs[0].days == (3, 4, 5, 6)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0, 20), min_size=1, max_size=6),
    st.integers(1, 3),
    st.integers(1, 6),
    st.integers(0, 3),
)
def test_more_benches_never_end_later(past: list[float], benches: int, units: int, seed: int) -> None:
    jobs = [Job(f"{n}", "one") for n in range(units)]
    some, more, free = (
        finish_dates([Stage("one", tuple(past), count)], jobs, MONDAY, draws=100, seed=seed)
        for count in (benches, benches + 1, None)
    )
    for least, middle, most in zip(free.jobs, more.jobs, some.jobs, strict=True):
        for low, mid, high in zip(least.days, middle.days, most.days, strict=True):
            assert low <= mid + 1e-9
            assert mid <= high + 1e-9
        assert list(most.dates) == sorted(most.dates)


def test_what_cannot_be_forecast_is_named() -> None:
    one, job = Stage("one", (1.0,)), Job("A", "one")
    for stages, jobs, name in (
        ([], [job], "stages"),
        ([Stage(f"{n}", (1.0,)) for n in range(13)], [job], "stages"),
        ([one, one], [job], "stages"),
        ([Stage("one", ())], [job], "stages"),
        ([Stage("one", (1.0,) * 501)], [job], "stages"),
        ([Stage("one", (-1.0,))], [job], "stages"),
        ([Stage("one", (math.nan,))], [job], "stages"),
        ([Stage("one", (1.0,), 0)], [job], "stages"),
        ([one], [], "jobs"),
        ([one], [job] * 61, "jobs"),
        ([one], [Job("A", "two")], "jobs"),
        ([one], [Job("A", "one", math.inf)], "jobs"),
    ):
        with pytest.raises(OutOfRange, match=name):
            finish_dates(stages, jobs, MONDAY)
    wrong: tuple[dict[str, Any], ...] = (
        {"levels": []},
        {"levels": [1.0]},
        {"draws": 99},
        {"draws": 2001},
        {"seed": -1},
        {"week": []},
        {"week": ["monday"]},
        {"holidays": [MONDAY] * 501},
        {"start": date(1, 1, 1)},
    )
    good: dict[str, Any] = {"stages": [one], "jobs": [job], "start": MONDAY}
    for change in wrong:
        with pytest.raises(OutOfRange, match=next(iter(change))):
            finish_dates(**(good | change))
    with pytest.raises(Refused, match="20000 working days"):
        finish_dates([Stage("one", (400.0,))], [Job(f"{n}", "one") for n in range(60)], MONDAY)


def test_the_longest_that_may_be_asked_has_its_date() -> None:
    jobs = [Job(f"{n}", "one") for n in range(50)]
    found = finish_dates([Stage("one", (400.0,))], jobs, date(2200, 12, 31), week=["sun"])
    assert found.jobs[-1].dates[0] - date(2200, 12, 31) > timedelta(days=20_000 * 7 - 7)


# --- quantiles and scores


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(-50, 50), min_size=1, max_size=60), st.integers(1, 100))
def test_the_quantile_is_that_of_the_inverted_distribution(values: list[int], percent: int) -> None:
    """numpy.quantile, method inverted_cdf (type 1), apart from whole counts, where a double decides there."""
    found = quantile(values, percent / 100)
    below = sum(one <= found for one in values)
    assert below * 100 >= percent * len(values)
    assert sum(one < found for one in values) * 100 < percent * len(values)
    if percent * len(values) % 100:
        assert found == numpy.quantile(values, percent / 100, method="inverted_cdf")


@settings(max_examples=100, deadline=None)
@given(st.floats(-50, 50), st.floats(-50, 50), st.floats(0.01, 0.99))
def test_the_loss_is_that_of_an_independent_package(y: float, q: float, level: float) -> None:
    """scoringrules 0.10.0, quantile_score."""
    assert pinball(y, q, level) == pytest.approx(float(scoringrules.quantile_score(y, q, level)), abs=1e-12)
    assert pinball(y, q, level) >= 0


def test_a_back_test_covers_what_its_levels_say() -> None:
    """Durations that do not change: 140 held-out units; the binomial test finds nothing at any level."""
    draw = numpy.random.default_rng(5)
    history = draw.gamma(4.0, 2.0, (200, 3)).tolist()
    found = back_test(history, [0.5, 0.85, 0.95], train=60)
    assert found.held_out == 140
    for one in found.scores:
        assert one.coverage == pytest.approx(one.level, abs=4 * math.sqrt(one.level * (1 - one.level) / 140))
        assert one.p_value > 0.01
    losses = [one.pinball for one in found.scores]
    assert losses[0] > losses[1] > losses[2] > 0


def test_a_back_test_shows_work_that_has_become_slower() -> None:
    draw = numpy.random.default_rng(6)
    history = (draw.gamma(4.0, 2.0, (60, 2)) * numpy.linspace(1, 3, 60)[:, None]).tolist()
    found = back_test(history, [0.5])
    assert found.scores[0].coverage < 0.3
    assert found.scores[0].p_value < 0.01
    assert "held" in found.cautions[0]


def test_a_back_test_sees_only_what_was_before() -> None:
    """The first forecast of a history that jumps must come from before the jump: by hand loss 0.5 × 9."""
    found = back_test([[1.0]] * 5 + [[10.0]], [0.5], train=5)
    assert (found.held_out, found.scores[0].pinball, found.scores[0].coverage) == (1, 4.5, 0.0)


def test_histories_that_cannot_be_tested_are_named() -> None:
    histories: list[list[list[float]]] = [
        [[1.0]] * 3,
        [[1.0]] * 201,
        [[1.0]] * 4 + [[1.0, 2.0]],
        [[]] * 5,
        [[math.nan]] * 5,
    ]
    for history in histories:
        with pytest.raises(OutOfRange, match="history"):
            back_test(history)
    for change in ({"train": 1}, {"train": 5}, {"draws": 1}, {"levels": [0.0]}, {"seed": -1}):
        more: dict[str, Any] = {"history": [[1.0]] * 5} | change
        with pytest.raises(OutOfRange, match=next(iter(change))):
            back_test(**more)
    with pytest.raises(OutOfRange, match="forecasts"):
        score([[1.0]], [1.0, 2.0], [0.5])
    with pytest.raises(OutOfRange, match="came"):
        score([], [], [0.5])
    with pytest.raises(Refused, match="at least one value"):
        quantile([], 0.5)
    with pytest.raises(OutOfRange, match="level"):
        quantile([1.0], 0.0)


# --- queues and pace


def test_a_full_bench_has_no_long_run() -> None:
    for arrivals in (6.0, 7.0):
        with pytest.raises(OutOfRange, match="grow without end"):
            queue(arrivals, 3.0, 2)
    for name, bad in (("arrival_rate", 0.0), ("service_rate", math.nan), ("benches", 0)):
        good: dict[str, Any] = {"arrival_rate": 1.0, "service_rate": 2.0, "benches": 1}
        with pytest.raises(OutOfRange, match=name):
            queue(**(good | {name: bad}))


@settings(max_examples=60, deadline=None)
@given(st.floats(0.05, 0.97), st.integers(1, 30))
def test_a_queue_is_its_chain_of_births_and_deaths(rho: float, benches: int) -> None:
    """p(n + 1) = p(n) λ/(μ min(n + 1, c)), summed far out."""
    load, chances = rho * benches, [1.0]
    for n in range(2500):
        chances.append(chances[-1] * load / min(n + 1, benches))
    total = sum(chances)
    found = queue(load, 1.0, benches)
    assert found.idle == pytest.approx(1 / total, rel=1e-8)
    assert found.chance_of_waiting == pytest.approx(sum(chances[benches:]) / total, rel=1e-6)
    assert found.present == pytest.approx(sum(n * one for n, one in enumerate(chances)) / total, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 5), min_size=1, max_size=4).filter(any), st.integers(1, 6))
def test_the_pace_is_the_count_of_all_draws(history: list[int], jobs: int) -> None:
    """By enumeration of all draws of three weeks: each week in which the last unit is done."""
    found = weeks_to_finish(history, jobs, 0.01)
    chances = dict(zip(found.weeks, found.chances, strict=True))
    counted = [0, 0, 0, 0]
    for draws in itertools.product(history, repeat=3):
        sums = list(itertools.accumulate(draws))
        week = next((n for n, total in enumerate(sums, 1) if total >= jobs), 0)
        counted[week] += 1
    for week in (1, 2, 3):
        assert chances.get(week, 0.0) == pytest.approx(counted[week] / len(history) ** 3, abs=1e-12)


def test_a_pace_that_leads_nowhere_is_refused() -> None:
    with pytest.raises(Refused, match="no pace"):
        weeks_to_finish([0, 0], 3)
    with pytest.raises(Refused, match="520 weeks"):
        weeks_to_finish([0] * 99 + [1], 1000)
    for name, bad in (("history", []), ("history", [-1]), ("jobs", 0), ("level", 1.0)):
        good: dict[str, Any] = {"history": [1], "jobs": 1, "level": 0.5}
        with pytest.raises(OutOfRange, match=name):
            weeks_to_finish(**(good | {name: bad}))
