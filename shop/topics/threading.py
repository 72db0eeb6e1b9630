"""Topics of threads and their tightening."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook.bolts import bolt_grade, bolt_thread
from shop.handbook.threads import thread
from shop.handbook.tightening import tightening
from shop.refusals import Refusal
from shop.topics.arguments import condition, grade, length, tapped
from shop.topics.shown import mm, torque
from shop.topics.table import Answer, Argument, Topic, asked

Values = Mapping[str, Any]


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
            ("Major diameter", mm(found.major_mm)),
            ("Pitch", pitch),
            ("Pitch diameter", mm(found.pitch_diameter_mm)),
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
            ("Torque to set", torque(found.torque_nm)),
            ("By scatter of friction", f"{torque(found.torque_min_nm)} to {torque(found.torque_max_nm)}"),
            ("Limited by", found.limited_by),
            ("Preload", f"{found.preload_n:.0f} N"),
            ("The hole strips at", "not asked" if strips is None else f"{strips:.0f} N"),
            ("Nut factor", f"{found.nut_factor:g}"),
        ),
        found.working,
        found.cautions,
    )


TOPICS: tuple[Topic, ...] = (
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
        formulas=(thread,),
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
            Argument("clamp_fraction", "Share of the proof load", "number", False, "0.75", example="0.75"),
            tapped("tapped_material", "The hole is cut in"),
            length("engagement", "Length of thread that holds", "14 mm", required=False),
        ),
        _tightening,
        formulas=(tightening,),
    ),
)
