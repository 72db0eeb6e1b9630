"""The one door between what a person types and a number: text in, canonical number out, and back again.

Canonical units: length mm, torque N·m, temperature °C, mass kg, force N, pressure MPa, volume
litres, angle degree, time s, speed rpm, count 1. The grammar is fixed and short: sign, number (decimal or
fraction), unit. Nothing is calculated, nothing is guessed; what can be read in two ways is refused with an
example. Pint gives the conversion factors (cached) and never sees typed text.
"""

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import cache
from math import isfinite, log10
from typing import Any

from shop.handbook.kinds import KINDS, Kind, Unit
from shop.handbook.working import Step

MOST_CHARACTERS = 40
MOST_DIGITS = 15  # more than a double can hold would alter the value in silence


class Refused(ValueError):
    """A text that is not taken; the message says what is wrong and shows how to write it."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One typed quantity. ``canonical`` and ``resolution`` are in the canonical unit of ``kind``."""

    canonical: float
    unit: str
    resolution: float
    text: str
    kind: str
    working: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()


_NUMBER = re.compile(
    r"(?P<sign>[+\-−]?)"
    r"(?:(?:(?P<whole>[0-9]+)(?:-| +))?(?P<over>[0-9]+)/(?P<under>[0-9]+)"
    r"|(?P<digits>[0-9]*)(?:(?P<mark>[.,])(?P<places>[0-9]+))?)"
)
_BLANKS = " \u00a0\u202f"
_AMBIGUOUS = {
    "mil": "mil is read as a thousandth of an inch by some and as a millimetre by others",
    "mils": "mils is read as thousandths of an inch by some and as millimetres by others",
    "tenths": "tenths is read as 0.0001 in by some and as 0.1 mm by others",
    "tenth": "a tenth is read as 0.0001 in by some and as 0.1 mm by others",
    "'": "the single mark ' stands for a foot or for a minute",
    "′": "the single mark ′ stands for a foot or for a minute",
    "nm": "nm is a nanometre; a newton metre is N·m",
}


def parse(text: str, kind: str, default_unit: str | None = None, decimal_mark: str = ".") -> Quantity:
    """Read one typed quantity; raise :class:`Refused` when it is wrong or can be read in two ways.

    The resolution is one step of the last decimal place typed, or one over the denominator of a fraction,
    in the typed unit, carried to the canonical unit.

    :param text: what was typed, at most 40 characters
    :param kind: length, torque, temperature, mass, force, pressure, volume, angle, time, speed or count
    :param default_unit: the unit of a bare number; without it a bare number is refused
    :param decimal_mark: the person's own mark, "." or ","

    Reference: an inch is 25.4 mm exactly and a pound-force 4.448 221 615 260 5 N (NIST SP 811, 2008,
    appendix B); the grammar is our own.

    >>> parse("1-1/8 in", "length").canonical
    28.575
    >>> parse("28,54 mm", "length").resolution
    0.01
    >>> parse("22 lbf ft", "torque").canonical
    29.8279948632908
    >>> parse("28,540 mm", "length")
    Traceback (most recent call last):
    shop.handbook.quantities.Refused: "28,540" could mean 28.540 or 28540. Write 28.540 or 28540
    """
    rule = _kind(kind)
    if decimal_mark not in {".", ","}:
        raise Refused('The decimal mark is "." or ","')
    if not isinstance(text, str):
        raise Refused(f"A {kind} is typed as text. Write it like {rule.example}")
    if len(text) > MOST_CHARACTERS:
        raise Refused(f"The text is longer than {MOST_CHARACTERS} characters. Write it like {rule.example}")
    body = text.strip(_BLANKS)
    if not body:
        raise Refused(f"Nothing was typed. Write it like {rule.example}")
    found = _NUMBER.match(body)
    if found is None or not (found["over"] or found["digits"] or found["places"]):
        raise Refused(f'"{_shown(text)}" does not start with a number. Write it like {rule.example}')
    typed_unit = _spaced(body[found.end() :])
    unit = _unit(rule, kind, typed_unit, found, default_unit)
    value, step = _value(found, unit, rule, decimal_mark)
    if kind == "count" and value.denominator != 1:
        raise Refused(f"A count is a whole number. Write it like {rule.example}")
    factor, offset = _factor(unit.pint, rule.pint)
    canonical = float(value * factor + offset)
    if not (rule.low <= canonical <= rule.high):
        raise Refused(
            f'"{_shown(text)}" is out of range: a {kind} is from {_plain(rule.low)} to {_plain(rule.high)}'
            f"{'' if kind == 'count' else f' {rule.canonical}'}. Write it like {rule.example}"
        )
    name = typed_unit or default_unit or unit.name
    formula = f"canonical = typed × {float(factor):.10g}" + (f" + {float(offset):.8g}" if offset else "")
    working = (Step(formula, (("typed", body), ("unit", name)), "exact definition of the unit, by pint"),)
    cautions = (unit.caution,) if unit.caution else ()
    return Quantity(canonical, name, float(step * factor), text, kind, working, cautions)


def units(kind: str) -> tuple[str, ...]:
    """The units that a kind takes, by the names that pages show.

    :param kind: as in :func:`parse`

    >>> units("length")
    ('mm', 'µm', 'cm', 'm', 'in', 'thou')
    """
    return tuple(unit.name for unit in _kind(kind).units)


def canonical_unit(kind: str) -> str:
    """The unit that a kind is kept in.

    :param kind: as in :func:`parse`

    >>> canonical_unit("torque")
    'N·m'
    """
    return _kind(kind).canonical


def convert(value: float, kind: str, to_unit: str) -> float:
    """Turn a canonical number into ``to_unit``.

    :param value: the number in the canonical unit of the kind
    :param kind: as in :func:`parse`
    :param to_unit: any spelling of a unit of this kind

    >>> convert(28.575, "length", "in")
    1.125
    """
    rule = _kind(kind)
    if not isfinite(value):
        raise Refused(f"A {kind} is a plain number. Write it like {rule.example}")
    factor, offset = _factor(_named(rule, kind, to_unit).pint, rule.pint)
    return float((Fraction(repr(float(value))) - offset) / factor)


def show_length(mm: float, unit: str, resolution_mm: float) -> str:
    """A length as text in ``unit``, rounded to the gauge's resolution, half to even.

    A resolution that is a plain step in the unit (0.0005 in, 0.02 mm) is kept as that step; one that comes
    from the other system keeps the decimal places that are nearest to it.

    :param mm: length [mm]
    :param unit: any spelling of a unit of length
    :param resolution_mm: smallest step of the gauge [mm], above 0

    >>> show_length(28.53690, "in", 0.0127)
    '1.1235 in'
    >>> show_length(-0.05, "mm", 0.01)
    '−0.05 mm'
    """
    if not (isfinite(resolution_mm) and resolution_mm > 0):
        raise Refused("The resolution is a length above 0. Write it like 0.01 mm")
    shown = _named(_kind("length"), "length", unit)
    step, places = _step(abs(convert(resolution_mm, "length", unit)))
    exact = Decimal(repr(convert(mm, "length", unit)))
    rounded = (exact / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step
    text = f"{abs(rounded):.{places}f}"
    sign = "−" if rounded < 0 else ""
    return f"{sign}{text} {shown.name}"


def both(mm: float, resolution_mm: float) -> str:
    """A length in both systems.

    :param mm: length [mm]
    :param resolution_mm: smallest step of the gauge [mm], above 0

    >>> both(28.54, 0.001)
    '28.540 mm (1.1236 in)'
    """
    return f"{show_length(mm, 'mm', resolution_mm)} ({show_length(mm, 'in', resolution_mm)})"


def _kind(kind: str) -> Kind:
    try:
        return KINDS[kind]
    except (KeyError, TypeError):
        raise Refused(f"The kind is one of {', '.join(KINDS)}") from None


@cache
def _spellings(kind: str) -> dict[str, Unit]:
    return {name: unit for unit in KINDS[kind].units for name in (unit.name, *unit.also)}


def _named(rule: Kind, kind: str, name: str) -> Unit:
    unit = _spellings(kind).get(name)
    if unit is None and kind == "count":
        raise Refused(f"A count has no unit. Write it like {rule.example}")
    if unit is None:
        known = ", ".join(one.name for one in rule.units)
        raise Refused(
            f'"{_shown(name)}" is not a unit of {kind}. Units: {known}. Write it like {rule.example}'
        )
    return unit


def _unit(rule: Kind, kind: str, typed: str, found: re.Match[str], default_unit: str | None) -> Unit:
    """The unit typed after the number, or the default; anything else says why it is refused."""
    if not typed:
        if default_unit is not None:
            return _named(rule, kind, default_unit)
        if kind == "count":
            return rule.units[0]
        raise Refused(f'"{found[0]}" has no unit. Write it like {rule.example}')
    unit = _spellings(kind).get(typed)
    if unit is not None:
        return unit
    if typed in _AMBIGUOUS:
        raise Refused(f"{_AMBIGUOUS[typed]}. Write it like {rule.example}")
    if found["digits"] and not found["mark"] and re.match(r"[0-9]", typed):
        raise Refused(
            f"Digits are not grouped, so a space between them is unclear. Write 1000, or {rule.example}"
        )
    if re.match(r"[.,'’_][0-9]", typed):
        raise Refused(f"A number has one decimal mark and no grouping. Write it like {rule.example}")
    if re.match(r"[eE][+\-−]?[0-9]", typed):
        raise Refused(f"A number is written out, without a power. Write it like {rule.example}")
    if typed[0] in ".,":
        raise Refused(f"A decimal mark needs digits after it. Write it like {rule.example}")
    return _named(rule, kind, typed)


def _value(found: re.Match[str], unit: Unit, rule: Kind, decimal_mark: str) -> tuple[Fraction, Fraction]:
    """The typed number and the size of its last place, exactly, in the typed unit."""
    parts = [found[name] or "" for name in ("whole", "over", "under", "digits", "places")]
    if len("".join(parts).lstrip("0")) > MOST_DIGITS:
        raise Refused(f"The number has more than {MOST_DIGITS} digits. Write it like {rule.example}")
    if found["over"]:
        number, step = _fraction(found, unit, rule)
    else:
        digits, places = found["digits"], found["places"] or ""
        _one_reading(digits, found["mark"], places, decimal_mark)
        number, step = Fraction(f"{digits or 0}.{places or 0}"), Fraction(1, 10 ** len(places))
    return (-number if found["sign"] in {"-", "−"} else number), step


def _fraction(found: re.Match[str], unit: Unit, rule: Kind) -> tuple[Fraction, Fraction]:
    over, under = int(found["over"]), int(found["under"])
    if under not in {2, 4, 8, 16, 32, 64, 128}:
        raise Refused(f"A fraction is in halves, quarters, 8ths to 128ths. Write it like {rule.example}")
    if found["whole"] and over >= under:
        raise Refused(
            f'"{found[0]}" is no mixed number: {over}/{under} is not below 1. Write it like 1 1/8 in'
        )
    if not unit.fractions:
        raise Refused(
            f"A fraction of {unit.name} is unclear. Write its unit (1 1/8 in) or decimals ({rule.example})"
        )
    return int(found["whole"] or 0) + Fraction(over, under), Fraction(1, under)


def _one_reading(digits: str, mark: str | None, places: str, decimal_mark: str) -> None:
    """Refuse a mark that may be a decimal mark or a thousands mark for this person."""
    if len(places) != 3 or mark == decimal_mark:
        return
    if mark == "." and (len(digits) > 3 or digits.startswith("0") or not digits):
        return  # no one groups 0.005 or 1234.567
    raise Refused(
        f'"{digits}{mark}{places}" could mean {digits}{decimal_mark}{places} or {digits}{places}. '
        f"Write {digits}{decimal_mark}{places} or {digits}{places}"
    )


def _plain(number: float) -> str:
    """A limit without a power, with the typographic minus."""
    return f"{Decimal(repr(number)).normalize():f}".replace("-", "−")


def _spaced(text: str) -> str:
    """A unit with single plain spaces; a tab or a line break stays and is refused."""
    for blank in _BLANKS[1:]:
        text = text.replace(blank, " ")
    return " ".join(part for part in text.split(" ") if part)


def _shown(text: object) -> str:
    """Typed text for a message: printable, and short enough for one."""
    return "".join(one if one.isprintable() else "?" for one in str(text))[:MOST_CHARACTERS]


@cache
def _registry() -> Any:
    # Pint takes about half a second to import: only the first conversion pays for it.
    from pint import UnitRegistry

    return UnitRegistry()


@cache
def _factor(unit: str, canonical: str) -> tuple[Fraction, Fraction]:
    """Factor and offset from a pint unit to the canonical one, as exact as their definitions."""
    convert_one = _registry().convert
    if canonical == "degC":
        zero = float(convert_one(0.0, unit, canonical))
        slope = float(convert_one(100.0, unit, canonical)) - zero
        return _exact(slope / 100, 1e-12), _exact(zero, 1e-12)
    return _exact(float(convert_one(1.0, unit, canonical)), 1e-14), Fraction(0)


def _exact(number: float, tolerance: float) -> Fraction:
    """The short fraction or 15-digit decimal behind a rounded factor (5/9, 25.4, 4.4482216152605)."""
    short = Fraction(number).limit_denominator(1_000)
    if short and abs(float(short) - number) <= tolerance * abs(number):
        return short
    return Fraction(f"{number:.15g}")


def _step(resolution: float) -> tuple[Decimal, int]:
    """The step to round to and the decimal places that show it, for a resolution in the shown unit."""
    for places in range(7):
        scaled = resolution * 10**places
        if any(abs(scaled - digit) <= 1e-9 * digit for digit in (1, 2, 5)):
            return Decimal(round(scaled)).scaleb(-places), places
    for power in range(2, 8):
        if abs(resolution * 2**power - 1) <= 1e-9:  # a sixty-fourth and the like: decimals, at most four
            return Decimal(1).scaleb(-min(power, 4)), min(power, 4)
    places = min(max(0, round(-log10(resolution))), 9)
    return Decimal(1).scaleb(-places), places
