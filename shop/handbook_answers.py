"""What each topic of the Handbook works out: calls one handbook function and says its result twice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook import conformity as measuring
from shop.handbook import fits
from shop.handbook.bolts import bolt_grade, bolt_thread
from shop.handbook.endfloat import end_float
from shop.handbook.kinds import KINDS
from shop.handbook.quantities import Refused, both, canonical_unit, convert, parse
from shop.handbook.threads import thread
from shop.handbook.tightening import tightening
from shop.handbook_topics import (
    Answer,
    Argument,
    Topic,
    asked,
    condition,
    diameter,
    grade,
    material,
    tapped,
)
from shop.refusals import Refusal

Values = Mapping[str, Any]


def _um(value: float) -> str:
    return f"{value:+.1f} µm ({value / 25.4:+.2f} thou)".replace("-", "−")


def _mm(value: float | None) -> str:
    return "none" if value is None else both(value, 0.0001)


def _share(value: float) -> str:
    return "over 99.99 %" if value > 0.9999 else f"{value * 100:.2f} %"


def _torque(value: float) -> str:
    return f"{value:.1f} N·m ({convert(value, 'torque', 'lbf ft'):.1f} lbf ft)"


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


def _limits(values: Values) -> Answer:
    found = asked("zone", fits.limits, values["diameter"], values["zone"])
    return Answer(
        {"lower_um": found.lower_um, "upper_um": found.upper_um},
        (
            ("Lower deviation", _um(found.lower_um)),
            ("Upper deviation", _um(found.upper_um)),
            ("Smallest", _mm(found.lower_mm)),
            ("Largest", _mm(found.upper_mm)),
        ),
        found.working,
        found.cautions,
    )


def _fit(values: Values) -> Answer:
    for name in ("hole", "shaft"):
        zone = values[name]
        asked(name, fits.limits, values["diameter"], zone)
        if (name == "hole") != zone[:1].isupper():
            raise Refusal(**{name: "A hole has capital letters, such as H7; a shaft small ones, such as k6."})
    warm = {key: values[key] for key in ("hole_material", "shaft_material", "temperature")}
    if values["temperature"] is not None:
        for key in ("hole_material", "shaft_material"):
            if values[key] is None:
                raise Refusal(**{key: "A fit at another temperature needs both materials."})
    found = fits.fit(values["diameter"], values["hole"], values["shaft"], **warm)
    parts = {
        name: {"lower_um": one.lower_um, "upper_um": one.upper_um}
        for name, one in (("hole", found.hole), ("shaft", found.shaft))
    }
    return Answer(
        {
            **parts,
            "clearance_min_um": found.clearance_min_um,
            "clearance_max_um": found.clearance_max_um,
            "character": found.character,
        },
        (
            ("Character", found.character),
            ("Least clearance", _um(found.clearance_min_um)),
            ("Most clearance", _um(found.clearance_max_um)),
            ("Hole", f"{_um(found.hole.lower_um)} to {_um(found.hole.upper_um)}"),
            ("Shaft", f"{_um(found.shaft.lower_um)} to {_um(found.shaft.upper_um)}"),
        ),
        found.working,
        (*found.cautions, "Less than nothing is interference"),
    )


def _conformity(values: Values) -> Answer:
    if values["lower"] is None and values["upper"] is None:
        raise Refusal(lower="Give a lower limit, an upper limit, or both.")
    if not values["coverage_factor"] > 0:
        raise Refusal(coverage_factor="A coverage factor is above 0; 2 is usual.")
    found = measuring.conformity(
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
            ("Chance that it is inside", _share(found.probability)),
            ("Accept from", _mm(found.acceptance_lower_mm)),
            ("Accept to", _mm(found.acceptance_upper_mm)),
        ),
        found.working,
        found.cautions,
    )


def _temperature(values: Values) -> Answer:
    gauge_c = 20.0 if values["gauge_temperature"] is None else values["gauge_temperature"]
    if gauge_c != 20.0 and values["gauge_material"] is None:
        raise Refusal(gauge_material="A gauge away from 20 °C needs its material, such as gauge steel.")
    found = measuring.temperature(
        values["length"], values["temperature"], values["material"], gauge_c, values["gauge_material"]
    )
    return Answer(
        {"length_at_20_mm": found.length_at_20_mm, "correction_um": found.correction_um},
        (("Length at 20 °C", _mm(found.length_at_20_mm)), ("Correction", _um(found.correction_um))),
        found.working,
        found.cautions,
    )


def _thread(values: Values) -> Answer:
    found = asked("designation", thread, values["designation"])
    area = found.stress_area_mm2
    pitch = f"{found.pitch_mm:.4f} mm" + (f", {found.tpi:g} to the inch" if found.tpi else "")
    return Answer(
        {
            "form": found.form,
            "taper": found.taper,
            "left_hand": found.left_hand,
            "major_mm": found.major_mm,
            "pitch_mm": found.pitch_mm,
            "pitch_diameter_mm": found.pitch_diameter_mm,
            "stress_area_mm2": area,
            "not_to_be_confused_with": list(found.not_to_be_confused_with),
        },
        (
            ("Form", f"{found.form}, {found.angle_deg:g}°"),
            ("Taper", "taper: no torque" if found.taper else "parallel"),
            ("Hand", "left" if found.left_hand else "right"),
            ("Major diameter", _mm(found.major_mm)),
            ("Pitch", pitch),
            ("Pitch diameter", _mm(found.pitch_diameter_mm)),
            ("Stress area", "none: it is no bolt" if area is None else f"{area:.2f} mm²"),
            *(("Not to be confused with", one) for one in found.not_to_be_confused_with),
        ),
        found.working,
        found.cautions,
    )


def _tightening(values: Values) -> Answer:
    bolt = asked("thread", bolt_thread, values["thread"])
    asked("grade", bolt_grade, values["grade"], bolt.major_mm)
    if values["condition"] is not None and values["nut_factor"] is not None:
        raise Refusal(nut_factor="Give the condition of the thread or a nut factor, not both.")
    if (values["tapped_material"] is None) != (values["engagement"] is None):
        lacking = "engagement" if values["engagement"] is None else "tapped_material"
        raise Refusal(**{lacking: "A tapped hole needs its material and the length of thread that holds."})
    found = tightening(
        bolt,
        values["grade"],
        condition=values["condition"],
        nut_factor=values["nut_factor"],
        clamp_fraction=values["clamp_fraction"],
        tapped_material=values["tapped_material"],
        engagement_mm=values["engagement"],
    )
    strips = found.stripping_load_n
    return Answer(
        {
            "torque_nm": found.torque_nm,
            "torque_min_nm": found.torque_min_nm,
            "torque_max_nm": found.torque_max_nm,
            "preload_n": found.preload_n,
            "limited_by": found.limited_by,
            "stripping_load_n": strips,
        },
        (
            ("Torque to set", _torque(found.torque_nm)),
            ("By scatter of friction", f"{_torque(found.torque_min_nm)} to {_torque(found.torque_max_nm)}"),
            ("Limited by", found.limited_by),
            ("Preload", f"{found.preload_n:.0f} N"),
            ("The hole strips at", "not asked" if strips is None else f"{strips:.0f} N"),
            ("Nut factor", f"{found.nut_factor:g}"),
        ),
        found.working,
        found.cautions,
    )


def _end_float(values: Values) -> Answer:
    if values["setting"] == "float" and (values["gap"] is None) == (values["trial_float"] is None):
        raise Refusal(gap="Give the gap, or the float measured in a trial: one of the two.")
    if values["target_max"] < values["target_min"]:
        raise Refusal(target_max="The most is below the least.")
    try:
        found = end_float(
            target_min=values["target_min"],
            target_max=values["target_max"],
            washers=values["washers"],
            places=values["places"],
            setting=values["setting"],
            gap=values["gap"],
            gap_uncertainty=values["gap_uncertainty"] or 0.0,
            stack=values["stack"],
            trial_float=values["trial_float"],
        )
    except Refused as trouble:
        name = "setting" if values["setting"] != "float" else "washers"
        raise Refusal(**{name: f"{trouble}."}) from None
    others = [
        {"choice": list(one.choice), "float_mm": one.float_mm, "probability": one.probability}
        for one in found.others
    ]
    reach = "" if found.float_min_mm is None else f"{_mm(found.float_min_mm)} to {_mm(found.float_max_mm)}"
    rows = (
        ("Fit", ", ".join(found.choice) or "nothing in the list reaches the limits"),
        ("Float", _mm(found.float_mm)),
        ("At the worst", reach or "none"),
        ("Chance that it is inside", _share(found.probability)),
        ("Change of the washers", f"{found.shim_change_mm:+.3f} mm".replace("-", "−")),
        *(
            ("Next", f"{', '.join(one.choice)}: {_mm(one.float_mm)}, {_share(one.probability)}")
            for one in found.others
        ),
    )
    reply = {
        "choice": list(found.choice),
        "float_mm": found.float_mm,
        "float_min_mm": found.float_min_mm,
        "float_max_mm": found.float_max_mm,
        "probability": found.probability,
        "shim_change_mm": found.shim_change_mm,
        "others": others,
    }
    return Answer(reply, rows, found.working, found.cautions)


def _length(name: str, label: str, example: str, required: bool = True, **more: Any) -> Argument:
    return Argument(name, label, "length", required, example=example, **more)


def _marks() -> tuple[str, ...]:
    return (".", ",")


TOPICS: dict[str, Topic] = {
    one.name: one
    for one in (
        Topic(
            "quantity",
            "Quantities",
            "How a typed quantity is read: its value, its unit and its last step.",
            (
                Argument("text", "As typed", "text", example="1 1/8 in"),
                Argument(
                    "kind", "Kind", "choice", default="length", example="length", choices=lambda: (*KINDS,)
                ),
                Argument("default_unit", "Unit of a bare number", "text", False),
                Argument("decimal_mark", "Decimal mark", "choice", False, ".", choices=_marks),
            ),
            _quantity,
        ),
        Topic(
            "limits",
            "Limits",
            "Deviations of a hole or a shaft by its tolerance zone.",
            (
                diameter(),
                Argument(
                    "zone",
                    "Zone",
                    "text",
                    example="H7",
                    help="Capital letters for a hole, small for a shaft.",
                ),
            ),
            _limits,
        ),
        Topic(
            "fit",
            "Fits",
            "Clearance or interference of a hole and a shaft, also warm.",
            (
                diameter(),
                Argument("hole", "Hole", "text", example="H7"),
                Argument("shaft", "Shaft", "text", example="p6"),
                material("hole_material", "Material of the hole", example="aluminium"),
                material("shaft_material", "Material of the shaft", example="steel"),
                Argument("temperature", "Temperature of both", "temperature", False, example="80 °C"),
            ),
            _fit,
        ),
        Topic(
            "conformity",
            "Inside its limits or not",
            "Whether a measured size is within its limits, given the gauge that measured it.",
            (
                _length("value", "Measured", "25.019 mm"),
                _length("expanded_uncertainty", "Expanded uncertainty", "0.004 mm"),
                Argument("coverage_factor", "Coverage factor", "number", False, "2", example="2"),
                _length("lower", "Lower limit", "25.000 mm", required=False),
                _length("upper", "Upper limit", "25.021 mm", required=False),
                Argument("confidence", "Confidence", "number", False, "0.95", example="0.95"),
                Argument(
                    "rule",
                    "Rule of decision",
                    "choice",
                    False,
                    "guarded",
                    example="guarded",
                    choices=lambda: measuring.RULES,
                    help="Guarded: the uncertainty counts against acceptance.",
                ),
            ),
            _conformity,
        ),
        Topic(
            "temperature",
            "Warm parts",
            "What a warm part measures at 20 °C.",
            (
                _length("length", "As read", "80.03 mm"),
                Argument("temperature", "Temperature of the part", "temperature", example="28 °C"),
                material("material", "Material of the part", True, "aluminium"),
                Argument(
                    "gauge_temperature", "Temperature of the gauge", "temperature", False, example="20 °C"
                ),
                material("gauge_material", "Material of the gauge", example="steel"),
            ),
            _temperature,
        ),
        Topic(
            "thread",
            "Threads",
            "What a thread measures, and what it is not to be confused with.",
            (
                Argument(
                    "designation",
                    "Thread",
                    "text",
                    example="1/2-14 NPT",
                    help="Such as 3/8-16 UNC, 3/8 BSF, 2 BA, M10x1.5, R 1/2; LH for left hand.",
                ),
            ),
            _thread,
        ),
        Topic(
            "tightening",
            "Tightening",
            "A torque when the maker gives none: what limits it, and what friction does to it.",
            (
                Argument("thread", "Thread", "text", example="3/8-16 UNC"),
                grade("grade", "Grade of the bolt"),
                condition("condition", "Condition of the thread"),
                Argument("nut_factor", "Nut factor instead", "number", False, help="0.08 to 0.35."),
                Argument(
                    "clamp_fraction", "Share of the proof load", "number", False, "0.75", example="0.75"
                ),
                tapped("tapped_material", "The hole is cut in"),
                _length("engagement", "Length of thread that holds", "14 mm", required=False),
            ),
            _tightening,
        ),
        Topic(
            "end-float",
            "End float",
            "Which washers leave a float inside its limits, and how likely.",
            (
                Argument(
                    "setting",
                    "Setting",
                    "choice",
                    False,
                    "float",
                    example="float",
                    choices=lambda: ("float", "preload"),
                ),
                _length("gap", "Between the faces", "150.21 mm", required=False),
                _length("gap_uncertainty", "Expanded uncertainty of it", "0.004 mm", required=False),
                Argument("stack", "What fills it, one a line", "lengths", False, example="145.65 mm"),
                _length("trial_float", "Or: float in a trial", "", required=False),
                _length("target_min", "Least wanted", "0.15 mm"),
                _length("target_max", "Most wanted", "0.40 mm"),
                Argument(
                    "washers",
                    "Washers, one a line",
                    "washers",
                    example="TW-205; 2.05 mm; 0.005 mm; 2\nTW-215; 2.15 mm; 0.005 mm; 2",
                    help="Code; thickness; tolerance; how many; price; place.",
                ),
                Argument(
                    "places",
                    "How many are fitted, or the places",
                    "places",
                    False,
                    "1",
                    example="front, rear",
                ),
            ),
            _end_float,
        ),
    )
}
