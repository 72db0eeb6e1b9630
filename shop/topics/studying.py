"""The topic of the gauge study: what of the readings is the gauge and the people."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import fmean
from typing import Any

from shop.handbook.gaugestudy import (
    MOST_READINGS,
    AcceptanceRisk,
    GaugeStudy,
    Trial,
    acceptance_risk,
    gauge_study,
    shown_p,
)
from shop.refusals import Refusal
from shop.topics.arguments import length
from shop.topics.shown import mm
from shop.topics.table import Answer, Argument, Ledger, Topic, asked

Values = Mapping[str, Any]
EXAMPLE = "\n".join(
    f"{piece}; {person}; {value} mm"
    for piece, person, values in (
        ("1", "AB", ("12.010", "12.012")),
        ("2", "AB", ("12.034", "12.033")),
        ("3", "AB", ("12.021", "12.022")),
        ("1", "CD", ("12.012", "12.013")),
        ("2", "CD", ("12.033", "12.036")),
        ("3", "CD", ("12.024", "12.023")),
    )
    for value in values
)


def _study(values: Values) -> Answer:
    lower, upper = values["lower"], values["upper"]
    if (lower is None) != (upper is None):
        raise Refusal(**{"lower" if lower is None else "upper": "Give both limits, or neither."})
    if lower is not None and not lower < upper:
        raise Refusal(upper="The upper limit is not above the lower one.")
    tolerance = values["tolerance"]
    if tolerance is None and lower is not None:
        tolerance = upper - lower
    trials = [Trial(row["piece"], row["person"], row["value"]) for row in values["readings"]]
    found: GaugeStudy = asked("readings", gauge_study, trials, tolerance, spread=values["spread"])
    risk = _risk(found, trials, lower, upper)
    percent, categories = found.percent_of_tolerance, found.distinct_categories
    reply = {
        "repeatability": found.repeatability,
        "reproducibility": found.reproducibility,
        "interaction": found.interaction,
        "part_variation": found.part_variation,
        "gauge_rr": found.gauge_rr,
        "total_variation": found.total_variation,
        "gauge_rr_percent": found.gauge_rr_percent,
        "percent_of_tolerance": percent,
        "distinct_categories": categories,
        "interaction_pooled": found.pooled,
        "spread": found.spread,
        "consumer_risk": risk and risk.consumer,
        "producer_risk": risk and risk.producer,
    }
    rows = (
        ("Gauge and people", f"{found.gauge_rr_percent:.1f} % of the variation"),
        ("Of the tolerance", "not asked" if percent is None else f"{percent:.1f} %"),
        ("Categories it tells apart", "none" if categories is None else f"{categories}"),
        ("Repeats", mm(found.repeatability, 0.00001)),
        ("People", mm(found.reproducibility, 0.00001)),
        ("Gauge and people together", mm(found.gauge_rr, 0.00001)),
        ("Pieces", mm(found.part_variation, 0.00001)),
        *(() if risk is None else _risk_rows(risk)),
    )
    working = (*found.working, *(() if risk is None else risk.working))
    cautions = (*found.cautions, *(() if risk is None else risk.cautions))
    return Answer(reply, rows, working, cautions, ledger=_ledger(found))


def _risk(
    found: GaugeStudy, trials: list[Trial], lower: float | None, upper: float | None
) -> AcceptanceRisk | None:
    """What this gauge lets through, if pieces go on scattering as those of the study."""
    if lower is None or upper is None or found.part_variation < 1e-9 or found.gauge_rr < 1e-9:
        return None
    middle = fmean(one.value for one in trials)
    return acceptance_risk(middle, found.part_variation, found.gauge_rr, lower, upper)


def _risk_rows(risk: AcceptanceRisk) -> tuple[tuple[str, str], ...]:
    return (
        ("Bad and accepted", f"{risk.consumer * 1000:.3g} in a thousand"),
        ("Good and rejected", f"{risk.producer * 1000:.3g} in a thousand"),
    )


def _ledger(found: GaugeStudy) -> Ledger:
    return Ledger(
        f"Squares in µm²: {found.pieces} pieces × {found.people} people × {found.repeats} repeats",
        ("Cause", "df", "Squares", "Mean square", "F", "p"),
        tuple(
            (
                line.name,
                f"{line.degrees_of_freedom}",
                f"{line.sum_of_squares * 1e6:.6g}",
                f"{line.mean_square * 1e6:.6g}",
                "" if line.f is None else f"{line.f:.4g}",
                shown_p(line.p),
            )
            for line in found.table
        ),
    )


TOPICS: tuple[Topic, ...] = (
    Topic(
        "gauge-study",
        "Gauge study",
        "How much of what a gauge shows is the gauge and the people who read it.",
        (
            Argument(
                "readings",
                "Readings, one a line",
                "rows",
                example=EXAMPLE,
                help="Piece; person; value. Each piece read by each person equally often, twice or more.",
                columns=(
                    Argument("piece", "Piece", "text", example="1"),
                    Argument("person", "Person", "text", example="AB"),
                    length("value", "Value", "12.010 mm", bare="mm"),
                ),
                most=MOST_READINGS,
            ),
            length("tolerance", "Tolerance, from limit to limit", "0.05 mm", required=False, bare="mm"),
            length("lower", "Or: lower limit", "", required=False, bare="mm"),
            length("upper", "and upper limit", "", required=False, bare="mm"),
            Argument(
                "spread",
                "Deviations in a variation",
                "number",
                False,
                "6",
                example="6",
                help="6 (99.73 %) or 5.15 (99 %).",
            ),
        ),
        _study,
        formulas=(gauge_study, acceptance_risk),
    ),
)
