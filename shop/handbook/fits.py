"""Limits and fits: ISO 286 tolerance zones to 500 mm, fits at 20 °C and warm, and fits stated by size.

Deviations and clearances are in µm; a negative clearance is interference. Bands of basic size are over,
up to and including: 120 mm and 120.001 mm differ. A rolling bearing's bore and outside diameter have
tolerances of their own (0/−Δ), not H7 or h6: give them as sizes to :func:`fit_of_sizes`.
"""

import re
from dataclasses import dataclass

from shop.handbook.materials import expansion
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import Row, band, rows
from shop.handbook.working import FROM_MEMORY, OutOfRange, Step, within

LARGEST_MM = 500.0
STANDARD = "ISO 286-1:2010"
MM_PER_INCH = 25.4

_ZONE = re.compile(r"(?P<letter>[A-Za-z]{1,2})(?P<grade>[0-9]{1,2})")
_CLEAR = frozenset({"a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h"})
_TIGHT = frozenset({"p", "r", "s", "t", "u", "v", "x", "y", "z", "za", "zb", "zc"})
_LETTERS = _CLEAR | _TIGHT | {"js", "j", "k", "m", "n"}
_STATED = re.compile(r"(?P<size>[0-9]*\.[0-9]+|[0-9]+)\s?(?P<way>[LlTt])")


@dataclass(frozen=True, slots=True)
class Limits:
    """A tolerance zone at one basic size: deviations [µm] from the basic size [mm]."""

    diameter: float
    zone: str
    lower_um: float
    upper_um: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]

    @property
    def lower_mm(self) -> float:
        return self.diameter + self.lower_um / 1000

    @property
    def upper_mm(self) -> float:
        return self.diameter + self.upper_um / 1000


@dataclass(frozen=True, slots=True)
class Fit:
    """A hole and a shaft: their zones at 20 °C and the clearance [µm], warm when a temperature was given."""

    hole: Limits
    shaft: Limits
    clearance_min_um: float
    clearance_max_um: float
    character: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FitOfSizes:
    """The clearance [µm] that follows from stated sizes, and its character."""

    clearance_min_um: float
    clearance_max_um: float
    character: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StatedFit:
    """A fit as a repair standard prints it: clearance [mm], negative = tight."""

    min_mm: float
    max_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def limits(diameter: float, zone: str) -> Limits:
    """Limit deviations of a hole (capital letters) or a shaft (small letters).

    Holes follow from shafts: EI = −es for A to H, ES = −ei + Δ for K, M, N to IT8 and P to ZC to IT7 above
    3 mm (Δ = ITn − ITn−1), ES = −ei otherwise. Exceptions: M6 over 250 to 315 mm has ES = −9; N above IT8
    has ES = 0 over 3 mm; K above IT8 exists to 3 mm only; J and j are tabulated; JS and js are ±IT/2.

    :param diameter: basic size [mm], above 0, to 500
    :param zone: letter and grade, such as "H7" or "p6"

    Reference: ISO 286-1:2010, Tables 1 to 5 and 4.3.2.5; ISO 286-2:2010.

    >>> found = limits(25, "H7")
    >>> found.lower_um, found.upper_um
    (0.0, 21.0)
    >>> limits(100, "P7").upper_um
    -24.0
    """
    _size(diameter)
    letter, grade = _split(zone)
    _grade_at(diameter, letter, grade)
    tolerance = _tolerance(diameter, grade)
    shaft = letter.islower()
    lower, upper, rule, source = (_shaft if shaft else _hole)(diameter, letter, grade, tolerance)
    steps = (
        Step(f"IT{grade} = {tolerance:g} µm", (("basic size", f"{diameter:g} mm"),), f"{STANDARD}, Table 1"),
        Step(rule, (("zone", zone), ("IT", f"{tolerance:g} µm")), source),
    )
    cautions: tuple[str, ...] = ()
    if letter.lower() == "js" and 7 <= grade <= 11 and tolerance % 2:
        cautions = (
            f"±{tolerance / 2:g} µm may be rounded down to ±{(tolerance - 1) / 2:g} µm in printed tables",
        )
    if grade >= 17:
        cautions = (*cautions, f"Value of IT{grade}: {FROM_MEMORY}")
    return Limits(diameter, zone, lower, upper, steps, cautions)


def fit(
    diameter: float,
    hole: str,
    shaft: str,
    *,
    hole_material: str | None = None,
    shaft_material: str | None = None,
    temperature: float | None = None,
) -> Fit:
    """Clearance of a hole and a shaft of one basic size, warm when a temperature is given.

    Warm: each clearance grows by D (α_hole − α_shaft)(T − 20); negative means interference.

    :param diameter: basic size [mm], above 0, to 500
    :param hole: zone of the hole, such as "H7"
    :param shaft: zone of the shaft, such as "k6"
    :param hole_material: name in the table of expansion; needed with ``temperature``
    :param shaft_material: the same for the shaft
    :param temperature: temperature of both parts [°C], −60 to 250

    Reference: ISO 286-1:2010, 3.4; expansion as the table of materials.

    >>> found = fit(25, "H7", "k6")
    >>> found.clearance_min_um, found.clearance_max_um, found.character
    (-15.0, 19.0, 'transition')
    """
    if _split(hole)[0].islower() or not _split(shaft)[0].islower():
        raise Refused(
            'A hole has capital letters and a shaft small ones. Write "H7" for a hole, "k6" for a shaft'
        )
    bore, journal = limits(diameter, hole), limits(diameter, shaft)
    least, most = bore.lower_um - journal.upper_um, bore.upper_um - journal.lower_um
    inputs = (
        ("hole", f"{bore.lower_um:g} to {bore.upper_um:g} µm"),
        ("shaft", f"{journal.lower_um:g} to {journal.upper_um:g} µm"),
    )
    steps = [*bore.working, *journal.working, Step("clearance = EI − es to ES − ei", inputs, STANDARD)]
    cautions = [*bore.cautions, *journal.cautions]
    if temperature is not None:
        grown, warm = _warming(diameter, hole_material, shaft_material, temperature)
        least, most = least + grown, most + grown
        steps.extend(warm)
        cautions.append(
            "Warm fit: both parts at one temperature, free to expand; a thin housing wall is not counted"
        )
    elif hole_material is not None or shaft_material is not None:
        cautions.append("Materials without a temperature change nothing: this is the fit at 20 °C")
    return Fit(bore, journal, least, most, _character(least, most), tuple(steps), tuple(cautions))


def fit_of_sizes(hole_min: float, hole_max: float, shaft_min: float, shaft_max: float) -> FitOfSizes:
    """The fit that follows from stated limits of size.

    :param hole_min: smallest hole [mm]
    :param hole_max: largest hole [mm]
    :param shaft_min: smallest shaft [mm]
    :param shaft_max: largest shaft [mm]

    Reference: ISO 286-1:2010, 3.4.

    >>> found = fit_of_sizes(25.0, 25.021, 24.98, 24.993)
    >>> found.clearance_min_um, found.clearance_max_um, found.character
    (7.0, 41.0, 'clearance')
    """
    for name, value in (("hole_min", hole_min), ("shaft_min", shaft_min)):
        within(name, value, 0.0, 20_000.0, "mm")
    within("hole_max", hole_max, hole_min, 20_000.0, "mm")
    within("shaft_max", shaft_max, shaft_min, 20_000.0, "mm")
    # A nanometre is far below any gauge: rounding there removes the noise of subtracting doubles.
    least, most = round((hole_min - shaft_max) * 1000, 3) + 0.0, round((hole_max - shaft_min) * 1000, 3) + 0.0
    inputs = (("hole", f"{hole_min:g} to {hole_max:g} mm"), ("shaft", f"{shaft_min:g} to {shaft_max:g} mm"))
    step = Step(
        "clearance = smallest hole − largest shaft to largest hole − smallest shaft", inputs, STANDARD
    )
    return FitOfSizes(least, most, _character(least, most), (step,), ())


def parse_loose_tight(text: str) -> StatedFit:
    """Read a fit as repair standards print it, in inches: L is loose, T is tight.

    One figure alone ("0.0040L", a wear limit) gives both ends.

    :param text: such as "0.0007T-0.0008L", at most 40 characters

    Reference: common practice, no source: the way repair standards print fits.

    >>> found = parse_loose_tight("0.0005L-0.0025L")
    >>> found.min_mm, found.max_mm
    (0.0127, 0.0635)
    """
    example = "Write it like 0.0007T-0.0008L, in inches"
    if not isinstance(text, str) or len(text) > 40 or not text.isprintable():
        raise Refused(f"A stated fit is a text of at most 40 characters. {example}")
    parts = re.split(r"\s?[-–−]\s?|\sto\s", text.strip(" "))
    found = [_STATED.fullmatch(part) for part in parts]
    ends = [_stated_mm(one["size"], one["way"]) for one in found if one]
    if len(ends) != len(parts) or len(ends) > 2:
        raise Refused(f'"{text}" is no stated fit. {example}')
    if max(abs(end) for end in ends) > 25.4:
        raise Refused(f'"{text}" is out of range: a fit is within an inch. {example}')
    step = Step("L is +, T is −; inches × 25.4", (("typed", text),), "manner of printed repair standards")
    return StatedFit(min(ends), max(ends), (step,), ())


def _stated_mm(size: str, way: str) -> float:
    sign = 1 if way in "Ll" else -1
    return sign * round(float(size) * MM_PER_INCH, 9) + 0.0


def _size(diameter: float) -> None:
    if not 0 < diameter <= LARGEST_MM:
        raise OutOfRange("diameter", diameter, "above 0, to 500 mm")


def _split(zone: str) -> tuple[str, int]:
    found = _ZONE.fullmatch(zone) if isinstance(zone, str) else None
    letter = found["letter"] if found else ""
    if found is None or letter.lower() not in _LETTERS or not (letter.islower() or letter.isupper()):
        raise Refused('This is no tolerance zone. Write it like "H7" for a hole or "p6" for a shaft')
    grade = int(found["grade"])
    if not 1 <= grade <= 18 or found["grade"].startswith("0"):
        raise Refused(f'"{zone}" has no grade from 1 to 18. Write it like "H7" or "p6"')
    return letter, grade


def _grade_at(diameter: float, letter: str, grade: int) -> None:
    if diameter <= 1 and grade >= 14:
        raise OutOfRange("grade", grade, "1 to 13 for a basic size to 1 mm")
    if diameter <= 1 and (letter in {"a", "b", "A", "B"} or (letter == "N" and grade > 8)):
        raise OutOfRange("zone", f"{letter}{grade}", "not A, B, a, b or N above IT8 for a basic size to 1 mm")


def _row(table: str, diameter: float) -> Row:
    return band(rows(table), diameter)


def _tolerance(diameter: float, grade: int) -> float:
    return float(_row("iso286_grades.csv", diameter)[f"IT{grade}"])


def _cell(diameter: float, column: str, zone: str) -> float:
    """A tabulated deviation [µm], or OutOfRange where the standard has none at this size."""
    text = _row("iso286_deviations.csv", diameter).get(column, "")
    if text == "":
        raise OutOfRange("zone", zone, f"a zone that the standard gives at {diameter:g} mm")
    return float(text)


def _fundamental(diameter: float, letter: str, grade: int) -> float:
    """Fundamental deviation of a shaft [µm]: es for a to h, ei from j on."""
    if letter == "j":
        return _cell(diameter, f"j{grade}", f"j{grade}")
    value = _cell(diameter, letter, f"{letter}{grade}")
    return value if letter != "k" or 4 <= grade <= 7 else 0.0


def _shaft(diameter: float, letter: str, grade: int, tolerance: float) -> tuple[float, float, str, str]:
    if letter == "js":
        return -tolerance / 2, tolerance / 2, "es, ei = ±IT/2", f"{STANDARD}, 4.3"
    deviation = _fundamental(diameter, letter, grade)
    if letter in _CLEAR:
        return (
            deviation - tolerance,
            deviation,
            f"es = {deviation:g} µm, ei = es − IT",
            f"{STANDARD}, Table 4",
        )
    source = f"{STANDARD}, Table {4 if letter == 'j' else 5}"
    return deviation, deviation + tolerance, f"ei = {deviation:g} µm, es = ei + IT", source


def _hole(diameter: float, letter: str, grade: int, tolerance: float) -> tuple[float, float, str, str]:
    small = letter.lower()
    if small == "js":
        return -tolerance / 2, tolerance / 2, "ES, EI = ±IT/2", f"{STANDARD}, 4.3"
    if small == "j":
        upper = _cell(diameter, f"J{grade}", f"J{grade}")
        return upper - tolerance, upper, f"ES = {upper:g} µm, EI = ES − IT", f"{STANDARD}, Table 2"
    if small in _CLEAR:
        lower = 0.0 - _fundamental(diameter, small, grade)
        return lower, lower + tolerance, f"EI = −es = {lower:g} µm, ES = EI + IT", f"{STANDARD}, Table 2"
    upper, rule = _upper(diameter, letter, grade)
    source = f"{STANDARD}, Table {2 if small in {'k', 'm'} else 3}"
    return upper - tolerance, upper, f"{rule} = {upper:g} µm, EI = ES − IT", source


def _upper(diameter: float, letter: str, grade: int) -> tuple[float, str]:
    """Upper deviation ES [µm] of holes K to ZC and the rule that gave it."""
    small = letter.lower()
    middling = letter in {"K", "M", "N"}
    if letter == "K" and grade > 8 and diameter > 3:
        raise OutOfRange("zone", f"K{grade}", "K1 to K8 above 3 mm")
    if letter == "N" and grade > 8 and diameter > 3:
        return 0.0, "ES (N above IT8)"
    if letter == "M" and grade == 6 and 250 < diameter <= 315:
        return -9.0, "ES (M6 over 250 to 315 mm)"
    if grade < 3 and diameter > 3:
        raise OutOfRange("grade", grade, f"3 to 18 for {letter} above 3 mm: no Δ is tabulated below IT3")
    # K takes the k column also below IT4 and at IT8, where the shaft k itself is 0.
    deviation = _cell(diameter, small, f"{letter}{grade}")
    if diameter <= 3 or grade > (8 if middling else 7):
        return 0.0 - deviation, "ES = −ei"
    delta = _tolerance(diameter, grade) - _tolerance(diameter, grade - 1)
    return delta - deviation, f"ES = −ei + Δ, Δ = {delta:g} µm,"


def _warming(
    diameter: float, hole: str | None, shaft: str | None, temperature: float
) -> tuple[float, list[Step]]:
    """How much the clearance grows from 20 °C [µm]."""
    if hole is None or shaft is None:
        raise Refused("A warm fit needs both materials. Give hole_material and shaft_material, such as steel")
    within("temperature", temperature, -60.0, 250.0, "°C")
    outer, inner = expansion(hole), expansion(shaft)
    grown = diameter * 1000 * (outer.per_kelvin - inner.per_kelvin) * (temperature - 20)
    inputs = (
        ("D", f"{diameter:g} mm"),
        ("α hole", f"{outer.per_kelvin * 1e6:g} × 10⁻⁶/K ({outer.material})"),
        ("α shaft", f"{inner.per_kelvin * 1e6:g} × 10⁻⁶/K ({inner.material})"),
        ("T", f"{temperature:g} °C"),
    )
    formula = f"growth of clearance = D (α hole − α shaft)(T − 20) = {grown:.2f} µm"
    return grown, [*outer.working, *inner.working, Step(formula, inputs, "linear expansion, first order")]


def _character(least: float, most: float) -> str:
    if least >= 0:
        return "clearance"
    return "interference" if most <= 0 else "transition"
