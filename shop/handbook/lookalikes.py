"""Threads that look alike and do not fit, in words. The words are common practice, no source."""

from dataclasses import dataclass

_TAPER = frozenset({"NPT", "NPTF", "R", "Rc"})
_BRITISH_PIPE = frozenset({"R", "Rc", "Rp", "G"})
_PIPES = _BRITISH_PIPE | {"NPT", "NPTF"}
# A taper plug is meant for either hole.
_MATES = ({"R", "Rc"}, {"R", "Rp"})
# Diameters nearer than this share of themselves are hard to tell apart on a worn bolt.
_NEAR = 0.025


@dataclass(frozen=True, slots=True)
class Outline:
    """What is needed to compare two threads: diameter and pitch [mm], angle of the form [°]."""

    designation: str
    series: str
    size: str
    major_mm: float
    pitch_mm: float
    tpi: float | None
    angle_deg: float


def confusions(one: Outline, known: tuple[Outline, ...]) -> tuple[str, ...]:
    """What each look-alike is and why it does not fit, nearest pitch first.

    :param one: the thread in hand
    :param known: every thread in the tables
    """
    pipe = one.series in _PIPES
    near = [
        other
        for other in known
        if other.designation != one.designation
        and (other.series in _PIPES) == pipe
        and {one.series, other.series} not in _MATES
        and (one.size == other.size if pipe else abs(other.major_mm / one.major_mm - 1) <= _NEAR)
    ]
    near.sort(key=lambda other: (abs(other.pitch_mm / one.pitch_mm - 1), abs(other.major_mm - one.major_mm)))
    found = [f"{other.designation}: {(_pipes if pipe else _bolts)(one, other)}" for other in near]
    if pipe:
        found.append(
            f"a bolt thread: pipe sizes name the old bore, {one.size} measures {one.major_mm:.1f} mm outside"
        )
    return tuple(found)


def _bolts(one: Outline, other: Outline) -> str:
    same_pitch = abs(other.pitch_mm / one.pitch_mm - 1) < 0.002
    angle = "" if other.angle_deg == one.angle_deg else f"{_angle(other)} against {_angle(one)}"
    if same_pitch and not angle:
        return f"same pitch, but {other.major_mm:.2f} mm diameter against {one.major_mm:.2f} mm"
    if same_pitch:
        return f"same {_pitch(one)}, but {angle}. It goes together, bears on a line and strips"
    words = f"{_pitch(other)} against {_pitch(one)}"
    if angle:
        words = f"{words}, {angle}"
    return f"{words}. It starts and then binds"


def _pipes(one: Outline, other: Outline) -> str:
    pair = {one.series, other.series}
    if pair == {"R", "Rc"}:
        return "the same taper thread, one outside and one inside: these two belong together"
    if pair == {"R", "Rp"}:
        return (
            "the taper plug in this parallel hole is meant to seal; the parallel plug in a taper hole is not"
        )
    if pair == {"NPT", "NPTF"}:
        return "same sizes: the crests of NPTF crush to seal dry, NPT leaks without a sealant"
    if pair == {"Rp", "G"}:
        return "same sizes, other tolerances: Rp seals on the flanks of a taper plug, G on a washer"
    if pair <= _BRITISH_PIPE:
        return (
            f"same {_pitch(one)} and angle, but {_shape(other)} against {_shape(one)}. A parallel plug in a "
            "taper hole leaks, a taper plug in a parallel hole splits the boss"
        )
    share = abs(other.pitch_mm / one.pitch_mm - 1) < 0.002
    count = f"same {_pitch(one)}, but" if share else f"{_pitch(other)} against {_pitch(one)},"
    taper = "" if _shape(other) == _shape(one) else f", {_shape(other)} against {_shape(one)}"
    return f"{count} {_angle(other)} against {_angle(one)}{taper}. The two do not seal together"


def _shape(one: Outline) -> str:
    return "taper" if one.series in _TAPER else "parallel"


def _pitch(one: Outline) -> str:
    return f"{one.tpi:g} threads an inch" if one.tpi else f"{one.pitch_mm:g} mm pitch"


def _angle(one: Outline) -> str:
    return f"{one.angle_deg:g}°"
