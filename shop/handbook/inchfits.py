"""Inch fits by class (RC, LC, LT, LN, FN) for shafts to 5 in: deviations and clearance as printed.

The hole is the basis: its lower limit is the basic size. Deviations come in thousandths of an inch and in µm.
"""

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import Row, rows
from shop.handbook.working import OutOfRange, Step

MM_PER_INCH = 25.4
LARGEST_IN = 5.0
MEANINGS = MappingProxyType(
    {
        "RC": "running or sliding",
        "LC": "location with clearance",
        "LT": "location, transition",
        "LN": "location with interference",
        "FN": "force or shrink",
    }
)


@dataclass(frozen=True, slots=True)
class InchFit:
    """A hole and a shaft of one class: deviations [thou], clearance [thou and µm; negative: interference]."""

    fit_class: str
    hole_max_thou: float
    shaft_min_thou: float
    shaft_max_thou: float
    clearance_min_thou: float
    clearance_max_thou: float
    clearance_min_um: float
    clearance_max_um: float
    character: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def inch_fit(diameter: float, fit_class: str) -> InchFit:
    """Limits and clearance of a preferred inch fit.

    least clearance = 0 − shaft's upper deviation, most = hole's upper − shaft's lower deviation.

    :param diameter: basic size [mm], above 0, to 127 (5 in)
    :param fit_class: such as "RC4", "LC5", "LT3", "LN2", "FN2"

    Reference: ANSI/ASME B4.1-1967 (R2009); the copy that each figure was read from stands in the working.

    >>> found = inch_fit(1.5 * 25.4, "RC4")
    >>> found.clearance_min_thou, found.clearance_max_thou
    (1.0, 3.6)
    """
    inches = diameter / MM_PER_INCH
    if not 0 < inches <= LARGEST_IN + 1e-9:
        raise OutOfRange("diameter", diameter, "above 0, to 127 mm (5 in)")
    name = "".join(fit_class.split()).upper() if isinstance(fit_class, str) else ""
    if name not in fit_classes():
        raise Refused(f'"{fit_class}" is no class of inch fit. Write one of: {", ".join(fit_classes())}')
    row = _row(name, inches)
    hole, low, high = (float(row[key]) for key in ("hole_max", "shaft_min", "shaft_max"))
    least, most = round(-high, 6), round(hole - low, 6)
    character = "clearance" if least >= 0 else "interference" if most <= 0 else "transition"
    inputs = (
        ("basic size", f"{inches:.4f} in"),
        ("hole", f"0 to {hole:+g} thou"),
        ("shaft", f"{low:+g} to {high:+g} thou"),
    )
    says = f"{name}, {MEANINGS[name[:2]]}: clearance {least:g} to {most:g} thou"
    step = Step(says, inputs, f"ANSI/ASME B4.1-1967; read in: {row['source']}")
    return InchFit(
        name, hole, low, high, least, most, least * MM_PER_INCH, most * MM_PER_INCH, character, (step,), ()
    )  # fmt: skip


@cache
def fit_classes() -> tuple[str, ...]:
    """The classes in the table, for pages.

    >>> fit_classes()[:3]
    ('RC1', 'RC2', 'RC3')
    """
    return tuple(dict.fromkeys(row["class"] for row in rows("fits_inch.csv")))


def _row(name: str, inches: float) -> Row:
    # A size typed in mm and carried to inches may miss its band by the last place of a double.
    for row in rows("fits_inch.csv"):
        if row["class"] == name and float(row["over_in"]) < inches - 1e-9 <= float(row["up_to_in"]):
            return row
    least = min(float(row["over_in"]) for row in rows("fits_inch.csv") if row["class"] == name)
    raise OutOfRange("diameter", inches * MM_PER_INCH, f"over {least * MM_PER_INCH:g}, to 127 mm for {name}")
