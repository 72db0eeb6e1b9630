"""The topics of time: when units will be done, how long a list takes, and waiting for a bench."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.safestring import mark_safe

from shop.handbook import queueing, resampling, scoring
from shop.refusals import Refusal
from shop.topics.drawings_figures import finish_lines
from shop.topics.table import Answer, Argument, Ledger, Topic, asked

Values = Mapping[str, Any]
DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
MOST_ROWS = 1500
EXAMPLE_PAST = "\n".join(
    f"{stage}; {days}; {unit}"
    for unit, row in enumerate(
        ((1, 6, 4), (2, 9, 3), (1, 5, 5), (1, 12, 4), (2, 7, 3), (1, 8, 6), (3, 15, 4), (1, 6, 3)), 1
    )
    for stage, days in zip(("strip", "machining", "build"), row, strict=True)
)


def _day(text: str) -> date:
    if not DATE.fullmatch(text):
        raise ValueError("Write a date as 2026-11-30.")
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"There is no day {text}. Write a date as 2026-11-30.") from None


def _forecast(values: Values) -> Answer:
    stages, jobs = _stages(values), _jobs(values["jobs"])
    start = _day(values["start"])
    levels = sorted(set(values["levels"]))
    found = asked(
        "history",
        resampling.finish_dates,
        stages,
        jobs,
        start,
        levels,
        week=values["week"],
        holidays=[_day(one) for one in values["holidays"]],
        draws=_whole("draws", values["draws"]),
        seed=_whole("seed", values["seed"]),
    )
    tested, lacking = _back_test(values["history"], [one.name for one in stages], levels)
    reply = {
        "finishes": [
            {
                "code": one.code,
                "dates": [
                    {"level": level, "date": day.isoformat(), "working_days": days}
                    for level, day, days in zip(levels, one.dates, one.days, strict=True)
                ],
                "chance_kept": one.chance_kept,
            }
            for one in found.jobs
        ],
        "draws": found.draws,
        "seed": found.seed,
        "back_test": None
        if tested is None
        else [
            {
                "level": one.level,
                "pinball_days": one.pinball,
                "coverage": one.coverage,
                "p_value": one.p_value,
            }
            for one in tested.scores
        ],
    }
    rows = [
        (
            one.code,
            " to ".join(dict.fromkeys(f"{day.day} {day:%b %Y}" for day in (one.dates[0], one.dates[-1]))),
        )
        for one in found.jobs
    ]
    working, cautions = found.working, (*found.cautions, *lacking)
    if tested is not None:
        rows += [
            (
                f"Back-test at {one.level:g}",
                f"held {one.coverage * 100:.0f} % of {tested.held_out}, loss {one.pinball:.2f} days",
            )
            for one in tested.scores
        ]
        working, cautions = (*working, *tested.working), (*cautions, *tested.cautions)
    promises = [job.promised for job in jobs]
    drawn = mark_safe(finish_lines(found, start, promises))  # noqa: S308 codes are escaped where it is drawn
    return Answer(reply, tuple(rows), working, cautions, drawn, _ledger(found, levels))


def _stages(values: Values) -> list[resampling.Stage]:
    """Each stage with its past; what is wrong is said beside the field that it came from."""
    past: dict[str, list[float]] = {row["stage"]: [] for row in values["stages"]}
    for row in values["history"]:
        if row["stage"] not in past:
            raise Refusal(history=f'"{row["stage"]}" is none of the stages: {", ".join(past)}.')
        if not 0 <= row["days"] <= resampling.LONGEST_DAYS:
            raise Refusal(history=f"Days are 0 to {resampling.LONGEST_DAYS:g} working days.")
        past[row["stage"]].append(row["days"])
    for name, days in past.items():
        if not 1 <= len(days) <= resampling.MOST_PAST:
            words = f"{len(days)} durations for {name}: 1 to {resampling.MOST_PAST} are needed."
            raise Refusal(history=words)
    return [
        resampling.Stage(
            row["stage"],
            tuple(past[row["stage"]]),
            None if row["benches"] is None else _whole("stages", row["benches"]),
        )
        for row in values["stages"]
    ]


def _jobs(rows: Sequence[Values]) -> list[resampling.Job]:
    return [
        resampling.Job(
            row["code"], row["stage"], row["done"], None if row["promised"] is None else _day(row["promised"])
        )
        for row in rows
    ]


def _back_test(
    rows: Sequence[Values], stages: Sequence[str], levels: Sequence[float]
) -> tuple[scoring.BackTest | None, tuple[str, ...]]:
    """Held against the units whose every stage is in the history once; None with the reason where too few."""
    units: dict[str, dict[str, float]] = {}
    twice = set()
    for row in rows:
        if row["unit"] is not None:
            one = units.setdefault(row["unit"], {})
            if row["stage"] in one:
                twice.add(row["unit"])
            one[row["stage"]] = row["days"]
    whole = [
        [one[stage] for stage in stages]
        for name, one in units.items()
        if name not in twice and len(one) == len(stages)
    ][-scoring.MOST_UNITS :]
    if len(whole) < 4:
        return None, (
            "No back-test: it needs four past units or more with every stage, named in the history",
        )
    return scoring.back_test(whole, levels), ()


def _whole(name: str, value: float) -> int:
    if value != int(value):
        raise Refusal(**{name: "Write a whole number."})
    return int(value)


def _ledger(found: resampling.Forecast, levels: Sequence[float]) -> Ledger:
    return Ledger(
        "Finish dates by the share of draws that they hold for",
        ("Unit", *(f"{level:g}" for level in levels), "Promise kept"),
        tuple(
            (
                one.code,
                *(f"{day.day} {day:%b %Y}" for day in one.dates),
                "" if one.chance_kept is None else f"{one.chance_kept * 100:.0f} %",
            )
            for one in found.jobs
        ),
    )


def _pace(values: Values) -> Answer:
    history = [_whole("history", one) for one in values["history"]]
    found = asked(
        "history", queueing.weeks_to_finish, history, _whole("jobs", values["jobs"]), values["level"]
    )
    lines = list(zip(found.weeks, found.chances, strict=True))
    return Answer(
        {"weeks": list(found.weeks), "chances": list(found.chances), "weeks_at_level": found.at_level},
        (("Done in", f"{found.at_level} weeks, {found.level * 100:g} times in a hundred"),),
        found.working,
        found.cautions,
        ledger=Ledger(
            "Chance that the last unit is done in that week",
            ("Week", "Chance"),
            tuple((f"{week}", f"{chance * 100:.2f} %") for week, chance in lines[:60]),
        ),
    )


def _waiting(values: Values) -> Answer:
    found = queueing.queue(
        values["arrival_rate"], values["service_rate"], _whole("benches", values["benches"])
    )
    return Answer(
        {
            "busy": found.busy,
            "idle": found.idle,
            "chance_of_waiting": found.chance_of_waiting,
            "waiting": found.waiting,
            "present": found.present,
            "wait": found.wait,
            "stay": found.stay,
        },
        (
            ("Wait for a bench", f"{found.wait:.3g} weeks on average"),
            ("From coming to done", f"{found.stay:.3g} weeks on average"),
            ("Waiting at one time", f"{found.waiting:.3g} units"),
            ("In the shop at one time", f"{found.present:.3g} units"),
            ("Chance of having to wait", f"{found.chance_of_waiting * 100:.1f} %"),
            ("Benches busy", f"{found.busy * 100:.1f} %"),
        ),
        found.working,
        found.cautions,
    )


def _weekday(text: str) -> str:
    if text not in resampling.DAYS:
        raise ValueError(f"Write the days as {', '.join(resampling.DAYS)}.")
    return text


TOPICS: tuple[Topic, ...] = (
    Topic(
        "forecast",
        "When will it be done",
        "Finish dates of the units in the shop, drawn from how long each stage took before.",
        (
            Argument(
                "stages",
                "Stages in the order of the work, one a line",
                "rows",
                example="strip; 1\nmachining\nbuild; 2",
                help="Name; benches. Without benches nothing waits, as with work sent out.",
                columns=(
                    Argument("stage", "Stage", "text", example="strip"),
                    Argument("benches", "Benches", "number", False, example="1"),
                ),
                most=resampling.MOST_STAGES,
            ),
            Argument(
                "history",
                "What past units took, one a line",
                "rows",
                example=EXAMPLE_PAST,
                help="Stage; working days; unit. The unit, in the order of finishing, is for the back-test.",
                columns=(
                    Argument("stage", "Stage", "text", example="strip"),
                    Argument("days", "Working days", "number", example="2"),
                    Argument("unit", "Unit", "text", False, example="1"),
                ),
                most=MOST_ROWS,
            ),
            Argument(
                "jobs",
                "Units in the shop, one a line",
                "rows",
                example="T-12; build; 1.5; 2026-11-30\nT-14; machining; 2\nT-15; strip",
                help="In the order of waiting: code; stage; days worked there, empty if it waits; promised.",
                columns=(
                    Argument("code", "Code", "text", example="T-12"),
                    Argument("stage", "Stage", "text", example="build"),
                    Argument("done", "Days worked there", "number", False, example="1.5"),
                    Argument("promised", "Promised", "text", False, example="2026-11-30", check=_day),
                ),
                most=resampling.MOST_JOBS,
            ),
            Argument("start", "From the morning of", "text", example="2026-11-25", check=_day),
            Argument(
                "levels",
                "Levels, one a line",
                "number",
                False,
                "0.5; 0.85; 0.95",
                help="Share of the draws that a date is to hold for. Left out: 0.5, 0.85 and 0.95.",
                many=True,
                most=9,
            ),
            Argument(
                "week",
                "Days worked, one a line",
                "text",
                False,
                "; ".join(resampling.WEEK),
                help="mon to sun. Left out: mon to fri.",
                check=_weekday,
                many=True,
                most=7,
            ),
            Argument(
                "holidays",
                "Holidays, one a line",
                "text",
                False,
                help="Such as 2026-12-25.",
                check=_day,
                many=True,
                most=resampling.MOST_HOLIDAYS,
            ),
            Argument("draws", "Draws", "number", False, "1000", "1000", "100 to 2000."),
            Argument("seed", "Seed", "number", False, "1", "1", "The same seed gives the same dates."),
        ),
        _forecast,
        formulas=(resampling.finish_dates, scoring.back_test, scoring.score),
    ),
    Topic(
        "pace",
        "How many weeks",
        "How many weeks a list of units takes at the pace of past weeks.",
        (
            Argument(
                "history",
                "Units finished in each past week, one a line",
                "number",
                example="3\n5\n2\n4",
                many=True,
                most=500,
            ),
            Argument("jobs", "Units to finish", "number", example="9"),
            Argument("level", "Level", "number", False, "0.85", example="0.85", help="0.01 to 0.99."),
        ),
        _pace,
        formulas=(queueing.weeks_to_finish,),
    ),
    Topic(
        "waiting",
        "Waiting for a bench",
        "How long units wait for a bench in the long run, and how many stand there.",
        (
            Argument("arrival_rate", "Units that come in a week", "number", example="2"),
            Argument("service_rate", "Units that one bench finishes in a week", "number", example="1.5"),
            Argument("benches", "Benches", "number", False, "1", example="2"),
        ),
        _waiting,
        formulas=(queueing.queue,),
    ),
)
