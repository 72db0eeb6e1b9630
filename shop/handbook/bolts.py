"""Bolts: the strength of each grade by size, and which threads carry a bolt load at all.

Stresses are MPa, lengths mm.
"""

import re
from dataclasses import dataclass

from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.threads import PIPES, Thread
from shop.handbook.threads import thread as named_thread
from shop.handbook.working import COMMON_PRACTICE, FROM_MEMORY, Step, within

MPA_PER_KSI = 6.894757
UNMARKED = "unmarked"

_ISO = re.compile(r"(?:ISO|CLASS|PROPERTY CLASS|GRADE|\s|898-1)*(\d{1,2}\.\d)")
_SAE = re.compile(r"(?:SAE|J429|GRADE|GR\.?|\s)*(\d)")


class TaperThread(Refused):
    """A taper thread has no computed torque: it is turned past hand-tight."""


@dataclass(frozen=True, slots=True)
class Grade:
    """Strength of one bolt grade at one diameter: proof, yield and tensile stress [MPa]."""

    grade: str
    standard: str
    proof_mpa: float
    yield_mpa: float
    tensile_mpa: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def bolt_grade(grade: str, diameter_mm: float, *, inch: bool = False) -> Grade:
    """Strength of a bolt grade at a diameter. An unmarked bolt counts as the lowest grade.

    :param grade: "SAE 1", "SAE 2", "SAE 5", "SAE 8", "4.6", "5.8", "8.8", "10.9", "12.9" or "unmarked"
    :param diameter_mm: nominal diameter [mm], above 1, to 39 (ISO) or 38.1 (SAE)
    :param inch: an unmarked bolt is SAE 1 if true, 4.6 if not

    SAE 2 and 5 and class 8.8 change with size. Reference: SAE J429 (1983), Table 1; ISO 898-1:2013, Table 3.

    >>> bolt_grade("8.8", 16).proof_mpa, bolt_grade("8.8", 16.5).proof_mpa
    (580.0, 600.0)
    >>> round(bolt_grade("SAE 5", 9.525).proof_mpa)
    586
    """
    name = _grade_name(grade, inch)
    bands = [row for row in rows("bolt_grades.csv") if row["grade"] == name]
    within("diameter_mm", diameter_mm, 1.0, float(bands[-1]["up_to_mm"]), "mm")
    row = next(row for row in bands if diameter_mm <= float(row["up_to_mm"]))
    factor = MPA_PER_KSI if row["unit"] == "ksi" else 1.0
    memory = f"; {FROM_MEMORY}" if row["status"] == "memory" else ""
    step = Step(
        f"proof stress of {name}",
        (("diameter", f"{diameter_mm:g} mm"), ("proof", f"{row['proof']} {row['unit']}")),
        f"{row['standard']}{memory}",
    )
    cautions = []
    if _is_unmarked(grade):
        cautions.append(f"The bolt is unmarked and counts as the lowest grade, {name}")
    return Grade(
        name,
        row["standard"],
        float(row["proof"]) * factor,
        float(row["yield"]) * factor,
        float(row["tensile"]) * factor,
        (step,),
        tuple(cautions),
    )


def grades() -> tuple[str, ...]:
    """The bolt grades in the table, lowest first within each standard, then "unmarked", for pages.

    >>> grades()[:2], grades()[-1]
    (('SAE 1', 'SAE 2'), 'unmarked')
    """
    return (*dict.fromkeys(row["grade"] for row in rows("bolt_grades.csv")), UNMARKED)


def bolt_thread(thread: Thread | str) -> Thread:
    """The thread, if it is one that carries a bolt load; a taper or pipe thread is refused.

    :param thread: a thread or its designation

    Reference: common practice, no source: pipe and taper threads have no stress area of a bolt.

    >>> bolt_thread("3/8 BSF").designation
    '3/8-20 BSF'
    """
    bolt = named_thread(thread) if isinstance(thread, str) else thread
    if bolt.taper:
        raise TaperThread(
            f"{bolt.designation} is a taper thread and has no computed torque. Clean and seal it, turn it "
            "hand-tight, then past hand-tight by the turns that the maker gives; one and a half to two and a "
            f"half turns are usual to 1 in ({COMMON_PRACTICE}). Stop at once if the boss opens"
        )
    if bolt.series in PIPES:
        raise Refused(
            f"{bolt.designation} is a pipe thread: it carries no bolt load. Take the torque of the plug and "
            "its washer from the maker"
        )
    return bolt


def _is_unmarked(grade: str) -> bool:
    return grade.strip().lower() in {"", UNMARKED, "none", "no mark"}


def _grade_name(grade: str, inch: bool) -> str:
    if _is_unmarked(grade):
        return "SAE 1" if inch else "4.6"
    text = " ".join(grade.upper().split())
    iso, sae = _ISO.fullmatch(text), _SAE.fullmatch(text)
    name = iso[1] if iso else f"SAE {sae[1]}" if sae else text
    if name not in grades():
        raise Refused(f'"{grade}" is no bolt grade in the table. Choose one of: {", ".join(grades())}')
    return name
