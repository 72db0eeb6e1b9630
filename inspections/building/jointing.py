"""Torque, turns and tightening order of a joint, as the build sheet says them. Pure: no database, no Django.

The guide's own figure wins. Without one the handbook computes a fallback and says what limits it. A taper
thread has turns and no torque.
"""

from typing import Any

from inspections.document import Bolts
from shop.handbook.bolts import UNMARKED, TaperThread
from shop.handbook.quantities import Refused, convert
from shop.handbook.threads import Thread, thread
from shop.handbook.tightening import Tightening, pattern, tightening
from shop.handbook.working import COMMON_PRACTICE

PASSES = (0.5, 1.0)
NO_FIGURE = "No torque can be given. Ask a competent person before this joint is closed."


def shown_torque(torque_nm: float) -> dict[str, str]:
    """A torque [N·m] as both systems print it: whole from 10 up, one decimal below.

    >>> shown_torque(29.01), shown_torque(6.04)
    ({'nm': '29', 'lbf_ft': '21'}, {'nm': '6.0', 'lbf_ft': '4.5'})
    """
    pair = (("nm", torque_nm), ("lbf_ft", convert(torque_nm, "torque", "lbf ft")))
    return {key: f"{value:.0f}" if value >= 10 else f"{value:.1f}" for key, value in pair}


def joint(bolts: Bolts, title: str = "") -> dict[str, Any]:
    """What the sheet says of one joint's bolts: ``kind`` is guide, computed, taper or none."""
    said: dict[str, Any] = {
        "thread": bolts.thread,
        "grade": bolts.grade or UNMARKED,
        "condition": bolts.condition,
        "tapped_material": bolts.tapped_material,
        "engagement_mm": bolts.engagement_mm,
        "cautions": [],
        "working": [],
    } | _order(bolts)
    try:
        known = thread(bolts.thread)
    except Refused as trouble:
        return said | _without_thread(bolts, str(trouble))
    said["not_to_be_confused_with"] = list(known.not_to_be_confused_with)
    said["left_hand"] = known.left_hand
    if known.taper or bolts.turns:
        return said | _taper(bolts, known)
    if bolts.torque_nm is not None:
        return said | _stated(bolts.torque_nm)
    return said | _computed(bolts)


def _order(bolts: Bolts) -> dict[str, Any]:
    if len(bolts.at) < 2:
        return {"bolts": [], "order": [], "order_cautions": []}
    found = pattern(bolts.at, PASSES)
    turn = {name: n for n, name in enumerate(found.order, 1)}
    return {
        "bolts": [[name, x, y, turn[name]] for name, x, y in bolts.at],
        "order": list(found.order),
        "order_cautions": list(found.cautions),
    }


def _passes(torque_nm: float) -> list[dict[str, Any]]:
    return [
        {"share": share, "torque_nm": share * torque_nm, "shown": shown_torque(share * torque_nm)}
        for share in PASSES
    ]


def _without_thread(bolts: Bolts, trouble: str) -> dict[str, Any]:
    if bolts.torque_nm is not None:
        return _stated(bolts.torque_nm)
    return {"kind": "none", "why": f"{trouble}. {NO_FIGURE}", "passes": []}


def _taper(bolts: Bolts, known: Thread) -> dict[str, Any]:
    return {
        "kind": "taper",
        "turns": bolts.turns or "turned past hand-tight as the maker says; no torque",
        "why": f"Taper thread, {bolts.thread}: it seals on its flanks and has no torque.",
        "passes": [],
        "cautions": list(known.cautions),
        "working": [one.as_dict() for one in known.working],
    }


def _stated(torque_nm: float) -> dict[str, Any]:
    return {
        "kind": "guide",
        "torque_nm": torque_nm,
        "shown": shown_torque(torque_nm),
        "why": "The guide's own figure. It goes before any computed one.",
        "passes": _passes(torque_nm),
        "working": [
            {
                "formula": "torque as the guide states it",
                "inputs": {"T": f"{torque_nm:g} N·m"},
                "source": "guide",
            }
        ],
    }


def _computed(bolts: Bolts) -> dict[str, Any]:
    grade = bolts.grade or UNMARKED
    hole: dict[str, Any] = {}
    if bolts.tapped_material and bolts.engagement_mm is not None:
        hole = {"tapped_material": bolts.tapped_material, "engagement_mm": bolts.engagement_mm}
    try:
        found = tightening(bolts.thread, grade, condition=bolts.condition, **hole)
        alone = tightening(bolts.thread, grade, condition=bolts.condition)
    except TaperThread as trouble:
        return {"kind": "none", "why": str(trouble), "passes": []}
    except ValueError as trouble:  # refused, or outside a table
        return {"kind": "none", "why": f"{trouble}. {NO_FIGURE}", "passes": []}
    return {
        "kind": "computed",
        "torque_nm": found.torque_nm,
        "torque_min_nm": found.torque_min_nm,
        "torque_max_nm": found.torque_max_nm,
        "preload_n": found.preload_n,
        "stripping_load_n": found.stripping_load_n,
        "nut_factor": found.nut_factor,
        "grade": found.grade,
        "limited_by": found.limited_by,
        "bolt_alone_nm": alone.torque_nm,
        "shown": shown_torque(found.torque_nm),
        "why": _why(bolts, found, alone),
        "passes": _passes(found.torque_nm),
        "cautions": list(found.cautions),
        "working": [one.as_dict() for one in found.working],
    }


def _why(bolts: Bolts, found: Tightening, alone: Tightening) -> str:
    least, most = shown_torque(found.torque_min_nm), shown_torque(found.torque_max_nm)
    spread = (
        f"Friction may ask for {least['nm']} to {most['nm']} N·m; preload {found.preload_n / 1000:.1f} kN. "
        f"Nut factor {found.nut_factor:g}, {bolts.condition}; its scatter is {COMMON_PRACTICE}."
    )
    if found.limited_by == "bolt":
        return f"The bolt limits. {spread}"
    allowed = shown_torque(alone.torque_nm)
    return f"The tapped thread limits; the bolt alone would allow {allowed['nm']} N·m. {spread}"
