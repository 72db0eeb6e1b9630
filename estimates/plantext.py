"""A plan in the shop's words: its working, why an option did not do, which demands clash."""

from estimates.planproblem import Option, Problem, Span, Stack, StackSum, stack_sum
from shop.handbook.working import COMMON_PRACTICE, Step


def working(
    problem: Problem, options: list[Option], stacks: tuple[StackSum, ...], risk: float
) -> tuple[Step, ...]:
    """How the plan's cost, wait, risk and stacks come about, one line each."""
    cost = sum(option.cost_minor for option in options)
    days = max((option.days for option in options), default=0)
    costs = tuple((o.code, problem.money(o.cost_minor)) for o in options)
    steps = [
        Step(f"cost = sum of the options = {problem.money(cost)}", costs, "the options' own costs"),
        Step(
            f"longest wait = greatest of the options = {count(days, 'day')}",
            tuple((o.code, count(o.days, "day")) for o in options if o.days),
            "the options' own lead times",
        ),
        Step(
            f"chance that something fails = 1 − product of (1 − risk) = {risk:.4f}",
            tuple((o.code, f"{o.risk:g}") for o in options if o.risk),
            f"failures taken as independent: {COMMON_PRACTICE}",
        ),
    ]
    for stack, total in zip(problem.stacks, stacks, strict=True):
        formula = " ".join(f"{'+' if k > 0 else '−'} {abs(k)} × {feature}" for feature, k in stack.terms)
        known = {feature: span for option in options for feature, span in option.features.items()}
        ends = "not measured yet"
        if total.lower_mm is not None and total.upper_mm is not None:
            ends = f"{mm(total.lower_mm)} to {mm(total.upper_mm)} mm"
        steps.append(
            Step(
                f"{stack.title} = {formula} = {ends}",
                tuple((f, _span(known[f]) if f in known else "not measured") for f, _ in stack.terms),
                "limits " + _limits(stack),
            )
        )
    return tuple(steps)


def first_broken(problem: Problem, options: list[Option], option: Option) -> str:
    """The first thing that ``option`` breaks among ``options``, itself one of them."""
    for key, quantity in option.uses.items():
        if quantity > problem.free.get(key, 0):
            return "none free" if not problem.free.get(key, 0) else f"only {problem.free[key]} free"
    for stack in problem.stacks:
        total = stack_sum(stack, options)
        if any(option.states(feature) for feature, _ in stack.terms) and (text := _off(stack, total)):
            return text
    for key, quantity in option.uses.items():
        if sum(other.uses.get(key, 0) for other in options) > problem.free.get(key, 0) >= quantity:
            return f"{problem.title(key)} is wanted elsewhere"
    codes = {other.code for other in options}
    for other in options:
        if other.code in option.rules_out or option.code in other.rules_out:
            return f"cannot go with {other.label}"
    if missing := [o for o in problem.options if o.code in option.fixed and o.code not in codes]:
        return f"wants {missing[0].label} with it"
    return "nothing else here goes with it"


def _off(stack: Stack, total: StackSum) -> str:
    if total.margin_mm is None or total.margin_mm >= 0 or total.lower_mm is None or total.upper_mm is None:
        return ""
    guard = 0.0 if stack.worst_case else stack.guard_mm
    low = None if stack.min_mm is None else stack.min_mm + guard
    name = f"puts the {stack.title} at"
    if low is not None and total.lower_mm < low:
        return f"{name} {mm(total.lower_mm)} mm, under {mm(low)}"
    return f"{name} {mm(total.upper_mm)} mm, over {mm((stack.max_mm or 0.0) - guard)}"


def demand_text(problem: Problem, sort: str, name: str) -> str:
    """A demand of the model in the shop's words."""
    labels = {option.code: option.label for option in problem.options}
    if sort == "slot":
        if any(name in option.slots for option in problem.options):
            return f"{problem.title(name)} filled by one of its options"
        return f"{problem.title(name)} filled, and it has no option"
    if sort == "stack":
        stack = next(stack for stack in problem.stacks if stack.code == name)
        return f"{stack.title} {_limits(stack)}"
    if sort == "resource":
        free = problem.free.get(name, 0)
        return f"{problem.title(name)}: {f'only {free}' if free else 'none'} free"
    first, second = name.split("\0")
    if sort == "ban":
        return f"{labels[first]} not with {labels[second]}"
    return f"{labels[first]} only with {labels[second]}"


def _limits(stack: Stack) -> str:
    ends = [f"from {mm(stack.min_mm)}"] if stack.min_mm is not None else []
    ends += [f"up to {mm(stack.max_mm)}"] if stack.max_mm is not None else []
    return " ".join(ends) + " mm" if ends else "not limited"


def _span(span: Span) -> str:
    return f"{mm(span.lower_mm)} to {mm(span.upper_mm)} mm, expected {mm(span.nominal_mm)}"


def mm(value: float) -> str:
    """At least two decimals, at most four, no trailing noughts beyond the second."""
    whole, decimals = f"{value:.4f}".split(".")
    return f"{whole}.{decimals.rstrip('0').ljust(2, '0')}"


def count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
