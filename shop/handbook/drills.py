"""Drills for tapping a thread and for a wire thread insert. Diameters in mm.

The hole sets how deep the thread is cut: a share of the basic height of the thread on each side.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.threads import MM_PER_INCH, PIPES, Thread, thread
from shop.handbook.working import COMMON_PRACTICE, OutOfRange, Step, within

# Height of a full thread over both sides, in pitches, as drill charts reckon it: 3H/4 on each side for 60°.
_HEIGHT = {60.0: 1.299038, 55.0: 1.280654, 47.5: 1.2}
_PIPE_DRILLS = "pipe_drills.csv"
NEAR_MM = 0.15
REAM = "Drill true and square; a worn drill cuts large. Try the tap in scrap of the same metal first"


@dataclass(frozen=True, slots=True)
class Drill:
    """One drill of a standard series, and the share of full thread that it leaves (None for a taper hole)."""

    name: str
    diameter_mm: float
    thread_share: float | None


@dataclass(frozen=True, slots=True)
class TappingDrill:
    """Hole [mm] for the share of thread asked for, and the drills on either side of it."""

    designation: str
    hole_mm: float
    drills: tuple[Drill, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class InsertHole:
    """Hole for a wire thread insert [mm]: least minor diameter, pitch and major diameter of its tapping."""

    designation: str
    minor_mm: float
    pitch_diameter_mm: float
    major_mm: float
    wall_mm: float
    drills: tuple[Drill, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def tapping_drill(designation: str | Thread, share: float = 0.75) -> TappingDrill:
    """The hole to drill before tapping, for a share of full thread.

    hole = d − share × h P, with h = 1.2990 (60°), 1.2807 (55°), 1.2 (47½°). Taper and parallel pipe threads
    have their drills from a table.

    :param designation: a thread or its designation
    :param share: share of full thread, 0.5 to 1; 0.75 is usual, more breaks taps, less strips

    Reference: geometry of ISO 68-1, BS 84:1956 and BS 93:1951; the usual share is common practice, no source.

    >>> found = tapping_drill("3/8-16 UNC")
    >>> round(found.hole_mm, 2), [drill.name for drill in found.drills]
    (7.98, ['5/16 in', '8 mm', 'O'])
    """
    cut = thread(designation) if isinstance(designation, str) else designation
    within("share", share, 0.5, 1.0, "")
    if cut.series in PIPES:
        return _pipe_drill(cut)
    height = _HEIGHT[cut.angle_deg] * cut.pitch_mm
    hole = cut.major_mm - share * height
    near = [one for one in _series() if abs(one[1] - hole) <= max(NEAR_MM, 0.03 * cut.pitch_mm)]
    near = sorted(near, key=lambda one: (abs(one[1] - hole), one[0]))[:3]
    drills = tuple(
        Drill(name, size, (cut.major_mm - size) / height)
        for name, size in sorted(near, key=lambda one: (one[1], one[0]))
    )
    inputs = (
        ("d", f"{cut.major_mm:.3f} mm"),
        ("P", f"{cut.pitch_mm:.4f} mm"),
        ("h", f"{_HEIGHT[cut.angle_deg]:.4f}"),
        ("share", f"{share * 100:.0f} %"),
    )
    step = Step(f"hole = d − share × h P = {hole:.3f} mm", inputs, f"{COMMON_PRACTICE}; height of the form")
    return TappingDrill(cut.designation, hole, drills, (step,), (REAM,))


def insert_hole(designation: str | Thread) -> InsertHole:
    """The hole for a wire thread insert that makes a stripped thread good: larger by the wire of the insert.

    Smallest minor diameter = d + 0.2165 P, pitch diameter = d + 0.6495 P, major diameter = d + 1.2990 P, the
    insert's own thread being that of the bolt.

    :param designation: a thread of 60° or its designation; other forms are refused

    Reference: geometry of a screw-thread insert hole as in ASME B18.29.1 and DIN 8140-2; the figures are from
    memory: check before relying on it. The insert's own sheet comes first.

    >>> found = insert_hole("M8")
    >>> round(found.minor_mm, 3), round(found.pitch_diameter_mm, 3), round(found.major_mm, 3)
    (8.271, 8.812, 9.624)
    """
    cut = thread(designation) if isinstance(designation, str) else designation
    if cut.series in PIPES or cut.angle_deg != 60.0:
        raise Refused(
            f"{cut.designation} has no wire insert here: they are worked out for 60° bolt threads only. "
            "Ask the maker of the insert"
        )
    minor = cut.major_mm + 0.216506 * cut.pitch_mm
    major = cut.major_mm + 1.299038 * cut.pitch_mm
    within_band = [one for one in _series() if minor <= one[1] <= minor + 0.02 * cut.major_mm + 0.1]
    drills = tuple(Drill(name, size, None) for name, size in within_band[:3])
    inputs = (("d", f"{cut.major_mm:.3f} mm"), ("P", f"{cut.pitch_mm:.4f} mm"))
    step = Step(
        "D1 = d + 0.2165 P, D2 = d + 0.6495 P, D = d + 1.2990 P", inputs, "ASME B18.29.1, from memory"
    )
    cautions = (
        REAM,
        "Check first that there is wall enough round the hole, and what lies behind it",
        "Use the insert's own tap and its sheet",
    )
    return InsertHole(
        cut.designation, minor, cut.major_mm + 0.649519 * cut.pitch_mm, major,
        (major - cut.major_mm) / 2, drills, (step,), cautions,
    )  # fmt: skip


def _pipe_drill(cut: Thread) -> TappingDrill:
    kind = {"Rp": "Rp", "G": "G"}.get(cut.series, "Rc" if cut.series in {"R", "Rc"} else "NPT")
    for row in rows(_PIPE_DRILLS):
        if row["series"] == kind and row["size"] == cut.size:
            size = float(row["drill_mm"])
            step = Step(f"drill {size:g} mm", (("thread", cut.designation),), row["source"])
            cautions = [REAM]
            if cut.taper:
                cautions.append("For a taper thread cut without a taper reamer")
            return TappingDrill(
                cut.designation, size, (Drill(f"{size:g} mm", size, None),), (step,), tuple(cautions)
            )
    raise OutOfRange("designation", cut.designation, "pipe sizes 1/8 to 1 in the table of drills")


@cache
def _series() -> tuple[tuple[str, float], ...]:
    """Every drill of the usual series by size: mm by tenths, fractions to 64ths, numbers, letters."""
    return tuple(sorted(_all(), key=lambda one: (one[1], one[0])))


def _all() -> Iterator[tuple[str, float]]:
    for tenth in range(10, 400):
        yield f"{tenth / 10:g} mm", tenth / 10
    for part in range(4, 97):
        yield f"{_fraction(part)} in", part / 64 * MM_PER_INCH
    for row in rows("drills.csv"):
        yield (
            f"{'no. ' if row['name'].isdigit() else ''}{row['name']}",
            float(row["diameter_in"]) * MM_PER_INCH,
        )


def _fraction(sixty_fourths: int) -> str:
    found = Fraction(sixty_fourths, 64)
    whole, rest = divmod(found.numerator, found.denominator)
    if not rest:
        return str(whole)
    return f"{whole} {rest}/{found.denominator}" if whole else f"{rest}/{found.denominator}"
