"""Topics of gears: trains, pairs, what is measured on teeth, backlash, bending."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shop.handbook import gearchecks as measured
from shop.handbook.bending import bending, form_factor, makes
from shop.handbook.gears import HANDS, MM_PER_INCH, Gear, forms, gear, pair, run_together, tooth_form
from shop.handbook.quantities import Refused
from shop.handbook.trains import Stage, gear_train
from shop.handbook.working import OutOfRange, within
from shop.refusals import Refusal
from shop.topics.arguments import length
from shop.topics.shown import force, mm, pressure
from shop.topics.table import Answer, Argument, Ledger, Topic, asked, sentence

Values = Mapping[str, Any]
SENSE = {True: "as the input", False: "against the input"}


def module_of(values: Values) -> float | None:
    """The module [mm] from the one of the two that was given."""
    if values["diametral_pitch"] is None:
        module: float | None = values["module"]
        return module
    if values["module"] is not None:
        raise Refusal(diametral_pitch="Give the module or the diametral pitch, not both.")
    return MM_PER_INCH / within("diametral_pitch", values["diametral_pitch"], 0.9, 100.0, "to the inch")


def gear_of(values: Values) -> Gear:
    """The gear that the usual fields describe."""
    module = module_of(values)
    if module is None:
        raise Refusal(module="Give the module, such as 3 mm, or the diametral pitch.")
    found: Gear = asked(
        "form",
        gear,
        int(values["teeth"]),
        module,
        values["pressure_angle_deg"],
        helix_deg=values["helix_deg"],
        hand=values.get("hand") or "",
        shift=values["shift"],
        form=values["form"],
    )
    return found


def _gear_train(values: Values) -> Answer:
    stages = [
        Stage(int(row["driving"]), int(row["driven"]), tuple(int(one) for one in row["idlers"]))
        for row in values["stages"]
    ]
    found = gear_train(stages, module_of(values), values["helix_deg"])
    speed = None if values["input_speed"] is None else values["input_speed"] / found.ratio
    distances = found.centre_distances_mm
    rows = [
        ("Ratio", f"{found.ratio:.4f} to 1"),
        ("The output turns", SENSE[found.same_sense]),
        *((f"Stage {number}", f"{one:.4f} to 1") for number, one in enumerate(found.stage_ratios, 1)),
    ]
    if speed is not None:
        rows.append(("Speed of the output", f"{speed:.1f} rpm"))
    meshes = [mesh for stage in stages for mesh in stage.meshes]
    ledger = None
    if distances is not None:
        lines = tuple(
            (f"{one} with {two}", mm(distance))
            for (one, two), distance in zip(meshes, distances, strict=True)
        )
        ledger = Ledger("Centre distances without profile shift", ("Teeth", "Centre distance"), lines)
    reply = {
        "ratio": found.ratio,
        "signed_ratio": found.signed_ratio,
        "same_sense": found.same_sense,
        "stage_ratios": list(found.stage_ratios),
        "centre_distances_mm": None if distances is None else list(distances),
        "output_speed_rpm": speed,
    }
    return Answer(reply, tuple(rows), found.working, found.cautions, ledger=ledger)


def _gear_pair(values: Values) -> Answer:
    if len(values["gears"]) != 2:
        raise Refusal(gears="Describe two gears, one a line.")
    both = []
    for number, row in enumerate(values["gears"], 1):
        try:
            both.append(gear_of(row))
        except OutOfRange as trouble:
            raise Refusal(gears=f"Line {number}: {sentence(trouble, 'gears')}") from None
        except Refusal as trouble:
            raise Refusal(gears=f"Line {number}: {next(iter(trouble.errors.values()))}") from None
    first, second = both
    meeting = run_together(first, second)
    reply: dict[str, Any] = {"runs": meeting.runs, "reasons": list(meeting.reasons)}
    if not meeting.runs:
        rows = (("They run together", "no"), *(("Because", one) for one in meeting.reasons))
        return Answer(reply, rows, meeting.working, meeting.cautions)
    try:
        found = pair(first, second, values["centre"])
    except OutOfRange as trouble:
        name = "centre" if trouble.argument == "centre_mm" else "gears"
        raise Refusal(**{name: sentence(trouble, name)}) from None
    reply |= {
        "centre_mm": found.centre_mm,
        "standard_centre_mm": found.standard_centre_mm,
        "working_pressure_angle_deg": found.working_angle_deg,
        "working_diameters_mm": list(found.working_diameters_mm),
        "tip_diameters_mm": list(found.tip_diameters_mm),
        "shift_sum": found.shift_sum,
        "contact_ratio": found.contact_ratio,
        "backlash_mm": found.backlash_mm,
    }
    rows = (
        ("They run together", "yes"),
        ("Centre distance", mm(found.centre_mm)),
        ("Without profile shift", mm(found.standard_centre_mm)),
        ("Working pressure angle", f"{found.working_angle_deg:.4f}°"),
        ("Sum of profile shift without backlash", f"{found.shift_sum:.4f}"),
        ("Backlash that full teeth leave", mm(found.backlash_mm)),
        ("Contact ratio, transverse", f"{found.contact_ratio:.3f}"),
        ("Tip diameters", ", ".join(mm(one) for one in found.tip_diameters_mm)),
    )
    cautions = tuple(dict.fromkeys([*meeting.cautions, *found.cautions]))
    return Answer(reply, rows, (*meeting.working, *found.working), cautions)


def _span(values: Values) -> Answer:
    one = gear_of(values)
    found = measured.span(one, _whole(values["spanned"]))
    rows = [
        ("Span", mm(found.span_mm)),
        ("Over", f"{found.spanned} teeth; {found.least_spanned} to {found.most_spanned} can be spanned"),
        ("It touches at a diameter of", mm(found.contact_mm)),
    ]
    working, cautions, less = list(found.working), list(found.cautions), None
    if values["measured"] is not None:
        thinner = measured.thinning(one, found.spanned, values["measured"])
        less = thinner.thinning_mm
        rows.append(("Teeth thinner than full by", mm(less)))
        working.append(thinner.working[-1])
        cautions += thinner.cautions
    reply = {
        "span_mm": found.span_mm,
        "spanned": found.spanned,
        "least_spanned": found.least_spanned,
        "most_spanned": found.most_spanned,
        "contact_mm": found.contact_mm,
        "face_needed_mm": found.face_needed_mm,
        "thinning_mm": less,
    }
    return Answer(reply, tuple(rows), tuple(working), tuple(cautions))


def _over_pins(values: Values) -> Answer:
    found = measured.over_pins(gear_of(values), values["pin"])
    reply = {
        "over_pins_mm": found.over_pins_mm,
        "pin_mm": found.pin_mm,
        "least_pin_mm": found.least_pin_mm,
        "most_pin_mm": found.most_pin_mm,
        "contact_mm": found.contact_mm,
    }
    rows = (
        ("Over pins", mm(found.over_pins_mm)),
        ("Pins or balls of", mm(found.pin_mm)),
        ("Pins that touch the flanks", f"{found.least_pin_mm:.3f} to {found.most_pin_mm:.3f} mm"),
        ("They touch at a diameter of", mm(found.contact_mm)),
    )
    return Answer(reply, rows, found.working, found.cautions)


def _chordal(values: Values) -> Answer:
    found = measured.chordal(gear_of(values), values["addendum"])
    reply = {
        "chord_mm": found.chord_mm,
        "height_mm": found.height_mm,
        "thickness_mm": found.thickness_mm,
        "half_angle_deg": found.half_angle_deg,
    }
    rows = (
        ("Chord", mm(found.chord_mm)),
        ("At a height below the tip of", mm(found.height_mm)),
        ("Thickness round the circle", mm(found.thickness_mm)),
    )
    return Answer(reply, rows, found.working, found.cautions)


def _backlash(values: Values) -> Answer:
    one = gear_of(values)
    if (values["reading"] is None) == (values["measured"] is None):
        raise Refusal(reading="Give the reading of a dial, or the measured span of a gear: one of the two.")
    found = _from_dial(values, one) if values["measured"] is None else _from_spans(values, one)
    reply = {"backlash_mm": found.circumferential_mm, "normal_backlash_mm": found.normal_mm}
    rows = (
        ("Backlash round the pitch circle", mm(found.circumferential_mm)),
        ("Square to the flanks", mm(found.normal_mm)),
    )
    return Answer(reply, rows, found.working, found.cautions)


def _from_dial(values: Values, one: Gear) -> measured.Backlash:
    if values["radius"] is None:
        raise Refusal(radius="A dial needs its radius from the axis. Write it like 60 mm.")
    return measured.backlash_of_dial(
        values["reading"],
        values["radius"],
        one,
        way=values["way"],
        pitch_diameter_mm=values["pitch_diameter"],
    )


def _from_spans(values: Values, one: Gear) -> measured.Backlash:
    if values["mate_teeth"] is None:
        raise Refusal(mate_teeth="Backlash from spans needs the teeth of the mate. Write it like 33.")
    mate = gear_of({**values, "teeth": values["mate_teeth"], "shift": values["mate_shift"]})
    first = measured.thinning(one, _counted(one, values["spanned"]), values["measured"])
    steps, cautions, less = list(first.working), list(first.cautions), 0.0
    if values["mate_measured"] is None:
        cautions.append("The mate was not measured: its teeth are taken as full")
    else:
        try:
            second = measured.thinning(mate, _counted(mate, values["mate_spanned"]), values["mate_measured"])
        except OutOfRange as trouble:
            name = "mate_measured" if trouble.argument == "measured_mm" else "mate_spanned"
            raise Refusal(**{name: sentence(trouble, name)}) from None
        less = second.thinning_mm
        steps += second.working
        cautions += second.cautions
    try:
        found = measured.backlash_of_spans(
            one,
            mate,
            first_thinning_mm=first.thinning_mm,
            second_thinning_mm=less,
            centre_mm=values["centre"],
        )
    except Refused as trouble:
        raise Refusal(mate_teeth=sentence(trouble)) from None
    return measured.Backlash(
        found.circumferential_mm,
        found.normal_mm,
        (*steps, *found.working),
        tuple(dict.fromkeys([*cautions, *found.cautions])),
    )


def _counted(one: Gear, spanned: float | None) -> int:
    return measured.span(one).spanned if spanned is None else int(spanned)


def _whole(value: float | None) -> int | None:
    return None if value is None else int(value)


def _bending(values: Values) -> Answer:
    found = bending(
        gear_of(values),
        values["torque"],
        values["face_width"],
        speed_rpm=values["speed"] or 0.0,
        make=values["make"],
    )
    allowable = values["allowable"]
    if allowable is not None and not allowable > 0:
        raise Refusal(allowable="An allowable stress is above 0. Write it like 200 MPa.")
    share = None if allowable is None else found.stress_mpa / allowable
    rows = [
        ("Bending stress", pressure(found.stress_mpa)),
        ("Load on the teeth", force(found.tangential_force_n)),
        ("Pitch line speed", f"{found.pitch_line_m_per_s:.2f} m/s"),
        ("Outline factor Y", f"{found.form_factor:.3f}"),
        ("Velocity factor", f"{found.velocity_factor:.3f}"),
    ]
    if share is not None:
        rows.append(
            ("Of what is allowed", f"{share * 100:.0f} %{': more than is allowed' if share > 1 else ''}")
        )
    reply = {
        "stress_mpa": found.stress_mpa,
        "tangential_force_n": found.tangential_force_n,
        "pitch_line_m_per_s": found.pitch_line_m_per_s,
        "form_factor": found.form_factor,
        "velocity_factor": found.velocity_factor,
        "share_of_allowable": share,
    }
    return Answer(reply, tuple(rows), found.working, found.cautions)


def _count(name: str, label: str, example: str, required: bool = True, **more: Any) -> Argument:
    return Argument(name, label, "count", required, example=example, bare="1", **more)


def _number(name: str, label: str, default: str, **more: Any) -> Argument:
    return Argument(name, label, "number", False, default, example=more.pop("example", default), **more)


def _module(example: str = "3 mm") -> Argument:
    return Argument(
        "module", "Module", "length", False, example=example, bare="mm", help="Or the diametral pitch."
    )


PITCH = Argument("diametral_pitch", "Diametral pitch", "number", False, help="Teeth to the inch, such as 8.")
HELIX = _number("helix_deg", "Helix angle, degrees", "0")
ANGLE = _number("pressure_angle_deg", "Pressure angle, degrees", "20")
SHIFT = _number("shift", "Profile shift, in modules", "0", help="Outwards is +.")
FORM = Argument(
    "form",
    "Tooth form",
    "text",
    False,
    "full depth",
    "full depth",
    help="full depth, full depth 14.5, stub, or two pitches such as 6/8.",
    choices=forms,
    check=tooth_form,
)
HAND = Argument("hand", "Hand", "choice", False, choices=lambda: HANDS)


def _tooth(teeth: str = "24", module: str = "3 mm") -> tuple[Argument, ...]:
    return (_count("teeth", "Teeth", teeth), _module(module), PITCH, ANGLE, HELIX, SHIFT, FORM)


TOPICS: tuple[Topic, ...] = (
    Topic(
        "gear-train",
        "Gear trains",
        "The ratio of a train, which way the output turns, and the centre distances.",
        (
            Argument(
                "stages",
                "Stages, one a line",
                "rows",
                example="20; 40\n18; 38; 15",
                help="Driving teeth; driven teeth; idler, if there is one.",
                columns=(
                    _count("driving", "Driving teeth", "20"),
                    _count("driven", "Driven teeth", "40"),
                    _count("idlers", "Idler", "15", required=False, many=True, most=4),
                ),
                most=12,
            ),
            _module(),
            PITCH,
            HELIX,
            Argument("input_speed", "Speed of the input", "speed", False, example="1450 rpm", bare="rpm"),
        ),
        _gear_train,
        formulas=(gear_train,),
    ),
    Topic(
        "gear-pair",
        "Two gears together",
        "Whether two gears can run together, at which centre distance, and what backlash is left.",
        (
            Argument(
                "gears",
                "Two gears, one a line",
                "rows",
                example="12; 3 mm; 0.6\n24; 3 mm; 0.36",
                help=(
                    "Teeth; module; profile shift; tooth form; pressure angle; helix angle; hand; "
                    "diametral pitch. Leave out what is 0 or usual."
                ),
                columns=(
                    _count("teeth", "Teeth", "12"),
                    _module(),
                    SHIFT,
                    FORM,
                    ANGLE,
                    HELIX,
                    HAND,
                    PITCH,
                ),
                most=2,
            ),
            length("centre", "Centre distance", "56.5 mm", required=False),
        ),
        _gear_pair,
        formulas=(run_together, pair, gear),
    ),
    Topic(
        "span",
        "Span over teeth",
        "What several teeth measure over their flanks, and how much thinner worn teeth are.",
        (
            *_tooth(),
            _count("spanned", "Teeth spanned", "3", required=False),
            length("measured", "Span as measured", "23.05 mm", required=False),
        ),
        _span,
        formulas=(measured.span, measured.thinning),
    ),
    Topic(
        "over-pins",
        "Over pins or balls",
        "What a gear measures over two pins or balls in its gaps.",
        (
            *_tooth(),
            length("pin", "Pin or ball", "5.184 mm", required=False, help="If not given: 1.728 modules."),
        ),
        _over_pins,
        formulas=(measured.over_pins,),
    ),
    Topic(
        "chordal-thickness",
        "Tooth calliper",
        "Chord and height to set a tooth calliper to.",
        (
            *_tooth(),
            length("addendum", "Tip above the reference circle, as it stands", "3 mm", required=False),
        ),
        _chordal,
        formulas=(measured.chordal,),
    ),
    Topic(
        "backlash",
        "Backlash",
        "Backlash from a dial on a rocked gear, or from the measured spans of two gears.",
        (
            *_tooth("40", "2 mm"),
            length("reading", "Dial: reading", "0.30 mm", required=False),
            length("radius", "Dial: radius from the axis", "60 mm", required=False),
            Argument(
                "way",
                "Dial: it reads",
                "choice",
                False,
                measured.WAYS[0],
                measured.WAYS[0],
                choices=lambda: measured.WAYS,
            ),
            length("pitch_diameter", "Dial: working pitch diameter", "", required=False),
            _count("spanned", "Spans: teeth spanned", "", required=False),
            length("measured", "Spans: as measured", "", required=False),
            _count("mate_teeth", "Spans: teeth of the mate", "", required=False),
            _number("mate_shift", "Spans: profile shift of the mate", "0", example=""),
            _count("mate_spanned", "Spans: teeth spanned on the mate", "", required=False),
            length("mate_measured", "Spans: mate as measured", "", required=False),
            length("centre", "Spans: centre distance", "", required=False),
        ),
        _backlash,
        formulas=(measured.backlash_of_dial, measured.backlash_of_spans),
        aliases={"first_thinning_mm": "measured", "second_thinning_mm": "mate_measured"},
    ),
    Topic(
        "bending",
        "Bending of teeth",
        "Bending stress of a tooth by the Lewis formula: a first look at more torque.",
        (
            Argument("torque", "Torque on this gear", "torque", example="150 N·m"),
            *_tooth("20"),
            length("face_width", "Face width in mesh", "25 mm"),
            Argument("speed", "Speed of this gear", "speed", False, example="1450 rpm", bare="rpm"),
            Argument("make", "The teeth are", "choice", False, "cut", "cut", choices=makes),
            Argument("allowable", "Allowable stress", "pressure", False, example="200 MPa"),
        ),
        _bending,
        formulas=(bending, form_factor),
        aliases={"face_mm": "face_width"},
    ),
)
