"""Involute gears on parallel shafts: sizes of one gear, a pair at its centre distance, what runs with what.

Module and pressure angle are those of the normal section; lengths mm, angles degrees. Profile shift is in
normal modules, positive outwards. A gear whose makers named it by diametral pitch has the module 25.4/DP.
"""

import re
from dataclasses import dataclass
from itertools import starmap
from math import acos, atan, cos, degrees, pi, radians, sin, sqrt, tan

from shop.handbook.involute import inverse_involute, involute
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import FROM_MEMORY, OutOfRange, Step, within

MM_PER_INCH = 25.4
STANDARD = "ISO 21771:2007"
HANDS = ("left", "right")
_TWO_PITCHES = re.compile(r"(?P<pitch>[0-9]{1,2})/(?P<depth>[0-9]{1,2})")


@dataclass(frozen=True, slots=True)
class Rack:
    """The basic rack of a tooth form: addendum, dedendum and fillet in modules."""

    form: str
    pressure_angle_deg: float
    addendum: float
    dedendum: float
    fillet: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]

    @property
    def stub(self) -> bool:
        return self.addendum < 0.95


@dataclass(frozen=True, slots=True)
class Gear:
    """One external gear: what was given, and the diameters, angles and thickness that follow."""

    teeth: int
    module_mm: float
    pressure_angle_deg: float
    helix_deg: float
    hand: str
    shift: float
    rack: Rack
    transverse_angle_deg: float
    base_helix_deg: float
    reference_mm: float
    base_mm: float
    tip_mm: float
    root_mm: float
    thickness_mm: float
    virtual_teeth: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """Two gears at a centre distance. ``backlash_mm`` is along the working pitch circle, teeth unthinned."""

    centre_mm: float
    standard_centre_mm: float
    working_angle_deg: float
    working_diameters_mm: tuple[float, float]
    shift_sum: float
    tip_diameters_mm: tuple[float, float]
    contact_ratio: float
    backlash_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Meeting:
    """Whether two gears can run together, and every reason why not."""

    runs: bool
    reasons: tuple[str, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Module:
    """A pitch both ways: module [mm] and diametral pitch [1/in]."""

    module_mm: float
    diametral_pitch: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def module_of(diametral_pitch: float) -> Module:
    """The module of a diametral pitch: m = 25.4/DP.

    :param diametral_pitch: teeth to the inch of reference diameter, 1 to 100

    Reference: exact definition of the inch, 25.4 mm.

    >>> module_of(8).module_mm
    3.175
    """
    within("diametral_pitch", diametral_pitch, 1.0, 100.0, "to the inch")
    step = Step("m = 25.4/DP", (("DP", f"{diametral_pitch:g}"),), "exact definition of the inch")
    return Module(MM_PER_INCH / diametral_pitch, diametral_pitch, (step,), ())


def tooth_form(form: str) -> Rack:
    """The basic rack of a tooth form.

    Two pitches such as "6/8" are a stub tooth of an older kind: the first gives the module, the second the
    depth, so its addendum is 6/8 of the module and its dedendum 1.25 times that.

    :param form: "full depth", "full depth 14.5", "stub", or two pitches such as "6/8"

    Reference: ISO 53:1998, profile A; ASA B6.1-1932; both from memory: check before relying on them.

    >>> tooth_form("stub").addendum, tooth_form("6/8").dedendum
    (0.8, 0.9375)
    """
    text = form.strip().lower() if isinstance(form, str) else ""
    two = _TWO_PITCHES.fullmatch(text)
    if two is not None and 0 < int(two["pitch"]) < int(two["depth"]):
        share = int(two["pitch"]) / int(two["depth"])
        within("form", share, 0.6, 0.95, "as the first pitch over the second")
        step = Step(
            "addendum = first/second pitch, dedendum = 1.25 addendum",
            (("pitches", text),),
            f"two-pitch stub teeth of the early makers of gear shapers ({FROM_MEMORY})",
        )
        return Rack(text, 20.0, share, 1.25 * share, 0.2, (step,), (f"Stub teeth {text}: {FROM_MEMORY}",))
    for row in rows("tooth_forms.csv"):
        if row["form"] == text:
            memory = row["status"] == "memory"
            source = f"{row['source']} ({FROM_MEMORY})" if memory else row["source"]
            inputs = (("addendum", f"{row['addendum']} m"), ("dedendum", f"{row['dedendum']} m"))
            step = Step(f"basic rack, {text}", inputs, source)
            cautions = (f"Depth of {text} teeth: {FROM_MEMORY}",) if memory else ()
            return Rack(
                text,
                float(row["pressure_angle_deg"]),
                float(row["addendum"]),
                float(row["dedendum"]),
                float(row["fillet"]),
                (step,),
                cautions,
            )
    raise Refused(f'This is no tooth form. Choose one of: {", ".join(forms())}, or two pitches such as "6/8"')


def forms() -> tuple[str, ...]:
    """The tooth forms that have a name, for pages.

    >>> forms()
    ('full depth', 'full depth 14.5', 'stub')
    """
    return tuple(row["form"] for row in rows("tooth_forms.csv"))


def gear(
    teeth: int,
    module_mm: float,
    pressure_angle_deg: float = 20.0,
    *,
    helix_deg: float = 0.0,
    hand: str = "",
    shift: float = 0.0,
    form: str = "full depth",
) -> Gear:
    """The sizes of one external gear.

    d = z m/cos β, tan αt = tan α/cos β, db = d cos αt, sin βb = sin β cos α,
    s = m (π/2 + 2 x tan α), tip and root by the basic rack and the shift.

    :param teeth: number of teeth, 5 to 500
    :param module_mm: normal module [mm], 0.2 to 30; for a diametral pitch see :func:`module_of`
    :param pressure_angle_deg: normal pressure angle [degree], 10 to 30
    :param helix_deg: helix angle at the reference cylinder [degree], 0 to 45
    :param hand: "left" or "right" for a helical gear, if known
    :param shift: profile shift in normal modules, −1 to 1.5
    :param form: see :func:`tooth_form`

    Reference: ISO 21771:2007, clauses 4.2 to 4.6 (clauses from memory).

    >>> found = gear(24, 3, shift=0.36)
    >>> round(found.reference_mm, 3), round(found.base_mm, 4), round(found.root_mm, 2)
    (72.0, 67.6579, 66.66)
    """
    _check(teeth, module_mm, pressure_angle_deg, helix_deg, shift)
    if hand not in {"", *HANDS}:
        raise Refused(f"The hand of a helix is one of: {', '.join(HANDS)}")
    rack = tooth_form(form)
    angle, helix = radians(pressure_angle_deg), radians(helix_deg)
    transverse = atan(tan(angle) / cos(helix))
    reference = teeth * module_mm / cos(helix)
    base_helix = atan(tan(helix) * cos(transverse))
    inputs = (
        ("z", f"{teeth}"),
        ("m", f"{module_mm:.4f} mm"),
        ("α", f"{pressure_angle_deg:g}°"),
        ("β", f"{helix_deg:g}°"),
        ("x", f"{shift:g}"),
    )
    step = Step(
        "d = z m/cos β, tan αt = tan α/cos β, db = d cos αt, s = m (π/2 + 2 x tan α)", inputs, STANDARD
    )
    cautions = []
    least = 2 * (rack.addendum - shift) / sin(transverse) ** 2 * cos(helix)
    if teeth < 0.83 * least:
        cautions.append("Teeth as few as these are undercut: the flank near the root is missing")
    thickness = module_mm * (pi / 2 + 2 * shift * tan(angle))
    tip = reference + 2 * module_mm * (rack.addendum + shift)
    base = reference * cos(transverse)
    if tip <= base:
        raise OutOfRange("shift", shift, "enough for the tip to stand above the base circle")
    # Where both flanks meet nothing is left of the tooth, so the tip cannot stand beyond that.
    pointed = inverse_involute(thickness / cos(helix) / reference + tan(transverse) - transverse)
    if tip > base / cos(radians(pointed)):
        tip = base / cos(radians(pointed))
        cautions.append(
            "So much profile shift leaves the teeth pointed: the tip is taken where the flanks meet"
        )
    return Gear(
        teeth=teeth,
        module_mm=module_mm,
        pressure_angle_deg=pressure_angle_deg,
        helix_deg=helix_deg,
        hand=hand,
        shift=shift,
        rack=rack,
        transverse_angle_deg=degrees(transverse),
        base_helix_deg=degrees(base_helix),
        reference_mm=reference,
        base_mm=base,
        tip_mm=tip,
        root_mm=reference - 2 * module_mm * (rack.dedendum - shift),
        thickness_mm=thickness,
        virtual_teeth=teeth / cos(helix) ** 3,
        working=(step, *rack.working),
        cautions=tuple(cautions),
    )


def pair(first: Gear, second: Gear, centre_mm: float | None = None) -> Pair:
    """Two gears at a centre distance, or at the one where their full teeth have no backlash.

    inv αw = inv αt + 2 (x1 + x2) tan α/(z1 + z2), a = a0 cos αt/cos αw; at a stated centre cos αw =
    a0 cos αt/a. Tips are shortened to keep the clearance: da1 = d1 + 2 m (ha + y − x2), y = (a − a0)/m.
    The contact ratio is that of the transverse section.

    :param first: one gear, see :func:`gear`
    :param second: its mate
    :param centre_mm: centre distance [mm]; without it, that of no backlash

    Reference: ISO 21771:2007, clause 5 (clause from memory); tips as in the metric gear handbooks.

    >>> found = pair(gear(12, 3, shift=0.6), gear(24, 3, shift=0.36), 56.5)
    >>> round(found.working_angle_deg, 4), round(found.contact_ratio, 3)
    (26.0888, 1.202)
    """
    meeting = run_together(first, second)
    if not meeting.runs:
        raise Refused(f"These two do not run together. {'. '.join(meeting.reasons)}")
    total = first.teeth + second.teeth
    slope = tan(radians(first.pressure_angle_deg))
    standard = (first.reference_mm + second.reference_mm) / 2
    bases = (first.base_mm + second.base_mm) / 2
    given = involute(first.transverse_angle_deg)
    if centre_mm is None:
        wanted = given + 2 * (first.shift + second.shift) * slope / total
        if not wanted > 0:
            raise OutOfRange("shift", first.shift + second.shift, "a sum that leaves a pressure angle")
        angle = inverse_involute(wanted)
        centre = bases / cos(radians(angle))
    else:
        centre = within("centre_mm", centre_mm, 1.0001 * bases, 1.1 * standard, "mm for these teeth")
        angle = degrees(acos(bases / centre))
    needed = (involute(angle) - given) * total / (2 * slope)
    module, y = first.module_mm, (centre - standard) / first.module_mm
    tips = (
        first.reference_mm + 2 * module * (first.rack.addendum + y - second.shift),
        second.reference_mm + 2 * module * (second.rack.addendum + y - first.shift),
    )
    path = -centre * sin(radians(angle)) + sum(
        sqrt(max(0.0, tip**2 - one.base_mm**2)) / 2 for tip, one in zip(tips, (first, second), strict=True)
    )
    ratio = path / (pi * first.base_mm / first.teeth)
    working = (2 * centre * first.teeth / total, 2 * centre * second.teeth / total)
    # The gap that full teeth leave: each working circle is shared, so pitch − both thicknesses.
    backlash = 2 * centre / total * 2 * slope * (needed - first.shift - second.shift)
    cautions = list(dict.fromkeys([*first.cautions, *second.cautions]))
    if ratio < 1.1:
        cautions.append("The contact ratio is low: one pair of teeth may let go before the next takes hold")
    if backlash < -1e-6:
        cautions.append("Full teeth have no room at this centre distance: they must be thinned or they bind")
    inputs = (("a0", f"{standard:.4f} mm"), ("a", f"{centre:.4f} mm"), ("αw", f"{angle:.4f}°"))
    steps = (
        Step("cos αw = a0 cos αt/a; inv αw = inv αt + 2 (x1 + x2) tan α/(z1 + z2)", inputs, STANDARD),
        Step("ε = (√(ra1² − rb1²) + √(ra2² − rb2²) − a sin αw)/pbt", (("ε", f"{ratio:.3f}"),), STANDARD),
    )
    return Pair(centre, standard, angle, working, needed, tips, ratio, backlash, steps, tuple(cautions))


def run_together(first: Gear, second: Gear) -> Meeting:
    """Whether two gears on parallel shafts can run together: all reasons why not, in words.

    They need one normal module (or diametral pitch), one pressure angle, one helix angle with opposite
    hands, and both stub teeth or both full.

    :param first: one gear, see :func:`gear`
    :param second: its mate

    Reference: equal normal base pitches, as in "Base Pitch Tables", Gear Technology; hands and depth are
    common practice.

    >>> run_together(gear(20, 2.5), gear(30, 25.4 / 10)).reasons
    ('The modules differ: 2.5000 mm (10.16 DP) and 2.5400 mm (10 DP)',)
    """
    reasons = []
    if abs(first.module_mm / second.module_mm - 1) > 5e-4:
        reasons.append(f"The modules differ: {_pitch(first)} and {_pitch(second)}")
    if abs(first.pressure_angle_deg - second.pressure_angle_deg) > 0.02:
        reasons.append(
            f"The pressure angles differ: {first.pressure_angle_deg:g}° and {second.pressure_angle_deg:g}°"
        )
    if abs(first.helix_deg - second.helix_deg) > 0.02:
        reasons.append(f"The helix angles differ: {first.helix_deg:g}° and {second.helix_deg:g}°")
    if first.helix_deg > 0 and second.helix_deg > 0 and first.hand and first.hand == second.hand:
        reasons.append(f"Both are {first.hand} hand: on parallel shafts one is left and one is right")
    if first.rack.stub != second.rack.stub or abs(first.rack.addendum - second.rack.addendum) > 0.02:
        reasons.append(f"The depths differ: {first.rack.form} and {second.rack.form}")
    cautions = ["Sets that were lapped or run in together stay together"]
    if first.helix_deg > 0 and not (first.hand and second.hand):
        cautions.append("The hands were not given: on parallel shafts one is left and one is right")
    inputs = tuple(starmap(_shown, (("first", first), ("second", second))))
    step = Step(
        "m1 = m2, α1 = α2, β1 = β2 with opposite hands, one depth",
        inputs,
        "Base Pitch Tables, Gear Technology (equal normal base pitch)",
    )
    return Meeting(not reasons, tuple(reasons), (step,), tuple(cautions))


def _check(teeth: int, module: float, pressure: float, helix: float, shift: float) -> None:
    within("teeth", teeth, 5, 500, "")
    if teeth != int(teeth):
        raise OutOfRange("teeth", teeth, "a whole number, 5 to 500")
    within("module_mm", module, 0.2, 30.0, "mm")
    within("pressure_angle_deg", pressure, 10.0, 30.0, "degrees")
    within("helix_deg", helix, 0.0, 45.0, "degrees")
    within("shift", shift, -1.0, 1.5, "modules")


def _pitch(one: Gear) -> str:
    return f"{one.module_mm:.4f} mm ({MM_PER_INCH / one.module_mm:.4g} DP)"


def _shown(name: str, one: Gear) -> tuple[str, str]:
    hand = f" {one.hand}" if one.hand else ""
    return name, f"{_pitch(one)}, {one.pressure_angle_deg:g}°, β {one.helix_deg:g}°{hand}, {one.rack.form}"
