"""What the planner is held to: every choice counted out, and scipy's own linear rows.

Both are written from the meaning of a problem and share no line with the planner's model. Sizes are exact
fractions here, so the planner's tenths of a micrometre are checked too (test sizes are whole micrometres).
"""

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from estimates.planning import Aim, Option, Problem, Stack

Key = tuple[int, ...]


def every_choice(problem: Problem) -> Iterator[dict[str, Option]]:
    """Each way to fill every slot once that breaks nothing, as slot -> option."""
    ways = [[option for option in problem.options if slot in option.slots] for slot in problem.slots]
    for combination in itertools.product(*ways):
        chosen = dict(zip(problem.slots, combination, strict=True))
        options = {option.code: option for option in combination}.values()
        filled = [slot for option in options for slot in option.slots]
        if len(filled) == len(problem.slots) and allowed(problem, list(options)):
            yield chosen


def allowed(problem: Problem, options: list[Option]) -> bool:
    used: Counter[str] = Counter()
    for option in options:
        used.update(option.uses)
    codes = {option.code for option in options}
    return (
        all(quantity <= problem.free.get(key, 0) for key, quantity in used.items())
        and not any(codes.intersection(option.rules_out) for option in options)
        and all(codes.issuperset(option.fixed) for option in options)
        and all(fits(stack, options) for stack in problem.stacks)
    )


def fits(stack: Stack, options: list[Option]) -> bool:
    low = high = Fraction(0)
    for feature, factor in stack.terms:
        if any(feature in option.unknown for option in options):
            return True
        span = next(option.features[feature] for option in options if feature in option.features)
        ends = (span.lower_mm, span.upper_mm) if stack.worst_case else (span.nominal_mm, span.nominal_mm)
        shares = [factor * Fraction(str(end)) for end in ends]
        low, high = low + min(shares), high + max(shares)
    guard = Fraction(0) if stack.worst_case else Fraction(str(stack.guard_mm))
    return (stack.min_mm is None or low >= Fraction(str(stack.min_mm)) + guard) and (
        stack.max_mm is None or high <= Fraction(str(stack.max_mm)) - guard
    )


def cost(problem: Problem, chosen: dict[str, Option]) -> int:
    parted = [b.penalty_minor for b in problem.bonds if len({chosen[s].ran_with for s in b.slots}) > 1]
    return sum(option.cost_minor for option in taken(chosen)) + sum(parted)


def units(risk: float) -> int:
    return round(-math.log(1 - risk) * 10_000)


def soundness(problem: Problem, chosen: dict[str, Option], *, bonds: bool) -> int:
    parted = [units(b.penalty_risk) for b in problem.bonds if len({chosen[s].ran_with for s in b.slots}) > 1]
    return sum(units(option.risk) for option in taken(chosen)) + (sum(parted) if bonds else 0)


def taken(chosen: dict[str, Option]) -> list[Option]:
    return list({option.code: option for option in chosen.values()}.values())


def wait(chosen: dict[str, Option]) -> int:
    return max(option.days for option in chosen.values())


def key(problem: Problem, aim: Aim, chosen: dict[str, Option]) -> Key:
    """The aim's tiers in their order."""
    money, days = cost(problem, chosen), wait(chosen)
    risk = soundness(problem, chosen, bonds=False)
    return {
        Aim.LEAST_COST: (money, days, risk),
        Aim.SOONEST: (days, money, risk),
        Aim.SOUNDEST: (soundness(problem, chosen, bonds=True), money, days),
    }[aim]


def codes(chosen: dict[str, Option]) -> tuple[str, ...]:
    return tuple(chosen[slot].code for slot in sorted(chosen))


def milp_least_cost(problem: Problem) -> int | None:
    """The least cost by scipy.optimize.milp, without bonds, kits, demands and unmeasured features.

    scipy carries a HiGHS of its own, in another version and reached another way; rows are in plain mm.
    """
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp

    assert not problem.bonds
    count = len(problem.options)
    rows: list[tuple[list[float], float, float]] = [
        ([float(slot == option.slot) for option in problem.options], 1, 1) for slot in problem.slots
    ]
    for resource in sorted({name for option in problem.options for name in option.uses}):
        used = [float(option.uses.get(resource, 0)) for option in problem.options]
        rows.append((used, -np.inf, problem.free.get(resource, 0)))
    for at, option in enumerate(problem.options):
        for code in option.rules_out:
            rows.append(([float(n == at or o.code == code) for n, o in enumerate(problem.options)], 0, 1))
    for stack in problem.stacks:
        for end, limit, sign in ((min, stack.min_mm, 1), (max, stack.max_mm, -1)):
            if limit is not None:
                share = [
                    sum(
                        end(k * o.features[f].lower_mm, k * o.features[f].upper_mm)
                        for f, k in stack.terms
                        if f in o.features
                    )
                    for o in problem.options
                ]
                rows.append(([sign * value for value in share], sign * limit - 1e-6, np.inf))
    matrix, low, high = (np.array(column) for column in zip(*rows, strict=True))
    result = milp(
        [option.cost_minor for option in problem.options],
        constraints=LinearConstraint(matrix, low, high),
        integrality=np.ones(count),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0},
    )
    return None if result.x is None else round(result.fun)
