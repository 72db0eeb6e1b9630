"""Letters about gauges that are due: one for each gauge and day, to those who keep the register."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core import mail

from inspections.gauge_models import Gauge
from inspections.gauging.registering import add_gauge, change_gauge, retire_gauge
from inspections.gauging.reminders import queue_due_gauges
from shop import clock, outbox
from shop.access import PROGRAM
from shop.celery import SLOTS
from shop.models import Outbox, User
from tests.conftest import Cast

pytestmark = pytest.mark.django_db


def due_in(code: str, days: int, **more: Any) -> Gauge:
    figures: dict[str, Any] = {"kind": "bore gauge", "name": "bore gauge", "expanded_um": 3.0}
    figures |= {"calibration_um": 1.0, "resolution_um": 1.0, "due_on": clock.today() + timedelta(days=days)}
    return add_gauge(code=code, by=PROGRAM, **(figures | more))


@pytest.fixture
def addressed(cast: Cast) -> Cast:
    for name in ("technician", "lead", "manager", "owner"):
        User.objects.filter(username=name).update(email=f"{name}@shop.invalid")
    User.objects.filter(username="owner").update(is_active=False)
    return cast


def test_the_day_asks_for_it() -> None:
    assert "queue due gauges" in {rule for _, _, rule in SLOTS}
    assert outbox.RULES["send gauge reminder"].startswith("inspections.")


def test_each_due_gauge_is_written_of_once(addressed: Cast) -> None:
    due_in("SOON", 30)
    due_in("LATE", -3)
    due_in("FAR", 31)
    assert queue_due_gauges("k") == 2
    assert queue_due_gauges("k2") == 0
    outbox.run_due()
    assert {one.to[0] for one in mail.outbox} == {"lead@shop.invalid", "manager@shop.invalid"}
    assert len(mail.outbox) == 4
    assert {one.subject for one in mail.outbox} == {
        "Gauge SOON is due for calibration",
        "Gauge LATE is due for calibration",
    }
    assert len({one.extra_headers["Message-ID"] for one in mail.outbox}) == 4


def test_a_new_due_day_is_reminded_of_anew_and_a_retired_gauge_never(addressed: Cast) -> None:
    gauge, gone = due_in("SOON", 5), due_in("GONE", 5)
    queue_due_gauges("k")
    change_gauge(gauge=gauge, version=1, by=PROGRAM, due_on=clock.today() + timedelta(days=6))
    retire_gauge(gauge=gone, why="lost", by=PROGRAM)
    outbox.run_due()
    assert mail.outbox == []  # neither is due any more as the rows said
    assert queue_due_gauges("k2") == 1
    outbox.run_due()
    assert len(mail.outbox) == 2


def test_a_chain_is_not_reminded_of_beside_its_gauge(cast: Cast) -> None:
    first, second = due_in("TEL", 5), due_in("MIC", 400)
    chain = add_gauge(code="BOTH", name="both", kind="chain", first=first, second=second, by=PROGRAM)
    assert chain.due_on == first.due_on
    assert queue_due_gauges("k") == 1
    assert Outbox.objects.get(rule="send gauge reminder").payload["gauge"] == first.pk
