"""Topics of press and shrink fits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook.elastic import elastic
from shop.handbook.materials import expansion, materials
from shop.handbook.pressing import FRICTION_HINT, press_fit, warm_interference
from shop.handbook.shrinking import UNSTATED_PART, chill_fit, heating_limit, parts, shrink_fit
from shop.refusals import Refusal
from shop.topics.arguments import diameter, length, material
from shop.topics.shown import celsius, force, mm, pressure, torque, um
from shop.topics.table import Answer, Argument, Topic

Values = Mapping[str, Any]
METHODS = ("heat the outer part", "chill the inner part")


def _press_fit(values: Values) -> Answer:
    least = values["least_interference"]
    if least is not None and least > values["interference"]:
        raise Refusal(least_interference="The least interference is above the largest.")
    shape = {name: values[name] for name in ("length", "hub_outer", "shaft_bore", "friction")}
    made = {name: values[name] for name in ("hub_material", "shaft_material")}
    found = press_fit(values["diameter"], values["interference"], **shape, **made)
    sure = found
    if least is not None:
        sure = press_fit(values["diameter"], least, **shape, **made)
    wanted = values["torque"]
    holds = None if wanted is None else sure.torque_held_nm >= wanted
    cautions = list(found.cautions)
    if holds is False:
        cautions.insert(0, "The fit slips below the torque that it has to hold")
    rows = [
        ("Press force", force(found.press_force_n)),
        ("Pressure in the fit", pressure(found.pressure_mpa)),
        ("Torque held", torque(sure.torque_held_nm)),
        ("Hub, hoop stress", pressure(found.hub_hoop_stress_mpa)),
        ("Hub, equivalent stress", pressure(found.hub_equivalent_stress_mpa)),
        ("Shaft, hoop stress", pressure(found.shaft_hoop_stress_mpa)),
        ("Hub grows outside by", um(1000 * found.hub_growth_mm)),
    ]
    if values["shaft_bore"]:
        rows.append(("Shaft bore closes by", um(1000 * found.bore_closing_mm)))
    working = list(found.working)
    reply: dict[str, Any] = {
        "pressure_mpa": found.pressure_mpa,
        "press_force_n": found.press_force_n,
        "torque_held_nm": sure.torque_held_nm,
        "holds": holds,
        "hub_hoop_stress_mpa": found.hub_hoop_stress_mpa,
        "hub_radial_stress_mpa": found.hub_radial_stress_mpa,
        "hub_equivalent_stress_mpa": found.hub_equivalent_stress_mpa,
        "shaft_hoop_stress_mpa": found.shaft_hoop_stress_mpa,
        "shaft_bore_hoop_stress_mpa": found.shaft_bore_hoop_stress_mpa,
        "hub_growth_um": 1000 * found.hub_growth_mm,
        "bore_closing_um": 1000 * found.bore_closing_mm,
        "warm_interference_mm": None,
    }
    if holds is not None:
        rows.append(("Holds the torque", "yes" if holds else "no"))
    if values["temperature"] is not None:
        warm = warm_interference(
            values["diameter"],
            values["interference"] if least is None else least,
            values["hub_material"],
            values["shaft_material"],
            values["temperature"],
        )
        reply["warm_interference_mm"] = warm.interference_mm
        rows.append(("Interference left warm", mm(warm.interference_mm)))
        working += warm.working
        cautions += warm.cautions
    return Answer(reply, tuple(rows), tuple(dict.fromkeys(working)), tuple(dict.fromkeys(cautions)))


def _shrink_fit(values: Values) -> Answer:
    heats = values["method"] == METHODS[0]
    fixed = [
        values[name] for name in ("diameter", "interference", "working_clearance", "material", "ambient")
    ]
    inner = {name: values[name] for name in ("inner_material", "inner_temperature")}
    if heats:
        for name, other in (
            ("inner_material", "inner_temperature"),
            ("inner_temperature", "inner_material"),
        ):
            if values[name] is None and values[other] is not None:
                raise Refusal(**{name: "A chilled inner part needs its material and its temperature."})
        found = shrink_fit(*fixed, part=values["part"], **inner)
        first = ("Heat the outer part to", celsius(found.temperature_c))
        limit = ("It may be heated to", celsius(found.limit_c))
    else:
        for name, given in inner.items():
            if given is not None:
                raise Refusal(**{name: "Only where the outer part is heated. Leave it empty."})
        found = chill_fit(*fixed, **({"part": values["part"]} if values["part"] else {}))
        first = ("Chill the inner part to", celsius(found.temperature_c))
        limit = ("It may be chilled to", celsius(found.limit_c))
    wrong = found.too_hot or found.too_cold
    return Answer(
        {
            "temperature_c": found.temperature_c,
            "too_hot": found.too_hot,
            "too_cold": found.too_cold,
            "limit_c": found.limit_c,
            "rise_k": found.rise_k,
        },
        (
            first,
            limit,
            ("Too hot" if heats else "Too cold", "yes: do not" if wrong else "no"),
            ("Change from where it is", f"{found.rise_k:+.0f} K".replace("-", "−")),
        ),
        found.working,
        found.cautions,
    )


def _named(name: str, label: str) -> Argument:
    return Argument(
        name,
        label,
        "text",
        False,
        "steel",
        example="steel",
        choices=materials,
        check=lambda text: elastic(expansion(text).material),
    )


TOPICS: tuple[Topic, ...] = (
    Topic(
        "press-fit",
        "Press fits",
        "Pressure, press force, the torque it holds and the stresses of a hub on a shaft.",
        (
            diameter("Diameter of the fit", "50 mm"),
            length(
                "interference",
                "Interference, the largest",
                "0.05 mm",
                help="Over the diameter, not to a side.",
            ),
            length("length", "Length of the fit", "40 mm"),
            length("hub_outer", "Outside of the hub", "80 mm", help="Of a gear: its root circle."),
            length("shaft_bore", "Bore of the shaft", "20 mm", required=False, default="0 mm"),
            _named("hub_material", "Material of the hub"),
            _named("shaft_material", "Material of the shaft"),
            Argument(
                "friction", "Friction", "number", False, "0.12", example="0.12", help=f"{FRICTION_HINT}."
            ),
            length(
                "least_interference",
                "Interference, the least",
                "0.03 mm",
                required=False,
                help="The torque held is reckoned with this one.",
            ),
            Argument("torque", "Torque it has to hold", "torque", False, example="400 N·m"),
            Argument("temperature", "Temperature when warm", "temperature", False, example="90 °C"),
        ),
        _press_fit,
        formulas=(press_fit, warm_interference, elastic),
    ),
    Topic(
        "shrink-fit",
        "Shrink fits",
        "How hot the outer part, or how cold the inner one, to go together freely, and whether it may be.",
        (
            diameter("Diameter of the fit", "50 mm"),
            length(
                "interference",
                "Interference, the largest",
                "0.03 mm",
                help="Over the diameter; the largest that the limits of size allow.",
            ),
            length("working_clearance", "Clearance while it goes on", "0.02 mm"),
            material("material", "Material of the part heated or chilled", True, "steel"),
            Argument("ambient", "Temperature to begin with", "temperature", False, "20 °C", example="20 °C"),
            Argument(
                "part",
                "What it is",
                "choice",
                False,
                example="open bearing",
                choices=parts,
                help=f"If not given: {UNSTATED_PART}; of a chilled part plain steel.",
            ),
            Argument("method", "Method", "choice", False, METHODS[0], METHODS[0], choices=lambda: METHODS),
            material("inner_material", "Inner part, if chilled as well: material"),
            Argument(
                "inner_temperature", "Inner part, if chilled as well: temperature", "temperature", False
            ),
        ),
        _shrink_fit,
        formulas=(shrink_fit, chill_fit, heating_limit),
    ),
)
