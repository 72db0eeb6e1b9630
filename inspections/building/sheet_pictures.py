"""The build sheet's document with its drawings beside it, for the screen and for the paper. No database."""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from inspections.document import Guide
from inspections.drawings.bars import limit_bar
from inspections.drawings.drawing import unit_drawing
from shop.handbook.tightening import FALLBACK, ONE_FIGURE
from shop.pictures import bolt_picture, float_picture, plug_picture


def _drawn(svg: str) -> SafeString:
    """Drawings are the program's own text with every name escaped where it was put in."""
    return mark_safe(svg)  # noqa: S308


def with_pictures(
    document: Mapping[str, Any], guide: Guide, links: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """A copy of the document in which steps have ``picture`` and fits ``bar``; ``drawing`` is the unit as
    planned, each position linked where ``links`` names a page for it."""
    shown = deepcopy(dict(document))
    for step in shown["steps"]:
        step["picture"] = _picture(step)
        if step["float"]:
            for one in (step["float"], *step["float"].get("others", ())):
                one["inside"] = likely(one.get("probability", 0.0))
        step["workings"] = _workings(step)
        if step["torque"]:
            said = {FALLBACK, ONE_FIGURE}
            step["torque"]["own_cautions"] = [one for one in step["torque"]["cautions"] if one not in said]
        fit = step["fit"]
        if fit and not fit["measure_first"]:
            fit["inside"] = "" if fit.get("sure", True) else likely(fit["probability"])
            fit["bar"] = _drawn(
                limit_bar(
                    value_mm=fit["clearance_mm"],
                    expanded_mm=fit["expanded_um"] / 1000,
                    lower_mm=fit["lower_mm"],
                    upper_mm=fit["upper_mm"],
                    guard_mm=0.0,
                    unit="mm",
                )
            )
    planned = {one["position"]: one["way"] for one in shown["pieces"]}
    shown["drawing"] = _drawn(
        unit_drawing(guide.drawing, guide.positions, planned, links or {}, variant=shown["variant"])
        if guide.drawing
        else ""
    )
    shown["ways"] = [way for way in ("own", "reworked", "used", "new") if way in planned.values()]
    return shown


def _workings(step: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """The working behind each figure of a step, with what it is of."""
    found = []
    for key, title in (("float", "End float"), ("fit", "Fit"), ("torque", "Torque")):
        part = step[key]
        if part and part.get("working"):
            found.append((part.get("title") or f"{title}, {step['title']}", part["working"]))
    return found


def likely(probability: float) -> str:
    """A probability as a sheet says it; a forecast is never said to be certain.

    >>> likely(0.9999), likely(0.974), likely(0.004)
    ('over 99 %', '97 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{probability * 100:.0f} %"


def _picture(step: Mapping[str, Any]) -> SafeString | str:
    found, torque = step["float"], step["torque"]
    if found and found["choice"]:
        pieces = [(one["position"], one["length_mm"]) for one in found["lengths"][1:]]
        washers = [(one["code"], one["thickness_mm"]) for one in found["choice"]]
        return _drawn(float_picture(found["faces_mm"], pieces, washers, f"float {found['float_mm']:.2f}"))
    if torque and torque["kind"] == "taper":
        return _drawn(plug_picture())
    if torque and torque["bolts"]:
        return _drawn(bolt_picture([(name, x, y, turn) for name, x, y, turn in torque["bolts"]]))
    return ""
