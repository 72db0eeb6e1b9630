"""Stripping of a thread: shear area by FED-STD-H28/2B, and the load that tears a tapped hole out.

Areas are mm², lengths mm, stresses MPa, loads N.
"""

import math
from dataclasses import dataclass

from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import Row, rows
from shop.handbook.threads import MM_PER_INCH, Thread
from shop.handbook.working import FROM_MEMORY, Step, within

STANDARD = "FED-STD-H28/2B, Table II.B.1"


@dataclass(frozen=True, slots=True)
class ShearArea:
    """The area [mm²] that must shear for a thread to strip."""

    area_mm2: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LeastMetal:
    """The smallest bolt and the largest hole that the usual class of fit allows [mm]."""

    major_min_mm: float
    pitch_diameter_max_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TappedHole:
    """The load [N] that strips a tapped hole, and the metal's shear strength [MPa]."""

    stripping_load_n: float
    area_mm2: float
    shear_mpa: float
    material: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Engagement:
    """The length of thread [mm] at which the bolt breaks before the hole strips."""

    engagement_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def internal_shear_area(
    thread: Thread,
    engagement_mm: float,
    *,
    major_min_mm: float | None = None,
    pitch_diameter_max_mm: float | None = None,
) -> ShearArea:
    """Shear area of the hole's thread: π n L d (1/(2n) + tan β (d − D2)), least bolt in largest hole.

    :param thread: a parallel thread
    :param engagement_mm: length of thread that holds [mm], 0.5 to 200
    :param major_min_mm: least major diameter d of the bolt [mm]; by the usual class of fit if not given
    :param pitch_diameter_max_mm: largest pitch diameter D2 of the hole [mm]; likewise

    Valid for 60°; the same geometry is used for 55° and 47½°. Reference: FED-STD-H28/2B, formula 2a.

    >>> from shop.handbook.threads import thread
    >>> round(internal_shear_area(thread("1/4-20 UNC"), 25.4).area_mm2 / 25.4**2, 3)
    0.539
    """
    within("engagement_mm", engagement_mm, 0.5, 200.0, "mm")
    least = least_metal(thread)
    major = least.major_min_mm if major_min_mm is None else major_min_mm
    across = least.pitch_diameter_max_mm if pitch_diameter_max_mm is None else pitch_diameter_max_mm
    given = major_min_mm is not None and pitch_diameter_max_mm is not None
    area, step = _area(thread, engagement_mm, major, major - across, "2a")
    steps = (step,) if given else (*least.working, step)
    return ShearArea(area, steps, () if given else least.cautions)


def external_shear_area(
    thread: Thread, engagement_mm: float, *, pitch_diameter_min_mm: float, minor_max_mm: float
) -> ShearArea:
    """Shear area of the bolt's thread: π n L D1 (1/(2n) + tan β (d2 − D1)), least bolt in largest hole.

    :param thread: a parallel thread
    :param engagement_mm: length of thread that holds [mm], 0.5 to 200
    :param pitch_diameter_min_mm: least pitch diameter d2 of the bolt [mm]
    :param minor_max_mm: largest minor diameter D1 of the hole [mm]

    Reference: FED-STD-H28/2B, formula 4a.

    >>> from shop.handbook.threads import thread
    >>> bolt = thread("1/4-20 UNC")
    >>> area = external_shear_area(bolt, 25.4, pitch_diameter_min_mm=5.40258, minor_max_mm=5.2578)
    >>> round(area.area_mm2 / 25.4**2, 4)
    0.368
    """
    within("engagement_mm", engagement_mm, 0.5, 200.0, "mm")
    overlap = pitch_diameter_min_mm - minor_max_mm
    area, step = _area(thread, engagement_mm, minor_max_mm, overlap, "4a")
    return ShearArea(area, (step,), ())


def least_metal(thread: Thread) -> LeastMetal:
    """Smallest bolt and largest hole of the usual class of fit: 2A and 2B, 6g and 6H, medium.

    :param thread: a parallel thread of the tables

    Inch, Unified: Td2 = 0.0015 (d^⅓ + √L) + 0.015 P^⅔ with L = d, allowance 0.3 Td2, hole 1.3 Td2, major
    0.06 P^⅔. Metric: es = −(15 + 11 P) µm, Td = 180 P^⅔ − 3.15/√P, TD2 = 1.32 × 90 P^0.4 d^0.1. Whitworth:
    T = 0.002 d^⅓ + 0.003 √L + 0.005 √P, major T + 0.01 √P. British Association: as metric.
    Reference: ASME B1.1-2003, section 5; ISO 965-1:1998; BS 84:1956; all three from memory.

    >>> from shop.handbook.threads import thread
    >>> found = least_metal(thread("1/4-20 UNC"))
    >>> round(found.major_min_mm / 25.4, 3), round(found.pitch_diameter_max_mm / 25.4, 3)
    (0.241, 0.222)
    """
    major, pitch = thread.major_mm, thread.pitch_mm
    if thread.form == "Unified":
        d, p = major / MM_PER_INCH, pitch / MM_PER_INCH
        bolt = 0.0015 * (math.cbrt(d) + math.sqrt(d)) + 0.015 * p ** (2 / 3)
        less = (0.3 * bolt + 0.06 * p ** (2 / 3)) * MM_PER_INCH
        more, source = 1.3 * bolt * MM_PER_INCH, "ASME B1.1-2003, classes 2A and 2B"
    elif thread.form == "Whitworth":
        d, p = major / MM_PER_INCH, pitch / MM_PER_INCH
        unit = 0.002 * math.cbrt(d) + 0.003 * math.sqrt(d) + 0.005 * math.sqrt(p)
        less = (unit + 0.01 * math.sqrt(p)) * MM_PER_INCH
        more, source = unit * MM_PER_INCH, "BS 84:1956, medium class"
    else:
        less = (15 + 11 * pitch + 180 * pitch ** (2 / 3) - 3.15 / math.sqrt(pitch)) / 1000
        more, source = 1.32 * 90 * pitch**0.4 * major**0.1 / 1000, "ISO 965-1:1998, 6g and 6H"
    step = Step(
        "d min, D2 max of the usual class of fit",
        (("d", f"{major:.4f} mm"), ("P", f"{pitch:.4f} mm")),
        f"{source}; {FROM_MEMORY}",
    )
    caution = "A worn or chased hole is larger than the class allows and strips sooner"
    return LeastMetal(major - less, thread.pitch_diameter_mm + more, (step,), (caution,))


def tapped_hole(thread: Thread, material: str | None, engagement_mm: float | None) -> TappedHole:
    """Load that strips a tapped hole: internal shear area × shear strength of the metal.

    :param thread: a parallel thread
    :param material: a name in the table of tapped materials, such as "grey iron"; needed
    :param engagement_mm: length of thread that holds [mm], 0.5 to 200; needed

    Reference: FED-STD-H28/2B, formula 2a; strengths as the table names their sources.

    >>> from shop.handbook.threads import thread
    >>> tapped_hole(thread("M8"), "aluminium", 16).material
    'aluminium'
    """
    if material is None:
        raise Refused(f"Say what the hole is tapped in. Choose one of: {', '.join(tapped_materials())}")
    if engagement_mm is None:
        raise Refused("Say how much thread holds in the tapped hole, such as 15 mm")
    row = _material(material)
    strength = float(row["shear_mpa"])
    sheared = internal_shear_area(thread, engagement_mm)
    load = strength * sheared.area_mm2
    step = Step(
        "stripping load = shear strength × shear area",
        (("shear strength", f"{strength:g} MPa"), ("area", f"{sheared.area_mm2:.1f} mm²")),
        row["source"],
    )
    cautions = list(sheared.cautions)
    usual = float(row["usual_engagement"]) * thread.major_mm
    if engagement_mm < usual:
        cautions.append(
            f"{engagement_mm:g} mm is a short hold in {row['material']}: {usual:.1f} mm is usual here"
        )
    return TappedHole(
        load, sheared.area_mm2, strength, row["material"], (*sheared.working, step), tuple(cautions)
    )


def engagement_needed(
    thread: Thread,
    bolt_tensile_mpa: float,
    hole_tensile_mpa: float,
    *,
    shear_area_per_mm: float | None = None,
) -> Engagement:
    """Length of thread at which the bolt breaks before the hole strips: L = 2 As Rb/(ASn Rh).

    :param thread: a parallel thread
    :param bolt_tensile_mpa: tensile strength Rb of the bolt [MPa], 100 to 2000
    :param hole_tensile_mpa: tensile strength Rh of the metal round the hole [MPa], 50 to 2000
    :param shear_area_per_mm: internal shear area ASn for one mm [mm²/mm]; by the class of fit if not given

    Reference: FED-STD-H28/2B, formula 16 (shear strength taken as half the tensile strength).

    >>> from shop.handbook.threads import thread
    >>> round(engagement_needed(thread("1/2-13 UNC"), 827, 207).engagement_mm, 1)
    25.6
    """
    within("bolt_tensile_mpa", bolt_tensile_mpa, 100.0, 2000.0, "MPa")
    within("hole_tensile_mpa", hole_tensile_mpa, 50.0, 2000.0, "MPa")
    area = thread.stress_area_mm2
    if area is None:
        raise Refused(f"{thread.designation} is a pipe thread: it carries no bolt load")
    each = internal_shear_area(thread, 1.0).area_mm2 if shear_area_per_mm is None else shear_area_per_mm
    length = 2 * area * bolt_tensile_mpa / (each * hole_tensile_mpa)
    inputs = (("As", f"{area:.2f} mm²"), ("ASn", f"{each:.3f} mm²/mm"))
    step = Step("L = 2 As Rb/(ASn Rh)", inputs, "FED-STD-H28/2B, formula 16")
    return Engagement(length, (step,), ())


def tapped_materials() -> tuple[str, ...]:
    """The metals that a hole may be tapped in, for pages.

    >>> tapped_materials()
    ('grey iron', 'malleable iron', 'aluminium', 'brass', 'steel')
    """
    return tuple(row["material"] for row in rows("tapped_materials.csv"))


def _material(name: str) -> Row:
    wanted = " ".join(name.lower().split())
    for row in rows("tapped_materials.csv"):
        if wanted == row["material"] or wanted in row["also"].split("|"):
            return row
    raise Refused(f'"{name}" is no metal in the table. Choose one of: {", ".join(tapped_materials())}')


def _area(thread: Thread, engagement: float, edge: float, overlap: float, formula: str) -> tuple[float, Step]:
    width = thread.pitch_mm / 2 + math.tan(math.radians(thread.angle_deg / 2)) * overlap
    area = math.pi * engagement / thread.pitch_mm * edge * width
    inputs = (
        ("L", f"{engagement:g} mm"),
        ("diameter sheared", f"{edge:.4f} mm"),
        ("overlap", f"{overlap:.4f} mm"),
        ("P", f"{thread.pitch_mm:.4f} mm"),
    )
    return area, Step("AS = π L/P · d (P/2 + tan β · overlap)", inputs, f"{STANDARD}, formula {formula}")
