"""The report's document with its drawings made ready for paper. No database."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from inspections.evidence.zones import marks_drawing

PICTURE_PX = 1400  # a photograph on paper, 84 mm wide, at about 420 dots an inch
BALLOON = 1.7  # on paper against those on the screen in full


def _drawn(svg: str) -> SafeString:
    """Drawings are the program's own text with every name escaped where it was put in."""
    return mark_safe(svg)  # noqa: S308


def _brief(finding: Mapping[str, Any]) -> str:
    """What is found in a line, where nobody has to read more: seen once, as it should be, by one person."""
    readings = finding["readings"]
    plain = finding["state"] in {"sound", "within"} and not (finding["bar"] or finding["cautions"])
    if not plain or len(readings) != 1 or readings[0]["flags"] or readings[0]["note"]:
        return ""
    words = str(finding["words"]).strip()
    if not words or words == "Sound.":
        return f"{finding['state']}."
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def with_drawings(document: Mapping[str, Any]) -> dict[str, Any]:
    """A copy of the document in which the unit, each limit bar and each photograph's marks are drawings."""
    shown = deepcopy(dict(document))
    shown["drawing"] = _drawn(shown["drawing"])
    for position in shown["positions"]:
        for finding in position["findings"]:
            finding["bar"] = _drawn(finding["bar"])
            finding["brief"] = _brief(finding)
    for shot in shown["photographs"]:
        places = [(str(one["number"]), one["across"], one["down"]) for one in shot["marks"]]
        shot["drawn"] = _drawn(marks_drawing(shot["width"], shot["height"], places, BALLOON))
        shot["tall"] = shot["height"] > shot["width"]
    shown["seen"] = [one for one in shown["positions"] if one["findings"] or one["not_read"] or one["open"]]
    marks = {one["mark"] for one in shown["positions"]}
    order = ("serviceable", "rework", "scrap", "open", "close", "replaced", "missing", "wrong")
    shown["legend"] = [one for one in order if one in marks]
    return shown
