"""The demonstration shop: three families, tickets at several stages, stock, and loading it twice is once."""

import stat
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from estimates.demonstration import DROP_BOX, STANDS, is_loaded, load_demonstration, sign_ins_path, told_job
from estimates.journey import Journey
from inspections.models import Examination, Reading
from inspections.readings.findings import judgement_of
from inventory.ledger import check_ledger
from inventory.models import Lot, Piece
from shop.models import Family, Ticket, User


@pytest.fixture(scope="module")
def told(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any) -> Iterator[list[str]]:
    """What loading it says; loaded once, in a transaction that is taken back."""
    from django.db import transaction

    kept = settings.HOME, settings.MEDIA_ROOT
    settings.HOME = tmp_path_factory.mktemp("shop")
    settings.MEDIA_ROOT = settings.HOME / "files"
    with django_db_blocker.unblock(), transaction.atomic():
        said = [*load_demonstration()]
        assert stat.S_IMODE(sign_ins_path().stat().st_mode) == 0o600
        yield said
        transaction.set_rollback(True)
    settings.HOME, settings.MEDIA_ROOT = kept


def test_each_family_has_tickets_at_several_stages(told: list[str]) -> None:
    assert len(told) == 16 + len(STANDS)
    stages = Counter(Ticket.objects.values_list("family__code", "stage"))
    assert stages == {
        ("H4", "handed over"): 1,
        ("H4", "quoted"): 1,
        ("H4", "stripped"): 1,
        ("H4", "received"): 1,
        ("D2", "stripped"): 1,
        ("D2", "received"): 1,
        ("T3", "stripped"): 1,
        ("T3", "received"): 1,
    }
    assert told_job() == Ticket.objects.get(stage="handed over")
    assert "invented" in told[-1]


def test_the_other_families_are_partly_read_and_explain_something(told: list[str]) -> None:
    for code, explained in (
        ("D2", {"LEVEL": "LK-INSH", "JUMPS-LOW": "LK-LOWH", "BRAKE": "LK-BRSH"}),
        ("T3", {"WATER": "LK-DRAIN-OIL", "WHINES": "LK-TPPF", "PTO-OUT": "LK-PTCP"}),
    ):
        examination = Examination.objects.get(ticket__family__code=code, ticket__stage="stripped")
        assert Reading.objects.filter(examination=examination).count() >= 20
        judgement = judgement_of(examination)
        found = judgement.complaints_explained(explained)
        assert all(check in found[complaint] for complaint, check in explained.items())
        assert {"open", "scrap", "rework"} <= set(judgement.status.values())


def test_there_is_stock_for_each_family_and_the_ledger_adds_up(told: list[str]) -> None:
    for family in Family.objects.all():
        lots = Lot.objects.filter(part__fits__position__family=family).distinct().count()
        assert lots >= 15, family
        assert Piece.objects.free().filter(position__family=family).count() >= 4
    assert check_ledger() == []


def test_loading_it_again_changes_nothing(told: list[str]) -> None:
    before = (Ticket.objects.count(), Reading.objects.count(), User.objects.count())
    assert is_loaded()
    assert [*load_demonstration()] == ["The demonstration shop is there."]
    assert (Ticket.objects.count(), Reading.objects.count(), User.objects.count()) == before


@pytest.mark.django_db
def test_a_file_that_goes_no_further_ends_there(tmp_path: Path, settings: Any) -> None:
    settings.HOME, settings.MEDIA_ROOT = tmp_path, tmp_path / "files"
    titles = [one.title for one in Journey(DROP_BOX).run()]
    assert titles[0] == "The house"
    assert titles[-1] == "Bench: readings as typed"
    assert Ticket.objects.get().stage == "stripped"
