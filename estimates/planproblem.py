"""The words in which a plan is asked for: slots, options, stacks, bonds, and what is free.

Pure data with its own checks. Lengths in mm at the door, in tenths of a micrometre (whole numbers) inside;
money in minor units; time in whole days; a risk is the chance of failing, 0 up to but not including 1.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, get_args

Kind = Literal["own", "reworked", "used", "lot", "new", "kit", "donor", "measure first"]
KINDS: tuple[str, ...] = get_args(Kind)
TENTHS_PER_MM = 10_000
RISK_UNITS = 10_000  # one unit is a ten-thousandth of -ln(1 - risk), about 0.01 % of failing


class Aim(StrEnum):
    LEAST_COST = "least cost"
    SOONEST = "soonest"
    SOUNDEST = "soundest"


class BadProblem(ValueError):
    """The problem contradicts itself; the message names the option, slot or stack and what to do."""


@dataclass(frozen=True, slots=True)
class Span:
    """What is known of one size [mm]: the limits it lies between, and the value to expect."""

    lower_mm: float
    nominal_mm: float
    upper_mm: float

    def __post_init__(self) -> None:
        if not -1e6 < self.lower_mm <= self.nominal_mm <= self.upper_mm < 1e6:
            raise BadProblem(
                f"A size must run lower, nominal, upper; "
                f"this one is {self.lower_mm}, {self.nominal_mm}, {self.upper_mm} mm."
            )


@dataclass(frozen=True, slots=True)
class Option:
    """One way to fill a slot. ``ran_with`` names the unit it ran in: a bond keeps those together."""

    code: str
    slot: str
    kind: Kind
    label: str
    cost_minor: int
    days: int = 0
    minutes: int = 0
    risk: float = 0.0
    uses: Mapping[str, int] = field(default_factory=dict)
    features: Mapping[str, Span] = field(default_factory=dict)
    unknown: tuple[str, ...] = ()
    rules_out: tuple[str, ...] = ()
    fixed: tuple[str, ...] = ()  # options that must be taken with this one
    also_fills: tuple[str, ...] = ()
    ran_with: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise BadProblem(f"Option {self.code}: the kind {self.kind!r} is not one of {', '.join(KINDS)}.")
        if not 0 <= self.risk < 1:
            raise BadProblem(f"Option {self.code}: the risk is {self.risk}; it must be from 0 to under 1.")
        if self.days < 0 or self.minutes < 0 or any(quantity < 0 for quantity in self.uses.values()):
            raise BadProblem(f"Option {self.code}: days, minutes and quantities cannot be under zero.")

    @property
    def slots(self) -> tuple[str, ...]:
        return (self.slot, *self.also_fills)

    @property
    def risk_units(self) -> int:
        return round(-math.log1p(-self.risk) * RISK_UNITS)

    def states(self, feature: str) -> bool:
        return feature in self.features or feature in self.unknown


@dataclass(frozen=True, slots=True)
class Stack:
    """A signed sum of features with limits [mm].

    ``worst_case``: the whole interval of the sum lies inside the limits. Otherwise the nominal sum lies
    inside them shrunk at both ends by ``guard_mm``.
    """

    code: str
    title: str
    terms: tuple[tuple[str, int], ...]
    min_mm: float | None = None
    max_mm: float | None = None
    guard_mm: float = 0.0
    worst_case: bool = True

    def limits(self) -> tuple[int | None, int | None]:
        """The limits in tenths of a micrometre, rounded inward."""
        guard = 0.0 if self.worst_case else self.guard_mm
        low = None if self.min_mm is None else tenths_up(self.min_mm + guard)
        high = None if self.max_mm is None else tenths_down(self.max_mm - guard)
        return low, high

    def share(self, option: Option) -> tuple[int, int] | None:
        """What one option adds to the lower and upper sum [tenths of a µm]; None if it is not measured."""
        if any(feature in option.unknown for feature, _ in self.terms):
            return None
        low = high = 0
        for feature, factor in self.terms:
            if (span := option.features.get(feature)) is None:
                continue
            if self.worst_case:
                ends = (factor * tenths_down(span.lower_mm), factor * tenths_up(span.upper_mm))
            else:
                ends = (factor * round(span.nominal_mm * TENTHS_PER_MM),) * 2
            low, high = low + min(ends), high + max(ends)
        return low, high


@dataclass(frozen=True, slots=True)
class Bond:
    """Slots whose pieces should stay with those that they ran with; parting them has a price and a risk."""

    code: str
    title: str
    slots: tuple[str, ...]
    penalty_minor: int = 0
    penalty_risk: float = 0.0

    def __post_init__(self) -> None:
        if self.penalty_minor < 0 or not 0 <= self.penalty_risk < 1:
            raise BadProblem(f"Bond {self.code}: the penalty must be 0 or more, its risk from 0 to under 1.")

    @property
    def risk_units(self) -> int:
        return round(-math.log1p(-self.penalty_risk) * RISK_UNITS)


@dataclass(frozen=True, slots=True)
class Problem:
    """``free``: the quantity of each resource that no other ticket holds; what is left out is not free."""

    slots: tuple[str, ...]
    options: tuple[Option, ...]
    stacks: tuple[Stack, ...] = ()
    bonds: tuple[Bond, ...] = ()
    free: Mapping[str, int] = field(default_factory=dict)
    titles: Mapping[str, str] = field(default_factory=dict)  # slot or resource -> how the shop calls it
    minor_digits: int = 2

    def title(self, key: str) -> str:
        return self.titles.get(key, key)

    def money(self, minor: int) -> str:
        return f"{minor / 10**self.minor_digits:.{self.minor_digits}f}"


@dataclass(frozen=True, slots=True)
class StackSum:
    """A stack with the chosen options in it [mm]; no sum when one of them is not measured yet."""

    code: str
    title: str
    lower_mm: float | None
    upper_mm: float | None
    min_mm: float | None
    max_mm: float | None
    margin_mm: float | None
    enforced: bool


def stack_sum(stack: Stack, options: Iterable[Option]) -> StackSum:
    """The stack with these options in it; every slot that it leans on must be filled."""
    shares = [
        share for o in options if any(o.states(f) for f, _ in stack.terms) for share in [stack.share(o)]
    ]
    known = [share for share in shares if share is not None]
    if len(known) < len(shares):
        return StackSum(stack.code, stack.title, None, None, stack.min_mm, stack.max_mm, None, False)
    lower, upper = sum(share[0] for share in known), sum(share[1] for share in known)
    low, high = stack.limits()
    margins = [*([] if low is None else [lower - low]), *([] if high is None else [high - upper])]
    margin = min(margins) / TENTHS_PER_MM if margins else None
    ends = (lower / TENTHS_PER_MM, upper / TENTHS_PER_MM)
    return StackSum(stack.code, stack.title, *ends, stack.min_mm, stack.max_mm, margin, True)


def tenths_down(mm: float) -> int:
    """Round down to a tenth of a micrometre; a float's own noise (under 0.1 nm) is not a reason to step."""
    return math.floor(mm * TENTHS_PER_MM + 1e-3)


def tenths_up(mm: float) -> int:
    return math.ceil(mm * TENTHS_PER_MM - 1e-3)


def check_problem(problem: Problem) -> None:
    """Raise :class:`BadProblem` when names dangle, repeat, or a stack's feature has no slot of its own."""
    _once("option", [option.code for option in problem.options])
    _once("slot", list(problem.slots))
    _once("stack", [stack.code for stack in problem.stacks])
    _once("bond", [bond.code for bond in problem.bonds])
    codes, slots = {option.code for option in problem.options}, set(problem.slots)
    for option in problem.options:
        if len(set(option.slots)) < len(option.slots) or not slots.issuperset(option.slots):
            raise BadProblem(
                f"Option {option.code} fills {', '.join(option.slots)}: not slots of this problem."
            )
        if missing := set(option.rules_out + option.fixed) - codes:
            raise BadProblem(
                f"Option {option.code} names {', '.join(sorted(missing))}, which is not an option."
            )
    for bond in problem.bonds:
        if not slots.issuperset(bond.slots):
            raise BadProblem(f"Bond {bond.code} names a slot that this problem does not have.")
    for stack in problem.stacks:
        _once(f"feature of stack {stack.code}", [feature for feature, _ in stack.terms])
        for feature, _ in stack.terms:
            _check_feature(problem, stack, feature)


def _check_feature(problem: Problem, stack: Stack, feature: str) -> None:
    """A feature left out would count as nothing: every option of its slot states it or calls it unknown."""
    stating = {option.code for option in problem.options if option.states(feature)}
    for slot in problem.slots:
        if stating and stating == {option.code for option in problem.options if slot in option.slots}:
            return
    raise BadProblem(
        f"Stack {stack.code}: {feature} must be stated, or called unknown, by every option of one slot "
        f"and by no other; it is stated by {', '.join(sorted(stating)) or 'none'}."
    )


def _once(what: str, names: list[str]) -> None:
    if twice := sorted(name for name, count in Counter(names).items() if count > 1):
        raise BadProblem(f"The {what} {', '.join(twice)} is given more than once.")
