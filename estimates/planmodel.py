"""One part of a plan's problem as a model of whole numbers for the solver.

Coefficients stay small whole numbers (a stack counts from the least share of each slot), so that the solver's
tolerances cannot tip a decision; what it hands back is held to every row in exact arithmetic.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from math import ceil, inf
from typing import Any, Literal

from estimates.planparts import Part, Row, parted

Tier = Literal["cost", "days", "sound", "risk"]
Columns = list[float]
TOTALS: tuple[Tier, ...] = ("cost", "sound", "risk")  # each has a last row that can hold it down
BATCH = 20_000  # how many code orders one tie-break may tell apart
QUIET = {"output_flag": False, "log_to_console": False}
EXACT = {"threads": 1, "random_seed": 0, "mip_rel_gap": 0.0, "mip_abs_gap": 0.5}


class Model:
    """A part held by the solver: bounds and aims change between runs, the rows stay."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.count = len(part.options)
        self.rows = [*self._cover_rows(), *part.rows]

    def _cover_rows(self) -> list[Row]:
        return [
            Row(("slot", slot), dict.fromkeys(self.part.filling(slot), 1), 1, 1) for slot in self.part.slots
        ]

    def value(self, tier: Tier, chosen: Iterable[int]) -> int:
        """What a choice comes to, in exact whole numbers (never read back from the solver)."""
        options = [self.part.options[index] for index in chosen]
        if tier == "days":
            return max((option.days for option in options), default=0)
        apart = [bond for bond in self.part.bonds if parted(bond, options)]
        if tier == "cost":
            return sum(o.cost_minor for o in options) + sum(b.penalty_minor for b in apart)
        total = sum(option.risk_units for option in options)
        return total + (sum(bond.risk_units for bond in apart) if tier == "sound" else 0)

    def weights(self, tier: Tier) -> list[int]:
        """Objective of each column: options, then bonds, then the longest wait."""
        options, bonds = self.part.options, self.part.bonds
        none = [0] * len(bonds)
        if tier == "days":
            return [*([0] * self.count), *none, 1]
        if tier == "cost":
            return [*(o.cost_minor for o in options), *(b.penalty_minor for b in bonds), 0]
        risks = [option.risk_units for option in options]
        return [*risks, *((bond.risk_units for bond in bonds) if tier == "sound" else none), 0]

    @cached_property
    def solver(self) -> Any:
        return self._load(whole=True)

    @cached_property
    def relaxed(self) -> Any:
        """The same model in fractions: its best bounds every whole choice and is found at once."""
        return self._load(whole=False)

    def _load(self, *, whole: bool) -> Any:
        """A quiet solver with every row in it.

        highspy prints its banner when it hooks its callbacks up in ``Highs()``, before an option can be set;
        the class beneath has none. One thread: a pool made before a worker forks would hang the child.
        A whole model starts afresh at each run and is handed no solution: with ``setSolution`` HiGHS 1.16
        called plans the best that were not (21 of 393 trials); with a tolerance of 1e-9 it called a plan
        impossible that it had found.
        """
        import highspy

        quiet: Any = highspy.Highs.__base__
        solver = quiet()
        for name, value in {**QUIET, **EXACT}.items():
            solver.setOptionValue(name, value)
        rows = [(row.coefficients, row.low, row.high) for row in self.rows]
        rows += [*self._bond_rows(), *self._wait_rows()]
        rows += [
            ({i: weight for i, weight in enumerate(self.weights(tier)) if weight}, -inf, inf)
            for tier in TOTALS
        ]
        columns = self.count + len(self.part.bonds) + 1
        longest = max((option.days for option in self.part.options), default=0)
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = columns, len(rows)
        lp.col_cost_, lp.col_lower_ = [0.0] * columns, [0.0] * columns
        lp.col_upper_ = [*([1.0] * (columns - 1)), float(longest)]
        if whole:
            lp.integrality_ = [highspy.HighsVarType.kInteger] * columns
        lp.row_lower_, lp.row_upper_ = [float(row[1]) for row in rows], [float(row[2]) for row in rows]
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        starts, indices, values = [0], [], []
        for coefficients, _, _ in rows:
            indices += list(coefficients)
            values += [float(value) for value in coefficients.values()]
            starts.append(len(indices))
        lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = starts, indices, values
        if solver.passModel(lp) == highspy.HighsStatus.kError:
            raise RuntimeError("The solver refused the plan's model.")
        return solver

    def _bond_rows(self) -> list[tuple[dict[int, int], float, float]]:
        """A bond is parted as soon as two neighbouring slots hold pieces of different units."""
        rows: list[tuple[dict[int, int], float, float]] = []
        for number, bond in enumerate(self.part.bonds):
            for left, right in zip(bond.slots, bond.slots[1:], strict=False):
                first, second = self.part.filling(left), self.part.filling(right)
                for key in sorted({self.part.options[index].ran_with for index in first}):
                    row: dict[int, int] = defaultdict(int)
                    for sign, indices in ((1, first), (-1, second)):
                        for index in indices:
                            row[index] += sign * (self.part.options[index].ran_with == key)
                    rows.append(({**row, self.count + number: -1}, -float("inf"), 0))
        return rows

    def _wait_rows(self) -> list[tuple[dict[int, int], float, float]]:
        wait = self.count + len(self.part.bonds)
        return [
            ({**{i: -self.part.options[i].days for i in self.part.filling(slot)}, wait: 1}, 0, float("inf"))
            for slot in self.part.slots
        ]

    def best(
        self,
        tiers: Sequence[Tier],
        *,
        cap: int | None = None,
        below: Mapping[Tier, int] | None = None,
        force: int | None = None,
        forbid: int | None = None,
        order: Sequence[str] = (),
        by_code: str = "",
        known: tuple[int, ...] | None = None,
        near: tuple[int, ...] | None = None,
    ) -> tuple[int, ...] | None:
        """The best choice tier after tier, then by code in the slots of ``order``; None if there is none.

        ``cap``: no option that takes longer [days]. ``below``: values already settled for some tiers.
        ``by_code``: a slot whose code order breaks ties of the last tier. ``known``: a choice that fits.
        ``near``: a choice one step from which the best may lie.
        """
        floor = [0.0] * self.count
        ceiling = [
            0.0 if i in self.part.blocked or i == forbid or (cap is not None and option.days > cap) else 1.0
            for i, option in enumerate(self.part.options)
        ]
        if force is not None:
            if ceiling[force] == 0:
                return None
            floor[force] = 1.0
        settled = dict(below or {})
        if len(self.part.slots) == 1 and not self.part.rows:
            return self._best_alone(tiers, floor, ceiling, settled)
        chosen = known
        steps = self._steps(near, floor, ceiling) if near else []
        for tier in tiers:
            weights = self.weights(tier)
            if by_code and tier == tiers[-1]:
                ways, ranks = len(self.part.filling(by_code)), self._code_weights([by_code])
                weights = [weight * ways + rank for weight, rank in zip(weights, ranks, strict=True)]
            steps = [
                step for step in steps if all(self.value(t, step) <= most for t, most in settled.items())
            ]
            proved = self._proved(weights, floor, ceiling, settled, steps)
            chosen = proved or self._run(weights, floor, ceiling, settled, chosen)
            if chosen is None:
                return None
            value = self.value(tier, chosen)
            if tier == "days":
                ceiling = [
                    c if o.days <= value else 0.0 for c, o in zip(ceiling, self.part.options, strict=True)
                ]
            else:
                settled[tier] = value
        for batch in self._batches(order):
            chosen = self._run(self._code_weights(batch), floor, ceiling, settled, chosen)
            for index in chosen or ():
                if set(self.part.options[index].slots) & set(batch):
                    floor[index] = 1.0
        return chosen

    def _steps(self, near: tuple[int, ...], floor: Columns, ceiling: Columns) -> list[tuple[int, ...]]:
        """Choices that differ from ``near`` in the options of one slot and meet every row."""
        moved = [i for i in near if not ceiling[i]] or [i for i, least in enumerate(floor) if least]
        slots = {slot for index in moved for slot in self.part.options[index].slots}
        found = []
        for index, option in enumerate(self.part.options):
            if ceiling[index] and index not in near and slots.intersection(option.slots):
                kept = [i for i in near if not set(self.part.options[i].slots).intersection(option.slots)]
                step = tuple(sorted([*kept, index]))
                fits = all(ceiling[i] for i in step) and all(i in step for i in moved if floor[i])
                if fits and self.broken(step) is None:
                    found.append(step)
        return found

    def _proved(
        self,
        weights: list[int],
        floor: Columns,
        ceiling: Columns,
        settled: Mapping[Tier, int],
        steps: list[tuple[int, ...]],
    ) -> tuple[int, ...] | None:
        """The best of the steps, if the bound in fractions shows that no whole choice is better."""
        if not steps:
            return None
        best = min(steps, key=lambda step: (self._objective(weights, step), step))
        if not self._optimise(self.relaxed, weights, floor, ceiling, settled):
            return None
        bound = self.relaxed.getInfo().objective_function_value
        return best if ceil(bound - 0.01) >= self._objective(weights, best) else None

    def _objective(self, weights: list[int], chosen: tuple[int, ...]) -> int:
        options = [self.part.options[index] for index in chosen]
        apart = sum(
            weights[self.count + n] for n, bond in enumerate(self.part.bonds) if parted(bond, options)
        )
        return sum(weights[i] for i in chosen) + apart + weights[-1] * self.value("days", chosen)

    def _best_alone(
        self, tiers: Sequence[Tier], floor: Columns, ceiling: Columns, below: Mapping[Tier, int]
    ) -> tuple[int, ...] | None:
        """One slot that nothing ties to another needs no solver."""
        able = [i for i in range(self.count) if ceiling[i] and (1.0 not in floor or floor[i])]
        able = [i for i in able if all(self.value(tier, (i,)) <= most for tier, most in below.items())]
        if not able:
            return None
        return (min(able, key=lambda i: (*(self.value(tier, (i,)) for tier in tiers), i)),)

    def _batches(self, order: Sequence[str]) -> list[list[str]]:
        batches: list[list[str]] = []
        size = BATCH + 1
        for slot in order:
            ways = len(self.part.filling(slot))
            if size * ways > BATCH:
                batches.append([])
                size = 1
            batches[-1].append(slot)
            size *= ways
        return batches

    def _code_weights(self, batch: list[str]) -> list[int]:
        weights = [0] * (self.count + len(self.part.bonds) + 1)
        scale = 1
        for slot in reversed(batch):
            filling = self.part.filling(slot)
            for rank, index in enumerate(filling):
                weights[index] += scale * rank
            scale *= len(filling)
        return weights

    def _run(
        self,
        weights: list[int],
        floor: Columns,
        ceiling: Columns,
        settled: Mapping[Tier, int],
        known: tuple[int, ...] | None,
    ) -> tuple[int, ...] | None:
        """Minimise. ``known`` is a choice that fits: then "none" is the solver's own error."""
        if not self._optimise(self.solver, weights, floor, ceiling, settled):
            if known is None:
                return None
            self.solver.setOptionValue("presolve", "off")
            found = self._optimise(self.solver, weights, floor, ceiling, settled)
            self.solver.setOptionValue("presolve", "choose")
            if not found:
                raise RuntimeError("The solver lost a plan that it had found.")
        values = self.solver.getSolution().col_value
        chosen = tuple(index for index in range(self.count) if values[index] > 0.5)
        if (row := self.broken(chosen)) is not None:
            raise RuntimeError(f"The solver's answer breaks {row.demand[0]} {row.demand[1]}.")
        return chosen

    def _optimise(
        self,
        solver: Any,
        weights: list[int],
        floor: Columns,
        ceiling: Columns,
        settled: Mapping[Tier, int],
    ) -> bool:
        import highspy
        import numpy as np

        columns = len(weights)
        which = np.arange(columns, dtype=np.int32)
        solver.changeColsCost(columns, which, np.array(weights, dtype=np.float64))
        solver.changeColsBounds(self.count, which[: self.count], np.array(floor), np.array(ceiling))
        first = solver.getNumRow() - len(TOTALS)
        whole = solver is not self.__dict__.get("relaxed")
        # Totals are whole numbers: half a unit keeps a rounding error from cutting the plan itself off.
        spare = 0.5 if whole else 0.0
        for number, tier in enumerate(TOTALS):
            solver.changeRowBounds(first + number, -inf, settled[tier] + spare if tier in settled else inf)
        if whole:
            solver.clearSolver()
        solver.run()
        status = solver.getModelStatus()
        if status in {highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible}:
            return False
        if status not in {highspy.HighsModelStatus.kOptimal, highspy.HighsModelStatus.kModelEmpty}:
            raise RuntimeError(f"The solver stopped early: {solver.modelStatusToString(status)}.")
        return True

    def broken(self, chosen: Iterable[int]) -> Row | None:
        """The first row that a choice breaks, in whole numbers."""
        taken = set(chosen)
        for row in self.rows:
            total = sum(value for index, value in row.coefficients.items() if index in taken)
            if not row.low <= total <= row.high:
                return row
        return None

    def conflict(self) -> list[tuple[str, str]]:
        """An irreducible set of demands that cannot be met together, by leaving out one after another.

        HiGHS' own ``getIis`` speaks of the relaxation in fractions, where a part may well be feasible.
        """
        blocking = [demand for demands in self.part.blocked.values() for demand in demands]
        demands = list(dict.fromkeys([*(row.demand for row in self.rows), *blocking]))
        kept = list(demands)
        for demand in demands:
            trial = [other for other in kept if other != demand]
            if not self._feasible(set(trial)):
                kept = trial
        for number, row in enumerate(self.rows):
            self.solver.changeRowBounds(number, row.low, row.high)
        return kept

    def _feasible(self, demands: set[tuple[str, str]]) -> bool:
        for number, row in enumerate(self.rows):
            low, high = (row.low, row.high) if row.demand in demands else (-inf, inf)
            self.solver.changeRowBounds(number, low, high)
        ceiling = [
            0.0 if demands.intersection(self.part.blocked.get(index, [])) else 1.0
            for index in range(self.count)
        ]
        nothing = [0] * (self.count + len(self.part.bonds) + 1)
        return self._optimise(self.solver, nothing, [0.0] * self.count, ceiling, {})
