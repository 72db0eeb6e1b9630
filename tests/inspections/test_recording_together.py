"""What is written at once stands or falls as it should, and measures are those of the whole judgement."""

from __future__ import annotations

from uuid import uuid4

import pytest

from inspections.guiding.guides import publish_guide
from inspections.models import Examination, Reading
from inspections.readings import desk
from inspections.readings.examining import open_examination
from inspections.readings.findings import judgement_of
from inspections.readings.recording import SentReading, record_readings
from inventory.models import Measure
from shop.access import PROGRAM
from tests.benchmarks.scenes import one_round
from tests.conftest import Cast
from tests.inspections.shop import make_gauges, open_ticket, read, say, strip_unit
from tests.inspections.test_publishing import DEMONSTRATION

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("more", [0, 2])
def test_an_id_that_becomes_known_elsewhere_at_that_moment(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, more: int
) -> None:
    """The database finds it when the rows are written; the others of the call are recorded without a gap."""
    by = cast.actor("technician")
    here = strip_unit(by)
    there = open_examination(ticket=open_ticket(2402), by=by)
    taken = uuid4()
    assert say(there, by, "LOOK", "sound", id=taken).status == "recorded"
    monkeypatch.setattr(desk, "_known_readings", lambda wanted: {})
    sent = [SentReading(taken, "LOOK", "sound"), *(SentReading(uuid4(), "TEETH", "18") for _ in range(more))]
    results = record_readings(examination=here, readings=sent, by=by)
    assert [one.status for one in results] == ["refused"] + ["recorded"] * more
    assert results[0].field == "id"
    here.refresh_from_db()
    order = [*Reading.objects.filter(examination=here).values_list("sequence", flat=True)]
    assert order == [*range(1, more + 1)]
    assert here.counter == more


def lorry(cast: Cast) -> Examination:
    """The demonstration's floor change, stripped, with gauges that reach everywhere."""
    publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    make_gauges()
    return open_examination(ticket=open_ticket(family="H4"), by=cast.actor("technician"))


def need_measures_as_judged(held: Examination) -> None:
    held.refresh_from_db(fields=["counter"])
    judgement = judgement_of(held)
    judged = {
        (one.piece, judgement.guide.check[one.check].feature): (
            round(one.value_mm * 1000, 6),
            round(one.expanded_um, 6),
            one.state,
        )
        for one in judgement.findings
        if judgement.guide.check[one.check].kind == "measure"
        and one.value_mm is not None
        and one.expanded_um is not None
    }
    kept = {
        (one.piece.tag, one.feature): (round(one.value_um, 6), round(one.expanded_um, 6), one.state)
        for one in Measure.objects.select_related("piece")
    }
    assert len(kept) > 50
    assert kept == judged


def test_measures_after_single_readings_are_those_of_the_whole_judgement(cast: Cast) -> None:
    held = lorry(cast)
    by, other = cast.actor("technician"), cast.actor("second_technician")
    for sent in one_round(held):
        assert record_readings(examination=held, readings=[sent], by=by)[0].status == "recorded"
    first, *_ = [one for one in one_round(held) if one.check == "ME-CLUS-LEN"]
    assert read(held, other, first.check, "61.5 mm").status == "recorded"
    need_measures_as_judged(held)


def test_measures_after_an_outbox_are_the_same_as_after_single_ones(cast: Cast) -> None:
    held = lorry(cast)
    sent = one_round(held)
    results = record_readings(examination=held, readings=sent, by=cast.actor("technician"))
    assert {one.status for one in results} == {"recorded"}
    need_measures_as_judged(held)
