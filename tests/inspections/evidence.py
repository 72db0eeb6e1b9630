"""Invented pictures and an examination with something of everything, for photographs, answers and reports."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from typing import Any
from uuid import UUID, uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageDraw

from inspections.document import Check, GuideIndex
from inspections.evidence.photographs import record_photograph
from inspections.guiding.guides import guide_of, publish_guide
from inspections.models import Examination, Gauge, Photograph
from inspections.readings.examining import open_examination
from inspections.readings.recording import SentReading, record_readings
from shop.access import PROGRAM, Actor
from shop.models import Complaint, TicketComplaint
from tests.conftest import Cast
from tests.inspections.shop import make_gauges, open_ticket
from tests.inspections.test_publishing import DEMONSTRATION


def metal(size: tuple[int, int] = (800, 600), kind: str = "JPEG", **save: Any) -> bytes:
    """A drawn stand-in for a photograph of a wheel: grey, a bore, a dark chip in the upper right quarter."""
    picture = Image.new("RGB", size, (150, 146, 138))
    draw = ImageDraw.Draw(picture)
    wide, high = size
    draw.ellipse((wide * 0.2, high * 0.1, wide * 0.8, high * 0.9), fill=(188, 184, 176), outline=(60, 60, 60))
    draw.ellipse((wide * 0.42, high * 0.38, wide * 0.58, high * 0.62), fill=(40, 40, 42))
    draw.rectangle((wide * 0.66, high * 0.2, wide * 0.72, high * 0.28), fill=(20, 18, 16))
    out = BytesIO()
    picture.save(out, kind, **save)
    return out.getvalue()


def upload(data: bytes | None = None, name: str = "wheel.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, metal() if data is None else data, content_type="image/jpeg")


def photograph(held: Examination, by: Actor, check: str, **more: Any) -> Photograph:
    """Keep one photograph of a check."""
    fixed: UUID = more.pop("id", None) or uuid4()
    data = more.pop("data", None)
    row, _new = record_photograph(examination=held, id=fixed, check=check, upload=upload(data), by=by, **more)
    return row


def complain(held: Examination, *codes: str) -> None:
    assert held.ticket is not None
    for code in codes:
        complaint = Complaint.objects.get(family=held.revision.family, code=code)
        TicketComplaint.objects.create(ticket=held.ticket, complaint=complaint)


def demonstration(cast: Cast, number: int = 2401) -> Examination:
    """The demonstration's lorry gearbox, stripped, with two gauges and nothing read."""
    publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    make_gauges()
    ticket = open_ticket(number, family="H4")
    return open_examination(ticket=ticket, by=cast.actor("technician"), missing=["RING3"])


def read_everything_good(held: Examination, by: Actor, *, but: tuple[str, ...] = ()) -> None:
    """Every check of the unit that takes a reading, in the middle of its limits, with the fine gauge."""
    guide = guide_of(held.revision)
    variant = held.ticket.variant.code if held.ticket else ""
    sent = []
    for check in guide.checks_of(variant):
        if check.code in but or check.kind in {"stack", "replaced"}:
            continue
        for place in check.places or ("",):
            text, gauge, warm = _good(guide, check, variant)
            sent.append(
                SentReading(uuid4(), check.code, text, gauge=gauge, part_temperature=warm, place=place)
            )
    results = record_readings(examination=held, readings=sent, by=by)
    wrong = [(one.problem, sent[n].check) for n, one in enumerate(results) if one.status != "recorded"]
    missing = {one.tag for one in _missing(held)}
    assert [one for one in wrong if not any(tag in one[0] for tag in missing)] == []


def _missing(held: Examination) -> Any:
    from inspections.readings.findings import pieces_of

    return pieces_of(held).filter(missing=True)


def _good(guide: GuideIndex, check: Check, variant: str) -> tuple[str, str, str]:
    """Text, gauge and part temperature of a reading that is as it should be."""
    if check.kind in {"identify", "count"}:
        return check.expects(variant), "", ""
    if check.kind != "measure":
        return (f"{_middle(check):.4f} mm", "B1", "") if check.takes_quantity else ("sound", "", "")
    limit = guide.feature[check.feature].limits[0]
    text = f"{(limit.new_min_mm + limit.new_max_mm) / 2:.4f} mm"
    return text, "B1", "20 °C" if check.warm else ""


def _middle(check: Check) -> float:
    low = check.lower_mm or 0.0
    return (low + (check.upper_mm or low + 0.2)) / 2


def overdue(code: str = "T2") -> None:
    Gauge.objects.filter(code=code).update(due_on=date(2020, 1, 31))
