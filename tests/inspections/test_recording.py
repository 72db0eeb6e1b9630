"""Stripping a unit, recording readings, withdrawing them, disputes, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta, timezone
from threading import Barrier
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from inspections.gauging.gauges import add_gauge
from inspections.guiding.guides import guide_of, publish_guide
from inspections.guiding.laying import bonds_by_position
from inspections.models import Examination, Gauge, Reading, ReadingPiece
from inspections.readings.examining import finish_examination, mark_missing, open_examination
from inspections.readings.findings import disputes_of, examinations, judgement_of, next_open_check
from inspections.readings.recording import MOST_READINGS, SentReading, record_readings
from inventory.models import Measure, Piece
from inventory.pieces import end_condition
from shop import clock
from shop.access import PROGRAM, Actor, Denied, NotThere, actor_for
from shop.models import Audit, Ticket
from shop.refusals import Conflict, Refusal
from shop.stages import move_ticket
from tests.conftest import Cast
from tests.inspections.shop import make_gauges, open_ticket, read, read_all, say, strip_unit, tag_in
from tests.inspections.small import SMALL
from tests.inspections.test_publishing import DEMONSTRATION

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(cast: Cast) -> Actor:
    return cast.actor("technician")


@pytest.fixture
def bench(technician: Actor) -> Examination:
    return strip_unit(technician)


def fresh(examination: Examination) -> Examination:
    return examinations().get(pk=examination.pk)


# stripping


def test_stripping_lays_out_the_variants_pieces(bench: Examination) -> None:
    pieces = Piece.objects.filter(source__ticket=bench.ticket)
    assert {one.position.code for one in pieces} == {"CASE", "SHAFT", "SEAL"}
    assert {one.state for one in pieces} == {"tray"}
    assert bench.ticket is not None
    bench.ticket.refresh_from_db()
    assert bench.ticket.stage == "stripped"


def test_stripping_twice_is_stripping_once(bench: Examination, technician: Actor) -> None:
    assert bench.ticket is not None
    assert open_examination(ticket=bench.ticket, by=technician) == bench
    assert Piece.objects.count() == 3


def test_what_was_missing_is_said_when_stripping(technician: Actor) -> None:
    bench = strip_unit(technician, missing=["SEAL"])
    assert Piece.objects.get(position__code="SEAL").missing
    assert judgement_of(fresh(bench)).status["CASE"] == "open"


def test_a_missing_position_has_to_exist(technician: Actor) -> None:
    with pytest.raises(Refusal, match="has no position LID"):
        strip_unit(technician, missing=["LID"])
    assert Examination.objects.count() == 0
    assert Piece.objects.count() == 0


def test_only_the_bench_strips(cast: Cast) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    ticket = open_ticket()
    for name in ("front_desk", "stores", "manager"):
        with pytest.raises(Denied):
            open_examination(ticket=ticket, by=cast.actor(name))


def test_a_ticket_that_is_further_on_cannot_be_stripped(technician: Actor) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    ticket = open_ticket()
    Ticket.objects.filter(pk=ticket.pk).update(stage="abandoned")
    with pytest.raises(Conflict, match="abandoned cannot be stripped"):
        open_examination(ticket=ticket, by=technician)


def test_bonds_that_share_a_position_are_one_set(technician: Actor) -> None:
    """The cluster ran with three wheels; the needle rollers are bound by themselves."""
    revision = publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    open_examination(ticket=open_ticket(family="H4"), by=technician)
    cluster = Piece.objects.get(position__code="CLUS")
    assert cluster.bound_in is not None
    assert cluster.bound_in.kind == "should"
    bound = {one.position.code for one in Piece.objects.filter(bound_in=cluster.bound_in)}
    assert bound == {"CLUS", "W3M", "W2M", "INSH"}
    found = bonds_by_position(guide_of(revision).guide.bonds, ["NDLF", "CLUS", "W2M"])
    assert found["NDLF"][1] == "must"
    assert found["CLUS"] == found["W2M"]


# recording


def test_what_was_typed_is_kept_beside_the_canonical_value(bench: Examination, technician: Actor) -> None:
    at = clock.now()
    assert read(bench, technician, "BORE", " 1.0240 in ", part_temperature="21 °C").status == "recorded"
    row = Reading.objects.get()
    assert (row.text, row.unit) == (" 1.0240 in ", "in")
    # 1.0240 in × 25.4 mm/in = 26.0096 mm (the inch is exactly 25.4 mm); one step of 0.0001 in = 2.54 µm
    assert row.value_mm == pytest.approx(26.0096, abs=1e-9)
    assert row.resolution_um == pytest.approx(2.54)
    assert row.part_temperature_c == 21.0
    assert row.gauge is not None
    assert row.gauge.code == "B1"
    assert (row.position_code, row.sequence, row.as_lead) == ("CASE", 1, False)
    assert row.received_at >= at
    piece = ReadingPiece.objects.get()
    assert (piece.piece.tag, piece.condition) == (tag_in(bench, "CASE"), 1)


def test_a_bare_number_is_mm_unless_the_sender_says_otherwise(bench: Examination, technician: Actor) -> None:
    read(bench, technician, "BORE", "26.010")
    read(bench, technician, "BORE", "1.0240", default_unit="in")
    assert [one.unit for one in Reading.objects.all()] == ["mm", "in"]
    assert Reading.objects.get(sequence=2).value_mm == pytest.approx(26.0096)


def test_the_persons_own_decimal_mark_is_read(bench: Examination, cast: Cast) -> None:
    cast.technician.decimal_mark = ","
    cast.technician.save()
    assert read(bench, actor_for(cast.technician), "BORE", "26,010 mm").status == "recorded"
    assert Reading.objects.get().value_mm == 26.01


def test_sending_twice_is_one_reading(bench: Examination, technician: Actor) -> None:
    sent = SentReading(id=uuid4(), check="BORE", text="26.010 mm", gauge="B1")
    for status in ("recorded", "already recorded"):
        results = record_readings(examination=bench, readings=[sent], by=technician)
        assert [one.status for one in results] == [status]
    both = record_readings(examination=bench, readings=[sent, sent], by=technician)
    assert [one.status for one in both] == ["already recorded"] * 2
    assert Reading.objects.count() == 1
    assert fresh(bench).counter == 1


def test_a_known_id_with_other_content_is_refused(bench: Examination, technician: Actor, cast: Cast) -> None:
    key = uuid4()
    read(bench, technician, "BORE", "26.010 mm", id=key)
    for by, text in ((technician, "26.011 mm"), (cast.actor("second_technician"), "26.010 mm")):
        result = read(bench, by, "BORE", text, id=key)
        assert (result.status, result.field) == ("refused", "id")
        assert "another content" in result.problem
    assert Reading.objects.get().text == "26.010 mm"


def test_a_known_id_of_another_unit_is_refused(bench: Examination, technician: Actor) -> None:
    key = uuid4()
    other = open_examination(ticket=open_ticket(2402), by=technician)
    read(bench, technician, "BORE", "26.010 mm", id=key)
    result = read(other, technician, "BORE", "26.010 mm", id=key)
    assert (result.status, result.field) == ("refused", "id")


def test_each_reading_is_answered_on_its_own(bench: Examination, technician: Actor) -> None:
    texts = ("26.010 mm", "twenty-six", "26.011 mm")
    sent = [SentReading(id=uuid4(), check="BORE", text=one, gauge="B1") for one in texts]
    results = record_readings(examination=bench, readings=sent, by=technician)
    assert [one.status for one in results] == ["recorded", "refused", "recorded"]
    assert [one.id for one in results] == [one.id for one in sent]
    assert [one.sequence for one in Reading.objects.all()] == [1, 2]
    assert fresh(bench).counter == 2
    assert Audit.objects.get(deed="read").facts == {"readings": 2}


REFUSED = [
    ("check", "NOSUCH", "1", {}, "no check NOSUCH"),
    ("check", "MATE", "0.02 mm", {}, "worked out from its parts"),
    ("check", "SEALS", "sound", {}, "replaced always"),
    ("gauge", "BORE", "26.010 mm", {"gauge": ""}, "Say which gauge"),
    ("gauge", "BORE", "26.010 mm", {"gauge": "Z9"}, "no gauge Z9 in use"),
    ("place", "WIDTH", "100.05 mm", {}, "left, right"),
    ("place", "WIDTH", "100.05 mm", {"place": "top"}, "left, right"),
    ("place", "BORE", "26.010 mm", {"place": "top"}, "names no places"),
    ("piece", "BORE", "26.010 mm", {"piece": "P-9999"}, "no piece P-9999"),
    ("text", "BORE", "26,010 mm", {}, "could mean"),
    ("text", "BORE", "26.010 kg", {}, "not a unit of length"),
    ("text", "BORE", "-26.010 mm", {}, "above 0"),
    ("text", "BORE", "", {}, "Nothing was typed"),
    ("text", "BORE", "1" * 61, {}, "At most 60"),
    ("text", "ID", "X1\x00101", {}, "control characters"),
    ("text", "LOOK", "wobbly", {}, "CRACK, GONE, RUST"),
    ("text", "TEETH", "17.5", {}, "whole number"),
    ("text", "TEETH", "eighteen", {}, "does not start with a number"),
    ("part_temperature", "BORE", "26.010 mm", {"part_temperature": "200 °C"}, "between -30 and 150"),
    ("part_temperature", "BORE", "26.010 mm", {"part_temperature": "warm"}, "does not start with a number"),
    ("note", "BORE", "26.010 mm", {"note": "x" * 201}, "At most 200"),
    ("taken_at", "BORE", "26.010 mm", {"taken_at": datetime(2026, 11, 25)}, "zone"),  # noqa: DTZ001
    (
        "taken_at",
        "BORE",
        "26.010 mm",
        {"taken_at": datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=5)))},
        "no calendar",
    ),
]


@pytest.mark.parametrize(("field", "check", "text", "more", "words"), REFUSED)
def test_bad_input_is_refused_in_words_and_nothing_is_kept(
    *,
    bench: Examination,
    technician: Actor,
    field: str,
    check: str,
    text: str,
    more: dict[str, Any],
    words: str,
) -> None:
    result = read(bench, technician, check, text, **more)
    assert (result.status, result.field) == ("refused", field)
    assert words in result.problem
    assert Reading.objects.count() == 0
    assert fresh(bench).counter == 0


def test_a_check_of_the_other_variant_is_refused(technician: Actor) -> None:
    text = SMALL + '\n[[check]]\ncode = "LIDID"\nposition = "LID"\nkind = "identify"\ntitle = "Lid"\n'
    bench = strip_unit(technician, text=text + 'expected = { "*" = "X1-9" }\n')
    result = say(bench, technician, "LIDID", "X1-9")
    assert "not on this variant" in result.problem


def test_a_reading_for_another_tickets_piece_is_refused(bench: Examination, technician: Actor) -> None:
    other = open_examination(ticket=open_ticket(2402), by=technician)
    result = read(bench, technician, "BORE", "26.010 mm", piece=tag_in(other, "CASE"))
    assert (result.status, result.field) == ("refused", "piece")
    result = read(bench, technician, "BORE", "26.010 mm", piece=tag_in(bench, "SHAFT"))
    assert "is a Shaft" in result.problem


def test_a_gauge_that_is_too_coarse_is_refused_with_those_that_are_fine(technician: Actor) -> None:
    text = SMALL.replace('feature = "CASE.B"\n\n[[check]]', 'feature = "CASE.B"\ngauge_um = 6.0\n\n[[check]]')
    bench = strip_unit(technician, text=text)
    result = read(bench, technician, "BORE", "26.010 mm", gauge="T2")
    assert (result.status, result.field) == ("refused", "gauge")
    assert "± 12 µm" in result.problem
    assert "± 6 µm" in result.problem
    assert "Fine enough: B1." in result.problem


def test_a_thread_takes_a_designation_a_defect_or_sound(bench: Examination, technician: Actor) -> None:
    for text in ("sound", "stripped", "M10x1.5"):
        assert say(bench, technician, "THREAD", text).status == "recorded"
    assert [one.outcome for one in Reading.objects.all()] == ["sound", "STRIPPED", "M10x1.5"]
    assert say(bench, technician, "THREAD", "loose").status == "refused"


def test_too_many_at_once_are_refused_whole(bench: Examination, technician: Actor) -> None:
    sent = [SentReading(id=uuid4(), check="LOOK", text="sound")] * (MOST_READINGS + 1)
    with pytest.raises(Refusal, match="at most 500"):
        record_readings(examination=bench, readings=sent, by=technician)


def test_who_may_record(bench: Examination, cast: Cast) -> None:
    for name in ("front_desk", "stores", "manager"):
        with pytest.raises(Denied):
            say(bench, cast.actor(name), "LOOK", "sound")
    with pytest.raises(NotThere):
        say(bench, actor_for(cast.supplier), "LOOK", "sound")
    for name in ("technician", "second_technician", "lead", "owner"):
        assert say(bench, cast.actor(name), "LOOK", "sound").status == "recorded"
    assert [one.as_lead for one in Reading.objects.all()] == [False, False, True, False]


def test_nothing_is_read_once_the_unit_is_together(bench: Examination, technician: Actor) -> None:
    Ticket.objects.update(stage="built")
    with pytest.raises(Conflict, match="nothing is read now"):
        say(bench, technician, "LOOK", "sound")


def test_readings_are_never_edited(bench: Examination, technician: Actor) -> None:
    say(bench, technician, "LOOK", "sound")
    for spoil in (
        lambda: Reading.objects.update(text="CRACK"),
        lambda: Reading.objects.all().delete(),
        lambda: ReadingPiece.objects.update(condition=2),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            spoil()
    assert Reading.objects.get().text == "sound"


# withdrawing


def test_a_correction_withdraws_with_a_reason(bench: Examination, technician: Actor) -> None:
    wrong = read(bench, technician, "BORE", "62.010 mm").id
    result = read(bench, technician, "BORE", "26.010 mm", withdraws=wrong, reason="digits turned round")
    assert result.status == "recorded"
    finding = judgement_of(fresh(bench)).finding["BORE", tag_in(bench, "CASE")]
    assert finding.state == "within"
    assert finding.superseded == (str(wrong),)


def test_withdrawing_alone_opens_the_check_again(bench: Examination, technician: Actor) -> None:
    wrong = read(bench, technician, "BORE", "26.010 mm").id
    assert Measure.objects.count() == 1
    assert say(bench, technician, "BORE", "", withdraws=wrong, reason="wrong casing").status == "recorded"
    assert judgement_of(fresh(bench)).finding["BORE", tag_in(bench, "CASE")].state == "not examined"
    assert Measure.objects.count() == 0
    assert Reading.objects.count() == 2


def test_withdrawing_needs_a_reason_and_happens_once(bench: Examination, technician: Actor) -> None:
    wrong = say(bench, technician, "LOOK", "CRACK").id
    assert say(bench, technician, "LOOK", "", withdraws=wrong).field == "reason"
    first = say(bench, technician, "LOOK", "", withdraws=wrong, reason="oil streak").id
    again = say(bench, technician, "LOOK", "", withdraws=wrong, reason="oil streak")
    assert "withdrawn already" in again.problem
    back = say(bench, technician, "LOOK", "", withdraws=first, reason="no, a crack")
    assert "says nothing by itself" in back.problem


def test_withdrawing_is_ones_own_or_a_leads(bench: Examination, cast: Cast) -> None:
    wrong = say(bench, cast.actor("technician"), "LOOK", "CRACK").id
    other = say(bench, cast.actor("second_technician"), "LOOK", "", withdraws=wrong, reason="I see none")
    assert (other.status, other.field) == ("refused", "withdraws")
    lead = say(bench, cast.actor("lead"), "LOOK", "sound", withdraws=wrong, reason="dye shows none")
    assert lead.status == "recorded"


def test_a_reading_of_another_check_cannot_be_withdrawn(bench: Examination, technician: Actor) -> None:
    wrong = say(bench, technician, "LOOK", "CRACK").id
    result = read(bench, technician, "BORE", "26.010 mm", withdraws=wrong, reason="slip")
    assert (result.status, result.field) == ("refused", "withdraws")
    result = say(bench, technician, "LOOK", "sound", withdraws=uuid4(), reason="slip")
    assert result.field == "withdraws"


# disputes, history, projection


def test_two_people_who_differ_open_a_dispute_that_a_lead_settles(bench: Examination, cast: Cast) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.002 mm")
    read(bench, cast.actor("second_technician"), "BORE", "26.016 mm")
    finding, dispute = disputes_of(judgement_of(fresh(bench)))[0]
    assert (finding.state, dispute.open) == ("too close to call", True)
    assert "Rune Okafor" in dispute.words
    assert "Mira Teasdale" in dispute.words
    settled = read(bench, cast.actor("lead"), "BORE", "26.015 mm").id
    finding, dispute = disputes_of(judgement_of(fresh(bench)))[0]
    assert dispute.settled_by == str(settled)
    assert finding.value_mm == pytest.approx(26.015)
    assert len(finding.readings) == 3


def test_two_people_of_one_name_are_two_people(bench: Examination, cast: Cast) -> None:
    cast.second_technician.display_name = cast.technician.display_name
    cast.second_technician.save()
    read(bench, cast.actor("technician"), "BORE", "26.002 mm")
    read(bench, actor_for(cast.second_technician), "BORE", "26.016 mm")
    assert disputes_of(judgement_of(fresh(bench)))[0][1].open


def test_a_reading_is_history_once_the_piece_has_changed(bench: Examination, technician: Actor) -> None:
    read(bench, technician, "BORE", "26.010 mm")
    piece = Piece.objects.get(tag=tag_in(bench, "CASE"))
    end_condition(piece=piece, why="sleeved", by=technician)
    finding = judgement_of(fresh(bench)).finding["BORE", piece.tag]
    assert (finding.state, len(finding.superseded)) == ("not examined", 1)
    read(bench, technician, "BORE", "26.012 mm")
    assert judgement_of(fresh(bench)).finding["BORE", piece.tag].value_mm == pytest.approx(26.012)
    assert [one.condition for one in ReadingPiece.objects.order_by("reading__sequence")] == [1, 2]


def test_what_was_measured_is_projected_onto_the_piece(bench: Examination, technician: Actor) -> None:
    read(bench, technician, "DIAMETER", "25.985 mm")
    measure = Measure.objects.get()
    assert (measure.piece.tag, measure.feature, measure.state) == (
        tag_in(bench, "SHAFT"),
        "SHAFT.D",
        "within",
    )
    assert measure.value_um == pytest.approx(25985)
    # U = √(3² + (2 × 1/√12)²) µm: the gauge's own, and a last place of 0.001 mm read as a rectangle (k = 2)
    assert measure.expanded_um == pytest.approx((9 + 4 / 12) ** 0.5)
    read(bench, technician, "DIAMETER", "25.900 mm")
    assert Measure.objects.get().condition == 1


def test_judging_asks_few_questions(bench: Examination, technician: Actor) -> None:
    read_all(bench, technician)
    row = fresh(bench)
    judgement_of(row)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        judgement_of(row)
    assert len(asked) <= 8


# missing, finishing, what comes next


def test_a_piece_can_be_marked_missing_and_turn_up(bench: Examination, technician: Actor) -> None:
    tag = tag_in(bench, "CASE")
    mark_missing(examination=bench, tag=tag, by=technician)
    assert judgement_of(fresh(bench)).status["CASE"] == "missing"
    assert read(bench, technician, "BORE", "26.010 mm").field == "piece"
    mark_missing(examination=bench, tag=tag, missing=False, by=technician)
    mark_missing(examination=bench, tag=tag, missing=False, by=technician)
    assert fresh(bench).counter == 2
    assert read(bench, technician, "BORE", "26.010 mm").status == "recorded"
    with pytest.raises(Refusal, match="has been read"):
        mark_missing(examination=bench, tag=tag, by=technician)


def test_an_examination_is_finished_when_nothing_is_open(bench: Examination, technician: Actor) -> None:
    assert bench.ticket is not None
    with pytest.raises(Refusal, match=r"Not decided yet: Casing, Shaft\."):
        finish_examination(ticket=bench.ticket, by=technician)
    read_all(bench, technician)
    assert finish_examination(ticket=bench.ticket, by=technician).stage == "examined"
    assert finish_examination(ticket=bench.ticket, by=technician).stage == "examined"


def test_a_dispute_keeps_the_examination_open(bench: Examination, cast: Cast) -> None:
    assert bench.ticket is not None
    read_all(bench, cast.actor("technician"))
    say(bench, cast.actor("second_technician"), "LOOK", "GONE")
    with pytest.raises(Refusal, match="In dispute: Lugs"):
        finish_examination(ticket=bench.ticket, by=cast.actor("technician"))
    say(bench, cast.actor("lead"), "LOOK", "sound")
    assert finish_examination(ticket=bench.ticket, by=cast.actor("technician")).stage == "examined"


def test_nobody_skips_the_gate(bench: Examination) -> None:
    assert bench.ticket is not None
    bench.ticket.refresh_from_db()
    with pytest.raises(Refusal, match="Not decided yet"):
        move_ticket(ticket=bench.ticket, to="examined", by=PROGRAM)


def test_the_next_open_check_goes_through_the_unit_in_order(bench: Examination, technician: Actor) -> None:
    assert next_open_check(judgement_of(fresh(bench))) == ("CASE", "ID")
    assert next_open_check(judgement_of(fresh(bench)), after="ID") == ("CASE", "LOOK")
    assert next_open_check(judgement_of(fresh(bench)), after="WIDTH") == ("SHAFT", "TEETH")
    assert next_open_check(judgement_of(fresh(bench)), after="DIAMETER") == ("CASE", "ID")
    read_all(bench, technician)
    assert next_open_check(judgement_of(fresh(bench))) is None


def test_times_are_kept_in_order_of_arrival_not_of_the_device(bench: Examination, technician: Actor) -> None:
    early = clock.now() - timedelta(days=400)
    read(bench, technician, "BORE", "26.010 mm")
    read(bench, technician, "BORE", "26.011 mm", taken_at=early)
    assert [one.taken_at <= early for one in Reading.objects.all()] == [False, True]


def test_a_gauge_is_listed_once() -> None:
    fine, _coarse = make_gauges()
    assert make_gauges()[0] == fine


# at once


def _at_once(deeds: list[Callable[[], str]]) -> list[str]:
    """Run each in a thread of its own, all let go together."""
    gate = Barrier(len(deeds))

    def run(deed: Callable[[], str]) -> str:
        try:
            gate.wait()
            return deed()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(deeds)) as pool:
        return list(pool.map(run, deeds))


@pytest.mark.django_db(transaction=True)
def test_one_reading_sent_by_ten_at_once_is_one_reading(cast: Cast) -> None:
    technician = cast.actor("technician")
    bench = strip_unit(technician)
    key = uuid4()
    statuses = _at_once([lambda: read(bench, technician, "BORE", "26.010 mm", id=key).status] * 10)
    assert sorted(statuses) == ["already recorded"] * 9 + ["recorded"]
    assert Reading.objects.count() == 1
    assert fresh(bench).counter == 1


@pytest.mark.django_db(transaction=True)
def test_ten_readings_at_once_come_one_after_another(cast: Cast) -> None:
    technician = cast.actor("technician")
    bench = strip_unit(technician)
    statuses = _at_once([lambda: say(bench, technician, "LOOK", "sound").status] * 10)
    assert statuses == ["recorded"] * 10
    assert [one.sequence for one in Reading.objects.all()] == list(range(1, 11))
    assert fresh(bench).counter == 10


@pytest.mark.django_db(transaction=True)
def test_what_is_kept_follows_every_change(cast: Cast) -> None:
    """Outside a transaction judgements are kept: a reading, a gauge or a piece that changes makes it anew."""
    technician = cast.actor("technician")
    bench = strip_unit(technician)
    tag = tag_in(bench, "CASE")

    def finding() -> tuple[str, float | None]:
        one = judgement_of(fresh(bench)).finding["BORE", tag]
        return one.state, one.expanded_um

    assert finding()[0] == "not examined"
    read(bench, technician, "BORE", "26.0190 mm")
    state, expanded = finding()
    assert state == "too close to call"  # upper limit 26.021 mm, guarded, ± 3 µm
    assert expanded == pytest.approx((9 + (0.2 / 12**0.5) ** 2) ** 0.5)
    # A reading keeps the gauge's figures of its day; one from before they were kept goes by the register.
    Gauge.objects.filter(code="B1").update(expanded_um=1.0)
    assert finding()[0] == "too close to call"
    Piece.objects.filter(tag=tag).update(condition=2)
    assert finding()[0] == "not examined"
    assert judgement_of(fresh(bench)) is judgement_of(fresh(bench))


BORE_ASKED = SMALL.replace('name = "casing bore"', 'name = "casing bore"\ndimension = "bore"')


def test_a_gauge_of_the_wrong_kind_is_refused_and_those_that_fit_are_named(technician: Actor) -> None:
    """A bore is not read with an outside micrometer, however fine it is."""
    bench = strip_unit(technician, text=BORE_ASKED)
    add_gauge(
        code="MIC",
        name="outside micrometer",
        expanded_um=1,
        calibration_um=1,
        resolution_um=1,
        measures="outside",
        by=PROGRAM,
    )
    Gauge.objects.filter(code="T2").update(measures="length")
    refused = read(bench, technician, "BORE", "26.010 mm", gauge="MIC")
    assert (refused.status, refused.field) == ("refused", "gauge")
    assert refused.problem == (
        "MIC measures outside; Bore asks for a gauge that measures bore. Those that do: B1."
    )
    assert read(bench, technician, "BORE", "26.010 mm", gauge="B1").status == "recorded"  # measures any
    Gauge.objects.filter(code="B1").update(measures="outside, bore")
    assert read(bench, technician, "BORE", "26.011 mm", gauge="B1").status == "recorded"
    # Nothing is asked of a gauge where the guide names no kind.
    assert read(bench, technician, "DIAMETER", "25.985 mm", gauge="MIC").status == "recorded"


@pytest.mark.parametrize("measures", ["", "weight", "bore, weight"])
def test_a_gauge_measures_a_kind_that_is_known(measures: str) -> None:
    with pytest.raises(Refusal) as caught:
        add_gauge(
            code="X",
            name="x",
            expanded_um=1,
            calibration_um=1,
            resolution_um=1,
            measures=measures,
            by=PROGRAM,
        )
    assert "measures" in caught.value.errors
