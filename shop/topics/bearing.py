"""The topic of rolling bearings: equivalent load, basic life, a duty of several gears."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook.bearings import (
    KINDS,
    Duty,
    EquivalentLoad,
    basic_life,
    duty_life,
    equivalent_load,
    groove_factors,
    needed_rating,
)
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step
from shop.refusals import Refusal
from shop.topics.shown import force
from shop.topics.table import Answer, Argument, Ledger, Topic, sentence

Values = Mapping[str, Any]
SINGLE = ("radial", "speed")


def _bearing_life(values: Values) -> Answer:
    if (values["f0"] is None) != (values["static_rating"] is None):
        lacking = "static_rating" if values["static_rating"] is None else "f0"
        raise Refusal(**{lacking: "Factors from the table need both f0 and the static rating."})
    if not values["duty"]:
        return _one_load(values)
    for name in SINGLE:
        if values[name] is not None:
            raise Refusal(**{name: "With a duty the loads and speeds stand in its lines. Leave this empty."})
    if values["axial"]:
        raise Refusal(axial="With a duty the loads and speeds stand in its lines. Leave this empty.")
    return _several(values)


def _one_load(values: Values) -> Answer:
    if values["radial"] is None:
        raise Refusal(radial="This is needed. Write it like 4 kN.")
    load, steps, cautions = _load(values, values["radial"], values["axial"])
    try:
        found = basic_life(
            values["dynamic_rating"], load.equivalent_load_n, values["kind"], speed_rpm=values["speed"]
        )
    except OutOfRange as trouble:
        name = {"load": "dynamic_rating", "speed_rpm": "speed"}.get(trouble.argument, trouble.argument)
        raise Refusal(**{name: sentence(trouble, name)}) from None
    steps += found.working
    cautions += found.cautions
    rows = [
        ("Life in hours", "give a speed" if found.l10_hours is None else f"{found.l10_hours:.0f} h"),
        ("Life in revolutions", f"{found.l10_million_rev:.4g} million"),
        ("Equivalent load", force(load.equivalent_load_n)),
        ("The axial load counts", "yes" if load.axial_counts else "no"),
    ]
    rating = None
    if values["hours"] is not None:
        if values["speed"] is None:
            raise Refusal(speed="A life in hours needs a speed. Write it like 1450 rpm.")
        needed = needed_rating(load.equivalent_load_n, values["hours"], values["speed"], values["kind"])
        rating = needed.dynamic_rating_n
        steps += needed.working
        rows.append(("Dynamic rating for the hours wanted", force(rating)))
    reply = {
        "equivalent_load_n": load.equivalent_load_n,
        "axial_counts": load.axial_counts,
        "l10_million_rev": found.l10_million_rev,
        "l10_hours": found.l10_hours,
        "needed_rating_n": rating,
    }
    return Answer(reply, tuple(rows), tuple(steps), tuple(dict.fromkeys(cautions)))


def _several(values: Values) -> Answer:
    steps: list[Step] = []
    cautions: list[str] = []
    duties = []
    for number, line in enumerate(values["duty"], 1):
        try:
            load, more, words = _load(values, line["radial"], line["axial"])
        except OutOfRange as trouble:
            name = trouble.argument if trouble.argument in {"x", "y", "e", "f0"} else "duty"
            raise Refusal(**{name: f"Line {number}: {sentence(trouble, name)}"}) from None
        steps += more
        cautions += words
        duties.append(Duty(line["name"], line["share"], line["speed"], load.equivalent_load_n))
    try:
        found = duty_life(values["dynamic_rating"], duties, values["kind"])
    except OutOfRange as trouble:
        field = {"load": "dynamic_rating", "dynamic_rating": "dynamic_rating"}.get(trouble.argument, "duty")
        raise Refusal(**{field: sentence(trouble, field)}) from None
    except Refused as trouble:
        raise Refusal(duty=sentence(trouble)) from None
    reply = {
        "equivalent_load_n": found.mean_load_n,
        "mean_speed_rpm": found.mean_speed_rpm,
        "l10_million_rev": found.l10_million_rev,
        "l10_hours": found.l10_hours,
        "damage": [{"name": name, "share": share} for name, share in found.damage],
    }
    rows = (
        ("Life in hours", f"{found.l10_hours:.0f} h"),
        ("Life in revolutions", f"{found.l10_million_rev:.4g} million"),
        ("Mean load", force(found.mean_load_n)),
        ("Mean speed", f"{found.mean_speed_rpm:.0f} rpm"),
    )
    ledger = Ledger(
        "What each gear uses of the life",
        ("Gear", "Time", "Equivalent load", "Share of the wear"),
        tuple(
            (one.name, f"{one.share * 100:.3g} %", force(one.load_n), f"{used * 100:.1f} %")
            for one, (_, used) in zip(duties, found.damage, strict=True)
        ),
    )
    steps += found.working
    cautions += found.cautions
    return Answer(reply, rows, tuple(steps), tuple(dict.fromkeys(cautions)), ledger=ledger)


def _load(values: Values, radial: float, axial: float) -> tuple[EquivalentLoad, list[Step], list[str]]:
    """The equivalent load, by the factors given or by the table of deep groove bearings."""
    x, y, e = values["x"], values["y"], values["e"]
    steps: list[Step] = []
    cautions: list[str] = []
    if values["f0"] is not None:
        groove = groove_factors(values["f0"], axial, values["static_rating"])
        x, y, e = groove.x, groove.y, groove.e
        steps += groove.working
        cautions += groove.cautions
    found = equivalent_load(radial, axial, x, y, e)
    return found, [*steps, *found.working], [*cautions, *found.cautions]


def _force(name: str, label: str, example: str, required: bool = True, default: str = "") -> Argument:
    return Argument(name, label, "force", required, default, example=example)


DUTY = (
    Argument("name", "Gear", "text", example="first"),
    Argument("share", "Share of the time", "number", example="0.05"),
    Argument("speed", "Speed", "speed", example="700 rpm", bare="rpm"),
    _force("radial", "Radial load", "9 kN"),
    _force("axial", "Axial load", "2 kN", required=False, default="0 N"),
)

TOPICS: tuple[Topic, ...] = (
    Topic(
        "bearing-life",
        "Rolling bearings",
        "Equivalent load and basic life of a ball or roller bearing, at one load or over a duty of gears.",
        (
            _force("dynamic_rating", "Dynamic rating C", "55.3 kN"),
            _force("radial", "Radial load", "4 kN", required=False),
            _force("axial", "Axial load", "500 N", required=False, default="0 N"),
            Argument("x", "Factor X", "number", False, "1", example="0.56", help="By the maker's catalogue."),
            Argument("y", "Factor Y", "number", False, "0", example="1.9", help="By the maker's catalogue."),
            Argument(
                "e",
                "Limit e",
                "number",
                False,
                example="0.23",
                help="Up to this share of the radial load the axial load does not count.",
            ),
            Argument("kind", "Kind", "choice", False, "ball", "ball", choices=lambda: KINDS),
            Argument("speed", "Speed", "speed", False, example="1800 rpm", bare="rpm"),
            Argument("hours", "Hours wanted", "number", False, example="10000"),
            Argument(
                "f0",
                "Deep groove: factor f0",
                "number",
                False,
                help="With the static rating, instead of X, Y, e.",
            ),
            _force("static_rating", "Deep groove: static rating C0", "", required=False),
            Argument(
                "duty",
                "Or: a duty, one gear a line",
                "rows",
                False,
                help="Gear; share of the time; speed; radial load; axial load. The shares come to 1.",
                columns=DUTY,
                most=20,
            ),
        ),
        _bearing_life,
        formulas=(equivalent_load, basic_life, needed_rating, groove_factors, duty_life),
    ),
)
