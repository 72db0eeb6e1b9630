"""Tightening torque of a bolt in a hole that may be the weaker part, and the order in which to tighten.

A computed torque is a fallback. The maker's figure comes first; without one, a competent person decides.
Torques are N·m, forces N, lengths mm, stresses MPa.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from shop.handbook.bolts import Grade, TaperThread, bolt_grade, bolt_thread
from shop.handbook.quantities import Refused
from shop.handbook.stripping import tapped_hole
from shop.handbook.tables.reading import rows
from shop.handbook.threads import Thread
from shop.handbook.working import COMMON_PRACTICE, Danger, Step, within

SCATTER = 0.25
STRIPPING_FRACTION = 0.5
UNSTATED_CONDITION = "oiled"
INCH_SERIES = frozenset({"UNC", "UNF", "UNEF"})

FALLBACK = Danger(
    "A computed torque is a fallback: it gives way to the maker's figure and to a competent person"
)
ONE_FIGURE = (
    "Set the wrench to the torque itself. The least and the most only show what other friction would ask for"
)


@dataclass(frozen=True, slots=True)
class Tightening:
    """A torque [N·m] to set, and the preload [N] it aims at with the spread that friction gives."""

    torque_nm: float
    torque_min_nm: float
    torque_max_nm: float
    preload_n: float
    preload_min_n: float
    preload_max_n: float
    limited_by: str
    stripping_load_n: float | None
    nut_factor: float
    grade: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pattern:
    """The order in which to tighten the bolts of a joint, and the share of the torque in each pass."""

    order: tuple[str, ...]
    passes: tuple[float, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Torque:
    """The torque [N·m] that gives a stated preload."""

    torque_nm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def tightening(
    thread: Thread | str,
    grade: str,
    *,
    condition: str | None = None,
    nut_factor: float | None = None,
    clamp_fraction: float = 0.75,
    tapped_material: str | None = None,
    engagement_mm: float | None = None,
) -> Tightening:
    """Torque for a bolt, held down to what the tapped hole can take.

    F = clamp fraction × proof stress × stress area, but not above half the stripping load of the
    hole; T = K F d. The same torque gives F/(1 + s) to F/(1 − s) when the nut factor is off by s = 25 %; the
    least and most torque are T (1 ∓ s), which the same F would need.

    :param thread: a thread or its designation; a taper or pipe thread is refused
    :param grade: see :func:`bolt_grade`
    :param condition: "dry", "oiled", "sealant" or "anti-seize"; "oiled" if neither this nor a nut factor is
        given, since a dry figure breaks an oily bolt
    :param nut_factor: K instead of a condition, 0.08 to 0.35
    :param clamp_fraction: share of the proof load, 0.1 to 0.9
    :param tapped_material: what the hole is cut in, if not a nut of the bolt's own grade
    :param engagement_mm: length of thread that holds [mm], needed with ``tapped_material``

    Reference: T = K F d as in IFI Fastener Standards, 5th ed., N-12; stripping by FED-STD-H28/2B, formula 2a.

    >>> found = tightening("3/8-16 UNC", "SAE 5", condition="dry")
    >>> round(found.torque_nm, 1), found.limited_by
    (41.9, 'bolt')
    >>> tightening("3/8-16 UNC", "SAE 8", tapped_material="aluminium", engagement_mm=9).limited_by
    'tapped thread'
    """
    bolt = bolt_thread(thread)
    strength = bolt_grade(grade, bolt.major_mm, inch=bolt.series in INCH_SERIES)
    factor, factor_step, factor_cautions = _nut_factor(condition, nut_factor)
    within("clamp_fraction", clamp_fraction, 0.1, 0.9, "of the proof load")
    area = bolt.stress_area_mm2
    assert area is not None
    preload, limited_by, stripping = clamp_fraction * strength.proof_mpa * area, "bolt", None
    inputs = (
        ("clamp fraction", f"{clamp_fraction:g}"),
        ("proof stress", f"{strength.proof_mpa:.0f} MPa"),
        ("As", f"{area:.2f} mm²"),
    )
    steps = [
        *bolt.working,
        *strength.working,
        Step("F = fraction × proof stress × As", inputs, COMMON_PRACTICE),
    ]
    cautions = [FALLBACK, ONE_FIGURE, *strength.cautions, *_grade_cautions(bolt, strength), *factor_cautions]
    if tapped_material is not None or engagement_mm is not None:
        hole = tapped_hole(bolt, tapped_material, engagement_mm)
        stripping = hole.stripping_load_n
        ceiling = STRIPPING_FRACTION * stripping
        steps += hole.working
        cautions += hole.cautions
        if ceiling < preload:
            preload, limited_by = ceiling, "tapped thread"
            limits = (("stripping load", f"{stripping:.0f} N"), ("fraction", f"{STRIPPING_FRACTION:g}"))
            steps.append(Step("F = fraction × stripping load", limits, COMMON_PRACTICE))
    most = preload / (1 - SCATTER)
    if most > 1.001 * strength.proof_mpa * area:
        cautions.append("With little friction this torque takes the bolt beyond its proof load. Aim lower")
    done = short_form(bolt, preload, factor)
    spread = Step("F/(1 ± s), T (1 ± s)", (("s", f"{SCATTER * 100:.0f} %"),), COMMON_PRACTICE)
    return Tightening(
        torque_nm=done.torque_nm,
        torque_min_nm=done.torque_nm * (1 - SCATTER),
        torque_max_nm=done.torque_nm * (1 + SCATTER),
        preload_n=preload,
        preload_min_n=preload / (1 + SCATTER),
        preload_max_n=most,
        limited_by=limited_by,
        stripping_load_n=stripping,
        nut_factor=factor,
        grade=strength.grade,
        working=(*steps, factor_step, *done.working, spread),
        cautions=tuple(dict.fromkeys(cautions)),
    )


def short_form(thread: Thread | str, preload_n: float, nut_factor: float) -> Torque:
    """Torque for a preload by the nut factor: T = K F d.

    :param thread: a parallel thread or its designation
    :param preload_n: preload [N], 0 to 2 000 000
    :param nut_factor: K, 0.08 to 0.35

    Reference: IFI Fastener Standards, 5th ed., N-12.

    >>> round(short_form("M10", 20000, 0.2).torque_nm, 3)
    40.0
    """
    bolt = bolt_thread(thread)
    within("preload_n", preload_n, 0.0, 2e6, "N")
    within("nut_factor", nut_factor, 0.08, 0.35, "")
    inputs = (("K", f"{nut_factor:g}"), ("F", f"{preload_n:.0f} N"), ("d", f"{bolt.major_mm:.3f} mm"))
    step = Step("T = K F d", inputs, "IFI Fastener Standards, 5th ed., N-12")
    return Torque(nut_factor * preload_n * bolt.major_mm / 1000, (step,), (FALLBACK,))


def pattern(bolts: Sequence[tuple[str, float, float]], fractions: Sequence[float] = (0.5, 1.0)) -> Pattern:
    """Order of tightening: from the middle outward, each bolt followed by the one opposite.

    Of the bolts left, the nearest to the centre is next (within 5 % of the spread they count as equally
    near), of those the one farthest from all done so far, then the first as listed. Its opposite is the one
    nearest to its mirror image through the centre; a bolt at the centre has none.

    :param bolts: name, x and y [mm] of each bolt, at least two, no two at one place
    :param fractions: share of the torque in each pass, rising, the last 1

    Reference: common practice, no source.

    >>> square = [("A", 0, 0), ("B", 100, 0), ("C", 100, 100), ("D", 0, 100)]
    >>> pattern(square).order
    ('A', 'C', 'B', 'D')
    >>> pattern([(str(n), 40 * n, 0) for n in range(5)]).order
    ('2', '1', '3', '0', '4')
    """
    places = _places(bolts)
    shares = tuple(fractions)
    if not shares or shares[-1] != 1.0 or any(a >= b for a, b in pairwise(shares)) or not shares[0] > 0:
        raise Refused("The passes rise to the full torque. Write shares such as 0.5, 1")
    centre = (
        sum(x for x, _ in places.values()) / len(places),
        sum(y for _, y in places.values()) / len(places),
    )
    order: list[str] = []
    left = list(places)
    spread = max(math.dist(centre, place) for place in places.values())
    while left:
        order.append(_next_head(left, order, places, centre, spread))
        left.remove(order[-1])
        x, y = places[order[-1]]
        if left and math.dist((x, y), centre) > 0.05 * spread:
            mirror = (2 * centre[0] - x, 2 * centre[1] - y)
            order.append(min(left, key=lambda name: round(math.dist(places[name], mirror), 6)))
            left.remove(order[-1])
    inputs = (
        ("centre", f"{centre[0]:.1f}, {centre[1]:.1f} mm"),
        ("passes", ", ".join(f"{share * 100:.0f} %" for share in shares)),
    )
    step = Step("nearest the centre first, then its opposite", inputs, COMMON_PRACTICE)
    return Pattern(
        tuple(order),
        shares,
        (step,),
        (
            "The maker's order comes first",
            "Bring all bolts to touch by hand, make each pass in this order, then once round at full torque",
        ),
    )


def conditions() -> tuple[str, ...]:
    """The states of a thread that have a nut factor, for pages.

    >>> conditions()
    ('dry', 'oiled', 'sealant', 'anti-seize')
    """
    return tuple(row["condition"] for row in rows("nut_factors.csv"))


def _grade_cautions(bolt: Thread, strength: Grade) -> list[str]:
    found = []
    own = INCH_SERIES if strength.standard == "SAE J429" else {"M"}
    # An unmarked bolt has its caution already.
    if bolt.series not in own and not strength.cautions:
        found.append(
            f"{strength.grade} is not a marking of {bolt.series} bolts. Make sure that the bolt is what it "
            "is taken for; if in doubt take it as unmarked"
        )
    if strength.standard == "SAE J429" and bolt.major_mm < 6.34:
        found.append("SAE J429 starts at 1/4 in. The figure is carried down to this size")
    return found


def _nut_factor(condition: str | None, nut_factor: float | None) -> tuple[float, Step, list[str]]:
    if nut_factor is not None:
        if condition is not None:
            raise Refused("Give the condition of the thread or a nut factor, not both")
        within("nut_factor", nut_factor, 0.08, 0.35, "")
        return nut_factor, Step("K as given", (("K", f"{nut_factor:g}"),), "given"), []
    cautions = []
    if condition is None:
        cautions.append(f"The condition of the thread was not given: taken as {UNSTATED_CONDITION}")
    wanted = (condition or UNSTATED_CONDITION).strip().lower()
    for row in rows("nut_factors.csv"):
        if row["condition"] == wanted:
            factor = float(row["nut_factor"])
            return factor, Step(f"K, {wanted}", (("K", f"{factor:g}"),), row["source"]), cautions
    raise Refused(f'"{condition}" is no condition in the table. Choose one of: {", ".join(conditions())}')


def _places(bolts: Sequence[tuple[str, float, float]]) -> dict[str, tuple[float, float]]:
    places: dict[str, tuple[float, float]] = {}
    for name, x, y in bolts:
        within("x", x, -1e5, 1e5, "mm")
        within("y", y, -1e5, 1e5, "mm")
        if name in places:
            raise Refused(f'Two bolts are called "{name}". Give each a name of its own')
        if any(math.dist((x, y), other) < 0.5 for other in places.values()):
            raise Refused(f'"{name}" is where another bolt is. Check its place')
        places[name] = (float(x), float(y))
    if not 2 <= len(places) <= 200:
        raise Refused("A pattern needs 2 to 200 bolts")
    return places


def _next_head(
    left: list[str],
    done: list[str],
    places: dict[str, tuple[float, float]],
    centre: tuple[float, float],
    spread: float,
) -> str:
    nearest = min(math.dist(places[name], centre) for name in left)
    near = [name for name in left if math.dist(places[name], centre) <= nearest + 0.05 * spread]
    if not done:
        return near[0]
    # max() keeps the first of equals, so the order as listed decides.
    return max(near, key=lambda name: round(min(math.dist(places[name], places[one]) for one in done), 6))


__all__ = [
    "Pattern",
    "TaperThread",
    "Tightening",
    "Torque",
    "conditions",
    "pattern",
    "short_form",
    "tightening",
]
