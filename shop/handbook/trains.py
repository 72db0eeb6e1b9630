"""Ratios and centre distances of a train of external gears on parallel shafts. Lengths mm, angles degrees."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, prod, radians

from shop.handbook.working import COMMON_PRACTICE, OutOfRange, Step, within

MOST_STAGES = 12
RULE = "gear-train rule: driven over driving teeth; each external mesh turns the sense round"


@dataclass(frozen=True, slots=True)
class Stage:
    """One pair of a train by its teeth; idlers stand between driving and driven."""

    driving: int
    driven: int
    idlers: tuple[int, ...] = ()

    @property
    def meshes(self) -> tuple[tuple[int, int], ...]:
        return tuple(pairwise((self.driving, *self.idlers, self.driven)))


@dataclass(frozen=True, slots=True)
class Train:
    """Ratio of input to output speed, its sign (+ turns as the input does), each stage and each mesh."""

    ratio: float
    signed_ratio: float
    stage_ratios: tuple[float, ...]
    centre_distances_mm: tuple[float, ...] | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]

    @property
    def same_sense(self) -> bool:
        return self.signed_ratio > 0


def gear_train(stages: Sequence[Stage], module_mm: float | None = None, helix_deg: float = 0.0) -> Train:
    """The ratio of a train, stage by stage, and the centre distance of each mesh if the module is known.

    ratio = product of driven/driving; an idler changes the sense of rotation and nothing else. No stage at
    all is a direct drive. Centre distance a = m (z1 + z2)/(2 cos β), without profile shift.

    :param stages: the pairs in their order from the input, at most 12
    :param module_mm: normal module [mm], 0.2 to 30; 25.4/DP for a diametral pitch
    :param helix_deg: helix angle of all gears [degree], 0 to 45

    Reference: gear-train rule; centre distance by ISO 21771:2007, 5.2 (clause from memory).

    >>> found = gear_train([Stage(20, 40), Stage(18, 38, idlers=(15,))], module_mm=3)
    >>> round(found.ratio, 4), found.same_sense, found.centre_distances_mm
    (4.2222, False, (90.0, 49.5, 79.5))
    """
    if len(stages) > MOST_STAGES:
        raise OutOfRange("stages", len(stages), f"0 to {MOST_STAGES}")
    for number, stage in enumerate(stages, 1):
        _check(number, stage)
    ratios = tuple(stage.driven / stage.driving for stage in stages)
    meshes = [mesh for stage in stages for mesh in stage.meshes]
    ratio = prod(ratios)
    inputs = tuple((f"stage {number}", _shown(stage)) for number, stage in enumerate(stages, 1))
    steps = [Step("ratio = Π driven/driving; sign = (−1)^meshes", inputs or (("stages", "none"),), RULE)]
    cautions = [] if stages else ["No stage: input and output are locked together, a direct drive"]
    distances = None
    if module_mm is not None:
        within("module_mm", module_mm, 0.2, 30.0, "mm")
        within("helix_deg", helix_deg, 0.0, 45.0, "degrees")
        distances = tuple(module_mm * (one + two) / (2 * cos(radians(helix_deg))) for one, two in meshes)
        sizes = (("m", f"{module_mm:.4f} mm"), ("β", f"{helix_deg:g}°"))
        steps.append(Step("a = m (z1 + z2)/(2 cos β)", sizes, "ISO 21771:2007"))
        cautions += _apart(stages, distances)
    return Train(ratio, ratio * (-1) ** len(meshes), ratios, distances, tuple(steps), tuple(cautions))


def _check(number: int, stage: Stage) -> None:
    for teeth in (stage.driving, stage.driven, *stage.idlers):
        if teeth != int(teeth) or not 5 <= teeth <= 500:
            raise OutOfRange("stages", f"{teeth:g} teeth in stage {number}", "whole numbers, 5 to 500 teeth")
    if len(stage.idlers) > 4:
        raise OutOfRange("stages", f"{len(stage.idlers)} idlers in stage {number}", "at most 4")


def _apart(stages: Sequence[Stage], distances: Sequence[float]) -> list[str]:
    """A box of two shafts has one centre distance: say so when the plain pairs differ."""
    if any(stage.idlers for stage in stages) or len({round(one, 3) for one in distances}) < 2:
        return []
    return [
        "The centre distances differ: between the same two shafts that takes profile shift or another "
        f"helix angle, otherwise a tooth count is wrong ({COMMON_PRACTICE})"
    ]


def _shown(stage: Stage) -> str:
    return " → ".join(str(teeth) for teeth in (stage.driving, *stage.idlers, stage.driven))
