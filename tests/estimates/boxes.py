"""Invented boxes of the size that a shop plans: one casing that most stacks lean on, floats, pairs, stock."""

import random

from estimates.planning import Bond, Kind, Option, Problem, Span, Stack

GROUPS = (8, 5, 4, 3, 3, 2, 2, 2)  # slots in each stack beside the casing; the first five end in a washer
KINDS: tuple[Kind, ...] = (
    "own", "reworked", "used", "new", "lot", "donor", "used", "new", "used", "new", "donor", "used",
)  # fmt: skip
UNCERTAINTY = {"own": 0.004, "reworked": 0.008, "used": 0.004, "new": 0.012, "lot": 0.01, "donor": 0.015}
COST = {"own": 0, "reworked": 2500, "used": 3800, "new": 9000, "lot": 4000, "donor": 6000}
DAYS = {"own": (0,), "reworked": (1, 3, 7), "used": (0,), "new": (2, 5, 14), "lot": (0,), "donor": (7, 21)}
RISK = {"own": 0.04, "reworked": 0.03, "used": 0.04, "new": 0.01, "lot": 0.01, "donor": 0.06}


def span(value: float, uncertainty: float) -> Span:
    return Span(round(value - uncertainty, 3), round(value, 3), round(value + uncertainty, 3))


def invented_box(seed: int, *, slots: int = 37, ways: int = 8, bonds: bool = True) -> Problem:
    """A box with ``ways`` options a position (the casing has four); the same for the same seed."""
    luck = random.Random(seed)
    names = ["casing", *(f"p{number:02}" for number in range(1, slots))]
    groups, at = [], 1
    for size in GROUPS:
        groups.append(names[at : at + size])
        at += size
    groups = [group for group in groups if len(group) > 1]
    washers = {group[-1] for group in groups[:5]}
    options: list[Option] = []
    for name in names:
        for way in range(4 if name == "casing" else ways):
            options.append(_washer(name, way) if name in washers else _part(luck, name, way, len(groups)))
    stacks = []
    for number, group in enumerate(groups):
        middle = -sum(2.2 if name in washers else 19.98 for name in group)
        terms = ((f"casing.{number}", 1), *((f"{name}.size", -1) for name in group))
        low, high = middle - (0.02 + 0.03 * len(group)), middle + 0.06 + 0.045 * len(group)
        stacks.append(Stack(f"s{number}", f"float {number}", terms, round(low, 3), round(high, 3)))
    pairs = [Bond(f"b{n}", f"pair {n}", tuple(group[:2]), 4000, 0.03) for n, group in enumerate(groups[:5])]
    free = {key: 4 if key.startswith("washer") else 1 for option in options for key in option.uses}
    return Problem(tuple(names), tuple(options), tuple(stacks), tuple(pairs) if bonds else (), free)


def _washer(name: str, way: int) -> Option:
    size = {f"{name}.size": span(2.0 + 0.05 * way, 0.005)}
    cost, label = 300 + 20 * (way % 3), f"washer {2 + 0.05 * way:.2f} for {name}"
    return Option(f"{name}-{way:02}", name, "lot", label, cost, uses={f"washer:{way}": 1}, features=size)


def _part(luck: random.Random, name: str, way: int, groups: int) -> Option:
    kind = KINDS[way]
    wide = UNCERTAINTY[kind]
    wear = luck.choice([0, -0.01, -0.02, -0.05, -0.09]) if kind in {"own", "used", "donor"} else 0
    features = {f"{name}.size": span(20 + wear, wide)}
    if name == "casing":
        features = {f"casing.{n}": span(luck.choice([0, 0.01, 0.03, 0.08]), wide) for n in range(groups)}
    return Option(
        code=f"{name}-{way:02}",
        slot=name,
        kind=kind,
        label=f"{kind} {name} ({way})",
        cost_minor=COST[kind] + (0 if kind == "own" else luck.randint(0, 4000)),
        days=luck.choice(DAYS[kind]),
        minutes=luck.randint(0, 90),
        risk=RISK[kind],
        uses={f"piece:{name}:{way}": 1} if kind == "used" else {},
        features=features,
        ran_with={"own": "own", "reworked": "own", "used": f"d{way}", "donor": f"d{way}"}.get(kind, ""),
    )
