"""What is judged by what came since the last look is what all readings give anew, and never stale."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from inspections.gauging.kinds import candidates_of
from inspections.guiding.guides import guide_of
from inspections.judgement.judging import Judgement, judge
from inspections.models import Examination, Gauge
from inspections.readings.examining import mark_missing
from inspections.readings.findings import examinations, examined, judgement_of, reading_records
from inventory.models import Piece
from inventory.pieces import end_condition
from shop.models import User
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import read, read_all, say, strip_unit, tag_in

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


def fresh(held: Examination) -> Examination:
    return examinations().get(pk=held.pk)


def anew(held: Examination) -> Judgement:
    """From every row, with nothing known before."""
    held = fresh(held)
    state, guide = examined(held).state, guide_of(held.revision)
    rows = reading_records([state], held.set_aside)[held.pk]
    here = {one.code for one in guide.positions_of(state.variant)}
    pieces = [one.record for one in state.pieces if one.position in here]
    rack = [one for one in state.gauges if not one.retired]
    return judge(guide, state.variant, pieces, rows, candidates_of(guide, rack, state.today))


def same(held: Examination) -> None:
    whole = examined(fresh(held))
    full = anew(held)
    assert whole.judgement.findings == full.findings
    assert whole.judgement.verdicts == full.verdicts
    assert whole.judgement.positions == full.positions
    assert list(whole.records) == reading_records([whole.state], fresh(held).set_aside)[held.pk]


def test_every_kind_of_change_is_seen_at_the_next_look(bench: Examination, cast: Cast) -> None:
    technician, second, lead = (cast.actor(one) for one in ("technician", "second_technician", "lead"))
    read_all(bench, technician)
    same(bench)
    first = read(bench, technician, "BORE", "26.030 mm").id
    same(bench)
    read(bench, second, "BORE", "26.012 mm")  # a dispute opens
    same(bench)
    read(bench, lead, "BORE", "26.011 mm")  # and is settled
    same(bench)
    read(bench, technician, "BORE", "", withdraws=first, reason="the gauge was dirty")
    same(bench)
    again = say(bench, technician, "ID", "X1-102").id  # the wrong part: its other checks do not apply
    same(bench)
    say(bench, technician, "ID", "X1-101", withdraws=again, reason="misread")
    same(bench)
    mark_missing(examination=fresh(bench), tag=tag_in(bench, "SEAL"), by=technician)
    same(bench)
    end_condition(piece=Piece.objects.get(tag=tag_in(bench, "CASE")), why="exchanged", by=lead)
    same(bench)
    Piece.objects.filter(tag=tag_in(bench, "SHAFT")).update(size="oversize")
    same(bench)
    Gauge.objects.filter(code="B1").update(expanded_um=30, calibration_um=25)
    same(bench)
    User.objects.filter(pk=cast.technician.pk).update(display_name="Rune O.")
    same(bench)
    Examination.objects.filter(pk=bench.pk).update(
        set_aside=[examined(fresh(bench)).records[0].key], counter=fresh(bench).counter + 1
    )
    same(bench)
    Examination.objects.filter(pk=bench.pk).update(set_aside=[], counter=fresh(bench).counter + 1)
    same(bench)


def test_only_what_came_is_fetched_and_judged(
    bench: Examination, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    from inspections.judgement import judging

    read_all(bench, cast.actor("technician"))
    examined(fresh(bench))
    judged: list[str] = []
    whole = judging._judge_one

    def counted(unit: Any, check: Any, piece: Any, rows: Any) -> Any:
        judged.append(check.code)
        return whole(unit, check, piece, rows)

    monkeypatch.setattr(judging, "_judge_one", counted)
    say(bench, cast.actor("technician"), "LOOK", "CRACK")
    assert len(examined(fresh(bench)).records) == 9
    assert judged == ["LOOK"]


def test_what_a_transaction_took_back_was_never_known(bench: Examination, cast: Cast) -> None:
    by = cast.actor("technician")
    read_all(bench, by)
    same(bench)
    with transaction.atomic():
        say(bench, by, "LOOK", "GONE")
        assert judgement_of(fresh(bench)).status["CASE"] == "scrap"
        transaction.set_rollback(True)
    assert judgement_of(fresh(bench)).status["CASE"] == "serviceable"
    same(bench)
    say(bench, by, "LOOK", "CRACK")
    assert judgement_of(fresh(bench)).status["CASE"] == "rework"
    same(bench)


def test_the_pages_ask_few_questions_after_a_reading(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client, by = signed_in(cast.technician), cast.actor("technician")
    read_all(bench, by)
    for path in ("/bench/2401", "/bench/2401/CASE?check=BORE"):
        client.get(path)
        read(bench, by, "BORE", "26.011 mm")
        with CaptureQueriesContext(connection) as asked:
            assert client.get(path).status_code == 200
        assert len(asked) <= 12, [one["sql"] for one in asked]
