"""Waiting for a bench in the long run, and how many weeks a list of units takes at the pace of the past."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step, within

ERLANG = "Erlang C; Hillier and Lieberman, Introduction to Operations Research, M/M/s (from memory)"
RESAMPLED = "exact distribution of drawing past weeks with replacement"
MOST_BENCHES = 100
MOST_WEEKS = 520
MOST_JOBS = 1000


@dataclass(frozen=True, slots=True)
class Queue:
    """A queue in the long run; times are in the unit of the rates."""

    busy: float
    idle: float
    chance_of_waiting: float
    waiting: float
    present: float
    wait: float
    stay: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pace:
    """Chance that the units are done in each week (the first is week 1), and the weeks at the level."""

    weeks: tuple[int, ...]
    chances: tuple[float, ...]
    at_level: int
    level: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def queue(arrival_rate: float, service_rate: float, benches: int = 1) -> Queue:
    """Units that come at random to a few benches with work of random length, in the long run (M/M/c).

    a = λ/μ, ρ = a/c below 1. Chance of waiting C(c, a) by Erlang; waiting L_q = C ρ/(1 − ρ), W_q = L_q/λ,
    W = W_q + 1/μ, L = λ W. At ρ ≥ 1 the queue grows without end and there is no answer.

    :param arrival_rate: λ, units that come in a unit of time, above 0
    :param service_rate: μ, units that one bench finishes in a unit of time, above 0
    :param benches: c, 1 to 100

    Reference: Erlang C; Hillier and Lieberman, Introduction to Operations Research, M/M/s (from
    memory).

    >>> found = queue(2, 3, 2)
    >>> round(found.idle, 9), round(found.wait, 6), round(found.stay, 9)
    (0.5, 0.041667, 0.375)
    """
    within("arrival_rate", arrival_rate, 1e-9, 1e9, "")
    within("service_rate", service_rate, 1e-9, 1e9, "")
    within("benches", benches, 1, MOST_BENCHES, "")
    load = arrival_rate / service_rate
    if not load < benches:
        allowed = (
            f"below {benches * service_rate:g}, what the benches can do: the queue would grow without end"
        )
        raise OutOfRange("arrival_rate", arrival_rate, allowed)
    rho = load / benches
    # B by its recursion: powers and factorials would overflow long before 100 benches.
    blocked, terms, total = 1.0, 1.0, 1.0
    for n in range(1, benches + 1):
        blocked = load * blocked / (n + load * blocked)
        if n < benches:
            terms *= load / n
            total += terms
    chance = blocked / (1 - rho * (1 - blocked))
    idle = 1 / (total + terms * load / benches / (1 - rho))
    waiting = chance * rho / (1 - rho)
    wait = waiting / arrival_rate
    stay = wait + 1 / service_rate
    inputs = (
        ("λ", f"{arrival_rate:g}"),
        ("μ", f"{service_rate:g}"),
        ("c", f"{benches}"),
        ("ρ", f"{rho:.4g}"),
    )
    steps = (
        Step(f"chance of waiting C(c, λ/μ) = {chance:.5g}", inputs, ERLANG),
        Step(f"L_q = C ρ/(1 − ρ) = {waiting:.5g}, W_q = L_q/λ = {wait:.5g}", (), ERLANG),
        Step(f"W = W_q + 1/μ = {stay:.5g}, L = λ W = {arrival_rate * stay:.5g}", (), ERLANG),
    )
    cautions = ["Work at a bench is more even than this supposes: the true wait is mostly shorter"]
    if rho > 0.9:
        cautions.append("Above nine tenths busy a little more work makes a much longer queue")
    return Queue(rho, idle, chance, waiting, arrival_rate * stay, wait, stay, steps, tuple(cautions))


def weeks_to_finish(history: Sequence[int], jobs: int, level: float = 0.85) -> Pace:
    """How many weeks a number of units takes, if each week finishes as many as some week of the past.

    The exact distribution, without random numbers: every past week is equally likely to come again.

    :param history: units finished in each past week, 0 to 1000, at most 500 weeks
    :param jobs: units to finish, 1 to 1000
    :param level: share of cases that the weeks must hold for, 0.01 to 0.99

    Reference: exact distribution of drawing past weeks with replacement; common practice, no source.

    >>> found = weeks_to_finish([3, 5, 2, 4], 9)
    >>> found.weeks, found.chances, found.at_level
    ((2, 3, 4, 5), (0.1875, 0.65625, 0.15234375, 0.00390625), 4)
    """
    if not 1 <= len(history) <= 500:
        raise OutOfRange("history", f"{len(history)} weeks", "1 to 500 weeks")
    for finished in history:
        within("history", finished, 0, MOST_JOBS, "units")
    within("jobs", jobs, 1, MOST_JOBS, "units")
    within("level", level, 0.01, 0.99, "")
    if not any(history):
        raise Refused("No unit was finished in any past week: there is no pace to go by")
    import numpy

    counts = numpy.bincount(numpy.minimum(numpy.asarray(history, dtype=int), jobs), minlength=jobs + 1)
    pace = counts / len(history)
    chances: dict[int, float] = {}
    left, before = numpy.zeros(jobs + 1), 0.0
    left[jobs] = 1.0
    for week in range(1, MOST_WEEKS + 1):
        # What is left after the week: the rest against what a week finishes; at 0 it is done.
        after = numpy.convolve(left[::-1], pace)
        done = float(numpy.sum(after[jobs:]))
        left = numpy.zeros(jobs + 1)
        left[1:] = after[:jobs][::-1]
        if done > 0:
            chances[week] = done
        before += done
        if before > 1 - 1e-12 or left.sum() < 1e-12:
            break
    else:
        if before < level:
            raise Refused(f"At this pace it takes more than {MOST_WEEKS} weeks")
    running = list(accumulate(chances.values()))
    at = next(
        (week for week, share in zip(chances, running, strict=True) if share >= level - 1e-12), max(chances)
    )
    inputs = (("past weeks", f"{len(history)}"), ("units", f"{jobs}"), ("level", f"{level:g}"))
    step = Step(f"smallest week with F ≥ {level:g}: {at}", inputs, RESAMPLED)
    few = () if len(history) >= 10 else (f"Only {len(history)} past weeks: take this as a hint",)
    return Pace(tuple(chances), tuple(chances.values()), at, level, (step,), few)
