"""Topics of form: bores and journals, flat faces, runout, needle rollers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook import flatness as faces
from shop.handbook.form import Place, roundness
from shop.handbook.rollers import needle_rollers, roller_spread
from shop.topics.arguments import length
from shop.topics.shown import mm
from shop.topics.table import Answer, Argument, Ledger, Topic

Values = Mapping[str, Any]
YES = {True: "yes", False: "no", None: "not proved"}


def _form(values: Values) -> Answer:
    found = roundness([Place(row["depth"], row["direction"], row["diameter"]) for row in values["readings"]])
    return Answer(
        {
            "mean_mm": found.mean_mm,
            "smallest_mm": found.smallest_mm,
            "largest_mm": found.largest_mm,
            "out_of_round_mm": found.out_of_round_mm,
            "taper_mm": found.taper_mm,
        },
        (
            ("Mean", mm(found.mean_mm)),
            ("Out-of-round", _known(found.out_of_round_mm)),
            ("Taper", _known(found.taper_mm)),
            ("Smallest", mm(found.smallest_mm)),
            ("Largest", mm(found.largest_mm)),
        ),
        found.working,
        found.cautions,
    )


def _known(value: float | None) -> str:
    return "not known from these places" if value is None else mm(value)


def _flatness(values: Values) -> Answer:
    feelers = [
        faces.Feeler(row["line"], row["place"], row["enters"], row["refuses"]) for row in values["readings"]
    ]
    found = faces.flat_by_feeler(feelers, values["allowed"])
    most = "not known" if found.at_most_mm is None else mm(found.at_most_mm)
    return Answer(
        {
            "flatness_at_least_mm": found.at_least_mm,
            "flatness_at_most_mm": found.at_most_mm,
            "line": found.line,
            "place": found.place,
            "inside": found.inside,
        },
        (
            ("Gap at least", mm(found.at_least_mm)),
            ("Gap less than", most),
            ("Worst", f"{found.line}, {found.place}"),
            *((("Inside what is allowed", YES[found.inside]),) if values["allowed"] is not None else ()),
        ),
        found.working,
        found.cautions,
        ledger=Ledger(
            "Largest gap of each line", ("Line", "Gap"), tuple((line, mm(gap)) for line, gap in found.by_line)
        ),
    )


def _runout(values: Values) -> Answer:
    found = faces.runout([(row["direction"], row["reading"]) for row in values["readings"]])
    way = "not worked out" if found.direction_deg is None else f"{found.direction_deg:.0f}°"
    return Answer(
        {
            "runout_mm": found.runout_mm,
            "eccentricity_mm": found.eccentricity_mm,
            "direction_deg": found.direction_deg,
            "form_mm": found.form_mm,
        },
        (
            ("Runout, total reading", mm(found.runout_mm)),
            ("Eccentricity in it", _known(found.eccentricity_mm)),
            ("Toward", way),
            ("Left over: form", _known(found.form_mm)),
        ),
        found.working,
        found.cautions,
    )


def _rollers(values: Values) -> Answer:
    diameters = values["rollers"]
    spread = roller_spread(diameters, values["allowed_spread"]) if len(diameters) > 1 else None
    roller = spread.mean_mm if spread else diameters[0]
    found = needle_rollers(values["bore"], values["shaft"], roller, values["count"])
    rows = [
        ("Radial clearance", mm(found.radial_clearance_mm)),
        ("Diametral clearance", mm(found.diametral_clearance_mm)),
        ("Total gap round the circle", mm(found.total_gap_mm)),
    ]
    if spread:
        rows.append(("Spread of the rollers", mm(spread.spread_mm)))
        if values["allowed_spread"] is not None:
            rows.append(("Spread inside what is allowed", YES[spread.inside]))
    return Answer(
        {
            "radial_clearance_mm": found.radial_clearance_mm,
            "diametral_clearance_mm": found.diametral_clearance_mm,
            "total_gap_mm": found.total_gap_mm,
            "roller_mm": roller,
            "spread_mm": spread.spread_mm if spread else None,
        },
        tuple(rows),
        (*found.working, *(spread.working if spread else ())),
        found.cautions,
    )


TOPICS: tuple[Topic, ...] = (
    Topic(
        "form",
        "Round and straight bores",
        "Out-of-round, taper and mean of a bore or journal from readings at several places.",
        (
            Argument(
                "readings",
                "Readings, one a line",
                "rows",
                example=(
                    "front; 0°; 40.012 mm\nfront; 90°; 40.034 mm\nrear; 0°; 40.008 mm\nrear; 90°; 40.010 mm"
                ),
                help="Depth; direction; diameter.",
                columns=(
                    Argument("depth", "Depth", "text", example="front"),
                    Argument("direction", "Direction", "text", example="0°"),
                    length("diameter", "Diameter", "40.012 mm"),
                ),
            ),
        ),
        _form,
        formulas=(roundness,),
        aliases={"diameter": "readings"},
    ),
    Topic(
        "flatness",
        "Flat faces",
        "How flat a joint face is, by straight-edge and feelers.",
        (
            Argument(
                "readings",
                "Feelers, one place a line",
                "rows",
                example=(
                    "along; front; 0.03 mm; 0.04 mm\nalong; rear; 0.05 mm; 0.06 mm\n"
                    "across; middle; 0.02 mm; 0.03 mm\ndiagonal 1; middle; 0.04 mm; 0.05 mm\n"
                    "diagonal 2; middle; 0.03 mm; 0.04 mm"
                ),
                help="Line of the straight-edge; place; thickest that enters; next that does not.",
                columns=(
                    Argument("line", "Line", "text", example="along"),
                    Argument("place", "Place", "text", example="front"),
                    length("enters", "Enters", "0.03 mm"),
                    length("refuses", "Does not enter", "0.04 mm", required=False),
                ),
                most=400,
            ),
            length("allowed", "Largest gap allowed", "0.06 mm", required=False),
        ),
        _flatness,
        formulas=(faces.flat_by_feeler, faces.flat_by_height),
        aliases={"enters": "readings", "refuses": "readings"},
    ),
    Topic(
        "runout",
        "Runout",
        "What a dial shows on a shaft turned between centres, and how much of it is bend.",
        (
            Argument(
                "readings",
                "Readings round one turn, one a line",
                "rows",
                example="0°; 0.00 mm\n90°; 0.02 mm\n180°; 0.04 mm\n270°; 0.02 mm",
                help="Direction; dial.",
                columns=(
                    Argument("direction", "Direction", "angle", example="0°"),
                    length("reading", "Dial", "0.02 mm"),
                ),
                most=360,
            ),
        ),
        _runout,
        formulas=(faces.runout,),
        aliases={"direction": "readings", "reading": "readings"},
    ),
    Topic(
        "needle-rollers",
        "Needle rollers",
        "Clearances of a full ring of needle rollers, and the spread of the set.",
        (
            length("bore", "Bore", "31.04 mm"),
            length("shaft", "Shaft", "25.00 mm"),
            Argument(
                "rollers",
                "Rollers as measured, one a line",
                "length",
                example="3.000 mm\n2.999 mm\n3.000 mm",
                many=True,
                most=200,
            ),
            Argument("count", "How many rollers", "count", example="29", bare="1"),
            length("allowed_spread", "Spread allowed", "0.003 mm", required=False),
        ),
        _rollers,
        formulas=(needle_rollers, roller_spread),
        aliases={"roller": "rollers", "diameters": "rollers", "allowed": "allowed_spread"},
    ),
)
