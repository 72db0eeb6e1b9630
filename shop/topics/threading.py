"""Topics of threads and their tightening."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.safestring import mark_safe

from shop.handbook.bolts import bolt_grade, bolt_thread
from shop.handbook.drills import insert_hole, tapping_drill
from shop.handbook.quantities import Refused
from shop.handbook.threads import thread
from shop.handbook.tightening import pattern, tightening
from shop.pictures import bolt_picture
from shop.refusals import Refusal
from shop.topics.arguments import condition, grade, length, tapped
from shop.topics.drawings import thread_profile
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
        drawing=thread_profile(found.pitch_mm, found.angle_deg, found.taper, found.designation),
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


def _drills(values: Values) -> Answer:
    cut = asked("designation", thread, values["designation"])
    found = tapping_drill(cut, values["share"])
    try:
        insert = insert_hole(cut)
    except Refused:
        insert = None
    reply = {
        "hole_mm": found.hole_mm,
        "drills": [
            {"name": one.name, "diameter_mm": one.diameter_mm, "thread_share": one.thread_share}
            for one in found.drills
        ],
        "insert_hole_mm": insert.minor_mm if insert else None,
        "insert_tap_major_mm": insert.major_mm if insert else None,
        "insert_drills": [
            {"name": one.name, "diameter_mm": one.diameter_mm} for one in (insert.drills if insert else ())
        ],
    }
    rows = [("Hole", mm(found.hole_mm))]
    for one in found.drills:
        leaves = "" if one.thread_share is None else f", leaves {one.thread_share * 100:.0f} % of full thread"
        rows.append(("Drill", f"{one.name}, {mm(one.diameter_mm)}{leaves}"))
    if insert:
        rows.append(("For a wire insert: hole at least", mm(insert.minor_mm)))
        rows.append(("The insert's tap over its crests", mm(insert.major_mm)))
        rows += [("Drill for the insert", f"{one.name}, {mm(one.diameter_mm)}") for one in insert.drills]
    else:
        rows.append(("For a wire insert", "none is worked out for this form"))
    more = [one for one in (insert.cautions if insert else ()) if one not in found.cautions]
    return Answer(
        reply,
        tuple(rows),
        (*found.working, *(insert.working if insert else ())),
        (*found.cautions, *more),
    )


def _pattern(values: Values) -> Answer:
    bolts = [(row["name"], row["x"], row["y"]) for row in values["bolts"]]
    shares = tuple(values["passes"] or (0.5, 1.0))
    found = asked("bolts", pattern, bolts, shares)
    full = values["torque"]
    passes = [{"share": share, "torque_nm": None if full is None else share * full} for share in found.passes]
    return Answer(
        {"order": list(found.order), "passes": passes},
        (
            ("Order", ", ".join(found.order)),
            *(
                (
                    f"Pass {n}",
                    f"{one['share'] * 100:g} %"
                    + ("" if full is None else f", {torque(one['share'] * full)}"),
                )
                for n, one in enumerate(passes, 1)
            ),
        ),
        found.working,
        found.cautions,
        drawing=mark_safe(  # noqa: S308  our own drawing; what was typed is escaped
            bolt_picture([(name, x, y, found.order.index(name) + 1) for name, x, y in bolts])
        ),
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
    Topic(
        "pattern",
        "Order of tightening",
        "In which order a joint's bolts are tightened, from where they are, and by which passes.",
        (
            Argument(
                "bolts",
                "Bolts, one a line",
                "rows",
                example=(
                    "A; 0 mm; 0 mm\nB; 60 mm; 0 mm\nC; 120 mm; 0 mm\nD; 120 mm; 80 mm\nE; 60 mm; 80 mm\n"
                    "F; 0 mm; 80 mm"
                ),
                help="Name; across; up.",
                columns=(
                    Argument("name", "Name", "text", example="A"),
                    length("x", "Across", "0 mm"),
                    length("y", "Up", "0 mm"),
                ),
                most=200,
            ),
            Argument(
                "passes",
                "Shares of the torque, one a line",
                "number",
                False,
                example="0.5\n1",
                many=True,
                most=6,
            ),
            Argument("torque", "Full torque", "torque", False, example="29 N·m"),
        ),
        _pattern,
        formulas=(pattern,),
        aliases={"x": "bolts", "y": "bolts", "fractions": "passes"},
    ),
    Topic(
        "drills",
        "Drills for tapping",
        "Which drill before a tap, how much thread it leaves, and the hole for a wire insert.",
        (
            Argument(
                "designation", "Thread", "text", example="3/8-16 UNC", help="Such as 3/8-16 UNC, 2 BA, M10."
            ),
            Argument("share", "Share of full thread", "number", False, "0.75", example="0.75"),
        ),
        _drills,
        formulas=(tapping_drill, insert_hole),
    ),
)
