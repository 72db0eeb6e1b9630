"""What the report of an examination says, as plain JSON: all that was read, and what follows from it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from inspections.bench import pages
from inspections.bench.blind import Sight
from inspections.bench.places import DonorAtBench
from inspections.document import Position
from inspections.drawings.drawing import unit_drawing
from inspections.evidence.answers import OpenPosition, answers_of, complaint_states, open_positions, standing
from inspections.evidence.photographs import is_clock_off, marks_of, photographs_of
from inspections.evidence.zones import grid_of
from inspections.judgement.judging import Finding, ReadingRecord
from inspections.judgement.too_close import told_um
from inspections.models import Answer, Examination, Photograph, Reading
from inspections.readings.findings import Examined, disputes_of, examined
from shop import clock
from shop.handbook.quantities import Refused, show_length

IMPERIAL = {"in", "thou", "ft", '"', "inch"}
QUIET = {"not examined", "not applicable", "replaced"}


def report_document(held: Examination, at: datetime) -> dict[str, Any]:
    """The whole report of a held examination as it stands."""
    whole = examined(held)
    judgement, guide = whole.judgement, whole.judgement.guide.guide
    stands = standing(answers_of(held))
    shots = _photographs(held, whole)
    open_ones = {one.code: one for one in open_positions(judgement, stands)}
    decided, of = pages.decided_of(judgement)
    details = _readings(held)
    positions = [
        _position(whole, one, open_ones.get(one.code), shots, details)
        for one in judgement.guide.positions_of(whole.state.variant)
    ]
    complaints = _complaints(held, whole, stands)
    return {
        "on": clock.local(at).date().isoformat(),
        **_head(held, whole),
        "counter": held.counter,
        "readings": sum(_says(one) for one in whole.records),
        "decided": decided,
        "of": of,
        "cautions": [one for one in guide.cautions if not one.startswith("The maker's data")],
        "note": guide.note,
        "maker": guide.maker,
        "complaints": complaints,
        "unfinished": _unfinished(whole, open_ones.values(), complaints),
        "drawing": _drawing(whole),
        "positions": positions,
        "disputes": [_dispute(whole, one) for one, _ in disputes_of(judgement)],
        "gauges": _gauges(whole, details),
        "people": _people(whole.records),
        "photographs": shots,
        "workings": _workings(whole),
    }


def _head(held: Examination, whole: Examined) -> dict[str, Any]:
    """What unit it is. The customer is not named: the paper stays in the shop."""
    ticket = held.ticket
    unit = held.donor
    if ticket is not None:
        source = ticket.sources.filter(kind="unit").select_related("unit").first()
        unit = source.unit if source else None
    named = f"ticket {ticket.number}" if ticket else _donor(held)
    return {
        "ticket": ticket.number if ticket else None,
        "unit": named,
        "stage": ticket.stage if ticket else "",
        "vehicle": ticket.vehicle if ticket else "",
        "complaint_words": ticket.complaint_words if ticket else "",
        "missing_words": ticket.missing_words if ticket else "",
        "serial": unit.serial if unit else "",
        "casting_numbers": unit.casting_numbers if unit else "",
        "family": whole.judgement.guide.guide.family_name,
        "variant": next(
            (one.name for one in whole.judgement.guide.guide.variants if one.code == whole.state.variant),
            whole.state.variant,
        ),
        "guide_revision": held.revision.number,
        "opened": _time(held.opened_at),
    }


def _donor(held: Examination) -> str:
    bought = getattr(held.donor, "bought_as", None)
    return f"donor {DonorAtBench(bought).number}" if bought is not None else f"donor unit {held.donor_id}"


def _time(at: datetime) -> str:
    return f"{clock.local(at):%d %b %Y, %H:%M}".lstrip("0")


def _day(at: datetime) -> str:
    """Day and hour of a reading: the year stands at the head of the report."""
    return f"{clock.local(at):%d %b, %H:%M}".lstrip("0")


def _says(one: ReadingRecord) -> bool:
    return bool(one.outcome) or one.value_mm is not None


def _answer(answer: Answer | None) -> dict[str, str] | None:
    if answer is None:
        return None
    return {"words": answer.words, "who": str(answer.person), "at": _time(answer.at)}


def _complaints(held: Examination, whole: Examined, stands: Any) -> list[dict[str, Any]]:
    if held.ticket is None:
        return []
    check, position = whole.judgement.guide.check, whole.judgement.guide.position
    words = {(one.check): one.words for one in whole.judgement.findings if one.failing}
    return [
        {
            "name": one.name,
            "own_words": not one.code,
            "explained_by": [
                {
                    "number": position[check[code].position].number,
                    "title": check[code].title,
                    "words": words.get(code, ""),
                }
                for code in one.explained_by
            ],
            "answer": _answer(one.answer),
        }
        for one in complaint_states(held.ticket, whole.judgement, stands)
    ]


def _unfinished(
    whole: Examined, open_ones: Iterable[OpenPosition], complaints: Sequence[dict[str, Any]]
) -> list[str]:
    """Why the report is no last word, in sentences; empty if everything is decided, explained or answered."""
    reasons = []
    if count := sum(one.answer is None for one in open_ones):
        plural = "position is" if count == 1 else "positions are"
        reasons.append(f"{count} {plural} open without a reason.")
    if count := sum(not one["explained_by"] and one["answer"] is None for one in complaints):
        reasons.append(f"{count} {'complaint is' if count == 1 else 'complaints are'} not explained.")
    if count := sum(dispute.open for _, dispute in disputes_of(whole.judgement)):
        reasons.append(f"{count} {'check is' if count == 1 else 'checks are'} in dispute.")
    return reasons


def _drawing(whole: Examined) -> str:
    """The unit hatched by verdict; empty where the guide draws nothing."""
    judgement = whole.judgement
    guide = judgement.guide.guide
    if not guide.drawing:
        return ""
    marks = {one.position: pages.mark_of_position(judgement, one.position) for one in judgement.positions}
    floats = {}
    for row in guide.drawing.get("dimension", ()):
        found = next(iter(judgement.of_check(row["key"])), None)
        if found is not None and found.value_mm is not None:
            title = judgement.guide.check[row["key"]].title
            floats[row["key"]] = f"{title}: {found.value_mm:.3f} mm"
    return unit_drawing(
        guide.drawing, guide.positions, marks, {}, variant=whole.state.variant, dimensions=floats
    )


# --- positions and what was read of them


def _readings(held: Examination) -> dict[str, Reading]:
    rows = Reading.objects.filter(examination=held).select_related("gauge", "zeroing__master", "person")
    return {str(one.pk): one for one in rows}


def _position(
    whole: Examined,
    position: Position,
    left_open: OpenPosition | None,
    shots: Sequence[dict[str, Any]],
    details: dict[str, Reading],
) -> dict[str, Any]:
    judgement = whole.judgement
    own = [one for one in judgement.findings if one.position == position.code]
    pieces = [one for one in whole.state.pieces if one.position == position.code]
    said = [_finding(whole, one, shots, details) for one in own if one.state not in QUIET or one.readings]
    asked = [one for one in own if one.state == "not examined" and not one.readings]
    verdicts = {one.piece: one for one in judgement.verdicts}
    return {
        "code": position.code,
        "number": position.number,
        "name": position.name,
        "mark": pages.mark_of_position(judgement, position.code),
        "pieces": [
            {
                "tag": one.tag,
                "size": one.size,
                "missing": one.missing,
                "verdict": verdicts[one.tag].verdict if one.tag in verdicts else "missing",
                "changed": one.condition - 1,
            }
            for one in pieces
        ],
        "found": [one.words for one in own if one.failing or one.state == "too close to call"],
        "read": sum(
            one.state != "not examined" for one in own if one.state not in {"replaced", "not applicable"}
        ),
        "asked": sum(one.state not in {"replaced", "not applicable"} for one in own),
        "left_open": _answer(left_open.answer) if left_open else None,
        "open": left_open is not None,
        "findings": said,
        "not_read": list(dict.fromkeys(judgement.guide.check[one.check].title for one in asked)),
    }


def _finding(
    whole: Examined, one: Finding, shots: Sequence[dict[str, Any]], details: dict[str, Reading]
) -> dict[str, Any]:
    check = whole.judgement.guide.check[one.check]
    hand = pages.in_hand(whole, Sight(True), check, one, may_withdraw=False)
    return {
        "title": check.title,
        "kind": check.kind,
        "piece": one.piece,
        "mark": pages.mark_of_finding(whole.judgement, one),
        "state": hand.state,
        "words": hand.words,
        "figure": _figure(one),
        "chance": hand.chance,
        "bar": str(hand.bar),
        "unit": _unit(hand, details),
        "decided_by": one.decided_by if one.decided_by not in hand.words else "",
        "cautions": list(one.cautions),
        "remedies": [
            whole.judgement.guide.remedy[code].name
            for code in one.remedies
            if code in whole.judgement.guide.remedy
        ],
        "readings": [
            _reading(row, details[row.reading.key]) for row in hand.readings if row.reading.key in details
        ],
        "photographs": [
            shot["number"]
            for shot in shots
            if shot["check"] == one.check and shot["piece"] in {one.piece, ""}
        ],
    }


def _unit(hand: pages.InHand, details: dict[str, Reading]) -> str:
    """The unit in which the limit bar is lettered: that of the last reading."""
    units = [details[row.reading.key].unit for row in hand.readings if row.reading.key in details]
    last = next((one for one in reversed(units) if one), "mm")
    return {"in": "inches", "thou": "thou", "µm": "µm"}.get(last, "mm")


def _figure(one: Finding) -> str:
    """The judged value in inches, beside the mm of the words; a fixed gauge proves a limit and has none."""
    if one.value_mm is None:
        return ""
    return show_length(one.value_mm, "in", 0.00254)  # a tenth of a thou


def _reading(row: pages.ReadingRow, kept: Reading) -> dict[str, Any]:
    one = row.reading
    flags = []
    if one.overdue_reason:
        flags.append(f"gauge past its due date, used on a lead's word: {one.overdue_reason}")
    elif kept.gauge and kept.gauge.due_on and kept.gauge.due_on < clock.local(kept.received_at).date():
        flags.append("gauge past its due date")
    if kept.clock_off:
        flags.append(f"the device's clock said {_time(kept.taken_at)}")
    if one.withdrawn:
        flags.append("withdrawn")
    if row.earlier:
        flags.append("before the piece was changed")
    if row.takes_back:
        flags.append(f"takes back {row.takes_back}")
    if kept.reason:
        flags.append(f"reason: {kept.reason}")
    return {
        "told": row.told if not _bare(row.told, kept) else f"{row.told} {kept.unit}",
        "other": _other_system(kept),
        "place": one.place,
        "who": one.person,
        "lead": one.lead,
        "gauge": one.gauge,
        "expanded_um": one.gauge_expanded_um if one.gauge else None,
        "temperature_c": one.part_temperature_c,
        "at": _day(kept.received_at),
        "note": kept.note,
        "flags": flags,
        "history": row.history,
    }


def _bare(told: str, kept: Reading) -> bool:
    return kept.value_mm is not None and bool(kept.unit) and told[-1:].isdigit()


def _other_system(kept: Reading) -> str:
    """The reading in the system that it was not typed in, to the step in which it was typed."""
    if kept.value_mm is None:
        return ""
    other = "mm" if kept.unit in IMPERIAL else "in"
    try:
        return show_length(kept.value_mm, other, kept.resolution_um / 1000 if kept.resolution_um else 0.001)
    except Refused:
        return ""


def _dispute(whole: Examined, one: Finding) -> dict[str, Any]:
    dispute = one.dispute
    assert dispute is not None
    guide = whole.judgement.guide
    read = [whole.record[key] for key in dispute.readings if key in whole.record]
    return {
        "number": guide.position[one.position].number,
        "position": guide.position[one.position].name,
        "title": guide.check[one.check].title,
        "piece": one.piece,
        "open": dispute.open,
        "words": dispute.words[:1].upper() + dispute.words[1:],
        "readings": [
            f"{each.text.strip()}, {each.person}" + (f", {each.gauge}" if each.gauge else "") for each in read
        ],
    }


# --- who and with what


def _gauges(whole: Examined, details: dict[str, Reading]) -> list[dict[str, Any]]:
    """Each gauge that a reading stands on, with its figures of then, and what is to be said of it."""
    register = {one.code: one for one in whole.state.gauges}
    found: dict[str, dict[str, Any]] = {}
    for one in whole.records:
        kept = details.get(one.key)
        if not one.gauge or kept is None or not _says(one):
            continue
        row = found.setdefault(
            one.gauge,
            {"code": one.gauge, "name": register[one.gauge].name, "readings": 0, "figures": [], "said": []},
        )
        row["readings"] += 1
        _add(row["figures"], f"± {told_um(one.gauge_expanded_um)} µm")
        due: date | None = register[one.gauge].due_on
        row["due_on"] = f"{due:%d %b %Y}".lstrip("0") if due else ""
        if one.overdue_reason:
            _add(row["said"], f"Past its due date, used on a lead's word: {one.overdue_reason}")
        elif due is not None and due < clock.local(kept.received_at).date():
            _add(row["said"], "Past its due date when it was used")
        if kept.zeroing is not None:
            _add(row["said"], f"Set on {kept.zeroing.master_told}, {_time(kept.zeroing.at)}")
    return [found[code] for code in sorted(found)]


def _add(lines: list[str], line: str) -> None:
    if line not in lines:
        lines.append(line)


def _people(records: Iterable[ReadingRecord]) -> list[dict[str, Any]]:
    counts: dict[str, int] = {}
    leads = set()
    for one in records:
        if _says(one):
            counts[one.person] = counts.get(one.person, 0) + 1
            if one.lead:
                leads.add(one.person)
    return [{"name": name, "readings": counts[name], "lead": name in leads} for name in sorted(counts)]


def _photographs(held: Examination, whole: Examined) -> list[dict[str, Any]]:
    guide = whole.judgement.guide
    rows = photographs_of(held).filter(end__isnull=True).prefetch_related("marks__person")
    return [
        {
            "number": number,
            "id": str(row.pk),
            "document": str(row.document_id),
            "check": row.check_code,
            "title": guide.check[row.check_code].title if row.check_code in guide.check else row.check_code,
            "position": _position_told(whole, row),
            "piece": row.piece.tag if row.piece else "",
            "note": row.note,
            "who": str(row.person),
            "at": _time(row.received_at),
            "device_time": _time(row.taken_at) if is_clock_off(row) else "",
            "earlier": bool(row.piece and row.condition < row.piece.condition),
            "width": row.width_px,
            "height": row.height_px,
            "marks": [
                {
                    "number": one.number,
                    "across": one.across,
                    "down": one.down,
                    "zone": grid_of(row.width_px, row.height_px).zone(one.across, one.down),
                    "words": one.words,
                    "who": str(one.person),
                }
                for one in marks_of(row)
            ],
        }
        for number, row in enumerate(rows, 1)
    ]


def _position_told(whole: Examined, row: Photograph) -> str:
    found = whole.judgement.guide.position.get(row.position_code)
    return f"{found.number} {found.name}" if found else row.position_code


def _workings(whole: Examined) -> list[dict[str, Any]]:
    """How the figures that decide against a piece, or cannot decide, were worked out."""
    guide = whole.judgement.guide
    return [
        {
            "title": f"{guide.position[one.position].number} {guide.check[one.check].title}",
            "piece": one.piece,
            "steps": [step.as_dict() for step in one.working],
        }
        for one in whole.judgement.findings
        if one.working and one.state in {"outside", "too close to call"}
    ]
