"""The planner on cases small enough to follow by hand, and its words. Figures are invented."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from estimates.planning import (
    Aim,
    BadProblem,
    Beaten,
    Bond,
    Kind,
    NoPlan,
    Option,
    Plan,
    Problem,
    Span,
    Stack,
    solve,
)
from tests.estimates.boxes import invented_box


def size(lower: float, nominal: float, upper: float) -> Span:
    return Span(lower, nominal, upper)


CASING = Option(
    "C-own", "casing", "own", "own casing", 0, risk=0.02, features={"bore": size(60.00, 60.01, 60.02)}
)
SHAFT_OWN = Option(
    "S-own", "shaft", "own", "own layshaft", 0, features={"length": size(57.50, 57.51, 57.52)}, ran_with="own"
)
SHAFT_NEW = Option(
    "S-new", "shaft", "new", "new layshaft", 9800, days=5, features={"length": size(57.78, 57.80, 57.82)}
)
WASHERS = tuple(
    Option(
        f"W-{tenths}",
        "washer",
        "lot",
        f"washer {tenths / 10:.2f}",
        cost,
        uses={f"washer {tenths}": 1},
        features={"thickness": size(tenths / 10 - 0.01, tenths / 10, tenths / 10 + 0.01)},
    )
    for tenths, cost in ((20, 300), (22, 340), (24, 380))
)
FLOAT = Stack("float", "layshaft end float", (("bore", 1), ("length", -1), ("thickness", -1)), 0.10, 0.40)
LAYSHAFT = Problem(
    ("casing", "shaft", "washer"),
    (CASING, SHAFT_OWN, SHAFT_NEW, *WASHERS),
    (FLOAT,),
    free={"washer 20": 3, "washer 22": 1, "washer 24": 2},
)


def taken(plan: Plan) -> list[str]:
    return [choice.option.code for choice in plan.choices]


def beat(plan: Plan, slot: str) -> tuple[Beaten, ...]:
    return next(choice.beat for choice in plan.choices if choice.slot == slot)


def test_worked_end_float() -> None:
    """By hand. End float = bore − length − thickness, to lie from 0.10 to 0.40 mm at its worst.

    Own shaft: 60.00 − 57.52 = 2.48 at least, 60.02 − 57.50 = 2.52 at most.
      washer 2.00 (1.99 to 2.01): 2.48 − 2.01 = 0.47 to 2.52 − 1.99 = 0.53: over 0.40
      washer 2.20 (2.19 to 2.21): 0.27 to 0.33: inside, 0.07 to spare at the top
      washer 2.40 (2.39 to 2.41): 0.07 to 0.13: under 0.10
    New shaft: 60.00 − 57.82 = 2.18 to 60.02 − 57.78 = 2.24.
      washer 2.00: 0.17 to 0.25: inside; 2.20: −0.03 to 0.05: under; 2.40: under
    Least cost: own shaft and washer 2.20 = 0 + 0 + 3.40. Beside it: new shaft and washer 2.00 = 98.00 + 3.00
    = 101.00, which is 97.60 more and 5 days later.
    """
    plan = solve(LAYSHAFT, Aim.LEAST_COST, beats="all")
    assert taken(plan) == ["C-own", "S-own", "W-22"]
    assert (plan.cost_minor, plan.parting_minor, plan.days, plan.status) == (340, 0, 0, "solved")
    assert plan.risk == pytest.approx(0.02)
    [total] = plan.stacks
    assert (total.lower_mm, total.upper_mm) == pytest.approx((0.27, 0.33))
    assert total.margin_mm == pytest.approx(0.07)
    assert beat(plan, "casing") == ()
    assert beat(plan, "shaft") == (
        Beaten("S-new", "new layshaft", 9760, 5, "costs 97.60 more, 5 days later"),
    )
    assert beat(plan, "washer") == (
        Beaten(
            "W-20", "washer 2.00", 9760, 5, "costs 97.60 more, 5 days later"
        ),  # with the new shaft it would do
        Beaten("W-24", "washer 2.40", None, None, "puts the layshaft end float at 0.07 mm, under 0.10"),
    )


def test_the_working_shows_the_sum_and_its_limits() -> None:
    plan = solve(LAYSHAFT, Aim.LEAST_COST)
    formulas = [step.formula for step in plan.working]
    assert formulas[0] == "cost = sum of the options = 3.40"
    assert formulas[-1] == "layshaft end float = + 1 × bore − 1 × length − 1 × thickness = 0.27 to 0.33 mm"
    assert plan.working[-1].source == "limits from 0.10 up to 0.40 mm"
    assert dict(plan.working[-1].inputs)["length"] == "57.50 to 57.52 mm, expected 57.51"


def test_no_washer_free_makes_the_dearer_shaft_the_plan() -> None:
    plan = solve(replace(LAYSHAFT, free={"washer 20": 3}), Aim.LEAST_COST, beats="all")
    assert taken(plan) == ["C-own", "S-new", "W-20"]
    assert (plan.cost_minor, plan.days) == (10_100, 5)
    assert [(b.option, b.why) for b in beat(plan, "washer")] == [
        ("W-22", "none free"),
        ("W-24", "none free"),
    ]
    assert beat(plan, "shaft")[0].why == "puts the layshaft end float at 0.53 mm, over 0.40"


def test_no_plan_names_only_what_clashes_in_the_shops_words() -> None:
    lid = Option("L", "lid", "own", "own lid", 0)
    problem = replace(
        LAYSHAFT,
        slots=(*LAYSHAFT.slots, "lid"),
        options=(CASING, SHAFT_OWN, *WASHERS, lid),
        free={"washer 20": 1, "washer 24": 1},
        titles={
            "shaft": "Layshaft",
            "washer": "Front washer",
            "casing": "Casing",
            "washer 22": "washer 2.20",
        },
    )
    with pytest.raises(NoPlan) as caught:
        solve(problem, Aim.SOUNDEST)
    assert set(caught.value.lines) >= {
        "layshaft end float from 0.10 up to 0.40 mm",
        "Front washer filled by one of its options",
        "washer 2.20: none free",
    }
    assert not any("lid" in line for line in caught.value.lines)
    for sort, name in caught.value.demands:  # irreducible: without any one of these there is a plan
        eased = problem
        if sort == "stack":
            eased = replace(problem, stacks=())
        elif sort == "resource":
            eased = replace(problem, free={**problem.free, name: 1})
        else:
            continue
        assert solve(eased, Aim.SOUNDEST).status == "solved"


def test_a_slot_without_options_is_said_to_have_none() -> None:
    with pytest.raises(NoPlan, match="Lid filled, and it has no option"):
        solve(Problem(("lid",), (), titles={"lid": "Lid"}), Aim.SOONEST)


def test_one_piece_serves_one_slot() -> None:
    """One used wheel for two places: it goes where it saves more (90 − 20 = 70 against 50 − 20 = 30)."""
    options = [
        Option(f"{kind}-{slot}", slot, kind, f"{kind} for {slot}", cost, uses=uses)
        for slot, new in (("second", 9000), ("third", 5000))
        for kind, cost, uses in _new_and_used(new)
    ]
    problem = Problem(
        ("second", "third"), tuple(options), free={"piece 17": 1}, titles={"piece 17": "Piece 17"}
    )
    plan = solve(problem, Aim.LEAST_COST, beats="all")
    assert taken(plan) == ["used-second", "new-third"]
    assert plan.cost_minor == 7000
    # With the used one at third: 9000 + 2000 = 110.00, 40.00 more than 70.00.
    assert beat(plan, "third") == (Beaten("used-third", "used for third", 4000, 0, "costs 40.00 more"),)


def _new_and_used(new: int) -> tuple[tuple[Kind, int, dict[str, int]], ...]:
    return ("new", new, {}), ("used", 2000, {"piece 17": 1})


def wheels(penalty: int, risk: float = 0.03) -> Problem:
    """Third pair: both own wheels ran together; the own second wheel costs more to keep than a used one."""
    options = (
        Option("A-own", "wheel", "own", "own wheel", 0, risk=0.01, ran_with="own"),
        Option("B-own", "mate", "reworked", "own mate, reworked", 5000, risk=0.02, ran_with="own"),
        Option("B-used", "mate", "used", "used mate", 3000, risk=0.01, ran_with="donor 3"),
    )
    return Problem(
        ("wheel", "mate"), options, bonds=(Bond("b3", "third pair", ("wheel", "mate"), penalty, risk),)
    )


def test_parting_costs_its_penalty_under_least_cost() -> None:
    """Parted: 30.00 + penalty; kept: 50.00. A penalty of 15.00 parts them, 25.00 keeps them together."""
    apart = solve(wheels(1500), Aim.LEAST_COST)
    assert (taken(apart), apart.cost_minor, apart.parting_minor) == (["A-own", "B-used"], 3000, 1500)
    assert apart.parted == ("b3",)
    kept = solve(wheels(2500), Aim.LEAST_COST)
    assert (taken(kept), kept.cost_minor, kept.parting_minor) == (["A-own", "B-own"], 5000, 0)
    [rival] = beat(kept, "mate")
    assert (rival.extra_minor, rival.why) == (500, "costs 5.00 more, parts third pair, less likely to fail")


def test_parting_costs_soundness_under_soundest() -> None:
    """Mate kept: −ln 0.98 = 0.0202. Parted: −ln 0.99 − ln 0.97 = 0.0101 + 0.0305 = 0.0406, or 0.0101 if
    parting carries no risk.
    """
    assert taken(solve(wheels(0, 0.03), Aim.SOUNDEST)) == ["A-own", "B-own"]
    assert taken(solve(wheels(0, 0.0), Aim.SOUNDEST)) == ["A-own", "B-used"]


def test_three_aims_choose_differently() -> None:
    """Cheap and slow, quick and dear, sound and dearest: each aim takes its own."""
    options = (
        Option("cheap", "seal", "donor", "from a donor", 1000, days=9, risk=0.05),
        Option("quick", "seal", "lot", "from the shelf", 2000, days=0, risk=0.04),
        Option("sound", "seal", "new", "new", 3000, days=2, risk=0.01),
    )
    problem = Problem(("seal",), options)
    assert {aim: taken(solve(problem, aim)) for aim in Aim} == {
        Aim.LEAST_COST: ["cheap"],
        Aim.SOONEST: ["quick"],
        Aim.SOUNDEST: ["sound"],
    }
    [rival] = beat(solve(problem, Aim.SOONEST), "seal")
    assert (rival.option, rival.extra_minor, rival.extra_days) == ("sound", 1000, 2)
    assert rival.why == "2 days later, costs 10.00 more, less likely to fail"


def test_a_longer_wait_lets_the_other_slots_save() -> None:
    """Soonest. Plan: A quick (0 days, 10.00) and B quick (0 days, 50.00) = 60.00.

    With A slow forced (4 days, 12.00) the wait is 4 days anyway, so B may come from the supplier
    (3 days, 20.00): 32.00, which is 28.00 less and 4 days later.
    """
    options = (
        Option("A-quick", "a", "lot", "a, shelf", 1000),
        Option("A-slow", "a", "new", "a, ordered", 1200, days=4),
        Option("B-quick", "b", "lot", "b, shelf", 5000),
        Option("B-slow", "b", "new", "b, ordered", 2000, days=3),
    )
    plan = solve(Problem(("a", "b"), options), Aim.SOONEST, beats="all")
    assert (taken(plan), plan.cost_minor, plan.days) == (["A-quick", "B-quick"], 6000, 0)
    assert beat(plan, "a") == (Beaten("A-slow", "a, ordered", -2800, 4, "4 days later, costs 28.00 less"),)


def test_ties_go_to_fewer_days_then_lower_risk_then_code() -> None:
    same = Option("m", "seal", "new", "", 500, days=3, risk=0.02)
    assert taken(solve(_seals(same, replace(same, code="z", days=2)), Aim.LEAST_COST)) == ["z"]
    assert taken(solve(_seals(same, replace(same, code="z", risk=0.01)), Aim.LEAST_COST)) == ["z"]
    plan = solve(_seals(same, replace(same, code="a")), Aim.LEAST_COST)
    assert taken(plan) == ["a"]
    assert beat(plan, "seal")[0].why == "as good, later by its code"


def _seals(*options: Option) -> Problem:
    return Problem(("seal",), options)


def test_a_kit_fills_several_slots_and_is_paid_once() -> None:
    """Gasket 8.00 and seal 7.00 are 15.00, the kit 12.00; with a gasket for nothing the seal is 7.00."""
    kit = Option("kit", "gasket", "kit", "gasket kit", 1200, also_fills=("seal",))
    gasket = Option("g", "gasket", "new", "gasket", 800)
    seal = Option("s", "seal", "new", "seal", 700)
    problem = Problem(("gasket", "seal"), (kit, gasket, seal))
    plan = solve(problem, Aim.LEAST_COST)
    assert (taken(plan), plan.cost_minor) == (["kit", "kit"], 1200)
    assert beat(plan, "seal") == (Beaten("s", "seal", 300, 0, "costs 3.00 more"),)
    cheap = replace(problem, options=(kit, replace(gasket, cost_minor=0), seal))
    assert taken(solve(cheap, Aim.LEAST_COST)) == ["g", "s"]


def test_bans_and_demands_between_options() -> None:
    sleeve = Option("sleeve", "bore", "reworked", "sleeved bore", 1000, rules_out=("big",))
    plain = Option("plain", "bore", "new", "new casing", 9000)
    small = Option("small", "shaft", "new", "standard shaft", 4000)
    big = Option("big", "shaft", "lot", "oversize shaft", 1000)
    problem = Problem(("bore", "shaft"), (sleeve, plain, small, big))
    plan = solve(problem, Aim.LEAST_COST, beats="all")
    assert (taken(plan), plan.cost_minor) == (["sleeve", "small"], 5000)
    assert beat(plan, "shaft")[0].extra_minor == 5000  # big goes with the new casing only: 90.00 + 10.00
    only = replace(problem, options=(sleeve, small, big))
    assert beat(solve(only, Aim.LEAST_COST, beats="all"), "shaft")[0].why == "cannot go with sleeved bore"
    wanting = replace(problem, options=(replace(sleeve, fixed=("big",), rules_out=()), plain, small, big))
    assert taken(solve(wanting, Aim.LEAST_COST)) == ["sleeve", "big"]


def test_measure_first_makes_the_plan_provisional_and_leaves_the_stack_open() -> None:
    unmeasured = Option(
        "S-open", "shaft", "measure first", "own layshaft, measure it", 0, unknown=("length",)
    )
    problem = replace(LAYSHAFT, options=(CASING, unmeasured, *WASHERS))
    plan = solve(problem, Aim.LEAST_COST)
    assert plan.provisional
    assert taken(plan) == ["C-own", "S-open", "W-20"]  # the cheapest washer: nothing holds it yet
    assert (plan.stacks[0].enforced, plan.stacks[0].lower_mm, plan.stacks[0].margin_mm) == (False, None, None)
    assert plan.working[-1].formula.endswith("not measured yet")
    assert not solve(LAYSHAFT, Aim.LEAST_COST).provisional


def test_a_stack_may_be_held_by_its_nominal_sum_and_a_guard() -> None:
    """Nominal 60.01 − 57.51 − 2.20 = 0.30. Limits 0.10 to 0.31: worst case 0.33 is over; nominal passes
    with a guard of 0.01 (0.30 ≤ 0.30) and not with 0.02.
    """
    tight = replace(FLOAT, max_mm=0.31)
    options = (CASING, SHAFT_OWN, WASHERS[1])
    with pytest.raises(NoPlan):
        solve(replace(LAYSHAFT, options=options, stacks=(tight,)), Aim.LEAST_COST)
    nominal = replace(tight, worst_case=False, guard_mm=0.01)
    plan = solve(replace(LAYSHAFT, options=options, stacks=(nominal,)), Aim.LEAST_COST)
    assert (plan.stacks[0].lower_mm, plan.stacks[0].margin_mm) == pytest.approx((0.30, 0.0))
    with pytest.raises(NoPlan):
        solve(replace(LAYSHAFT, options=options, stacks=(replace(nominal, guard_mm=0.02),)), Aim.LEAST_COST)


def test_a_sum_exactly_on_its_limit_is_inside() -> None:
    """0.1 + 0.2 is 0.30000000000000004 in floats and 0.3 in the shop."""
    options = tuple(
        Option(name, name, "own", name, 0, features={name: size(value, value, value)})
        for name, value in (("a", 0.1), ("b", 0.2))
    )
    stack = Stack("s", "sum", (("a", 1), ("b", 1)), 0.3, 0.3)
    plan = solve(Problem(("a", "b"), options, (stack,)), Aim.LEAST_COST)
    assert plan.stacks[0].margin_mm == 0


@pytest.mark.parametrize(
    ("problem", "words"),
    [
        (replace(LAYSHAFT, options=(CASING, CASING)), "option C-own is given more than once"),
        (replace(LAYSHAFT, slots=("casing",), stacks=()), "not slots of this problem"),
        (
            replace(LAYSHAFT, options=(replace(CASING, rules_out=("X",)),), stacks=()),
            "which is not an option",
        ),
        (
            replace(LAYSHAFT, options=(CASING, SHAFT_OWN, replace(SHAFT_NEW, features={}), *WASHERS)),
            "length must be stated, or called unknown",
        ),
        (
            replace(LAYSHAFT, bonds=(Bond("b", "b", ("lid",)),)),
            "names a slot that this problem does not have",
        ),
    ],
)
def test_a_problem_that_contradicts_itself_says_where(problem: Problem, words: str) -> None:
    with pytest.raises(BadProblem, match=words):
        solve(problem, Aim.LEAST_COST)


def test_values_out_of_range_are_refused_by_name() -> None:
    with pytest.raises(BadProblem, match="the risk is 1"):
        Option("x", "s", "new", "", 0, risk=1)
    with pytest.raises(BadProblem, match="cannot be under zero"):
        Option("x", "s", "new", "", 0, days=-1)
    with pytest.raises(BadProblem, match="is not one of own, reworked"):
        Option("x", "s", "borrowed", "", 0)  # type: ignore[arg-type]
    with pytest.raises(BadProblem, match="lower, nominal, upper"):
        Span(2.0, 1.0, 3.0)
    with pytest.raises(BadProblem, match="penalty must be 0 or more"):
        Bond("b", "b", ("s",), -1)


def test_nothing_reaches_standard_output(capfd: pytest.CaptureFixture[str]) -> None:
    solve(invented_box(1, slots=12, ways=4), Aim.LEAST_COST, beats="all")
    solve(LAYSHAFT, Aim.SOONEST)
    captured = capfd.readouterr()
    assert (captured.out, captured.err) == ("", "")


def test_a_fresh_process_prints_the_answer_alone() -> None:
    """The solver's banner waits in the C library's buffer until the process ends: so one is ended here."""
    program = (
        "import json; from tests.estimates.boxes import invented_box\n"
        "from estimates.planning import Aim, solve\n"
        "print(json.dumps(solve(invented_box(1, slots=12, ways=4), Aim.LEAST_COST).status))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == "solved"
    assert done.stderr == ""
