"""End float: the search against plain enumeration, the stack against published values, what is refused."""

import math
from itertools import combinations, product
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.handbook.endfloat import PreloadByTorque, Term, Washer, end_float, stack_up
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks

CHECKS = {one.id: one for one in checks("endfloat.csv")}
STACKS = [one for one in CHECKS.values() if "dims_mm" in one.inputs or "dims_in" in one.inputs]


def _terms(check: Check) -> list[Term]:
    rows = check.inputs.get("dims_mm") or check.inputs["dims_in"]
    return [
        Term(f"length {n}", 1 if size > 0 else -1, abs(size), plus, -minus)
        for n, (size, plus, minus) in enumerate(rows)
    ]


@pytest.mark.parametrize("check", STACKS, ids=str)
def test_published_stacks(check: Check) -> None:
    # The inch stack is only a number here: the arithmetic has no unit of its own.
    found = stack_up(_terms(check))
    value: Any
    if check.quantity == "nominal gap":
        value = found.nominal_mm
    elif check.quantity == "worst-case half tolerance":
        value = (found.worst_max_mm - found.worst_min_mm) / 2
    elif check.quantity == "RSS half tolerance":
        value = (found.rss_max_mm - found.rss_min_mm) / 2
    else:
        assert check.quantity == "worst-case gap (min,max)"
        value = [found.worst_min_mm, found.worst_max_mm]
    assert value == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", [CHECKS["05-288"], CHECKS["05-289"]], ids=str)
def test_published_shim_sets(check: Check) -> None:
    least, most = check.inputs["endplay_mm"]
    stock = [Washer(size, float(size), count=n) for size, n in check.inputs["stock"].items()]
    found = end_float(
        gap=check.inputs["gap_mm"], target_min=least, target_max=most, washers=stock, places=None
    )
    shims = sorted(float(code) for code in found.choice) or None
    assert shims == check.expected["shims"]


def test_every_check_value_is_used() -> None:
    assert len(CHECKS) == 7
    assert len(STACKS) == 5


def test_unequal_tolerances_are_centred_before_the_root_sum_square() -> None:
    # By hand: centred, 10 +0.3 −0.1 is 10.1 ± 0.2 and 4 +0.0 −0.2 is 3.9 ± 0.1: gap 6.2 ± √0.05.
    found = stack_up([Term("bore", 1, 10, 0.3, 0.1), Term("gear", -1, 4, 0.0, 0.2)])
    assert found.nominal_mm == pytest.approx(6)
    assert (found.worst_min_mm, found.worst_max_mm) == pytest.approx((5.9, 6.5))
    assert (found.rss_min_mm, found.rss_max_mm) == pytest.approx(
        (6.2 - math.sqrt(0.05), 6.2 + math.sqrt(0.05))
    )


@given(
    st.lists(
        st.builds(
            Term,
            st.just("length"),
            st.sampled_from([1, -1]),
            st.floats(0, 100),
            st.floats(0, 1),
            st.floats(0, 1),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_root_sum_square_lies_inside_the_worst_case(terms: list[Term]) -> None:
    found = stack_up(terms)
    assert found.worst_min_mm - 1e-9 <= found.rss_min_mm <= found.rss_max_mm <= found.worst_max_mm + 1e-9
    corners = [
        sum(t.sign * (t.length_mm + d) for t, d in zip(terms, deltas, strict=True))
        for deltas in product(*((t.plus_mm, -t.minus_mm) for t in terms))
    ]
    assert (found.worst_min_mm, found.worst_max_mm) == pytest.approx((min(corners), max(corners)), abs=1e-6)


# Hundredths, so that equal thicknesses, exact limits and ties all happen often.
HUNDREDTHS = st.integers(90, 130).map(lambda n: n / 100)
SHELF = st.lists(
    st.builds(
        Washer,
        code=st.sampled_from([f"W{n}" for n in range(9)]),
        thickness=HUNDREDTHS,
        tolerance=st.sampled_from([0.0, 0.005, 0.02]),
        count=st.integers(0, 3),
        price=st.sampled_from([0.0, 1.5, 2.0]),
        place=st.sampled_from([None, None, "front", "rear"]),
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda washer: washer.code,
)
PLACES = st.sampled_from([1, 2, 3, ["front"], ["front", "rear"], ["rear", "middle", "front"]])


def _every_way(shelf: list[Washer], places: int | list[str]) -> list[tuple[Washer, ...]]:
    """Every set of washers that fills the places, by trying every one in every place."""
    single = [(washer, n) for washer in shelf for n in range(washer.count)]
    size = places if isinstance(places, int) else len(places)
    ways: dict[tuple[str, ...], tuple[Washer, ...]] = {}
    for picked in combinations(single, size):
        washers = tuple(washer for washer, _ in picked)
        tied = [washer.place for washer in washers if washer.place]
        known = isinstance(places, int) or set(tied) <= set(places)
        if known and len(set(tied)) == len(tied):
            ways[tuple(sorted(washer.code for washer in washers))] = washers
    return list(ways.values())


def _judged(
    washers: tuple[Washer, ...], room: float, spread: float, limits: tuple[float, float]
) -> tuple[float, float, float]:
    """Float, chance of being inside and cost, by the textbook."""
    left = room - sum(washer.thickness for washer in washers)
    u = math.sqrt((spread / 2) ** 2 + sum(washer.tolerance**2 / 3 for washer in washers))
    if u == 0:
        chance = 1.0 if limits[0] - 1e-9 <= left <= limits[1] + 1e-9 else 0.0
    else:
        normal = NormalDist(left, u)
        chance = normal.cdf(limits[1]) - normal.cdf(limits[0])
    return left, round(chance, 6), sum(washer.price for washer in washers)


@settings(max_examples=300)
@given(
    shelf=SHELF,
    places=PLACES,
    room=st.integers(95, 420).map(lambda n: n / 100),
    spread=st.sampled_from([0.0, 0.01, 0.06]),
    limits=st.tuples(st.integers(0, 20), st.integers(0, 15)).map(lambda n: (n[0] / 100, (n[0] + n[1]) / 100)),
    threshold=st.sampled_from([None, 0.5, 0.95]),
)
def test_the_search_is_exact(
    *,
    shelf: list[Washer],
    places: int | list[str],
    room: float,
    spread: float,
    limits: tuple[float, float],
    threshold: float | None,
) -> None:
    found = end_float(
        gap=room + 20,
        stack=[20.0],
        gap_uncertainty=spread,
        target_min=limits[0],
        target_max=limits[1],
        washers=shelf,
        places=places,
        prefer="probability" if threshold is None else "cost",
        threshold=0.95 if threshold is None else threshold,
    )
    middle = sum(limits) / 2
    ways = [
        (*_judged(way, room, spread, limits), tuple(sorted(w.code for w in way)))
        for way in _every_way(shelf, places)
    ]
    inside = [way for way in ways if limits[0] - 1e-9 <= way[0] <= limits[1] + 1e-9]
    if threshold is not None and any(way[1] >= threshold for way in inside):
        cheap = [way for way in inside if way[1] >= threshold]
        best = min(
            cheap, key=lambda way: (way[2], -way[1], round(abs(way[0] - middle), 6), way[3]), default=None
        )
    else:
        best = min(
            inside, key=lambda way: (-way[1], round(abs(way[0] - middle), 6), way[2], way[3]), default=None
        )
    assert found.shim_change_mm == pytest.approx(room - middle)
    if best is None:
        assert found.choice == ()
        assert found.float_mm is None
        if ways:
            nearest = min(round(abs(way[0] - middle), 6) for way in ways)
            assert abs(found.others[0].float_mm - middle) == pytest.approx(nearest, abs=2e-6)
        assert any("Nothing in the list" in text or "does not fill" in text for text in found.cautions)
        return
    assert found.float_mm == pytest.approx(best[0])
    assert found.probability == pytest.approx(best[1], abs=2e-6)
    assert found.cost == pytest.approx(best[2])
    # Six-digit ties may be told apart by the last bit of either calculation, so codes only where it is alone.
    alike = [
        w for w in inside if abs(w[1] - best[1]) < 3e-6 and abs(w[0] - best[0]) < 3e-6 and w[2] == best[2]
    ]
    assert tuple(sorted(found.choice)) in {way[3] for way in alike}
    assert len(found.others) == min(len(inside) - 1, 5)
    if isinstance(places, list):
        by_code = {washer.code: washer for washer in shelf}
        for code, place in zip(found.choice, places, strict=True):
            assert by_code[code].place in {None, place}


@given(SHELF, st.floats(0.001, 0.05), st.floats(0.001, 0.05))
def test_a_better_gauge_never_makes_the_middle_less_likely(
    shelf: list[Washer], one: float, two: float
) -> None:
    for washer in shelf:
        chance = [
            end_float(
                gap=washer.thickness + 0.2,
                gap_uncertainty=spread,
                target_min=0.15,
                target_max=0.25,
                washers=[Washer("only", washer.thickness, washer.tolerance)],
            ).probability
            for spread in sorted((one, two))
        ]
        assert chance[0] >= chance[1]


def test_a_trial_with_known_washers_is_the_same_as_the_gap() -> None:
    shelf = [Washer("A", 1.0), Washer("B", 1.1), Washer("C", 1.2), Washer("D", 1.3)]
    limits: dict[str, Any] = {"target_min": 0.1, "target_max": 0.2}
    by_trial = end_float(trial_float=0.32, stack=[1.0, 1.1], washers=shelf, places=2, **limits)
    by_gap = end_float(gap=2.42, washers=shelf, places=2, **limits)
    assert by_trial.choice == by_gap.choice == ("A", "D")
    assert by_trial.float_mm == pytest.approx(0.12)
    # 0.17 more than was in puts the float in the middle.
    assert by_trial.shim_change_mm == pytest.approx(0.17)
    assert [one.choice for one in by_trial.others] == [("B", "C")]


def test_intervals_by_hand() -> None:
    found = end_float(
        gap=50.0,
        gap_uncertainty=0.03,
        stack=[(40.0, 0.04), 8.7],
        washers=[Washer("A", 1.1, 0.012)],
        target_min=0.1,
        target_max=0.3,
    )
    assert found.float_mm == pytest.approx(0.2)
    assert (found.float_min_mm, found.float_max_mm) == pytest.approx((0.2 - 0.082, 0.2 + 0.082))
    half = math.sqrt(0.03**2 + 0.04**2 + 0.012**2)
    assert (found.rss_min_mm, found.rss_max_mm) == pytest.approx((0.2 - half, 0.2 + half))
    u = math.sqrt(0.015**2 + 0.02**2 + 0.012**2 / 3)
    assert found.probability == pytest.approx(1 - 2 * NormalDist().cdf(-0.1 / u), abs=1e-6)


def test_what_is_needed_is_said_when_nothing_fits() -> None:
    found = end_float(
        gap=1.6, target_min=0.1, target_max=0.2, washers=[Washer("A", 1.0), Washer("B", 1.2)], places=1
    )
    assert found.choice == ()
    assert found.probability == 0
    assert found.shim_change_mm == pytest.approx(1.45)
    words = " ".join(found.cautions)
    assert "1.450 mm more" in words
    assert "B, would have to be 0.250 mm thicker" in words
    assert found.others[0].choice == ("B",)


def test_too_few_washers_for_the_places() -> None:
    found = end_float(
        gap=2.3, target_min=0.1, target_max=0.2, washers=[Washer("A", 1.0)], places=["front", "rear"]
    )
    assert found.choice == ()
    assert found.others == ()
    assert any("does not fill the places" in text for text in found.cautions)


def test_the_cheapest_of_the_likely_ones_or_the_likeliest() -> None:
    shelf = [Washer("cheap", 1.04, 0.01, price=1), Washer("right", 1.0, 0.01, price=9)]
    case: dict[str, Any] = {
        "gap": 1.15,
        "gap_uncertainty": 0.02,
        "target_min": 0.1,
        "target_max": 0.2,
        "washers": shelf,
    }
    assert end_float(**case).choice == ("right",)
    assert end_float(**case, prefer="cost", threshold=0.7).choice == ("cheap",)
    assert end_float(**case, prefer="cost", threshold=0.99).choice == ("right",)
    unsure = end_float(**{**case, "gap_uncertainty": 0.2}, prefer="cost")
    assert unsure.choice == ("right",)
    assert any("likeliest" in text for text in unsure.cautions)


def test_a_preload_is_explained_and_refused() -> None:
    with pytest.raises(PreloadByTorque, match="rolling torque"):
        end_float(setting="preload", gap=1, target_min=0, target_max=0.1, washers=[])


@pytest.mark.parametrize(
    "changes",
    [
        {"setting": "tight"},
        {"gap": None},
        {"trial_float": 0.1},
        {"gap": math.nan},
        {"gap": -1.0},
        {"target_min": 0.3},
        {"gap_uncertainty": -0.1},
        {"threshold": 1.5},
        {"prefer": "speed"},
        {"places": 13},
        {"places": -1},
        {"places": ["front", "front"]},
        {"washers": [Washer("A", 1.0), Washer("A", 1.1)]},
        {"washers": [Washer("A", -1.0)]},
        {"washers": [Washer("A", 1.0, count=-1)]},
        {"washers": [Washer("A", 1.0, tolerance=math.inf)]},
        {"stack": [math.inf]},
        {"stack": [(1.0, -0.1)]},
    ],
    ids=str,
)
def test_bad_input_is_refused(changes: dict[str, Any]) -> None:
    case: dict[str, Any] = {"gap": 1.2, "target_min": 0.1, "target_max": 0.2, "washers": [Washer("A", 1.05)]}
    assert end_float(**case).choice == ("A",)
    with pytest.raises((Refused, OutOfRange)):
        end_float(**{**case, **changes})


def test_a_search_that_is_too_long_is_refused_rather_than_cut_short() -> None:
    shelf = [Washer(f"W{n}", 1 + n / 1000, count=9) for n in range(200)]
    with pytest.raises(OutOfRange, match="fewer kinds or places"):
        end_float(gap=8.9, target_min=0, target_max=2, washers=shelf, places=8)


def test_a_full_drawer_is_searched_exactly() -> None:
    shelf = [Washer(f"W{n:02}", 1 + n / 100, count=2) for n in range(40)]
    found = end_float(gap=2.54, target_min=0.10, target_max=0.14, washers=shelf, places=2)
    # 2.42 mm is wanted; of all the pairs that give it this one comes first by code.
    assert found.choice == ("W03", "W39")
    assert found.float_mm == pytest.approx(0.12)
