"""Rework: agreed or refused, once by its key, and what was read before is history."""

from __future__ import annotations

import pytest

from inspections.building import reworking
from inspections.building.reworking import agreed_work, hindrances_to_reworked, record_rework
from inspections.building.sheets import compute_sheet
from inspections.models import Rework
from shop.access import Denied, NotThere
from shop.models import TimeEntry
from shop.once import KeyReused
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast
from tests.inspections.job import Job, agreed_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(cast: Cast) -> Job:
    return agreed_job(cast)


def sleeve(job: Job, key: str = "k1", good: bool = True, minutes: int = 115, who: str = "lead") -> Rework:
    return record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="SLEEVE-LSR",
        minutes=minutes,
        good=good,
        key=key,
        by=job.actor(who),
    )


def test_rework_ends_the_condition_and_books_the_minutes(job: Job) -> None:
    before = job.piece("CASE").condition
    row = sleeve(job)
    assert job.piece("CASE").condition == before + 1
    assert row.condition_before == before
    assert row.restores == ["ME-CASE-LSR"]
    entry = TimeEntry.objects.get(ticket=job.ticket)
    assert (entry.minutes, entry.person, entry.work) == (115, job.cast.lead, "rework SLEEVE-LSR")


def test_the_same_key_twice_is_one_rework(job: Job) -> None:
    first, again = sleeve(job), sleeve(job)
    assert first.pk == again.pk
    assert Rework.objects.count() == 1
    assert TimeEntry.objects.count() == 1
    assert job.piece("CASE").condition == first.condition_before + 1
    with pytest.raises(KeyReused):
        sleeve(job, good=False)


def test_two_at_once_with_one_key_are_one(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    """The loser looked for the key before the winner wrote it: the index decides."""
    first = sleeve(job)
    monkeypatch.setattr(reworking, "_earlier", lambda key: None)
    assert sleeve(job).pk == first.pk
    assert Rework.objects.count() == TimeEntry.objects.count() == 1


def test_after_rework_the_check_is_to_be_read_again(job: Job) -> None:
    assert agreed_work(job.ticket)[0].measure_again == ()
    sleeve(job)
    work = agreed_work(job.ticket)[0]
    assert work.state == "done"
    assert [code for code, _ in work.measure_again] == ["ME-CASE-LSR"]
    job.read("CASE.LSR", "26.004 mm")
    assert agreed_work(job.ticket)[0].measure_again == ()


def test_a_remedy_only_predicts_until_a_new_reading(job: Job) -> None:
    """The drive fit is bore less shaft: before 26.010 − 26.028 = −18 µm, after 26.004 − 26.028 = −24 µm."""

    def drive_fit() -> dict[str, object]:
        step = next(one for one in compute_sheet(job.ticket)["steps"] if one["code"] == "B14")
        fit: dict[str, object] = step["fit"]
        return fit

    assert drive_fit()["clearance_mm"] == pytest.approx(-0.018)
    sleeve(job)
    first = drive_fit()["measure_first"]
    assert isinstance(first, list)
    assert [(one["feature"], one["reworked"]) for one in first] == [("CASE.LSR", True)]
    job.read("CASE.LSR", "26.004 mm")
    assert drive_fit()["clearance_mm"] == pytest.approx(-0.024)


def test_a_failed_one_says_so_and_stands_in_the_way(job: Job) -> None:
    assert hindrances_to_reworked(job.ticket) == [
        f"Sleeve the layshaft rear bore on {job.piece('CASE').tag} is not done yet."
    ]
    sleeve(job, good=False)
    assert agreed_work(job.ticket)[0].state == "failed"
    assert "failed" in hindrances_to_reworked(job.ticket)[0]
    sleeve(job, key="k2")
    assert hindrances_to_reworked(job.ticket) == []


def test_what_was_not_agreed_is_refused_beside_its_field(job: Job) -> None:
    for code, piece, field in (
        ("BRAZE-LUG", "CASE", "remedy"),
        ("SLEEVE-LSR", "LAYSH", "remedy"),
        ("SLEEVE-LSR", "SEALF", "piece"),
    ):
        with pytest.raises(Refusal) as refused:
            record_rework(
                ticket=job.ticket,
                piece=job.piece(piece),
                remedy_code=code,
                minutes=5,
                good=True,
                key="k",
                by=job.actor("lead"),
            )
        assert list(refused.value.errors) == [field]
    with pytest.raises(Refusal) as refused:
        sleeve(job, minutes=-1)
    assert list(refused.value.errors) == ["minutes"]
    assert Rework.objects.count() == 0


def test_choosing_washers_is_done_at_the_build(job: Job) -> None:
    row = job.row("CLUS")
    row.remedies = ["SELECT-WASHERS"]
    row.save(update_fields=["remedies"])
    assert [one.remedy.code for one in agreed_work(job.ticket)] == ["SLEEVE-LSR"]
    with pytest.raises(Refusal, match="done at the build"):
        record_rework(
            ticket=job.ticket,
            piece=job.piece("CLUS"),
            remedy_code="SELECT-WASHERS",
            minutes=15,
            good=True,
            key="k",
            by=job.actor("lead"),
        )


def test_a_remedy_may_change_the_size(job: Job) -> None:
    row = job.row("CASE")
    row.remedies = ["REAM-OVERSIZE"]
    row.save(update_fields=["remedies"])
    record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="REAM-OVERSIZE",
        minutes=60,
        good=True,
        key="k",
        by=job.actor("lead"),
    )
    assert job.piece("CASE").size == "oversize"


def test_a_leads_work_is_written_down_by_a_lead(job: Job) -> None:
    with pytest.raises(Refusal, match="lead technician") as refused:
        sleeve(job, who="technician")
    assert list(refused.value.errors) == ["remedy"]
    assert Rework.objects.count() == 0
    row = job.row("CASE")
    row.remedies = ["DRESS-FACE"]
    row.save(update_fields=["remedies"])
    record_rework(
        ticket=job.ticket,
        piece=job.piece("CASE"),
        remedy_code="DRESS-FACE",
        minutes=30,
        good=True,
        key="k",
        by=job.actor("technician"),
    )
    assert Rework.objects.get().person == job.cast.technician


def test_who_may_and_when(job: Job) -> None:
    with pytest.raises(Denied):
        sleeve(job, who="front_desk")
    with pytest.raises(NotThere):
        sleeve(job, who="supplier")
    job.stand_at("built")
    with pytest.raises(Conflict):
        sleeve(job)
