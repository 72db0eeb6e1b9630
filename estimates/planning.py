"""Decide one option for each slot at least cost for an aim, and say exactly what each choice beat.

1. The problem is checked and split into parts that nothing ties together (``planparts``).
2. Each part is brought to its best, tier after tier, each tier held while the next is improved:
   least cost = cost, longest wait, risk; soonest = longest wait, cost, risk; soundest = risk and partings,
   cost, longest wait; and at last the order of the option codes, so that no tie is left to the solver.
3. The longest wait of all parts is the one thing they share: the tiers after it are solved under it.
4. What a choice beat is found by solving its part again with the other option forced.

Cost counts a bond's penalty as money and soundness counts its risk. Risks add as -ln(1 - risk), rounded to
1/10,000. Where a piece can hurt someone the plan is advice: the maker's data and a competent person decide.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from math import prod
from typing import Literal

from estimates.planmodel import Model, Tier
from estimates.planparts import parted, split
from estimates.planproblem import (
    Aim,
    BadProblem,
    Bond,
    Kind,
    Option,
    Problem,
    Span,
    Stack,
    StackSum,
    check_problem,
    stack_sum,
)
from estimates.plantext import count, demand_text, first_broken, working
from shop.handbook.working import Step

__all__ = [
    "Aim", "BadProblem", "Beaten", "Beats", "Bond", "Choice", "Kind", "NoPlan", "Option", "Plan", "Problem",
    "Span", "Stack", "StackSum", "solve",
]  # fmt: skip

Beats = Literal["runner-up", "all", "none"]
BEFORE_WAIT: dict[Aim, tuple[Tier, ...]] = {
    Aim.LEAST_COST: ("cost",),
    Aim.SOONEST: (),
    Aim.SOUNDEST: ("sound", "cost"),
}
AFTER_WAIT: dict[Aim, tuple[Tier, ...]] = {
    Aim.LEAST_COST: ("risk",),
    Aim.SOONEST: ("cost", "risk"),
    Aim.SOUNDEST: (),
}


@dataclass(frozen=True, slots=True)
class Beaten:
    """An option that was not taken. The extras are of the best whole plan with it, against the plan shown.

    ``extra_minor`` counts partings at their penalty; both extras are None when no plan can hold the option.
    """

    option: str
    label: str
    extra_minor: int | None
    extra_days: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    slot: str
    option: Option
    beat: tuple[Beaten, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """``cost_minor`` is money; ``parting_minor`` is what the bonds parted were counted at beside it.

    ``provisional``: something in it is still to be measured.
    """

    aim: Aim
    choices: tuple[Choice, ...]
    cost_minor: int
    parting_minor: int
    days: int
    minutes: int
    risk: float
    stacks: tuple[StackSum, ...]
    parted: tuple[str, ...]
    provisional: bool
    working: tuple[Step, ...]
    status: Literal["solved"] = "solved"


class NoPlan(Exception):
    """The demands that cannot be met together: leave any one of them out and the rest can be."""

    def __init__(self, demands: Sequence[tuple[str, str]], lines: Sequence[str]) -> None:
        self.demands = tuple(demands)
        self.lines = tuple(lines)
        super().__init__(
            f"No plan meets all of these: {'; '.join(lines)}. Change one of them or add an option."
        )


@dataclass(slots=True)
class _Best:
    """The best of one part: its values before the wait, the least wait that they allow, its options."""

    chosen: tuple[int, ...]
    below: dict[Tier, int]
    days: int


@dataclass(slots=True)
class _Search:
    problem: Problem
    aim: Aim
    models: list[Model]
    first: list[_Best] = field(default_factory=list)
    days: int = 0
    others_cost: dict[tuple[int, int], int] = field(default_factory=dict)

    def run(self) -> None:
        for model in self.models:
            best = self.before_wait(model)
            if best is None:
                demands = model.conflict()
                raise NoPlan(demands, [demand_text(self.problem, *demand) for demand in demands])
            self.first.append(best)
        self.days = max((best.days for best in self.first), default=0)
        for model, best in zip(self.models, self.first, strict=True):
            self.after_wait(model, best)

    def before_wait(self, model: Model) -> _Best | None:
        """Tiers down to the part's own longest wait."""
        tiers = BEFORE_WAIT[self.aim]
        chosen = model.best((*tiers, "days"))
        if chosen is None:
            return None
        return _Best(chosen, {tier: model.value(tier, chosen) for tier in tiers}, model.value("days", chosen))

    def after_wait(self, model: Model, best: _Best) -> None:
        """The tiers that are settled under the plan's longest wait, and at last the order of codes."""
        tiers, order = AFTER_WAIT[self.aim], model.part.slots
        chosen = model.best(tiers, cap=self.days, below=best.below, order=order, known=best.chosen)
        assert chosen is not None  # best.chosen is such a choice
        best.chosen = chosen

    def cost_of_others(self, number: int, days: int) -> int:
        """What the other parts cost under another longest wait, counted from the plan [minor units]."""
        if self.aim is not Aim.SOONEST or days == self.days:
            return 0
        return sum(self._cost_under(n, days) for n in range(len(self.models)) if n != number)

    def _cost_under(self, number: int, days: int) -> int:
        model, now = self.models[number], self.first[number].chosen
        if not any(self.days < option.days <= days for option in model.part.options):
            return 0
        if (number, days) not in self.others_cost:
            then = model.best(("cost",), cap=days)
            assert then is not None  # the plan's own choice fits under a longer wait
            self.others_cost[number, days] = model.value("cost", then) - model.value("cost", now)
        return self.others_cost[number, days]

    def other(self, number: int, slot: str, *, force: int | None, forbid: int | None) -> Beaten | None:
        """The best plan with one option forced in, or with the plan's own choice kept out.

        Of options that come to the same for the aim the first by its code is the runner-up, and its wait is
        the least that the aim's better tiers allow.
        """
        model, now = self.models[number], self.first[number]
        rest = max((best.days for n, best in enumerate(self.first) if n != number), default=0)
        then, days = self._forced(model, slot, rest, near=now.chosen, force=force, forbid=forbid)
        if then is None:
            return None
        extra = model.value("cost", then) - model.value("cost", now.chosen)
        extra += self.cost_of_others(number, days)
        option = next(o for o in _options(model, then) if slot in o.slots)
        why = self.why_worse(number, slot, option, extra, days - self.days)
        return Beaten(option.code, option.label, extra, days - self.days, why)

    def _forced(
        self,
        model: Model,
        slot: str,
        rest: int,
        *,
        near: tuple[int, ...],
        force: int | None,
        forbid: int | None,
    ) -> tuple[tuple[int, ...] | None, int]:
        """The part's choice under the force, and the whole plan's longest wait with it."""
        by_code = slot if force is None else ""
        best = partial(model.best, force=force, forbid=forbid, near=near)
        if self.aim is Aim.SOONEST:
            # No force makes a plan sooner: what fits under the plan's own wait needs no search for another.
            then = best(("cost",), cap=self.days, by_code=by_code)
            if then is not None:
                return then, self.days
            then = best(("days",))
            if then is None:
                return None, 0
            days = model.value("days", then)
            return best(("cost",), cap=days, by_code=by_code, known=then), days
        tiers = BEFORE_WAIT[self.aim]
        then = best(tiers, by_code=by_code)
        if then is None:
            return None, 0
        if model.value("days", then) > rest:
            taken = next(index for index in then if slot in model.part.options[index].slots)
            below = {tier: model.value(tier, then) for tier in tiers}
            then = model.best(("days",), below=below, force=taken, forbid=forbid, known=then, near=near)
            assert then is not None  # known before
        return then, max(rest, model.value("days", then))

    def why_worse(self, number: int, slot: str, option: Option, extra: int, later: int) -> str:
        """The extras in words, then what the option by itself does to bonds and risk in this plan."""
        model = self.models[number]
        before = _options(model, self.first[number].chosen)
        after = [*(other for other in before if not set(other.slots) & set(option.slots)), option]
        own = next(other for other in before if slot in other.slots)
        money = f"costs {self.problem.money(abs(extra))} {'more' if extra > 0 else 'less'}" if extra else ""
        wait = f"{count(abs(later), 'day')} {'later' if later > 0 else 'sooner'}" if later else ""
        bonds = [b for b in model.part.bonds if set(b.slots) & set(option.slots)]
        sound = [f"parts {b.title}" for b in bonds if parted(b, after) and not parted(b, before)]
        if own.risk_units != option.risk_units:
            sound.append(
                "more likely to fail" if option.risk_units > own.risk_units else "less likely to fail"
            )
        first = {
            Aim.LEAST_COST: [money, wait, *sound],
            Aim.SOONEST: [wait, money, *sound],
            Aim.SOUNDEST: [*sound, money, wait],
        }
        return ", ".join(text for text in first[self.aim] if text) or "as good, later by its code"

    def why_not(self, slot: str, option: Option) -> str:
        """The first thing that the option breaks when it is put in the place of the plan's choice."""
        chosen = [o for n, best in enumerate(self.first) for o in _options(self.models[n], best.chosen)]
        kept = [other for other in chosen if not set(other.slots) & set(option.slots)]
        return first_broken(self.problem, [*kept, option], option)

    def beaten(self, number: int, slot: str, beats: Beats) -> tuple[Beaten, ...]:
        model, best = self.models[number], self.first[number]
        filling = model.part.filling(slot)
        own = next(index for index in best.chosen if index in filling)
        if beats == "none" or len(filling) == 1:
            return ()
        if beats == "runner-up" and (next_best := self.other(number, slot, force=None, forbid=own)):
            return (next_best,)
        found = []
        for index in filling:
            if index != own:
                option = model.part.options[index]
                made = None if beats == "runner-up" else self.other(number, slot, force=index, forbid=None)
                found.append(
                    made or Beaten(option.code, option.label, None, None, self.why_not(slot, option))
                )
        return tuple(sorted(found, key=self._rank))

    def _rank(self, beaten: Beaten) -> tuple[bool, int, int, str]:
        extras = (beaten.extra_minor or 0, beaten.extra_days or 0)
        first, second = extras[::-1] if self.aim is Aim.SOONEST else extras
        return (beaten.extra_minor is None, first, second, beaten.option)


def solve(problem: Problem, aim: Aim, *, beats: Beats = "runner-up") -> Plan:
    """The best plan for the aim; raises :class:`BadProblem` or :class:`NoPlan`."""
    check_problem(problem)
    search = _Search(problem, aim, [Model(part) for part in split(problem)])
    search.run()
    choices: dict[str, Choice] = {}
    for number, model in enumerate(search.models):
        for option in _options(model, search.first[number].chosen):
            for slot in option.slots:
                choices[slot] = Choice(slot, option, search.beaten(number, slot, beats))
    return _plan(problem, aim, tuple(choices[slot] for slot in problem.slots))


def _options(model: Model, chosen: Iterable[int]) -> list[Option]:
    return [model.part.options[index] for index in chosen]


def _plan(problem: Problem, aim: Aim, choices: tuple[Choice, ...]) -> Plan:
    options = list({choice.option.code: choice.option for choice in choices}.values())
    apart = [bond for bond in problem.bonds if parted(bond, options)]
    stacks = tuple(stack_sum(stack, options) for stack in problem.stacks)
    options.sort(key=lambda option: option.code)  # floats multiply alike whatever order the slots came in
    risk = 1 - prod(1 - option.risk for option in options)
    return Plan(
        aim=aim,
        choices=choices,
        cost_minor=sum(option.cost_minor for option in options),
        parting_minor=sum(bond.penalty_minor for bond in apart),
        days=max((option.days for option in options), default=0),
        minutes=sum(option.minutes for option in options),
        risk=risk,
        stacks=stacks,
        parted=tuple(bond.code for bond in apart),
        provisional=any(o.kind == "measure first" for o in options) or not all(s.enforced for s in stacks),
        working=working(problem, options, stacks, risk),
    )
