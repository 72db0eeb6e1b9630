"""Bending stress at the root of a gear tooth by the Lewis formula: a first look at more torque, no rating.

The formula knows neither the fillet's stress concentration nor load sharing, and nothing of pitting. Torque
N·m, lengths mm, stresses MPa, speed rpm.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, radians

from shop.handbook.gears import Gear
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import FROM_MEMORY, OutOfRange, Step, within

# Barth's constants are 600 and 1200 ft/min.
BARTH_M_PER_S = {"cast": 600 * 0.3048 / 60, "cut": 1200 * 0.3048 / 60}
LEWIS = "W. Lewis, Investigation of the Strength of Gear Teeth, 1892, as in Machinery's Handbook"
BARTH = "C. G. Barth's velocity factor, as in textbooks of machine design: 600 ft/min cast, 1200 ft/min cut"
FIRST_LOOK = (
    "A first look only: compare it with the same figure for the old load. It is no rating, and pitting, "
    "shock and the condition of used teeth are not in it"
)
_COLUMNS = {"full depth": "full_depth", "full depth 14.5": "full_depth_14_5"}


@dataclass(frozen=True, slots=True)
class FormFactor:
    """Outline factor Y of the Lewis formula."""

    form_factor: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Bending:
    """Bending stress [MPa] of one gear, the load on its teeth [N] and how fast they meet [m/s]."""

    stress_mpa: float
    tangential_force_n: float
    pitch_line_m_per_s: float
    form_factor: float
    velocity_factor: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def form_factor(one: Gear) -> FormFactor:
    """Outline factor Y of a gear, load at the tip, between tabulated numbers of teeth linear in 1/z.

    A helical gear goes by its virtual number of teeth z/cos³ β. Above 300 teeth the last row holds.

    :param one: the gear, see :func:`shop.handbook.gears.gear`, 12 teeth or more

    Reference: Machinery's Handbook, outline factors Y; stub and 14 1/2 degree teeth from memory.

    >>> from shop.handbook.gears import gear
    >>> form_factor(gear(20, 3)).form_factor, form_factor(gear(20, 3, form="stub")).form_factor
    (0.32, 0.393)
    """
    column = "stub" if one.rack.stub else _COLUMNS.get(one.rack.form, "full_depth")
    angle = 14.5 if column == "full_depth_14_5" else 20.0
    if abs(one.pressure_angle_deg - angle) > 0.1:
        raise OutOfRange(
            "pressure_angle_deg", one.pressure_angle_deg, f"{angle:g}° for {one.rack.form} teeth in the table"
        )
    teeth = within("teeth", one.virtual_teeth, 12, 2_000, "for the table of outline factors")
    points = [(int(row["teeth"]), float(row[column])) for row in rows("lewis_factors.csv")]
    found = _between(points, min(teeth, points[-1][0]))
    memory = column != "full_depth"
    source = f"Machinery's Handbook, outline factors Y{f' ({FROM_MEMORY})' if memory else ''}"
    step = Step(
        "Y, linear in 1/z", (("z", f"{teeth:g}"), ("teeth", one.rack.form), ("Y", f"{found:.3f}")), source
    )
    cautions = [f"Outline factors of {one.rack.form} teeth: {FROM_MEMORY}"] if memory else []
    if one.shift:
        cautions.append("Profile shift is not in the outline factor: outwards makes the root stronger")
    return FormFactor(found, (step,), tuple(cautions))


def bending(
    one: Gear,
    torque_nm: float,
    face_mm: float,
    *,
    speed_rpm: float = 0.0,
    make: str = "cut",
) -> Bending:
    """Lewis bending stress: σ = Kv Ft/(b m Y), Ft = 2 T/d, Kv = 1 + v/c (Barth).

    :param one: the gear that carries the torque, see :func:`shop.handbook.gears.gear`
    :param torque_nm: torque on this gear [N·m], 0 to 100 000
    :param face_mm: face width that meets the mate [mm], half a module to 40 modules
    :param speed_rpm: speed of this gear [rpm], 0 to 20 000
    :param make: "cast" or "cut", for the velocity factor

    Reference: Lewis 1892 in the form with Y and module; Barth's velocity factor.

    >>> from shop.handbook.gears import gear
    >>> found = bending(gear(20, 3), 100, 25)
    >>> round(found.tangential_force_n, 1), round(found.stress_mpa, 1)
    (3333.3, 138.9)
    """
    within("torque_nm", torque_nm, 0.0, 1e5, "N·m")
    within("face_mm", face_mm, 0.5 * one.module_mm, 40 * one.module_mm, "mm for this module")
    within("speed_rpm", speed_rpm, 0.0, 20_000.0, "rpm")
    if make not in BARTH_M_PER_S:
        raise Refused(f"Teeth are one of: {', '.join(BARTH_M_PER_S)}")
    factor = form_factor(one)
    force = 2000 * torque_nm / one.reference_mm
    speed = pi * one.reference_mm * speed_rpm / 60_000
    velocity = 1 + speed / BARTH_M_PER_S[make]
    stress = velocity * force / (face_mm * one.module_mm * factor.form_factor)
    steps = (
        Step("Ft = 2 T/d", (("T", f"{torque_nm:g} N·m"), ("d", f"{one.reference_mm:.3f} mm")), "statics"),
        Step(
            f"Kv = 1 + v/c = {velocity:.3f}",
            (("v", f"{speed:.2f} m/s"), ("c", f"{BARTH_M_PER_S[make]:.3f} m/s, {make} teeth")),
            BARTH,
        ),
        *factor.working,
        Step(
            "σ = Kv Ft/(b m Y)",
            (("Ft", f"{force:.0f} N"), ("b", f"{face_mm:g} mm"), ("m", f"{one.module_mm:.4f} mm")),
            LEWIS,
        ),
    )
    cautions = [FIRST_LOOK, *factor.cautions]
    if speed > 10:
        cautions.append("Barth's factor is for slow gears: above about 10 m/s it asks for too much")
    if face_mm > 16 * one.module_mm / cos(radians(one.helix_deg)):
        cautions.append("Such a wide face hardly carries over its whole width")
    return Bending(stress, force, speed, factor.form_factor, velocity, steps, tuple(cautions))


def makes() -> tuple[str, ...]:
    """How teeth may be made, for the velocity factor, for pages.

    >>> makes()
    ('cast', 'cut')
    """
    return tuple(BARTH_M_PER_S)


def _between(points: list[tuple[int, float]], teeth: float) -> float:
    for (low, less), (high, more) in pairwise(points):
        if teeth <= high:
            share = (1 / low - 1 / teeth) / (1 / low - 1 / high)
            return less + share * (more - less)
    raise AssertionError("the table ends at the largest number of teeth")
