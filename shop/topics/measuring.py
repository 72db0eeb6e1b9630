"""Topics of measuring: a typed quantity, a warm part, inside its limits or not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.safestring import mark_safe

from shop.bars import limit_bar
from shop.handbook import conformity as measured
from shop.handbook.kinds import KINDS
from shop.handbook.quantities import canonical_unit, parse
from shop.refusals import Refusal
from shop.topics.arguments import length, material
from shop.topics.shown import mm, share, um
from shop.topics.table import Answer, Argument, Topic, asked

Values = Mapping[str, Any]


def _quantity(values: Values) -> Answer:
    found = asked(
        "text",
        parse,
        values["text"],
        values["kind"],
        values["default_unit"],
        values["decimal_mark"],
    )
    unit = canonical_unit(values["kind"])
    return Answer(
        {"canonical": found.canonical, "unit": found.unit, "resolution": found.resolution},
        (
            ("Read as", f"{found.canonical:.10g} {unit}"),
            ("Unit as typed", found.unit),
            ("Last step", f"{found.resolution:.6g} {unit}"),
        ),
        found.working,
        found.cautions,
    )


def _conformity(values: Values) -> Answer:
    if values["lower"] is None and values["upper"] is None:
        raise Refusal(lower="Give a lower limit, an upper limit, or both.")
    if values["expanded_uncertainty"] < 0:
        raise Refusal(expanded_uncertainty="An uncertainty is 0 or more.")
    if not values["coverage_factor"] > 0:
        raise Refusal(coverage_factor="A coverage factor is above 0; 2 is usual.")
    found = measured.conformity(
        values["value"],
        values["expanded_uncertainty"] / values["coverage_factor"],
        values["lower"],
        values["upper"],
        values["confidence"],
        rule=values["rule"],
    )
    return Answer(
        {
            "probability": found.probability,
            "decision": found.decision,
            "acceptance_lower_mm": found.acceptance_lower_mm,
            "acceptance_upper_mm": found.acceptance_upper_mm,
        },
        (
            ("Decision", found.decision),
            ("Chance that it is inside", share(found.probability)),
            ("Accept from", mm(found.acceptance_lower_mm)),
            ("Accept to", mm(found.acceptance_upper_mm)),
        ),
        found.working,
        found.cautions,
        drawing=mark_safe(  # noqa: S308  our own drawing of numbers
            limit_bar(
                value_mm=values["value"],
                expanded_mm=values["expanded_uncertainty"] * 2 / values["coverage_factor"],
                lower_mm=values["lower"],
                upper_mm=values["upper"],
                guard_mm=_guard(found, values),
                unit="mm",
            )
        ),
    )


def _guard(found: measured.Conformity, values: Values) -> float:
    """Width of the guard bands [mm]."""
    if values["lower"] is not None and found.acceptance_lower_mm is not None:
        return float(found.acceptance_lower_mm - values["lower"])
    if values["upper"] is not None and found.acceptance_upper_mm is not None:
        return float(values["upper"] - found.acceptance_upper_mm)
    return 0.0


def _temperature(values: Values) -> Answer:
    gauge_c = 20.0 if values["gauge_temperature"] is None else values["gauge_temperature"]
    if gauge_c != 20.0 and values["gauge_material"] is None:
        raise Refusal(gauge_material="A gauge away from 20 °C needs its material, such as gauge steel.")
    found = measured.temperature(
        values["length"], values["temperature"], values["material"], gauge_c, values["gauge_material"]
    )
    return Answer(
        {"length_at_20_mm": found.length_at_20_mm, "correction_um": found.correction_um},
        (("Length at 20 °C", mm(found.length_at_20_mm)), ("Correction", um(found.correction_um))),
        found.working,
        found.cautions,
    )


def _marks() -> tuple[str, ...]:
    return (".", ",")


TOPICS: tuple[Topic, ...] = (
    Topic(
        "quantity",
        "Quantities",
        "How a typed quantity is read: its value, its unit and its last step.",
        (
            Argument("text", "As typed", "text", example="1 1/8 in"),
            Argument("kind", "Kind", "choice", default="length", example="length", choices=lambda: (*KINDS,)),
            Argument("default_unit", "Unit of a bare number", "text", False),
            Argument("decimal_mark", "Decimal mark", "choice", False, ".", choices=_marks),
        ),
        _quantity,
        formulas=(parse,),
    ),
    Topic(
        "conformity",
        "Inside its limits or not",
        "Whether a measured size is within its limits, given the gauge that measured it.",
        (
            length("value", "Measured", "25.019 mm"),
            length("expanded_uncertainty", "Expanded uncertainty", "0.004 mm"),
            Argument("coverage_factor", "Coverage factor", "number", False, "2", example="2"),
            length("lower", "Lower limit", "25.000 mm", required=False),
            length("upper", "Upper limit", "25.021 mm", required=False),
            Argument("confidence", "Confidence", "number", False, "0.95", example="0.95"),
            Argument(
                "rule",
                "Rule of decision",
                "choice",
                False,
                "guarded",
                example="guarded",
                choices=lambda: measured.RULES,
                help="Guarded: the uncertainty counts against acceptance.",
            ),
        ),
        _conformity,
        formulas=(measured.conformity,),
        aliases={"standard_uncertainty": "expanded_uncertainty"},
    ),
    Topic(
        "temperature",
        "Warm parts",
        "What a warm part measures at 20 °C.",
        (
            length("length", "As read", "80.03 mm"),
            Argument("temperature", "Temperature of the part", "temperature", example="28 °C"),
            material("material", "Material of the part", True, "aluminium"),
            Argument("gauge_temperature", "Temperature of the gauge", "temperature", False, example="20 °C"),
            material("gauge_material", "Material of the gauge", example="steel"),
        ),
        _temperature,
        formulas=(measured.temperature,),
    ),
)
