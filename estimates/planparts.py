"""How a plan's problem falls apart into parts that nothing ties together.

Slots hang together only through what can bind: a stack that some choice could break, a resource of which
more is wanted than is free, a bond, a demand or a ban. Each part is solved alone, which is exact because
costs and risks add up and the longest wait is a common cap.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from estimates.planproblem import Bond, Option, Problem, Stack


@dataclass(frozen=True, slots=True)
class Row:
    """``low <= sum of coefficient times option <= high``; ``demand`` says which demand it belongs to."""

    demand: tuple[str, str]
    coefficients: dict[int, int]
    low: float
    high: float


@dataclass(slots=True)
class Part:
    """Slots that hang together, their options in code order, and the rows between them."""

    slots: list[str]
    options: list[Option]
    bonds: list[Bond]
    rows: list[Row] = field(default_factory=list)
    blocked: dict[int, list[tuple[str, str]]] = field(default_factory=dict)

    def filling(self, slot: str) -> list[int]:
        return [index for index, option in enumerate(self.options) if slot in option.slots]


def parted(bond: Bond, chosen: Iterable[Option]) -> bool:
    """Whether the pieces in a bond's slots did not all run in one unit; new parts count as one unit."""
    return len({option.ran_with for option in chosen for slot in option.slots if slot in bond.slots}) > 1


def split(problem: Problem) -> list[Part]:
    """The parts of a problem, in the order of their first slot's name, whatever order it was typed in."""
    options = sorted(problem.options, key=lambda option: option.code)
    rows, blocked = _rows(problem, options)
    parent = {slot: slot for slot in problem.slots}

    def root(slot: str) -> str:
        while parent[slot] != slot:
            slot = parent[slot]
        return slot

    def join(slots: Sequence[str]) -> None:
        for slot in slots[1:]:
            first, second = sorted((root(slots[0]), root(slot)))
            parent[second] = first

    for option in options:
        join(option.slots)
    for bond in problem.bonds:
        join(bond.slots)
    for row in rows:
        join([options[index].slot for index in row.coefficients])
    groups: dict[str, list[str]] = defaultdict(list)
    for slot in sorted(problem.slots):
        groups[root(slot)].append(slot)
    parts = []
    for key in sorted(groups):
        inside = [index for index, option in enumerate(options) if root(option.slot) == key]
        place = {index: at for at, index in enumerate(inside)}
        part = Part(
            groups[key],
            [options[index] for index in inside],
            sorted((b for b in problem.bonds if b.slots and root(b.slots[0]) == key), key=lambda b: b.code),
        )
        part.rows = [
            Row(row.demand, {place[i]: value for i, value in row.coefficients.items()}, row.low, row.high)
            for row in rows
            if next(iter(row.coefficients)) in place
        ]
        part.blocked = {place[index]: why for index, why in blocked.items() if index in place}
        parts.append(part)
    return parts


def _rows(problem: Problem, options: list[Option]) -> tuple[list[Row], dict[int, list[tuple[str, str]]]]:
    at = {option.code: index for index, option in enumerate(options)}
    rows: list[Row] = []
    blocked: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for stack in sorted(problem.stacks, key=lambda stack: stack.code):
        rows += _stack_rows(stack, options)
    for resource in sorted({key for option in options for key in option.uses}):
        free, wanted = problem.free.get(resource, 0), {}
        for index, option in enumerate(options):
            quantity = option.uses.get(resource, 0)
            if quantity > free:
                blocked[index].append(("resource", resource))
            elif quantity:
                wanted[index] = quantity
        if wanted and sum(wanted.values()) > free:
            rows.append(Row(("resource", resource), wanted, -float("inf"), free))
    for index, option in enumerate(options):
        for other in sorted(set(option.rules_out)):
            rows.append(Row(("ban", f"{option.code}\0{other}"), _pair(index, 1, at[other], 1), 0, 1))
        for other in sorted(set(option.fixed) - {option.code}):
            rows.append(
                Row(("need", f"{option.code}\0{other}"), _pair(index, -1, at[other], 1), 0, float("inf"))
            )
    return rows, blocked


def _pair(first: int, a: int, second: int, b: int) -> dict[int, int]:
    return {first: a + b} if first == second else {first: a, second: b}


def _stack_rows(stack: Stack, options: list[Option]) -> list[Row]:
    """The one or two rows of a stack that some choice could break."""
    features = [feature for feature, _ in stack.terms]
    inside = [i for i, option in enumerate(options) if any(option.states(feature) for feature in features)]
    shares = {index: stack.share(options[index]) for index in inside}
    low, high = stack.limits()
    rows = []
    for limit, end, sign in ((low, 0, 1), (high, 1, -1)):
        if limit is None:
            continue
        # Turned so that both ends read "at least": an upper limit is the lower limit of the negated sum.
        values = {index: sign * share[end] for index, share in shares.items() if share is not None}
        row = _at_least(sign * limit, values, inside, options)
        if row is not None:
            rows.append(Row(("stack", stack.code), row[0], row[1], float("inf")))
    return rows


def _at_least(
    limit: int, values: dict[int, int], inside: list[int], options: list[Option]
) -> tuple[dict[int, int], int] | None:
    """Coefficients above each slot's least share, and the limit less those shares; None if nothing breaks it.

    An option that is not measured lifts the whole shortfall, exactly: the stack is then not enforced.
    """
    least: dict[str, int] = {}
    for index, value in values.items():
        if not options[index].also_fills:
            slot = options[index].slot
            least[slot] = min(least.get(slot, value), value)
    row = {i: value - sum(least.get(slot, 0) for slot in options[i].slots) for i, value in values.items()}
    shortfall = limit - sum(least.values())
    # Only a kit, which stands in several slots, can be below zero.
    lift = shortfall - sum(min(0, coefficient) for coefficient in row.values())
    if lift <= 0:
        return None
    return {index: row.get(index, lift) for index in inside}, shortfall
