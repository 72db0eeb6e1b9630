"""What was read of a piece, for its page in the Stores. Whoever has still to read it does not see others'."""

from __future__ import annotations

from typing import Any

from inspections.bench.blind import sight_of
from inspections.models import ReadingPiece
from inspections.readings.findings import Examined, examinations, examined
from inventory.models import Piece
from shop.access import Actor


def readings_of(piece: Piece, by: Actor) -> list[dict[str, Any]]:
    """Lines for the page: check, what was read, where, by whom, with what, when, and whether it counts."""
    rows = list(
        ReadingPiece.objects.filter(piece=piece)
        .select_related("reading")
        .order_by("reading__examination_id", "reading__sequence")
    )
    held = {
        one.pk: examined(one)
        for one in examinations().filter(pk__in={row.reading.examination_id for row in rows})
    }
    lines, hidden = [], 0
    for row in rows:
        whole = held[row.reading.examination_id]
        record = whole.record.get(str(row.reading_id))
        if record is None:
            continue
        if not sight_of(by, whole.state, whole.records).sees(record):
            hidden += 1
            continue
        if not record.outcome and record.value_mm is None:
            continue
        guide = whole.judgement.guide
        check = guide.check.get(record.check)
        lines.append(
            {
                "check": check.title if check else record.check,
                "told": _told(whole, record.outcome, record.text),
                "place": record.place,
                "person": record.person,
                "gauge": record.gauge,
                "at": row.reading.received_at,
                "finding": _state(whole, record.check, piece.tag),
                "history": _history(whole, record.key, row.condition, piece),
            }
        )
    return [*lines, {"hidden": hidden}] if hidden else lines


def _told(whole: Examined, outcome: str, text: str) -> str:
    defect = whole.judgement.guide.defect.get(outcome)
    return defect.name if defect is not None else text.strip()


def _state(whole: Examined, check: str, tag: str) -> str:
    found = whole.judgement.finding.get((check, tag))
    return found.state if found is not None else ""


def _history(whole: Examined, key: str, condition: int, piece: Piece) -> str:
    """Why a reading does not count any more; empty if it does."""
    record = whole.record[key]
    if record.withdrawn:
        return "withdrawn"
    if condition != piece.condition:
        return "of an earlier condition"
    return "of an earlier revision of the guide" if record.aside else ""
