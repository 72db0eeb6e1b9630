"""The topic of survival: how long rebuilds last, and what comes back within the warranty."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.safestring import mark_safe

from shop.handbook import survival as lasting
from shop.handbook.quantities import Refused
from shop.refusals import Refusal
from shop.topics.drawings_figures import step_curve
from shop.topics.table import Answer, Argument, Ledger, Topic, asked

Values = Mapping[str, Any]


def _survival(values: Values) -> Answer:
    durations, observed = _group(values, "durations", "observed")
    curve = lasting.kaplan_meier(durations, observed, values["confidence"])
    steps, cautions = [*curve.working], [*curve.cautions]
    rows = [
        ("Half are still running until", "not reached" if curve.median is None else f"{curve.median:g}"),
        ("Units", f"{len(durations)}, {sum(observed)} failed"),
    ]
    life = _life(durations, observed, cautions)
    if life is not None:
        steps += life.working
        cautions += life.cautions
        rows += [
            ("Weibull shape", f"{life.shape:.4g}"),
            ("Weibull scale", f"{life.scale:.5g}"),
            ("Mean life", f"{life.mean:.4g}"),
            ("One in ten does not reach", f"{life.b10:.4g}"),
        ]
    reply: dict[str, Any] = {
        "times": list(curve.times),
        "survival": list(curve.survival),
        "lower": list(curve.lower),
        "upper": list(curve.upper),
        "at_risk": list(curve.at_risk),
        "failed": list(curve.failed),
        "median": curve.median,
        "weibull_shape": life and life.shape,
        "weibull_scale": life and life.scale,
        "weibull_mean": life and life.mean,
        "weibull_b10": life and life.b10,
    }
    for part in (_comebacks(values, life), _compared(values, durations, observed)):
        if part is not None:
            reply |= part.reply
            rows += part.rows
            steps += part.working
            cautions += part.cautions
    drawn = mark_safe(step_curve(curve, max(durations)))  # noqa: S308 made of numbers only
    return Answer(reply, tuple(rows), tuple(steps), tuple(cautions), drawn, _ledger(curve))


def _group(values: Values, times: str, seen: str) -> tuple[list[float], list[bool]]:
    """Durations, and whether each failed; left out, all did."""
    durations, observed = values[times], values[seen]
    if observed and len(observed) != len(durations):
        raise Refusal(
            **{seen: f"There are {len(durations)} durations and {len(observed)} answers: one for each."}
        )
    return durations, observed or [True] * len(durations)


def _life(durations: list[float], observed: list[bool], cautions: list[str]) -> lasting.Weibull | None:
    """The Weibull life, or None with the reason among the cautions."""
    if min(durations) <= 0:
        cautions.append("A duration of 0 has no Weibull life: shape and scale are left out")
        return None
    try:
        return lasting.weibull(durations, observed)
    except Refused as trouble:
        cautions.append(f"{trouble}: shape and scale are left out")
        return None


def _comebacks(values: Values, life: lasting.Weibull | None) -> Answer | None:
    ages, term = values["ages"], values["term"]
    if not ages and term is None:
        return None
    if not ages or term is None:
        lacking = "ages" if not ages else "term"
        raise Refusal(**{lacking: "Comebacks need the ages of the units that run and the warranty term."})
    if life is None:
        raise Refusal(ages="Comebacks need a Weibull life, and these durations do not give one.")
    found = lasting.comebacks(ages, term, life.shape, life.scale)
    return Answer(
        {
            "expected_comebacks": found.expected,
            "comebacks_low": found.low,
            "comebacks_high": found.high,
            "comeback_probabilities": list(found.probabilities),
        },
        (
            ("Comebacks to expect", f"{found.expected:.2f} of {len(ages)}"),
            ("Comebacks, nine times in ten", f"{found.low} to {found.high}"),
        ),
        found.working,
        found.cautions,
    )


def _compared(values: Values, durations: list[float], observed: list[bool]) -> Answer | None:
    others, seen = _group(values, "other_durations", "other_observed")
    if not others:
        return None
    found = asked("other_durations", lasting.log_rank, durations, observed, others, seen)
    words = "differ" if found.p_value < 0.05 else "are not shown to differ"
    return Answer(
        {"log_rank_chi_squared": found.chi_squared, "log_rank_p": found.p_value},
        (("The two groups", f"{words}, p = {found.p_value:.3g}"),),
        found.working,
        found.cautions,
    )


def _ledger(curve: lasting.Survival) -> Ledger:
    def share(value: float | None) -> str:
        return "none" if value is None else f"{value:.3f}"

    lines = zip(
        curve.times, curve.at_risk, curve.failed, curve.survival, curve.lower, curve.upper, strict=True
    )
    return Ledger(
        f"Share still running, with its {curve.confidence * 100:g} % band",
        ("Time", "At risk", "Failed", "Running", "From", "To"),
        tuple(
            (f"{time:g}", f"{risk}", f"{failed}", *(share(one) for one in shares))
            for time, risk, failed, *shares in lines
        ),
    )


TOPICS: tuple[Topic, ...] = (
    Topic(
        "survival",
        "How long rebuilds last",
        "The share still running, a Weibull life, and the comebacks to expect within the warranty.",
        (
            Argument(
                "durations",
                "How long each ran, one a line",
                "number",
                example="54\n187\n216\n240\n335\n500\n500\n500",
                help="All in one unit, such as days or km. A unit that still runs: as long as it has run.",
                many=True,
                most=lasting.MOST_UNITS,
            ),
            Argument(
                "observed",
                "Did it fail, one a line",
                "flag",
                False,
                example="yes\nyes\nyes\nyes\nyes\nno\nno\nno",
                help="yes: it failed then. no: it still ran. Left out: all failed.",
                many=True,
                most=lasting.MOST_UNITS,
            ),
            Argument("confidence", "Confidence of the band", "number", False, "0.95", example="0.95"),
            Argument(
                "ages",
                "Ages of units that run now, one a line",
                "number",
                False,
                example="100\n250\n400",
                help="For comebacks: in the same unit as above.",
                many=True,
                most=lasting.MOST_UNITS,
            ),
            Argument("term", "Warranty term", "number", False, example="450", help="In the same unit."),
            Argument(
                "other_durations",
                "Another group to compare: how long each ran",
                "number",
                False,
                many=True,
                most=lasting.MOST_UNITS,
            ),
            Argument(
                "other_observed",
                "Did it fail, in the other group",
                "flag",
                False,
                many=True,
                most=lasting.MOST_UNITS,
            ),
        ),
        _survival,
        formulas=(lasting.kaplan_meier, lasting.weibull, lasting.comebacks, lasting.log_rank),
    ),
)
