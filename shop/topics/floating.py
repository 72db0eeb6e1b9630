"""The topic of end float: which washers go in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook.endfloat import end_float, stack_up
from shop.handbook.packs import Washer
from shop.handbook.quantities import Refused
from shop.handbook.snaprings import snap_ring, squeezed_gasket
from shop.refusals import Refusal
from shop.topics.arguments import length
from shop.topics.drawings import washer_pack
from shop.topics.shown import mm, share
from shop.topics.sums import one_currency
from shop.topics.table import Answer, Argument, Topic, asked

Values = Mapping[str, Any]
COLUMNS = (
    Argument("code", "Code", "text", example="TW-205"),
    length("thickness", "Thickness", "2.05 mm"),
    length("tolerance", "Tolerance", "0.005 mm", required=False, default="0 mm"),
    Argument("count", "How many", "number", False, "1", example="2"),
    Argument("price", "Price", "money", False, example="0.45 EUR"),
    Argument("place", "Place", "text", False, example="front"),
)


def _washer(row: Values) -> Washer:
    count = row["count"]
    if count != int(count) or not 1 <= count <= 99:
        raise Refusal(washers=f"{row['code']}: a count is a whole number, 1 to 99.")
    price = row["price"].amount if row["price"] else 0.0
    return Washer(row["code"], row["thickness"], row["tolerance"], int(count), price, row["place"])


def _gasket(values: Values) -> list[tuple[float, float]]:
    """A gasket that widens the gap, as a term of the stack."""
    if values["gasket"] is None:
        return []
    found = squeezed_gasket(values["gasket"], values["gasket_compression"])
    return [(-found.thickness_mm, found.expanded_mm)]


def _end_float(values: Values) -> Answer:
    if values["setting"] == "float" and (values["gap"] is None) == (values["trial_float"] is None):
        raise Refusal(gap="Give the gap, or the float measured in a trial: one of the two.")
    if values["target_max"] < values["target_min"]:
        raise Refusal(target_max="The most is below the least.")
    one_currency("washers", [row["price"] for row in values["washers"]])
    try:
        found = end_float(
            target_min=values["target_min"],
            target_max=values["target_max"],
            washers=[_washer(row) for row in values["washers"]],
            places=values["places"],
            setting=values["setting"],
            gap=values["gap"],
            gap_uncertainty=values["gap_uncertainty"] or 0.0,
            stack=[*values["stack"], *_gasket(values)],
            trial_float=values["trial_float"],
        )
    except Refused as trouble:
        name = "setting" if values["setting"] != "float" else "washers"
        raise Refusal(**{name: f"{trouble}."}) from None
    others = [
        {"choice": list(one.choice), "float_mm": one.float_mm, "probability": one.probability}
        for one in found.others
    ]
    reach = "" if found.float_min_mm is None else f"{mm(found.float_min_mm)} to {mm(found.float_max_mm)}"
    rows = (
        ("Fit", ", ".join(found.choice) or "nothing in the list reaches the limits"),
        ("Float left", mm(found.float_mm)),
        ("At the worst", reach or "none"),
        ("Chance that it is inside", share(found.probability)),
        (
            "Thickness for the middle of it" if values["trial_float"] is None else "To add to what is in",
            mm(found.shim_change_mm),
        ),
        *(
            ("Next", f"{', '.join(one.choice)}: {mm(one.float_mm)}, {share(one.probability)}")
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
    drawing = ""
    if found.float_mm is not None and found.float_min_mm is not None and found.float_max_mm is not None:
        drawing = washer_pack(
            found.choice,
            found.float_mm,
            values["target_min"],
            values["target_max"],
            found.float_min_mm,
            found.float_max_mm,
        )
    return Answer(reply, rows, found.working, found.cautions, drawing=drawing)


def _snap_ring(values: Values) -> Answer:
    found = asked(
        "rings",
        snap_ring,
        values["groove"],
        [Washer(row["code"], row["thickness"], row["tolerance"]) for row in values["rings"]],
        values["groove_uncertainty"],
        values["confidence"],
    )
    others = [{"code": one.code, "play_mm": one.play_mm, "enters": one.enters} for one in found.others]
    return Answer(
        {"choice": found.choice, "play_mm": found.play_mm, "enters": found.enters, "others": others},
        (
            ("Fit", found.choice or "none at hand surely enters"),
            ("Play left", mm(found.play_mm)),
            ("Chance that it enters", share(found.enters)),
            *(("Other", f"{one.code}: play {mm(one.play_mm)}, {share(one.enters)}") for one in found.others),
        ),
        found.working,
        found.cautions,
    )


TOPICS: tuple[Topic, ...] = (
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
            length("gap", "Between the faces", "150.21 mm", required=False),
            length("gap_uncertainty", "Expanded uncertainty of it", "0.004 mm", required=False),
            Argument("stack", "What fills it, one a line", "length", False, example="145.65 mm", many=True),
            length("gasket", "A gasket that widens the gap, new", "", required=False),
            Argument("gasket_compression", "Share of it that is squeezed out", "number", False, "0.2"),
            length("trial_float", "Or: float in a trial", "", required=False),
            length("target_min", "Least wanted", "0.15 mm"),
            length("target_max", "Most wanted", "0.40 mm"),
            Argument(
                "washers",
                "Washers, one a line",
                "rows",
                columns=COLUMNS,
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
        formulas=(end_float, stack_up, squeezed_gasket),
        aliases={
            "compression": "gasket_compression",
            "thickness": "gasket",
            "thickness of": "washers",
            "tolerance of": "washers",
            "count of": "washers",
            "price of": "washers",
            "uncertainty in stack": "stack",
        },
    ),
    Topic(
        "snap-ring",
        "Snap rings",
        "Which snap ring to fit: the thickest that enters.",
        (
            length("groove", "Room for the ring", "1.58 mm"),
            length(
                "groove_uncertainty", "Expanded uncertainty of it", "0.01 mm", required=False, default="0 mm"
            ),
            Argument(
                "rings",
                "Rings at hand, one a line",
                "rows",
                example="SR-150; 1.50 mm; 0.01 mm\nSR-155; 1.55 mm; 0.01 mm\nSR-160; 1.60 mm; 0.01 mm",
                help="Code; thickness; tolerance.",
                columns=COLUMNS[:3],
            ),
            Argument("confidence", "Confidence", "number", False, "0.95", example="0.95"),
        ),
        _snap_ring,
        formulas=(snap_ring,),
        aliases={"thickness of": "rings", "tolerance of": "rings"},
    ),
)
