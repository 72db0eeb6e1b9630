"""Photographs at the bench: once, bounded, private, blind where readings are, and marked in place."""

from __future__ import annotations

import zlib
from datetime import UTC, datetime, timedelta
from io import BytesIO
from threading import Barrier, Thread
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from PIL import Image

from inspections.bench.blind import sight_of
from inspections.evidence.photograph_pages import shots_of, shots_of_check
from inspections.evidence.photographs import (
    is_clock_off,
    mark_place,
    mark_zone,
    marks_of,
    record_photograph,
    small_of,
    take_back_photograph,
    withdraw_mark,
)
from inspections.evidence.zones import Grid, grid_of, marks_drawing
from inspections.models import Examination, Photograph, PhotographMark
from inspections.readings.findings import examined
from shop import outbox
from shop.documents import path_of
from shop.models import Audit, Document, Ticket
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast, is_postgresql
from tests.inspections.evidence import metal, photograph, upload
from tests.inspections.shop import say, strip_unit, tag_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


def refused(held: Examination, cast: Cast, **more: Any) -> Refusal:
    sent: dict[str, Any] = {"id": uuid4(), "check": "LOOK", "upload": upload()} | more
    with pytest.raises(Refusal) as trouble:
        record_photograph(examination=held, by=cast.actor("technician"), **sent)
    return trouble.value


# --- kept once


def test_a_photograph_is_kept_with_its_check_and_piece(bench: Examination, cast: Cast) -> None:
    tag = tag_in(bench, "CASE")
    row = photograph(bench, cast.actor("technician"), "LOOK", note="lug, from behind")
    assert row.piece is not None
    assert (row.check_code, row.position_code, row.piece.tag) == ("LOOK", "CASE", tag)
    assert (row.width_px, row.height_px) == (800, 600)
    assert row.document.ticket == bench.ticket
    assert row.document.kind == "bench photograph"
    bench.refresh_from_db()
    assert bench.counter == row.sequence == 1
    line = Audit.objects.get(deed="photographed")
    assert line.ticket_number == 2401


def test_sending_it_again_is_harmless(bench: Examination, cast: Cast) -> None:
    by, id = cast.actor("technician"), uuid4()
    sent: dict[str, Any] = {"examination": bench, "id": id, "check": "LOOK", "note": "lug", "by": by}
    first, new = record_photograph(upload=upload(), **sent)
    again, newer = record_photograph(upload=upload(), **sent)
    assert (new, newer) == (True, False)
    assert first.pk == again.pk
    assert Photograph.objects.count() == Document.objects.filter(kind="bench photograph").count() == 1
    bench.refresh_from_db()
    assert bench.counter == 1


@pytest.mark.parametrize("other", [{"note": "another"}, {"check": "BORE"}, {"data": metal((90, 60))}])
def test_a_known_id_with_other_content_is_refused(
    bench: Examination, cast: Cast, other: dict[str, Any]
) -> None:
    by, id = cast.actor("technician"), uuid4()
    photograph(bench, by, "LOOK", id=id, note="lug")
    sent: dict[str, Any] = {"check": "LOOK", "note": "lug", "id": id} | other
    with pytest.raises(Refusal) as trouble:
        photograph(bench, by, **sent)
    assert set(trouble.value.errors) == {"id"}


@pytest.mark.django_db(transaction=True)
def test_the_same_one_sent_ten_times_at_once_is_one(cast: Cast) -> None:
    if not is_postgresql() and ":memory:" in str(connection.settings_dict["NAME"]):
        pytest.skip("threads need a database that they share")
    held, id, start = strip_unit(cast.actor("technician")), uuid4(), Barrier(10)
    answers: list[bool] = []

    def send() -> None:
        start.wait(timeout=60)
        _row, new = record_photograph(
            examination=held, id=id, check="LOOK", upload=upload(), by=cast.actor("technician")
        )
        answers.append(new)
        connection.close()

    threads = [Thread(target=send) for _ in range(10)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=120)
    assert sorted(answers) == [False] * 9 + [True]
    assert Photograph.objects.count() == 1
    held.refresh_from_db()
    assert held.counter == 1


def test_the_devices_clock_is_kept_flagged_and_orders_nothing(bench: Examination, cast: Cast) -> None:
    by, at = cast.actor("technician"), datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    early = photograph(bench, by, "LOOK", taken_at=at + timedelta(days=900), at=at)
    late = photograph(bench, by, "LOOK", taken_at=at - timedelta(hours=5), at=at + timedelta(minutes=1))
    assert early.taken_at == at + timedelta(days=900)
    assert (is_clock_off(early), is_clock_off(late)) == (True, False)
    assert [one.pk for one in Photograph.objects.all()] == [early.pk, late.pk]


@pytest.mark.parametrize("taken", [datetime(2026, 1, 1), datetime.max.replace(tzinfo=UTC)])  # noqa: DTZ001
def test_a_time_that_cannot_be_placed_is_refused_or_kept(
    bench: Examination, cast: Cast, taken: datetime
) -> None:
    if taken.tzinfo is None:
        assert set(refused(bench, cast, taken_at=taken).errors) == {"taken_at"}
    else:
        assert is_clock_off(photograph(bench, cast.actor("technician"), "LOOK", taken_at=taken))


# --- bad input


def bomb() -> bytes:
    """A PNG whose header promises 30000 × 30000 pixels (ISO/IEC 15948, 11.2.2) in a few hundred bytes."""
    head = b"IHDR" + (30000).to_bytes(4, "big") * 2 + bytes([8, 2, 0, 0, 0])
    body = b"IDAT" + zlib.compress(b"\0" * 90_000)
    parts = [
        len(one[4:]).to_bytes(4, "big") + one + zlib.crc32(one).to_bytes(4, "big") for one in (head, body)
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts) + b"\0\0\0\0IEND\xaeB`\x82"


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (bomb(), "at most 60 million"),
        (metal()[: len(metal()) // 3], "no picture that can be read"),
        (b"", "no picture that can be read"),
        (SVG, "no picture that can be read"),
        (b"GIF89a" + b"\0" * 60, "no picture that can be read"),
        (b"%PDF-1.7 and no picture", "no picture that can be read"),
        (b"\xff\xd8\xff\xe1\xff\xff" + b"A" * 4000, "no picture that can be read"),
    ],
    ids=["bomb", "cut off", "empty", "svg", "gif", "pdf", "torn"],
)
def test_a_hostile_picture_is_refused_beside_the_file(
    bench: Examination, cast: Cast, data: bytes, words: str
) -> None:
    import weasyprint  # noqa: F401  which lets half a picture pass in the whole process

    trouble = refused(bench, cast, upload=upload(data))
    assert set(trouble.errors) == {"file"}
    assert words in trouble.message
    assert Photograph.objects.count() == Document.objects.count() == 0
    bench.refresh_from_db()
    assert bench.counter == 0


def test_a_file_that_is_too_large_is_refused(bench: Examination, cast: Cast, settings: Any) -> None:
    settings.PHOTOGRAPH_MAX_BYTES = 1024 * 1024
    trouble = refused(bench, cast, upload=upload(b"\xff\xd8" + b"x" * 1024 * 1024))
    assert "larger than 1 MB" in trouble.errors["file"]


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"upload": None}, "file"),
        ({"check": "NONE"}, "check"),
        ({"check": "REMOTE"}, "check"),
        ({"piece": "P-9999"}, "piece"),
        ({"note": "x" * 201}, "note"),
        ({"note": "two\nlines"}, "note"),
    ],
)
def test_what_does_not_belong_is_refused_beside_its_field(
    bench: Examination, cast: Cast, more: dict[str, Any], field: str
) -> None:
    assert set(refused(bench, cast, **more).errors) == {field}


def test_a_piece_of_another_position_is_refused(bench: Examination, cast: Cast) -> None:
    assert "piece" in refused(bench, cast, piece=tag_in(bench, "SHAFT")).errors


def test_a_unit_that_is_together_again_takes_no_photograph(bench: Examination, cast: Cast) -> None:
    Ticket.objects.update(stage="built")
    with pytest.raises(Conflict):
        photograph(bench, cast.actor("technician"), "LOOK")


def test_where_it_was_taken_is_left_behind_and_it_stands_upright(bench: Examination, cast: Cast) -> None:
    """Exif 2.32: 0x0112 orientation 6, a quarter turn; 0x8825 the place; 0x0110 the camera."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x0110] = "Hidden camera"
    exif.get_ifd(0x8825)[2] = (52.0, 12.0, 0.0)
    row = photograph(bench, cast.actor("technician"), "LOOK", data=metal((800, 600), exif=exif))
    kept = path_of(row.document).read_bytes()
    assert b"Hidden" not in kept
    assert b"Exif" not in kept
    with Image.open(BytesIO(kept)) as picture:
        assert picture.size == (row.width_px, row.height_px) == (600, 800)
        # The dark chip, upper right as taken, stands lower right once turned clockwise.
        assert sum(picture.convert("RGB").getpixel((456, 552))) < 120  # type: ignore[arg-type]


def test_the_database_keeps_photographs_and_marks_as_they_are(bench: Examination, cast: Cast) -> None:
    row = photograph(bench, cast.actor("technician"), "LOOK")
    mark = mark_place(
        photograph=row, id=uuid4(), across=0.5, down=0.5, words="crack", by=cast.actor("technician")
    )
    for rows, change in (
        (Photograph.objects.filter(pk=row.pk), {"note": "other"}),
        (PhotographMark.objects.filter(pk=mark.pk), {"words": "other"}),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**change)


# --- the thumbnail


def test_the_worker_makes_the_small_picture(bench: Examination, cast: Cast) -> None:
    row = photograph(bench, cast.actor("technician"), "LOOK")
    assert small_of(row) == row.document
    outbox.run_due()
    small = small_of(row)
    assert (small.kind, small.ticket) == ("bench thumbnail", bench.ticket)
    with Image.open(path_of(small)) as picture:
        assert picture.size == (480, 360)


# --- blind


def test_others_photographs_are_blind_until_one_has_read_the_check(bench: Examination, cast: Cast) -> None:
    photograph(bench, cast.actor("technician"), "LOOK", note="lug cracked here")
    photograph(bench, cast.actor("technician"), "SEALS")

    def seen(name: str, check: str) -> tuple[int, int]:
        whole, by = examined(bench), cast.actor(name)
        sight = sight_of(by, whole.state, whole.records)
        tag = tag_in(bench, "CASE" if check == "LOOK" else "SEAL")
        shots = shots_of_check(bench, whole, sight, by, check, tag)
        return len(shots.seen), shots.hidden

    assert seen("technician", "LOOK") == (1, 0)
    assert seen("second_technician", "LOOK") == (0, 1)
    assert seen("lead", "LOOK") == seen("front_desk", "LOOK") == (1, 0)
    assert seen("second_technician", "SEALS") == (1, 0)  # nothing is read there, so nobody is blind
    bench.refresh_from_db()
    say(bench, cast.actor("second_technician"), "LOOK", "sound")
    bench.refresh_from_db()
    assert seen("second_technician", "LOOK") == (1, 0)


# --- marks


@pytest.fixture
def row(bench: Examination, cast: Cast) -> Photograph:
    return photograph(bench, cast.actor("technician"), "LOOK")


def test_marks_are_numbered_and_a_number_is_never_given_twice(row: Photograph, cast: Cast) -> None:
    by = cast.actor("technician")
    first = mark_place(photograph=row, id=uuid4(), across=0.1, down=0.2, words="crack", by=by)
    withdraw_mark(mark=first, id=uuid4(), reason="a scratch", by=by)
    second = mark_zone(photograph=row, id=uuid4(), zone="c4", words="pit", by=by)
    assert (first.number, second.number) == (1, 2)
    assert (second.across, second.down) == Grid(8, 6).middle("C4")
    fresh = Photograph.objects.prefetch_related("marks").get(pk=row.pk)
    assert [one.number for one in marks_of(fresh)] == [2]
    assert PhotographMark.objects.get(withdraws=first).words == "a scratch"
    row.examination.refresh_from_db()
    assert row.examination.counter == 4


def test_marking_twice_is_once_and_other_content_is_refused(row: Photograph, cast: Cast) -> None:
    by, id = cast.actor("technician"), uuid4()
    sent: dict[str, Any] = {"photograph": row, "id": id, "across": 0.1, "down": 0.2, "by": by}
    assert mark_place(words="crack", **sent) == mark_place(words="crack", **sent)
    assert PhotographMark.objects.count() == 1
    with pytest.raises(Refusal) as trouble:
        mark_place(words="pit", **sent)
    assert set(trouble.value.errors) == {"id"}


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"words": "  "}, "words"),
        ({"words": "x" * 201}, "words"),
        ({"across": 1.01}, "place"),
        ({"down": -0.01}, "place"),
        ({"down": float("nan")}, "place"),
    ],
)
def test_a_mark_that_cannot_be_is_refused(
    row: Photograph, cast: Cast, more: dict[str, Any], field: str
) -> None:
    sent: dict[str, Any] = {"across": 0.5, "down": 0.5, "words": "crack"} | more
    with pytest.raises(Refusal) as trouble:
        mark_place(photograph=row, id=uuid4(), by=cast.actor("technician"), **sent)
    assert set(trouble.value.errors) == {field}


@pytest.mark.parametrize("zone", ["", "I1", "A0", "A9", "G1", "11", "A1B", "Ａ1"])
def test_a_zone_that_is_not_on_the_frame_is_refused_with_one_that_is(
    row: Photograph, cast: Cast, zone: str
) -> None:
    with pytest.raises(Refusal) as trouble:
        mark_zone(photograph=row, id=uuid4(), zone=zone, words="pit", by=cast.actor("technician"))
    assert "A1 to F8" in trouble.value.errors["zone"]


def test_one_withdraws_ones_own_and_a_lead_withdraws_any(row: Photograph, cast: Cast) -> None:
    mark = mark_place(
        photograph=row, id=uuid4(), across=0.1, down=0.2, words="crack", by=cast.actor("technician")
    )
    with pytest.raises(Refusal, match="another person's mark"):
        withdraw_mark(mark=mark, id=uuid4(), reason="no", by=cast.actor("second_technician"))
    with pytest.raises(Refusal) as trouble:
        withdraw_mark(mark=mark, id=uuid4(), reason=" ", by=cast.actor("lead"))
    assert set(trouble.value.errors) == {"reason"}
    gone = withdraw_mark(mark=mark, id=uuid4(), reason="a scratch", by=cast.actor("lead"))
    assert withdraw_mark(mark=mark, id=uuid4(), reason="again", by=cast.actor("lead")) == gone


def test_a_photograph_is_taken_back_and_stays_on_record(row: Photograph, cast: Cast) -> None:
    held = row.examination
    with pytest.raises(Refusal, match="another person's"):
        take_back_photograph(photograph=row, reason="wrong piece", by=cast.actor("second_technician"))
    end = take_back_photograph(photograph=row, reason="wrong piece", by=cast.actor("technician"))
    assert take_back_photograph(photograph=row, reason="again", by=cast.actor("technician")) == end
    whole, by = examined(held), cast.actor("lead")
    sight = sight_of(by, whole.state, whole.records)
    assert shots_of_check(held, whole, sight, by, "LOOK", tag_in(held, "CASE")).seen == []
    listed = shots_of(held, whole, sight, by).seen
    assert [one.end for one in listed] == [end]
    with pytest.raises(Refusal, match="taken back"):
        mark_place(photograph=row, id=uuid4(), across=0, down=0, words="x", by=by)


# --- the frame and the balloons


@pytest.mark.parametrize("size", [(800, 600), (600, 800), (4000, 10), (7, 3000), (1, 1)])
def test_every_zone_has_a_middle_that_lies_in_it(size: tuple[int, int]) -> None:
    grid = grid_of(*size)
    zones = {f"{letter}{number}" for letter in grid.letters for number in grid.numbers}
    for zone in zones:
        middle = grid.middle(zone)
        assert middle is not None
        assert grid.zone(*middle) == zone
    assert {"I", "O"}.isdisjoint(grid.letters)


def test_balloons_keep_clear_of_each_other_and_stay_on_the_picture() -> None:
    import re

    marks = [("1", 0.69, 0.24), ("2", 0.58, 0.39), ("3", 0.99, 0.01), ("4", 0.0, 1.0)]
    drawn = marks_drawing(800, 600, marks)
    found = re.findall(r'<g class="balloon"><circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"', drawn)
    balloons = [(float(x), float(y), float(r)) for x, y, r in found]
    assert len(balloons) == 4
    for n, (x, y, r) in enumerate(balloons):
        assert r <= x <= 1000 - r
        assert r <= y <= 750 - r
        for other_x, other_y, other_r in balloons[:n]:
            assert ((x - other_x) ** 2 + (y - other_y) ** 2) ** 0.5 > r + other_r
        for _, across, down in marks:
            assert ((x - across * 1000) ** 2 + (y - down * 750) ** 2) ** 0.5 > r
    assert 'aria-label="Marked: 1 in zone B6; 2 in zone C5; 3 in zone A8; 4 in zone F1"' in drawn
