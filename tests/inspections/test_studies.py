"""Gauge studies: proposed pieces, blind turns, what counts, and the figures; and the watch on bias."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import DatabaseError, transaction

from inspections.gauge_models import Gauge, Study, StudyReading
from inspections.gauging.bias import Difference, biases, differences
from inspections.gauging.studies import (
    Turn,
    close_study,
    last_of,
    next_turn,
    offers,
    open_study,
    proposed_pieces,
    record_turn,
    result_of,
    spread_pieces,
    standing_of,
)
from inspections.gauging.zeroing import zero_gauge
from inspections.models import Examination
from inspections.readings.examining import open_examination
from inspections.readings.findings import examinations, examined_many
from inventory.models import Measure, Piece
from shop import clock
from shop.access import Actor, Denied
from shop.models import Family
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast
from tests.inspections.shop import open_ticket, read, strip_unit

pytestmark = pytest.mark.django_db


def boxes(technician: Actor, count: int = 3) -> list[Examination]:
    """So many units stripped, each with its bore read: 26.004, 26.008, 26.012 and on."""
    held = [strip_unit(technician)]
    held += [
        open_examination(ticket=open_ticket(2401 + n, family="X1"), by=technician) for n in range(1, count)
    ]
    for n, one in enumerate(held):
        assert read(one, technician, "BORE", f"{26.004 + n * 0.004:.3f} mm").status == "recorded"
    return held


@pytest.fixture
def bench(cast: Cast) -> list[Examination]:
    return boxes(cast.actor("technician"))


def lay_out(cast: Cast, **more: Any) -> Study:
    family = Family.objects.get(code="X1")
    said: dict[str, Any] = {
        "gauge": Gauge.objects.get(code="B1"),
        "family": family,
        "feature": "CASE.B",
        "tags": [tag for tag, _ in proposed_pieces(family, "CASE.B")],
        "people": [cast.technician, cast.second_technician],
        "repeats": 2,
        "key": "k",
        "by": cast.actor("lead"),
    }
    return open_study(**(said | more))


def turn_of(study: Study, by: Actor) -> Turn:
    found = next_turn(standing_of(study), by.person)
    assert found is not None
    return found


def read_next(study: Study, by: Actor, text: str, pk: UUID | None = None) -> StudyReading:
    turn = turn_of(study, by)
    return record_turn(
        study=study, pk=pk or uuid4(), tag=turn.piece.tag, repeat=turn.repeat, text=text, by=by
    )


# proposing


def test_pieces_are_spread_over_the_range() -> None:
    values = [(f"P{n:02}", float(n)) for n in range(21)]
    assert spread_pieces(values, 5) == ["P00", "P05", "P10", "P15", "P20"]
    crowd = [("A", 0.0), *((f"B{n}", 5.0 + n / 1000) for n in range(8)), ("Z", 10.0)]
    chosen = spread_pieces(crowd, 3)
    assert (chosen[0], chosen[-1], len(chosen)) == ("A", "Z", 3)
    assert spread_pieces(values[:2], 10) == ["P00", "P01"]


def test_a_feature_with_measured_pieces_is_offered(bench: list[Examination]) -> None:
    [found] = offers()
    assert (found.feature, found.pieces, found.dimension) == ("CASE.B", 3, "")
    assert [found.low_mm, found.high_mm] == pytest.approx([26.004, 26.012])
    assert found.tolerance_mm == pytest.approx(0.021)
    assert [value for _, value in proposed_pieces(found.family, "CASE.B", 2)] == [
        pytest.approx(26.004),
        pytest.approx(26.012),
    ]
    Piece.objects.filter(pk__in=Measure.objects.values("piece")[:2]).update(state="fitted")
    assert offers() == []


def test_a_study_is_laid_out_once(bench: list[Examination], cast: Cast) -> None:
    study = lay_out(cast)
    assert lay_out(cast) == study
    assert (study.pieces.count(), study.people.count()) == (3, 2)
    assert study.tolerance_mm == pytest.approx(0.021)
    with pytest.raises(Denied):
        lay_out(cast, by=cast.actor("technician"), key="other")


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"feature": "NONE"}, "feature"),
        ({"repeats": 1}, "repeats"),
        ({"repeats": 6}, "repeats"),
        ({"people": []}, "people"),
        ({"tags": []}, "pieces"),
        ({"tags": ["P-9999", "P-9998"]}, "pieces"),
        ({"key": ""}, "key"),
    ],
)
def test_what_cannot_be_studied_is_said_by_field(
    bench: list[Examination], cast: Cast, said: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refusal) as caught:
        lay_out(cast, **said)
    assert field in caught.value.errors
    assert Study.objects.count() == 0


def test_only_readers_and_a_gauge_that_may_be_used(bench: list[Examination], cast: Cast) -> None:
    with pytest.raises(Refusal, match="people who take readings"):
        lay_out(cast, people=[cast.technician, cast.stores])
    Gauge.objects.filter(code="B1").update(due_on=clock.today() - timedelta(days=1))
    with pytest.raises(Refusal, match="Choose another gauge"):
        lay_out(cast)


# reading blind


def test_each_round_has_an_order_of_its_own_and_every_piece_once(
    bench: list[Examination], cast: Cast
) -> None:
    study, by = lay_out(cast), cast.actor("technician")
    seen = []
    for n in range(6):
        turn = turn_of(study, by)
        assert (turn.done, turn.of) == (n, 6)
        seen.append((turn.piece.tag, turn.repeat))
        read_next(study, by, f"26.00{n} mm")
    assert len({*seen}) == 6
    assert [repeat for _, repeat in seen] == [1, 1, 1, 2, 2, 2]
    assert next_turn(standing_of(study), by.person) is None


def test_a_turn_is_recorded_once_and_out_of_turn_never(bench: list[Examination], cast: Cast) -> None:
    study, by = lay_out(cast), cast.actor("technician")
    turn, pk = turn_of(study, by), uuid4()
    first = read_next(study, by, "26.004 mm", pk)
    again = record_turn(study=study, pk=pk, tag=turn.piece.tag, repeat=1, text="26.004 mm", by=by)
    assert (again, StudyReading.objects.count()) == (first, 1)
    with pytest.raises(Refusal, match="sent before with another value"):
        record_turn(study=study, pk=pk, tag=turn.piece.tag, repeat=1, text="26.005 mm", by=by)
    with pytest.raises(Conflict, match="not your next turn"):
        record_turn(study=study, pk=uuid4(), tag=turn_of(study, by).piece.tag, repeat=2, text="26 mm", by=by)
    with pytest.raises(Refusal, match="not one of this study"):
        record_turn(
            study=study, pk=uuid4(), tag=turn.piece.tag, repeat=1, text="26 mm", by=cast.actor("lead")
        )
    with pytest.raises(Denied):
        record_turn(
            study=study, pk=uuid4(), tag=turn.piece.tag, repeat=1, text="26 mm", by=cast.actor("stores")
        )


@pytest.mark.parametrize("text", ["", "goes", "26,004,1 mm", "-3 mm", "0", "x" * 61, "26\n", "26 °C"])
def test_what_is_no_size_is_refused(bench: list[Examination], cast: Cast, text: str) -> None:
    study, by = lay_out(cast), cast.actor("technician")
    with pytest.raises(Refusal) as caught:
        read_next(study, by, text)
    assert "text" in caught.value.errors
    assert StudyReading.objects.count() == 0


def test_a_slip_is_read_again_with_a_reason_and_the_newest_take_counts(
    bench: list[Examination], cast: Cast
) -> None:
    study, by = lay_out(cast), cast.actor("technician")
    slip = read_next(study, by, "62.004 mm")
    tag = slip.piece.tag
    with pytest.raises(Refusal, match="Say why it is read again"):
        record_turn(study=study, pk=uuid4(), tag=tag, repeat=1, text="26.004 mm", by=by)
    record_turn(study=study, pk=uuid4(), tag=tag, repeat=1, text="26.004 mm", by=by, reason="wrong key")
    stands = standing_of(study)
    last = last_of(stands, by.person)
    assert last is not None
    assert (last.take, last.reason) == (2, "wrong key")
    assert last.value_mm == pytest.approx(26.004)
    assert (len(stands.readings), StudyReading.objects.count()) == (1, 2)
    with pytest.raises(DatabaseError), transaction.atomic():
        StudyReading.objects.update(value_mm=1)


def test_the_zero_of_the_gauge_is_kept(bench: list[Examination], cast: Cast) -> None:
    study, by = lay_out(cast), cast.actor("technician")
    zero = zero_gauge(gauge=study.gauge, master="ring", key="z", by=by)
    assert read_next(study, by, "26.004 mm").zeroing == zero


def read_through(study: Study, cast: Cast) -> None:
    """Both people read all: 1 µm apart between repeats, the second person 2 µm large."""
    sizes = dict(proposed_pieces(study.family, study.feature))
    for name, bias in (("technician", 0.0), ("second_technician", 0.002)):
        by = cast.actor(name)
        while (turn := next_turn(standing_of(study), by.person)) is not None:
            value = sizes[turn.piece.tag] + bias + 0.001 * (turn.repeat - 1)
            read_next(study, by, f"{value:.4f} mm")


def test_nothing_is_shown_before_all_have_read_and_then_it_is_worked_out(
    bench: list[Examination], cast: Cast
) -> None:
    """Repeats 1 µm apart in every pair: each pair's variance is 0.5 µm², so repeatability is √0.5 µm."""
    study = lay_out(cast)
    read_next(study, cast.actor("technician"), "26.004 mm")
    assert not standing_of(study).shown
    study = lay_out(cast, key="second")
    read_through(study, cast)
    stands = standing_of(study)
    assert (stands.complete, stands.shown, len(stands.readings)) == (True, True, 12)
    result, why = result_of(stands)
    assert why == ""
    assert result is not None
    # No interaction at all: F = 0, pooled. SS_e = 6 pairs × 0.5 µm², over 6 + 2 degrees of freedom.
    assert result.pooled
    assert result.repeatability * 1000 == pytest.approx((3.0 / 8) ** 0.5, rel=1e-6)
    # Means of the people are 2 µm apart: MS = 3 × 2 × (1² + 1²) = 12 µm²; (12 − 3/8)/(3 × 2).
    assert result.reproducibility * 1000 == pytest.approx(((12 - 3 / 8) / 6) ** 0.5, rel=1e-6)


def test_a_study_closed_early_says_why_it_cannot_be_worked_out(bench: list[Examination], cast: Cast) -> None:
    study = lay_out(cast)
    read_next(study, cast.actor("technician"), "26.004 mm")
    with pytest.raises(Denied):
        close_study(study=study, by=cast.actor("technician"))
    closed = close_study(study=study, by=cast.actor("manager"))
    assert close_study(study=closed, by=cast.actor("manager")).closed_at == closed.closed_at
    result, why = result_of(standing_of(closed))
    assert (result, bool(why)) == (None, True)
    turn = standing_of(closed).pieces[0]
    with pytest.raises(Conflict, match="closed"):
        record_turn(
            study=closed, pk=uuid4(), tag=turn.tag, repeat=1, text="26 mm", by=cast.actor("technician")
        )


def test_a_piece_that_was_reworked_falls_out(bench: list[Examination], cast: Cast) -> None:
    study, by = lay_out(cast), cast.actor("technician")
    first = read_next(study, by, "26.004 mm")
    Piece.objects.filter(pk=first.piece_id).update(condition=2)
    stands = standing_of(study)
    assert [one.pk for one in stands.fallen] == [first.piece_id]
    assert (len(stands.pieces), stands.readings) == (2, ())


# the watch on bias


def test_bias_is_the_mean_difference_from_what_others_read(cast: Cast) -> None:
    """Rune reads 4 µm more than Mira on three units: +4 for the one, −4 for the other."""
    technician, second = cast.actor("technician"), cast.actor("second_technician")
    held = boxes(technician)
    for n, one in enumerate(held):
        spread = (-0.001, 0.0, 0.001)[n]
        assert (
            read(one, second, "BORE", f"{26.000 + n * 0.004 + spread:.3f} mm", gauge="T2").status
            == "recorded"
        )
    several = examined_many(list(examinations()))
    rows = {one.who: one for one in biases(differences(several, lambda one: one.person))}
    rune, mira = rows["Rune Okafor"], rows["Mira Teasdale"]
    assert (rune.count, mira.count) == (3, 3)
    assert rune.mean_um == pytest.approx(4.0)
    assert mira.mean_um == pytest.approx(-4.0)
    # s = 1 µm, n = 3: 4.3027 × 1/√3 = 2.484 (t(2; 0.975) = 4.3027, any table of Student's t)
    assert rune.half_um == pytest.approx(4.3027 / 3**0.5, rel=1e-4)
    assert (rune.off, rune.words, mira.words) == (True, "reads large", "reads small")
    gauges = {one.who: one.mean_um for one in biases(differences(several, lambda one: one.gauge))}
    assert gauges == {"B1": pytest.approx(4.0), "T2": pytest.approx(-4.0)}


def test_the_reading_that_settled_a_dispute_is_the_settled_value(cast: Cast) -> None:
    bench = strip_unit(cast.actor("technician"))
    read(bench, cast.actor("technician"), "BORE", "26.004 mm")
    read(bench, cast.actor("second_technician"), "BORE", "26.018 mm")
    read(bench, cast.actor("lead"), "BORE", "26.006 mm")
    found = differences(examined_many(list(examinations())), lambda one: one.person)
    assert {one.who: round(one.um, 6) for one in found} == {"Rune Okafor": -2.0, "Mira Teasdale": 12.0}


def test_one_person_alone_says_nothing_of_bias(cast: Cast) -> None:
    bench = strip_unit(cast.actor("technician"))
    for text in ("26.004 mm", "26.006 mm"):
        read(bench, cast.actor("technician"), "BORE", text)
    assert differences(examined_many(list(examinations())), lambda one: one.person) == []


def test_few_readings_have_no_interval() -> None:
    [one] = biases([Difference("B1", 1.0), Difference("B1", 3.0)])
    assert (one.count, one.mean_um, one.half_um, one.words) == (2, 2.0, None, "too few readings to say")
    [same] = biases([Difference("B1", 1.0)] * 3)
    assert (same.half_um, same.off) == (0.0, True)
