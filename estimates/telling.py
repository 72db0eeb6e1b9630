"""How a journey tells its steps: the record of a step, and lines in words from what a sheet holds."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shop.documents import path_of
from shop.models import Ticket


class JourneyFailed(Exception):
    """A step did not come out as a shop needs it; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Told:
    """One step as it is printed: a heading, a table, a line below it, and the figures for a script."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    below: str = ""
    figures: Mapping[str, Any] = field(default_factory=dict)


def torque_words(torque: Mapping[str, Any] | None) -> list[str]:
    """What the sheet says of a joint, in one line or none."""
    if not torque:
        return []
    if torque.get("torque_nm"):
        limited = f", limited by the {torque['limited_by']}" if torque.get("limited_by") else ""
        return [f"{torque['shown']['nm']} N·m ({torque['shown']['lbf_ft']} lbf ft){limited}"]
    return [str(torque.get("turns") or torque.get("why", ""))]


def float_words(chosen: Mapping[str, Any] | None) -> list[str]:
    """The washers chosen and the float they leave, in one line or none."""
    if not chosen:
        return []
    if not chosen["choice"]:
        return [str(chosen.get("words", ""))]
    codes = ", ".join(one["code"] for one in chosen["choice"])
    return [f"washers {codes}: float {chosen['float_mm']:.3f} mm"]


def filled_in(document: Mapping[str, Any], box: str, figures: Mapping[str, str]) -> str:
    """What the builder writes into a box: the float and washers that the sheet chose, a figure, or done."""
    chosen = next(
        (one["float"] for one in document["steps"] if one["float"] and one["float"]["choice"]), None
    )
    if chosen and box == "end float mm":
        return f"{chosen['float_mm']:.2f} mm"
    for end, one in zip(("front", "rear"), chosen["choice"] if chosen else (), strict=False):
        if box == f"{end} washer mm":
            return f"{one['thickness_mm']:.2f} mm"
    return figures.get(box, "done")


def papers_of(ticket: Ticket) -> list[tuple[str, Path]]:
    """Title and place of each paper of the ticket."""
    return [(one.title, path_of(one)) for one in ticket.documents.exclude(kind="photograph")]
