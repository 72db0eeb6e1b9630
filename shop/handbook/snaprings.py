"""Snap rings by selection: the thickest that enters; and what a gasket measures once it is squeezed.

Lengths are mm.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shop.handbook.packs import Washer
from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, Danger, OutOfRange, Step, within

SNAP = Danger("Wear goggles: a snap ring flies. Use pliers that fit it and do not use a spread one again")


@dataclass(frozen=True, slots=True)
class Ring:
    """One ring that was looked at: the play [mm] it would leave and how likely it enters."""

    code: str
    play_mm: float
    enters: float


@dataclass(frozen=True, slots=True)
class SnapRing:
    """The thickest ring that surely enough enters; ``choice`` is empty when none does."""

    choice: str
    play_mm: float | None
    enters: float
    others: tuple[Ring, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Gasket:
    """What a gasket measures between bolted faces [mm], with its expanded uncertainty (k = 2)."""

    thickness_mm: float
    expanded_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def snap_ring(
    groove: float, rings: Sequence[Washer], groove_uncertainty: float = 0.0, confidence: float = 0.95
) -> SnapRing:
    """The thickest ring of those at hand that enters its groove beside the bearing.

    A ring enters when groove − thickness ≥ 0; the chance of it is Φ((g − t)/u) with
    u² = (U/2)² + tolerance²/3. The thickest with at least the confidence is taken: it leaves the least play.

    :param groove: room for the ring between bearing and far side of the groove [mm], 0.1 to 20
    :param rings: rings at hand: thickness and tolerance [mm]
    :param groove_uncertainty: expanded uncertainty of the room, k = 2 [mm]
    :param confidence: least chance that the ring enters, 0.5 to 0.9999

    Reference: common practice, no source; probability as JCGM 106:2012, 7.2.

    >>> listed = [Washer("R150", 1.50, 0.01), Washer("R155", 1.55, 0.01), Washer("R160", 1.60, 0.01)]
    >>> found = snap_ring(1.58, listed, 0.01)
    >>> found.choice, round(found.play_mm, 3)
    ('R155', 0.03)
    """
    within("groove", groove, 0.1, 20.0, "mm")
    within("groove_uncertainty", groove_uncertainty, 0.0, 1.0, "mm")
    within("confidence", confidence, 0.5, 0.9999, "")
    if not 1 <= len(rings) <= 60:
        raise Refused("Give 1 to 60 rings to choose from")
    if len({ring.code for ring in rings}) < len(rings):
        raise Refused("List each ring once, with its count")
    looked = []
    for ring in sorted(rings, key=lambda one: (-one.thickness, one.code)):
        within(f"thickness of {ring.code}", ring.thickness, 0.1, 20.0, "mm")
        within(f"tolerance of {ring.code}", ring.tolerance, 0.0, 1.0, "mm")
        if ring.count > 0:
            u = math.hypot(groove_uncertainty / 2, ring.tolerance / math.sqrt(3))
            looked.append(Ring(ring.code, groove - ring.thickness, _chance(groove - ring.thickness, u)))
    chosen = next((one for one in looked if one.enters >= confidence), None)
    others = tuple(one for one in looked if one is not chosen)[:6]
    inputs = (("g", f"{groove:g} mm"), ("U", f"{groove_uncertainty:g} mm"), ("rings", str(len(looked))))
    step = Step("the largest t with Φ((g − t)/u) ≥ confidence", inputs, COMMON_PRACTICE)
    cautions: list[str] = [SNAP]
    if chosen is None:
        cautions.insert(0, "No ring at hand surely enters. Measure the room again or get a thinner ring")
    return SnapRing(
        chosen.code if chosen else "",
        chosen.play_mm if chosen else None,
        chosen.enters if chosen else 0.0,
        others, (step,), tuple(cautions),
    )  # fmt: skip


def squeezed_gasket(thickness: float, compression: float = 0.2) -> Gasket:
    """What a new gasket measures once its joint is tight.

    thickness in place = t (1 − c); its expanded uncertainty is taken as half of what it gives, c t/2.

    :param thickness: thickness when new [mm], 0.02 to 10
    :param compression: share c of it that the joint squeezes out, 0 to 0.6

    Reference: common practice, no source. The gasket maker's figure, or a piece squeezed and measured, is
    better.

    >>> found = squeezed_gasket(0.5, 0.2)
    >>> round(found.thickness_mm, 3), round(found.expanded_mm, 3)
    (0.4, 0.05)
    """
    within("thickness", thickness, 0.02, 10.0, "mm")
    if not 0 <= compression <= 0.6:
        raise OutOfRange("compression", compression, "0 to 0.6")
    inputs = (("t", f"{thickness:g} mm"), ("c", f"{compression:g}"))
    step = Step(f"t (1 − c) = {thickness * (1 - compression):.4g} mm", inputs, COMMON_PRACTICE)
    caution = "A gasket that locates is a shim: sealant in its place shuts the float"
    return Gasket(thickness * (1 - compression), thickness * compression / 2, (step,), (caution,))


def _chance(play: float, u: float) -> float:
    if u == 0:
        return 1.0 if play >= 0 else 0.0
    return 0.5 * math.erfc(-play / u / math.sqrt(2))
