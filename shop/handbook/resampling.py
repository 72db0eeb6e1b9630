"""When will it be done: finish dates by drawing past durations again and again, with stages and benches.

Durations are in working days. Quantiles are those of the inverted distribution (Hyndman and Fan, type 1): the
smallest value drawn that the stated share of the draws does not exceed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import Any

from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, OutOfRange, Step, within

EFRON = "Efron 1979, Annals of Statistics 7:1 (the bootstrap, from memory)"
QUANTILE = "Hyndman and Fan 1996, The American Statistician 50:361, type 1 (from memory)"
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WEEK = DAYS[:5]
MOST_STAGES, MOST_JOBS, MOST_BENCHES, MOST_PAST, MOST_HOLIDAYS = 12, 60, 10, 500, 500
MOST_DRAWS = 2000
LONGEST_DAYS = 400.0
_HORIZON = 20_000


@dataclass(frozen=True, slots=True)
class Stage:
    """A step of the work: how long it took before [working days], and at how many benches it is done.

    ``benches`` None: nothing waits here, as with work sent out.
    """

    name: str
    durations: tuple[float, ...]
    benches: int | None = 1


@dataclass(frozen=True, slots=True)
class Job:
    """A unit in the shop: the stage it is at or waits for, and how long it has been worked on there.

    ``done`` [working days] is None while it waits; the order of the jobs is the order in which they wait.
    """

    code: str
    stage: str
    done: float | None = None
    promised: date | None = None


@dataclass(frozen=True, slots=True)
class Finish:
    """One job's dates at the levels asked for, and the chance that it is done by its promise."""

    code: str
    dates: tuple[date, ...]
    days: tuple[float, ...]
    chance_kept: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """Finish dates of all jobs at the ``levels``; one ``seed`` always gives the same."""

    jobs: tuple[Finish, ...]
    levels: tuple[float, ...]
    draws: int
    seed: int
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def finish_dates(
    stages: Sequence[Stage],
    jobs: Sequence[Job],
    start: date,
    levels: Sequence[float] = (0.5, 0.85, 0.95),
    *,
    week: Sequence[str] = WEEK,
    holidays: Sequence[date] = (),
    draws: int = 1000,
    seed: int = 1,
) -> Forecast:
    """Finish dates of the units in the shop, from how long each stage took before.

    Each draw gives every unit a past duration in every stage ahead of it, lets the units wait for a free
    bench in the order in which they come (those being worked on first), and adds up. A unit worked on for
    ``done`` days takes only from the longer durations, and what is left of them. Work that takes up to one
    day ends on the working day on which it begins.

    :param stages: in the order of the work, at most 12; each with 1 to 500 past durations [working days]
    :param jobs: units in the shop, at most 60, in the order in which they wait
    :param start: the day from which the work goes on; its morning if it is a working day
    :param levels: shares of the draws that a date must hold for, each 0.01 to 0.99, at most 9
    :param week: days worked: "mon" to "sun"
    :param holidays: days not worked, at most 500
    :param draws: how many times, 100 to 2000
    :param seed: beginning of the random numbers, 0 to 4294967295

    Reference: Efron 1979, Annals of Statistics 7:1 (the bootstrap); quantiles as Hyndman and Fan 1996,
    The American Statistician 50:361, type 1 (both from memory).

    >>> stages = [Stage("strip", (1.0,)), Stage("build", (2.0,))]
    >>> jobs = [Job("A", "build", done=1.0), Job("B", "strip")]
    >>> found = finish_dates(stages, jobs, date(2026, 1, 5), [0.5])
    >>> [one.dates[0].isoformat() for one in found.jobs]
    ['2026-01-05', '2026-01-07']
    """
    _check(stages, jobs, levels, draws, seed)
    calendar = _calendar(start, week, holidays)
    days, cautions = _simulate(stages, jobs, draws, seed)
    if not days.max() <= _HORIZON:
        raise Refused(f"The work would take more than {_HORIZON} working days: look at the durations")
    found = tuple(_finish(job, column, levels, calendar) for job, column in zip(jobs, days.T, strict=True))
    inputs = (
        ("units", f"{len(jobs)}"),
        *((one.name, _stage_words(one)) for one in stages),
        ("draws", f"{draws}"),
        ("seed", f"{seed}"),
    )
    steps = (
        Step("finish = waiting for a bench + durations drawn from the past, stage by stage", inputs, EFRON),
        Step(
            "first come, first served at each stage; units being worked on keep their bench",
            (),
            COMMON_PRACTICE,
        ),
        Step("date at a level = smallest date that this share of the draws does not exceed", (), QUANTILE),
    )
    cautions += ["Holds while the work comes as before: no unit pushed in, no bench empty for want of people"]
    return Forecast(found, tuple(levels), draws, seed, steps, tuple(cautions))


def quantile(values: Sequence[float], level: float) -> float:
    """The smallest value that at least the share ``level`` of the values does not exceed (type 1).

    :param values: one or more numbers
    :param level: above 0, to 1

    >>> quantile([3, 1, 4, 1, 5, 9, 2, 6], 0.85)
    6
    """
    if not values:
        raise Refused("A quantile needs at least one value")
    if not 0 < level <= 1:
        raise OutOfRange("level", level, "above 0, to 1")
    # A share such as 0.15 × 20 may come out a hair above the whole number it is.
    place = ceil(len(values) * level - 1e-9)
    return sorted(values)[max(place, 1) - 1]


def _check(
    stages: Sequence[Stage], jobs: Sequence[Job], levels: Sequence[float], draws: int, seed: int
) -> None:
    if not 1 <= len(stages) <= MOST_STAGES:
        raise OutOfRange("stages", f"{len(stages)} stages", f"1 to {MOST_STAGES}")
    names = [one.name for one in stages]
    if len(set(names)) != len(names):
        raise OutOfRange("stages", "a name given twice", "each name once")
    for stage in stages:
        if not 1 <= len(stage.durations) <= MOST_PAST:
            raise OutOfRange(
                "stages", f"{len(stage.durations)} durations of {stage.name}", f"1 to {MOST_PAST}"
            )
        for one in stage.durations:
            within("stages", one, 0.0, LONGEST_DAYS, "working days")
        if stage.benches is not None:
            within("stages", stage.benches, 1, MOST_BENCHES, "benches")
    if not 1 <= len(jobs) <= MOST_JOBS:
        raise OutOfRange("jobs", f"{len(jobs)} units", f"1 to {MOST_JOBS}")
    for job in jobs:
        if job.stage not in names:
            raise OutOfRange("jobs", f'at stage "{job.stage}"', f"one of the stages: {', '.join(names)}")
        if job.done is not None:
            within("jobs", job.done, 0.0, LONGEST_DAYS, "working days")
    if not 1 <= len(levels) <= 9:
        raise OutOfRange("levels", f"{len(levels)} levels", "1 to 9")
    for level in levels:
        within("levels", level, 0.01, 0.99, "")
    within("draws", draws, 100, MOST_DRAWS, "")
    within("seed", seed, 0, 2**32 - 1, "")


def _calendar(start: date, week: Sequence[str], holidays: Sequence[date]) -> Any:
    """A function from working days (1 = the first) to the date: numpy's business days."""
    import numpy

    if not 1900 <= start.year <= 2200:
        raise OutOfRange("start", start.isoformat(), "1900 to 2200")
    unknown = [one for one in week if one not in DAYS]
    if not week or unknown:
        raise OutOfRange("week", unknown[0] if unknown else "empty", f"one or more of {', '.join(DAYS)}")
    if len(holidays) > MOST_HOLIDAYS:
        raise OutOfRange("holidays", f"{len(holidays)} days", f"at most {MOST_HOLIDAYS}")
    rules = numpy.busdaycalendar(
        [day in week for day in DAYS], [numpy.datetime64(day.isoformat()) for day in holidays]
    )
    first = numpy.datetime64(start.isoformat())

    def dates(days: Any) -> Any:
        whole = numpy.maximum(numpy.ceil(days - 1e-9).astype(int), 1) - 1
        return numpy.busday_offset(first, whole, roll="forward", busdaycal=rules)

    return dates


def _simulate(stages: Sequence[Stage], jobs: Sequence[Job], draws: int, seed: int) -> tuple[Any, list[str]]:
    """Working days until each job is done: one row a draw, one column a job.

    Plan: 1. every stage in turn takes the jobs at it, with the time at which each comes; 2. in each draw they
    take the bench that is free first, in the order in which they come; 3. what comes out goes on to the next
    stage. A stage is passed once, so all that comes to it is known before it is worked out.
    """
    import numpy

    random = numpy.random.default_rng(seed)
    ready, few = numpy.zeros((draws, len(jobs))), []
    at = [next(n for n, stage in enumerate(stages) if stage.name == job.stage) for job in jobs]
    cautions: list[str] = []
    for n, stage in enumerate(stages):
        here = [job for job in range(len(jobs)) if at[job] <= n]
        if not here:
            continue
        past = numpy.sort(numpy.asarray(stage.durations, dtype=float))
        took = past[random.integers(0, len(past), size=(draws, len(here)))]
        # Those being worked on have their bench, those that wait here stand before those that come.
        ahead = numpy.array([0.0 if at[job] < n else -1.0 for job in here])
        for column, job in enumerate(here):
            done = jobs[job].done if at[job] == n else None
            if done is None:
                continue
            ahead[column] = -2.0
            longer = past[past > done]
            if len(longer):
                took[:, column] = longer[random.integers(0, len(longer), size=draws)] - done
            else:
                words = "longer than any before it: it is taken as begun now"
                cautions.append(f"{jobs[job].code} has been at {stage.name} {words}")
        if len(past) < 10:
            few.append(stage.name)
        ready[:, here] = _through(ready[:, here], took, ahead, stage.benches)
    if few:
        cautions.append(f"Fewer than ten past durations for {', '.join(few)}: the dates are a hint")
    return ready, cautions


def _through(comes: Any, took: Any, ahead: Any, benches: int | None) -> Any:
    """When each job leaves a stage: first come, first served; ``ahead`` below 0 goes before the rest."""
    import numpy

    if benches is None:
        return comes + took
    draws, count = comes.shape
    # Stable: jobs that come at once keep the order of the list.
    order = numpy.argsort(numpy.where(ahead < 0, ahead, comes), axis=1, kind="stable")
    free = numpy.zeros((draws, min(benches, count)))
    left = numpy.empty_like(comes)
    row = numpy.arange(draws)
    for place in range(count):
        job = order[:, place]
        bench = free.argmin(axis=1)
        ends = numpy.maximum(free[row, bench], comes[row, job]) + took[row, job]
        free[row, bench] = ends
        left[row, job] = ends
    return left


def _finish(job: Job, days: Any, levels: Sequence[float], calendar: Any) -> Finish:
    drawn = sorted(days.tolist())
    at = tuple(quantile(drawn, level) for level in levels)
    dates = tuple(one.astype(object) for one in calendar(_array(at)))
    kept = None
    if job.promised is not None:
        kept = float((calendar(days) <= _day(job.promised)).mean())
    return Finish(job.code, dates, at, kept)


def _array(values: Sequence[float]) -> Any:
    import numpy

    return numpy.asarray(values, dtype=float)


def _day(day: date) -> Any:
    import numpy

    return numpy.datetime64(day.isoformat())


def _stage_words(stage: Stage) -> str:
    past = f"{len(stage.durations)} past durations, median {quantile(stage.durations, 0.5):g} days"
    return past + (", nothing waits" if stage.benches is None else f", benches {stage.benches}")
