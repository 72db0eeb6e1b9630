"""The kinds of quantity that people type, their canonical units and every spelling that is read.

Spellings are exact, capitals included: mN and MN are not the same unit. Trade usage (lb ft for lbf ft) is
common practice, no source.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit that a kind takes: its name on pages, pint's name, and every spelling that is read."""

    name: str
    pint: str
    also: tuple[str, ...] = ()
    fractions: bool = False
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """What may be typed for one kind; ``low`` and ``high`` are in the canonical unit."""

    canonical: str
    pint: str
    low: float
    high: float
    example: str
    units: tuple[Unit, ...]


_POUND_FORCE = "lb was read as pound-force"

KINDS: dict[str, Kind] = {
    "length": Kind(
        "mm",
        "millimeter",
        -20_000,
        20_000,
        "28.54 mm, 1.1236 in or 1 1/8 in",
        (
            Unit("mm", "millimeter"),
            Unit("µm", "micrometer", ("μm", "um")),
            Unit("cm", "centimeter"),
            Unit("m", "meter"),
            Unit("in", "inch", ('"', "″", "”", "inch", "inches"), fractions=True),
            Unit("thou", "thou"),
        ),
    ),
    "torque": Kind(
        "N·m",
        "newton * meter",
        -100_000,
        100_000,
        "30 N·m or 22 lbf ft",
        (
            Unit("N·m", "newton * meter", ("Nm", "N m", "N⋅m", "N.m", "N-m")),
            Unit(
                "lbf ft",
                "force_pound * foot",
                (
                    "ft lbf",
                    "lbf·ft",
                    "lbf-ft",
                    "ft·lbf",
                    "ft-lbf",
                    "lb ft",
                    "ft lb",
                    "lb·ft",
                    "ft·lb",
                    "lb-ft",
                    "ft-lb",
                    "ft lbs",
                    "ft-lbs",
                    "lbs ft",
                ),
                fractions=True,
            ),
            Unit(
                "lbf in",
                "force_pound * inch",
                (
                    "in lbf",
                    "lbf·in",
                    "lbf-in",
                    "in·lbf",
                    "in-lbf",
                    "lb in",
                    "in lb",
                    "lb·in",
                    "in·lb",
                    "lb-in",
                    "in-lb",
                    "in lbs",
                    "in-lbs",
                    "lbs in",
                ),
                fractions=True,
            ),
            Unit("ozf in", "force_ounce * inch", ("in ozf", "oz in", "in oz", "oz-in", "in-oz")),
            Unit("kgf m", "force_kilogram * meter", ("kgf·m", "m kgf", "kgf-m")),
            Unit("kgf cm", "force_kilogram * centimeter", ("kgf·cm", "cm kgf", "kgf-cm")),
        ),
    ),
    "temperature": Kind(
        "°C",
        "degC",
        -273.15,
        2_000,
        "21 °C or 70 °F",
        (
            Unit("°C", "degC", ("C", "degC", "℃")),
            Unit("°F", "degF", ("F", "degF", "℉")),
            Unit("K", "kelvin"),
        ),
    ),
    "mass": Kind(
        "kg",
        "kilogram",
        0,
        100_000,
        "48 kg or 105 lb",
        (
            Unit("kg", "kilogram"),
            Unit("g", "gram"),
            Unit("lb", "pound", ("lbs",), fractions=True),
            Unit("oz", "ounce", fractions=True),
        ),
    ),
    "force": Kind(
        "N",
        "newton",
        -10_000_000,
        10_000_000,
        "180 N or 40 lbf",
        (
            Unit("N", "newton"),
            Unit("kN", "kilonewton"),
            Unit("lbf", "force_pound", fractions=True),
            Unit("lb", "force_pound", ("lbs",), fractions=True, caution=_POUND_FORCE),
            Unit("kgf", "force_kilogram"),
        ),
    ),
    "pressure": Kind(
        "MPa",
        "megapascal",
        -10,
        10_000,
        "0.2 bar or 3 psi",
        (
            Unit("MPa", "megapascal", ("N/mm²", "N/mm2")),
            Unit("kPa", "kilopascal"),
            Unit("Pa", "pascal"),
            Unit("bar", "bar"),
            Unit("mbar", "millibar"),
            Unit("psi", "force_pound / inch ** 2", ("lbf/in²", "lbf/in2"), fractions=True),
        ),
    ),
    "volume": Kind(
        "litres",
        "liter",
        0,
        100_000,
        "2.2 litres",
        (
            Unit("litres", "liter", ("l", "L", "litre", "liter", "liters")),
            Unit("ml", "milliliter", ("mL",)),
        ),
    ),
    "angle": Kind(
        "degree",
        "degree",
        -36_000,
        36_000,
        "20° or 14.5 deg",
        (
            Unit("degree", "degree", ("°", "deg", "degrees"), fractions=True),
            Unit("arcmin", "arcminute"),
            Unit("rad", "radian"),
        ),
    ),
    "time": Kind(
        "s",
        "second",
        0,
        3_200_000_000,
        "90 min or 1.5 h",
        (
            Unit("s", "second", ("sec", "seconds")),
            Unit("min", "minute", ("minutes",), fractions=True),
            Unit("h", "hour", ("hr", "hrs", "hour", "hours"), fractions=True),
        ),
    ),
    "speed": Kind(
        "rpm",
        "revolution / minute",
        0,
        1_000_000,
        "1450 rpm",
        (
            Unit("rpm", "revolution / minute", ("r/min", "rev/min", "min⁻¹")),
            Unit("rev/s", "revolution / second", ("r/s",)),
        ),
    ),
    "count": Kind(
        "1", "dimensionless", 0, 1_000_000_000, "24", (Unit("1", "dimensionless", ("off", "pcs")),)
    ),
}
