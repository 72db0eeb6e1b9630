"""The build sheet as a document: guide and chosen pieces in, plain JSON out. Pure: no database, no Django.

1. The steps of the variant in an order in which each comes after what it needs.
2. For each: pieces, torque or turns, sealing, washers or fit, boxes to fill in, cautions.
3. What has to be measured before the sheet can be worked from.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from inspections.building.floating import Chosen, Offer, fit_of, float_of
from inspections.building.jointing import joint
from inspections.document import BuildStep, GuideIndex

__all__ = ["Chosen", "Circle", "Offer", "compute", "order_steps"]

SIGN = "SIGN"  # the sheet's own step: a second person looks inside before the lid goes on
TEST = "TEST"  # the sheet's own step: how the built unit behaved
SEEN = "inside seen before the lid"
TESTS = ("turns freely", "every gear selects and holds", "two gears at once refused", "leak test")
DEFERS = "The maker's data, local rules and a competent person come before any figure here."
FALLBACK = "A computed torque is a fallback: the maker's figure goes before it."


class Circle(ValueError):
    """Steps that wait for each other."""


def order_steps(steps: Sequence[BuildStep]) -> tuple[BuildStep, ...]:
    """The steps, each after those it names in ``after``; otherwise as the guide lists them.

    A name that is not among the steps (another variant's) is passed over. Raises :class:`Circle`.
    """
    here = {one.code for one in steps}
    left, done, order = list(steps), set[str](), list[BuildStep]()
    while left:
        ready = next((one for one in left if not (set(one.after) & here) - done), None)
        if ready is None:
            raise Circle(f"These build steps wait for each other: {', '.join(one.code for one in left)}.")
        left.remove(ready)
        done.add(ready.code)
        order.append(ready)
    return tuple(order)


def compute(
    guide: GuideIndex, variant: str, chosen: Sequence[Chosen], offers: Mapping[str, Sequence[Offer]]
) -> dict[str, Any]:
    """The whole document. ``offers``: code of a step that chooses washers -> what there is to choose from."""
    by_position = {one.position: one for one in chosen}
    steps = order_steps([one for one in guide.guide.steps if one.exists_in(variant)])
    rows = [
        _step(guide, variant, one, by_position, offers.get(one.code, ())) | {"number": number}
        for number, one in enumerate(steps, 1)
    ]
    sign = next((row["number"] for row in rows if "SIGN" in str(row["stamp"]).upper()), None)
    computed = any(row["torque"] and row["torque"]["kind"] == "computed" for row in rows)
    return {
        "family": guide.guide.family_name,
        "maker": guide.guide.maker,
        "note": guide.guide.note,
        "variant": variant,
        "variant_name": next((one.name for one in guide.guide.variants if one.code == variant), variant),
        "oil": guide.guide.oil,
        "cautions": _cautions(guide, computed),
        "steps": rows,
        "sign_at": sign,  # number of the step at which a second person looks inside
        "pieces": [_piece(guide, one) for one in sorted(chosen, key=lambda one: _number(guide, one))],
        "measure_first": _measure_first(rows),
    }


def _cautions(guide: GuideIndex, computed: bool) -> list[str]:
    lines = [*guide.guide.cautions, *([FALLBACK] if computed else []), DEFERS]
    return list({line.rstrip("."): line for line in lines}.values())


def _number(guide: GuideIndex, one: Chosen) -> int:
    return guide.position[one.position].number


def _piece(guide: GuideIndex, one: Chosen) -> dict[str, Any]:
    return {
        "number": _number(guide, one),
        "position": one.position,
        "name": guide.position[one.position].name,
        "quantity": guide.position[one.position].quantity,
        "way": one.way,
        "label": one.label,
        "tag": one.tag,
        "part": one.part,
        "size": one.size,
        "remedies": [guide.remedy[code].name for code in one.remedies if code in guide.remedy],
        "reworked": list(one.reworked),
    }


def _step(
    guide: GuideIndex,
    variant: str,
    step: BuildStep,
    chosen: Mapping[str, Chosen],
    offers: Sequence[Offer],
) -> dict[str, Any]:
    torque = joint(step.bolts, step.title) if step.bolts else None
    here = [code for code in step.positions if guide.position[code].exists_in(variant)]
    return {
        "code": step.code,
        "title": step.title,
        "text": step.text,
        "stamp": step.stamp,
        "caution": step.caution,
        "note": step.note,
        "sealing": step.sealing,
        "pieces": [_piece(guide, chosen[code]) for code in here if code in chosen],
        "not_chosen": [guide.position[code].name for code in here if code not in chosen],
        "torque": torque,
        "fit": fit_of(guide, guide.check[step.fit_check], chosen) if step.fit_check else None,
        "float": float_of(guide, step, chosen, offers) if step.float_check else None,
        "boxes": _boxes(step, torque),
    }


def _boxes(step: BuildStep, torque: Mapping[str, Any] | None) -> list[str]:
    boxes = list(step.record)
    if torque and torque["passes"]:
        boxes += [f"pass {n} at {one['shown']['nm']} N·m" for n, one in enumerate(torque["passes"], 1)]
        boxes.append("wrench")
    elif torque and torque["kind"] == "taper":
        boxes.append("turns")
    return list(dict.fromkeys(box[:60] for box in boxes))


def _measure_first(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for row in rows:
        for part in ("float", "fit"):
            for one in (row[part] or {}).get("measure_first", ()):
                key = (one["feature"], one["piece"])
                found.setdefault(key, {**one, "steps": []})["steps"].append(row["number"])
    return list(found.values())


def same_work(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Do two documents order the same work? Runners-up and working change with other people's stock."""
    return bool(_bare(one) == _bare(other))


def _bare(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _bare(one) for key, one in value.items() if key not in {"others", "working", "cautions"}}
    if isinstance(value, list | tuple):
        return [_bare(one) for one in value]
    # JSON keeps a float to the last bit, but a stored whole number may come back without its point.
    return round(float(value), 9) if isinstance(value, int | float) and not isinstance(value, bool) else value
