"""Topics of limits and fits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook import fits
from shop.handbook.inchfits import inch_fit
from shop.refusals import Refusal
from shop.topics.arguments import diameter, material
from shop.topics.drawings import zones
from shop.topics.shown import celsius, mm, play, um
from shop.topics.table import Answer, Argument, Topic, asked

Values = Mapping[str, Any]


def _limits(values: Values) -> Answer:
    found = asked("zone", fits.limits, values["diameter"], values["zone"])
    return Answer(
        {"lower_um": found.lower_um, "upper_um": found.upper_um},
        (
            ("Smallest", mm(found.lower_mm, 0.0001)),
            ("Largest", mm(found.upper_mm, 0.0001)),
            ("Lower deviation", um(found.lower_um)),
            ("Upper deviation", um(found.upper_um)),
        ),
        found.working,
        found.cautions,
        drawing=zones([(f"{found.zone}, {values['diameter']:g} mm", found.lower_um, found.upper_um)]),
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
    at = made = ""
    cold: list[tuple[str, str]] = []
    if values["temperature"] is not None:
        at, made = f" at {celsius(values['temperature'])}", " at 20 °C"
        same = fits.fit(values["diameter"], values["hole"], values["shaft"])
        cold = [("At 20 °C", f"{play(same.clearance_min_um)} to {play(same.clearance_max_um)}")]
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
            (f"Character{at}", found.character),
            (f"Tightest{at}", play(found.clearance_min_um)),
            (f"Loosest{at}", play(found.clearance_max_um)),
            *cold,
            (f"Hole{made}", f"{um(found.hole.lower_um)} to {um(found.hole.upper_um)}"),
            (f"Shaft{made}", f"{um(found.shaft.lower_um)} to {um(found.shaft.upper_um)}"),
        ),
        found.working,
        found.cautions,
        drawing=zones(
            [
                (f"hole {found.hole.zone}{made}", found.hole.lower_um, found.hole.upper_um),
                (f"shaft {found.shaft.zone}{made}", found.shaft.lower_um, found.shaft.upper_um),
            ]
        ),
    )


def _inch_fit(values: Values) -> Answer:
    found = asked("fit_class", inch_fit, values["diameter"], values["fit_class"])
    return Answer(
        {
            "hole": {"lower_um": 0.0, "upper_um": found.hole_max_thou * 25.4},
            "shaft": {"lower_um": found.shaft_min_thou * 25.4, "upper_um": found.shaft_max_thou * 25.4},
            "clearance_min_um": found.clearance_min_um,
            "clearance_max_um": found.clearance_max_um,
            "character": found.character,
        },
        (
            ("Character", found.character),
            ("Tightest", play(found.clearance_min_um)),
            ("Loosest", play(found.clearance_max_um)),
            ("Hole", f"0 to {um(found.hole_max_thou * 25.4)}"),
            ("Shaft", f"{um(found.shaft_min_thou * 25.4)} to {um(found.shaft_max_thou * 25.4)}"),
        ),
        found.working,
        found.cautions,
        drawing=zones(
            [
                ("hole", 0.0, round(found.hole_max_thou * 25.4, 1)),
                ("shaft", round(found.shaft_min_thou * 25.4, 1), round(found.shaft_max_thou * 25.4, 1)),
            ]
        ),
    )


TOPICS: tuple[Topic, ...] = (
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
        formulas=(fits.limits,),
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
        formulas=(fits.fit, fits.fit_of_sizes, fits.parse_loose_tight),
    ),
    Topic(
        "inch-fit",
        "Inch fits",
        "Preferred inch fits by class: running, location, force.",
        (
            diameter(example="1.5 in"),
            Argument(
                "fit_class", "Class", "text", example="RC4", help="RC1 to RC9, LC1 to LC11, LT, LN, FN."
            ),
        ),
        _inch_fit,
        formulas=(inch_fit,),
    ),
)
