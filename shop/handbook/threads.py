"""Screw threads by their designation: what it measures, and what looks like it and does not fit.

Basic sizes at 20 °C. The pitch diameter follows from the form: d − 0.649519 P (60°), d − 0.640327 P (55°),
d − 0.6 P (47½°); for an American taper pipe thread it is the one at the hand-tight plane.
"""

import math
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache

from shop.handbook.lookalikes import Outline, confusions
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import COMMON_PRACTICE, Step

MM_PER_INCH = 25.4
EXAMPLES = '"3/8-16 UNC", "1/2 BSW", "3/8 BSF", "2 BA", "M10x1.5", "1/2-14 NPT", "R 1/2" or "G 1/2"'
TAPERS = frozenset({"NPT", "NPTF", "R", "Rc"})
PIPES = frozenset({"NPT", "NPTF", "R", "Rc", "Rp", "G"})

_FORMS = {
    "UNC": ("Unified", 60.0, "ASME B1.1-2003"),
    "UNF": ("Unified", 60.0, "ASME B1.1-2003"),
    "UNEF": ("Unified", 60.0, "ASME B1.1-2003"),
    "BSW": ("Whitworth", 55.0, "BS 84:1956"),
    "BSF": ("Whitworth", 55.0, "BS 84:1956"),
    "BA": ("British Association", 47.5, "BS 93:1951"),
    "M": ("ISO metric", 60.0, "ISO 68-1:1998 and ISO 261:1998"),
    "NPT": ("American pipe", 60.0, "ASME B1.20.1-1983"),
    "NPTF": ("American dryseal pipe", 60.0, "ASME B1.20.3-1976, from memory"),
    "R": ("British pipe", 55.0, "ISO 7-1:1994"),
    "Rc": ("British pipe", 55.0, "ISO 7-1:1994"),
    "Rp": ("British pipe", 55.0, "ISO 7-1:1994"),
    "G": ("British pipe", 55.0, "ISO 228-1:2000"),
}
_OTHER_NAMES = {
    "WHIT": "BSW",
    "WHITWORTH": "BSW",
    "BSPT": "R",
    "BSPP": "G",
    "RC": "Rc",
    "RP": "Rp",
}
# Pitch diameter is the major diameter less this many pitches.
_DEPTH = {60.0: 0.649519, 55.0: 0.640327, 47.5: 0.6}
_VULGAR = str.maketrans(
    {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
)
_LEFT = re.compile(r"[\s,-]*\b(LH|LEFT[\s-]HAND)\b", re.IGNORECASE)
_METRIC = re.compile(
    r"M\s*(?P<size>\d+(?:\.\d+)?)(?:\s*[X×*]\s*(?P<pitch>\d+(?:\.\d+)?))?(?:\s*-\s*\d[A-Z]\S*)?"
)
_SIZE = r"(?P<size>\#?\d+(?:/\d+)?(?:[ -]\d+/\d+)?|\d*\.\d+)"
_SIZE_FIRST = re.compile(
    _SIZE + r"\s*(?:IN|INCH|\")?(?:\s*-\s*(?P<tpi>\d+(?:\.\d+)?))?\s*(?:TPI)?\s*"
    r"(?P<series>[A-Z]+)(?:[\s-]*[123][AB])?"
)
_SERIES_FIRST = re.compile(
    r"(?P<series>RC|RP|R|G|BA)\s*" + _SIZE + r"\s*(?:-\s*(?P<tpi>\d+(?:\.\d+)?))?\s*[AB]?"
)


class UnknownThread(Refused):
    """A designation that is not understood or not in the tables; the message shows how to write one."""


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread: basic diameters and pitch [mm], angle of the form [°], stress area [mm²] of a bolt."""

    designation: str
    series: str
    size: str
    form: str
    angle_deg: float
    taper: bool
    left_hand: bool
    major_mm: float
    pitch_mm: float
    pitch_diameter_mm: float
    minor_mm: float
    stress_area_mm2: float | None
    tpi: float | None
    not_to_be_confused_with: tuple[str, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def thread(designation: str) -> Thread:
    """The thread that a designation names.

    Stress area: π/4 (d − 0.9743/n)² for Unified, π/4 ((d2 + d3)/2)² with d3 = d − 1.226869 P for metric; for
    Whitworth and British Association the mean of pitch and minor diameter is taken, which is common practice.

    :param designation: such as "3/8-16 UNC", "1/2 BSW", "2 BA", "M10x1.5", "1/2-14 NPT", "R 1/2", "G 1/2";
        "LH" after it for a left hand. A metric thread without a pitch is the coarse one

    Valid for the sizes in the tables: #0 to 1 1/2 in, 0 to 10 BA, M2 to M30, pipe 1/8 to 2.
    Reference: ASME B1.1-2003, BS 84:1956, BS 93:1951, ISO 68-1, ISO 724, ISO 898-1:2013 (9.1.6.1),
    ASME B1.20.1-1983, ISO 7-1:1994, ISO 228-1:2000.

    >>> found = thread("3/8-16 UNC")
    >>> found.major_mm, round(found.pitch_diameter_mm, 3), found.tpi
    (9.525, 8.494, 16.0)
    >>> thread("M10").pitch_mm, round(thread("M10").stress_area_mm2, 1)
    (1.5, 58.0)
    >>> thread("R 1/2").taper, thread("G 1/2").taper
    (True, False)
    """
    if not isinstance(designation, str) or len(designation) > 40:
        raise UnknownThread(f"This is not a thread's designation. Write one such as {EXAMPLES}")
    text = " ".join(designation.translate(_VULGAR).split()).replace("”", '"')
    right = _LEFT.sub("", text)
    found = _find(right.strip().upper(), designation)
    return _left_handed(found) if right != text else found


def sizes() -> tuple[str, ...]:
    """The designations of every thread in the tables, for pages.

    >>> "1/2-12 BSW" in sizes()
    True
    """
    return tuple(_known())


def _find(text: str, typed: str) -> Thread:
    metric = _METRIC.fullmatch(text)
    if metric:
        return _pick("M", metric["size"], metric["pitch"], typed)
    match = _SIZE_FIRST.fullmatch(text) or _SERIES_FIRST.fullmatch(text)
    if match is None:
        raise UnknownThread(_hint(text, typed))
    series = _OTHER_NAMES.get(match["series"], match["series"])
    if series == "BSP":
        raise UnknownThread(
            f'"{typed}" does not say whether it is taper or parallel. Write "R {match["size"]}" for the '
            f'taper thread, "Rc {match["size"]}" for its hole, "G {match["size"]}" for the parallel one'
        )
    if series not in _FORMS or series == "M":
        raise UnknownThread(f'"{typed}" names no thread known here. Write one such as {EXAMPLES}')
    return _pick(series, match["size"], match["tpi"], typed)


def _hint(text: str, typed: str) -> str:
    if re.fullmatch(_SIZE + r'"?\s*-\s*(?P<tpi>\d+)', text):
        return (
            f'"{typed}" does not say which thread it is: Unified and Whitworth share sizes and do not fit '
            f'each other. Write the series too, such as "{text} UNC" or "{text} BSW"'
        )
    return f'"{typed}" is not understood. Write a thread such as {EXAMPLES}; add "LH" for a left hand'


def _pick(series: str, size: str, pitch: str | None, typed: str) -> Thread:
    near = [one for one in _known().values() if one.series == series and _same_size(one.size, size)]
    if not near:
        listed = ", ".join(dict.fromkeys(one.size for one in _known().values() if one.series == series))
        raise UnknownThread(f'"{typed}" is not in the table of {series}. Its sizes here are {listed}')
    if pitch is None:
        return near[0]
    for one in near:
        stated = one.pitch_mm if series == "M" else one.tpi
        if stated is not None and math.isclose(stated, float(pitch)):
            return one
    asked, have = (pitch, "mm pitch") if series == "M" else (pitch, "threads an inch")
    choices = " or ".join(f'"{one.designation}"' for one in near)
    raise UnknownThread(
        f'"{typed}": {series} {size} with {asked} {have} is not in the table. Write {choices}'
    )


def _same_size(known: str, typed: str) -> bool:
    if known.startswith("#") or typed.startswith("#"):
        return known.lstrip("#") == typed.lstrip("#") and (known[0] == typed[0] or known.startswith("#"))
    try:
        parts = [Fraction(part) for part in re.split(r"[ -]", typed)]
    except (ValueError, ZeroDivisionError):
        return False
    # A decimal inch is rounded in print: 0.3125 is written 0.313 as well.
    return abs(float(sum(parts) - sum(Fraction(part) for part in known.split()))) < 0.0006


def _left_handed(right: Thread) -> Thread:
    other = (f"{right.designation} with the right hand: a left hand thread undoes clockwise",)
    return replace(
        right,
        designation=f"{right.designation} LH",
        left_hand=True,
        not_to_be_confused_with=other + right.not_to_be_confused_with,
    )


@cache
def _known() -> dict[str, Thread]:
    bare = [*_inch(), *_association(), *_metric(), *_pipe()]
    outlines = tuple(
        Outline(one.designation, one.series, one.size, one.major_mm, one.pitch_mm, one.tpi, one.angle_deg)
        for one in bare
    )
    return {
        one.designation: replace(one, not_to_be_confused_with=confusions(outline, outlines))
        for one, outline in zip(bare, outlines, strict=True)
    }


def _inch() -> list[Thread]:
    return [
        _build(
            f"{row['size']}-{row['tpi']} {row['series']}",
            row["series"],
            row["size"],
            round(float(row["major_in"]) * MM_PER_INCH, 6),
            tpi=float(row["tpi"]),
        )
        for row in rows("threads_inch.csv")
    ]


def _association() -> list[Thread]:
    return [
        _build(f"{row['size']} BA", "BA", row["size"], float(row["major_mm"]), pitch=float(row["pitch_mm"]))
        for row in rows("threads_ba.csv")
    ]


def _metric() -> list[Thread]:
    return [
        _build(
            f"M{row['size']}x{float(row['pitch_mm']):g}",
            "M",
            row["size"],
            float(row["size"]),
            pitch=float(row["pitch_mm"]),
        )
        for row in rows("threads_metric.csv")
    ]


def _pipe() -> list[Thread]:
    found = []
    for row in rows("threads_pipe.csv"):
        size, tpi = row["size"], float(row["tpi"])
        major = float(row["major"]) * (MM_PER_INCH if row["unit"] == "in" else 1)
        if row["series"] == "NPT":
            hand_tight = float(row["hand_tight"]) * MM_PER_INCH
            found += [
                _build(f"{size}-{tpi:g} {kind}", kind, size, major, tpi=tpi, hand_tight=hand_tight)
                for kind in ("NPT", "NPTF")
            ]
        else:
            # ISO 7 has no 5/8: that size is parallel only.
            kinds = ("G",) if size == "5/8" else ("R", "Rc", "Rp", "G")
            found += [_build(f"{kind} {size}", kind, size, major, tpi=tpi) for kind in kinds]
    return found


def _build(
    designation: str,
    series: str,
    size: str,
    major: float,
    *,
    tpi: float | None = None,
    pitch: float = 0.0,
    hand_tight: float | None = None,
) -> Thread:
    form, angle, standard = _FORMS[series]
    pitch = MM_PER_INCH / tpi if tpi else pitch
    depth = _DEPTH[angle]
    if hand_tight is None:
        across, formula = major - depth * pitch, f"d2 = d − {depth:g} P"
    else:
        across = major - (0.05 * major + 1.1 * MM_PER_INCH) * pitch / MM_PER_INCH + hand_tight / 16
        formula = "E1 = D − (0.05 D + 1.1) p + L1/16, in inches"
    # Of the internal thread for 60°, where bolt and nut differ at the root; of both for the others.
    minor = major - (1.082532 if angle == 60.0 else 2 * depth) * pitch
    inputs = (("d", f"{major:.4f} mm"), ("P", f"{pitch:.4f} mm"))
    steps = [Step(formula, inputs, standard)]
    area = None
    if series not in PIPES:
        area, step = _stress_area(series, major, pitch, across, minor)
        steps.append(step)
    return Thread(
        designation=designation,
        series=series,
        size=size,
        form=form,
        angle_deg=angle,
        taper=series in TAPERS,
        left_hand=False,
        major_mm=major,
        pitch_mm=pitch,
        pitch_diameter_mm=across,
        minor_mm=minor,
        stress_area_mm2=area,
        tpi=tpi,
        not_to_be_confused_with=(),
        working=tuple(steps),
        cautions=_cautions(series),
    )


def _stress_area(series: str, major: float, pitch: float, across: float, minor: float) -> tuple[float, Step]:
    if series in {"UNC", "UNF", "UNEF"}:
        mean = major - 0.9743 * pitch
        formula, source = "As = π/4 (d − 0.9743/n)²", "ASME B1.1-2003, appendix B; FED-STD-H28/2B, formula 1b"
    elif series == "M":
        mean = (across + major - 1.226869 * pitch) / 2
        formula, source = "As = π/4 ((d2 + d3)/2)², d3 = d − 1.226869 P", "ISO 898-1:2013, 9.1.6.1"
    else:
        mean = (across + minor) / 2
        formula, source = "As = π/4 ((d2 + d1)/2)²", COMMON_PRACTICE
    return math.pi / 4 * mean**2, Step(formula, (("mean diameter", f"{mean:.4f} mm"),), source)


def _cautions(series: str) -> tuple[str, ...]:
    always = ("Try the thread by hand and with a thread gauge before force is used",)
    if series in TAPERS:
        return (*always, "A taper thread splits a parallel boss. Turn it past hand-tight, never to a torque")
    if series in PIPES:
        return (*always, "A parallel pipe thread seals on a washer or a face, not on its flanks")
    return always
