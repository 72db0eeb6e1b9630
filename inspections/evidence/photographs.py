"""Photographs at the bench and the places marked on them: written once, never edited.

1. Is the id known? The same content is the same photograph; another content is refused.
2. Which check, which piece? Then the upload is decoded and written anew, outside the transaction.
3. Lock the examination, keep the file and the row, raise the counter.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from uuid import UUID

from django.core.files.base import File
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet

from inspections.bench.blind import Sight
from inspections.document import Check
from inspections.evidence.zones import grid_of
from inspections.guiding.guides import guide_of
from inspections.models import Examination, Photograph, PhotographEnd, PhotographMark
from inspections.readings.examining import need_readable
from inspections.readings.findings import Examined, pieces_of, variant_of
from inspections.readings.writing import OTHER_CONTENT, locked, note_line, one_line, raise_counter, refuse
from inventory.models import Piece
from shop import clock
from shop.access import Actor
from shop.documents import keep_file
from shop.models import Document
from shop.once import digest
from shop.photographs import Picture, rewrite, thumbnail_key
from shop.refusals import Refusal

MOST_MARKS = 60
NEVER_READ = {"stack", "replaced"}  # nobody is blind where nothing is read
# A photograph may wait in a tablet for days; a device ahead of us, or months behind, has a wrong clock.
AHEAD, BEHIND = timedelta(minutes=10), timedelta(days=60)


def photographs_of(examination: Examination) -> QuerySet[Photograph]:
    """All of the examination's, in the order in which they came in, with what a page says of them."""
    rows: QuerySet[Photograph] = (
        Photograph.objects.filter(examination=examination)
        .select_related("piece", "person", "end")
        .order_by("sequence")
    )
    return rows


def marks_of(photograph: Photograph) -> list[PhotographMark]:
    """The marks that stand, by number. Asked of what was fetched with its marks, it asks no more."""
    rows = list(photograph.marks.all())
    gone = {one.withdraws_id for one in rows if one.withdraws_id}
    return sorted(
        (one for one in rows if one.withdraws_id is None and one.pk not in gone), key=lambda one: one.number
    )


def is_clock_off(photograph: Photograph) -> bool:
    """Did the device's clock say something that cannot be?"""
    late = photograph.received_at - photograph.taken_at
    return late < -AHEAD or late > BEHIND


def sees(sight: Sight, whole: Examined, by: Actor, row: Photograph) -> bool:
    """May this person see the photograph? One that still has to read the check is blind to others' pictures
    of it, as to others' readings."""
    check = whole.judgement.guide.check.get(row.check_code)
    if sight.sees_all or row.person_id == by.person.pk or check is None or check.kind in NEVER_READ:
        return True
    tag = row.piece.tag if row.piece else ""
    return any(
        code == row.check_code and (not tag or tag in {key for key, _ in pieces})
        for code, pieces, _place in sight.mine
    )


# --- a photograph


def record_photograph(
    *,
    examination: Examination,
    id: UUID,
    check: str,
    upload: File[bytes] | None,
    by: Actor,
    piece: str = "",
    note: str = "",
    taken_at: datetime | None = None,
    at: datetime | None = None,
) -> tuple[Photograph, bool]:
    """Keep a photograph of a check; with it, whether it is new. The same id and content is the first one.

    Refusal beside ``file``, ``check``, ``piece``, ``note``, ``taken_at`` or ``id``; Conflict when the
    ticket's stage takes no more.
    """
    by.need("record_readings")
    at = at or clock.now()
    about = _check(examination, check)
    if upload is None:
        raise Refusal(file="Choose a photograph, or take one.")
    mark = _digest(examination, check, piece, note, upload, by)
    if known := _known(id, mark):
        return known, False
    note = one_line("note", note, 200)
    taken = _taken(taken_at, at)
    need_readable(examination)
    of = _piece(examination, about, piece)
    picture = rewrite(upload, "file")
    try:
        return _keep(examination, id, mark, about, of, note, picture, taken, by, at)
    except IntegrityError:  # the same id came for another examination at the same moment
        raise Refusal(id=OTHER_CONTENT) from None


def _keep(
    examination: Examination,
    id: UUID,
    mark: str,
    about: Check,
    of: Piece | None,
    note: str,
    picture: Picture,
    taken: datetime,
    by: Actor,
    at: datetime,
) -> tuple[Photograph, bool]:
    with transaction.atomic():
        examination = locked(examination)
        if known := _known(id, mark):
            return known, False
        need_readable(examination)
        document = keep_file(
            ticket=examination.ticket,
            kind="bench photograph",
            title=_title(about, of, note),
            suffix=".jpg",
            content_type="image/jpeg",
            data=picture.data,
            key=f"photograph:{id}",
            by=by,
            at=at,
        )
        row = Photograph.objects.create(
            id=id,
            examination=examination,
            sequence=raise_counter(examination),
            check_code=about.code,
            position_code=about.position,
            piece=of,
            condition=of.condition if of else 1,
            note=note,
            document=document,
            width_px=picture.width,
            height_px=picture.height,
            person=by.person,
            taken_at=taken,
            received_at=at,
            digest=mark,
        )
        note_line(by=by, deed="photographed", thing=row, held=examination, at=at, check=about.code)
    return row, True


def _check(examination: Examination, code: str) -> Check:
    guide = guide_of(examination.revision)
    found = next((one for one in guide.checks_of(variant_of(examination)) if one.code == code), None)
    if found is None:
        raise Refusal(check=f"This unit's guide has no check {code[:40]}.")
    return found


def _piece(examination: Examination, check: Check, tag: str) -> Piece | None:
    here = list(pieces_of(examination).filter(position__code=check.position))
    if tag:
        found = next((one for one in here if one.tag == tag), None)
        if found is None:
            raise Refusal(piece=f"There is no piece {tag[:20]} in this position.")
        return found
    if len(here) > 1:
        raise Refusal(piece=f"Say which piece: {', '.join(one.tag for one in here)}.")
    return here[0] if here else None


def _digest(
    examination: Examination, check: str, piece: str, note: str, upload: File[bytes], by: Actor
) -> str:
    """Of what was sent. The time is left out: a page that is sent again says none, or another one."""
    upload.seek(0)
    content = hashlib.sha256()
    for chunk in upload.chunks():
        content.update(chunk)
    said = {"check": check, "piece": piece, "note": note.strip(), "person": by.person.pk}
    return digest(said | {"examination": examination.pk, "file": content.hexdigest()})


def _known(id: UUID, mark: str) -> Photograph | None:
    known = Photograph.objects.select_related("piece", "person").filter(pk=id).first()
    if known is not None and known.digest != mark:
        raise Refusal(id=OTHER_CONTENT)
    return known


def _taken(taken_at: datetime | None, at: datetime) -> datetime:
    """The device's time: kept as it says, flagged where it cannot be, never used for order."""
    if taken_at is None:
        return at
    if taken_at.tzinfo is None:
        raise Refusal(taken_at="Say the zone of the time, such as 2026-11-25T09:30:00+00:00.")
    try:
        return taken_at.astimezone(UTC)
    except OverflowError:
        raise Refusal(taken_at="No clock says that. Set the clock of the device.") from None


def _title(check: Check, piece: Piece | None, note: str) -> str:
    tag = f", {piece.tag}" if piece else ""
    return f"{check.title}{tag}{': ' if note else ''}{note}"[:120]


def take_back_photograph(
    *, photograph: Photograph, reason: str, by: Actor, at: datetime | None = None
) -> PhotographEnd:
    """One's own, or any as a lead: it stays on record and is shown no more. Twice is once."""
    by.need("record_readings")
    at = at or clock.now()
    if photograph.person_id != by.person.pk and not by.person.is_lead:
        raise Refusal("That is another person's photograph. A lead can take it back.")
    reason = one_line("reason", reason, 200) or refuse("reason", "Say why the photograph is taken back.")
    with transaction.atomic():
        examination = locked(photograph.examination)
        if known := PhotographEnd.objects.filter(photograph=photograph).first():
            return known
        need_readable(examination)
        end = PhotographEnd.objects.create(photograph=photograph, reason=reason, person=by.person, at=at)
        raise_counter(examination)
        note_line(by=by, deed="took back", thing=photograph, held=examination, at=at)
    return end


# --- places marked on it


def mark_place(
    *,
    photograph: Photograph,
    id: UUID,
    across: float,
    down: float,
    words: str,
    by: Actor,
    at: datetime | None = None,
) -> PhotographMark:
    """Mark a place (shares of width and height, from the upper left corner) with the next number.

    Refusal beside ``words``, ``place`` or ``id``. The same id with the same content is the first mark.
    """
    by.need("record_readings")
    at = at or clock.now()
    words = one_line("words", words, 200) or refuse("words", "Say in words what is there.")
    if not (0 <= across <= 1 and 0 <= down <= 1):
        raise Refusal(place="That place is not on the picture.")
    try:
        return _mark(photograph, id, across, down, words, by, at)
    except IntegrityError:
        raise Refusal(id=OTHER_CONTENT) from None


def _mark(
    photograph: Photograph, id: UUID, across: float, down: float, words: str, by: Actor, at: datetime
) -> PhotographMark:
    with transaction.atomic():
        examination = locked(photograph.examination)
        if known := PhotographMark.objects.filter(pk=id).first():
            same = known.photograph_id == photograph.pk and known.person_id == by.person.pk
            if not same or (known.words, known.across, known.down) != (words, across, down):
                raise Refusal(id=OTHER_CONTENT)
            return known
        _open(photograph, examination)
        numbers = photograph.marks.filter(withdraws__isnull=True).values_list("number", flat=True)
        number = max(numbers, default=0) + 1
        if number > MOST_MARKS:
            raise Refusal(f"A photograph takes {MOST_MARKS} marks. Take another one, closer.")
        mark = PhotographMark.objects.create(
            id=id,
            photograph=photograph,
            number=number,
            across=across,
            down=down,
            words=words,
            person=by.person,
            at=at,
        )
        raise_counter(examination)
        note_line(by=by, deed="marked", thing=photograph, held=examination, at=at, number=number)
    return mark


def mark_zone(
    *, photograph: Photograph, id: UUID, zone: str, words: str, by: Actor, at: datetime | None = None
) -> PhotographMark:
    """Mark the middle of a zone, such as ``C4``. Refusal beside ``zone`` for one that is not on its frame."""
    grid = grid_of(photograph.width_px, photograph.height_px)
    place = grid.middle(zone)
    if place is None:
        raise Refusal(zone=f"Say the zone as on the frame, such as {grid.zone(0.4, 0.4)}: A1 to {grid.last}.")
    return mark_place(photograph=photograph, id=id, across=place[0], down=place[1], words=words, by=by, at=at)


def withdraw_mark(
    *, mark: PhotographMark, id: UUID, reason: str, by: Actor, at: datetime | None = None
) -> PhotographMark:
    """Withdraw one's own mark, or any as a lead, by another row with the reason. Twice is once."""
    by.need("record_readings")
    at = at or clock.now()
    if mark.withdraws_id is not None:
        raise Refusal("That line only withdraws a mark.")
    if mark.person_id != by.person.pk and not by.person.is_lead:
        raise Refusal("That is another person's mark. A lead can withdraw it.")
    reason = one_line("reason", reason, 200) or refuse("reason", "Say why the mark is withdrawn.")
    try:
        with transaction.atomic():
            examination = locked(mark.photograph.examination)
            if known := PhotographMark.objects.filter(withdraws=mark).first():
                return known
            _open(mark.photograph, examination)
            row = PhotographMark.objects.create(
                id=id,
                photograph=mark.photograph,
                number=mark.number,
                words=reason,
                person=by.person,
                at=at,
                withdraws=mark,
            )
            raise_counter(examination)
            note_line(
                by=by,
                deed="withdrew mark",
                thing=mark.photograph,
                held=examination,
                at=at,
                number=mark.number,
            )
    except IntegrityError:
        raise Refusal(id=OTHER_CONTENT) from None
    return row


def _open(photograph: Photograph, examination: Examination) -> None:
    need_readable(examination)
    if PhotographEnd.objects.filter(photograph=photograph).exists():
        raise Refusal("This photograph was taken back: nothing is marked on it now.")


def small_of(photograph: Photograph) -> Document:
    """The thumbnail; until the worker has made it, the whole picture."""
    key = thumbnail_key(str(photograph.document_id))
    rows = {
        one.key: one for one in Document.objects.filter(Q(key=key) | Q(pk=photograph.document_id)).iterator()
    }
    return rows.get(key) or photograph.document
