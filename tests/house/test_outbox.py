"""The outbox: one taker a row, leases, another try for what failed, and an end to trying."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.db import connections, transaction

from shop import clock, outbox
from shop.celery import SLOTS, insert_slots, slot_key
from shop.models import Customer, Outbox

EFFECTS: list[str] = []


def note_effect(key: str, **payload: Any) -> None:
    """A rule for the tests: an effect keyed by its row."""
    EFFECTS.append(key)
    Customer.objects.get_or_create(name=key, defaults={"phone": str(payload.get("words", ""))})


def always_fail(key: str) -> None:
    raise RuntimeError(f"no way: {key}")


@pytest.fixture(autouse=True)
def rules(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, rule in (("test effect", note_effect), ("test failure", always_fail)):
        monkeypatch.setitem(outbox.RULES, name, f"{__name__}.{rule.__name__}")
    EFFECTS.clear()


def put(key: str, rule: str = "test effect", **more: Any) -> bool:
    return outbox.put(key=key, rule=rule, **more)


@pytest.mark.django_db
def test_a_row_is_delivered_once_with_its_payload() -> None:
    assert put("a", payload={"words": "said"})
    assert not put("a", payload={"words": "again"})
    assert outbox.run_due() == 1
    assert outbox.run_due() == 0
    assert Customer.objects.get().phone == "said"
    row = Outbox.objects.get()
    assert (row.done_at is not None, row.tries, row.trouble) == (True, 1, "")
    assert not put("a")


@pytest.mark.django_db
def test_a_row_goes_with_its_transaction() -> None:
    def change_that_fails() -> None:
        with transaction.atomic():
            put("a")
            raise RuntimeError("changed my mind")

    with pytest.raises(RuntimeError, match="changed"):
        change_that_fails()
    assert not Outbox.objects.exists()
    assert outbox.run_due() == 0


@pytest.mark.django_db
def test_an_unknown_rule_is_refused_when_it_is_put() -> None:
    with pytest.raises(KeyError, match="no outbox rule"):
        put("a", rule="nothing")


@pytest.mark.django_db
def test_a_row_waits_for_its_time() -> None:
    put("later", due=clock.now() + timedelta(hours=1))
    assert outbox.run_due() == 0
    with clock.shifted(timedelta(hours=2)):
        assert outbox.run_due() == 1


@pytest.mark.django_db
def test_a_failure_is_tried_again_later_and_given_up_at_last() -> None:
    put("bad", rule="test failure")
    put("good")
    assert outbox.run_due() == 2
    assert EFFECTS == ["good"]
    row = Outbox.objects.get(key="bad")
    assert (row.tries, row.done_at, row.trouble) == (1, None, "RuntimeError: no way: bad")
    assert outbox.run_due() == 0
    for days in range(1, outbox.MOST_TRIES + 3):
        with clock.shifted(timedelta(days=days)):
            outbox.run_due()
    row.refresh_from_db()
    assert (row.tries, row.given_up_at is not None, row.done_at) == (outbox.MOST_TRIES, True, None)


@pytest.mark.django_db
def test_running_a_row_twice_changes_nothing_the_second_time() -> None:
    put("a")
    (pk,) = outbox.claim()
    outbox.deliver(pk)
    outbox.deliver(pk)
    assert EFFECTS == ["a"]
    # killed after the effect and before the mark
    Outbox.objects.update(done_at=None, lease_until=None)
    assert outbox.run_due() == 1
    assert EFFECTS == ["a", "a"]
    assert Customer.objects.count() == 1


@pytest.mark.django_db
def test_a_lease_keeps_others_away_until_it_ends() -> None:
    put("a")
    assert len(outbox.claim()) == 1
    assert outbox.claim() == []
    with clock.shifted(outbox.LEASE - timedelta(seconds=5)):
        assert outbox.claim() == []
    with clock.shifted(outbox.LEASE + timedelta(seconds=5)):
        assert len(outbox.claim()) == 1
    assert timedelta(seconds=outbox.HARD_LIMIT_S) < outbox.LEASE


@pytest.mark.django_db
def test_what_a_dead_worker_had_in_hand_is_freed() -> None:
    put("a")
    outbox.claim()
    outbox.free_leases()
    assert outbox.run_due() == 1


@pytest.mark.django_db
def test_two_beats_insert_each_slot_once() -> None:
    assert insert_slots() == len(SLOTS)
    assert insert_slots() == 0
    assert set(Outbox.objects.values_list("rule", flat=True)) == {rule for _, _, rule in SLOTS}
    name, every, _rule = SLOTS[0]
    at = clock.now()
    assert slot_key(name, every, at) != slot_key(name, every, at + every)


@pytest.mark.django_db(transaction=True)
def test_each_row_has_one_taker_among_threads() -> None:
    rows, takers = 40, 8
    for number in range(rows):
        put(f"row {number}")
    together = threading.Barrier(takers)

    def take(_: int) -> list[int]:
        together.wait(timeout=60)
        try:
            taken: list[int] = []
            while more := outbox.claim(limit=3):
                taken += more
            return taken
        finally:
            connections.close_all()

    with ThreadPoolExecutor(takers) as pool:
        taken = [pk for some in pool.map(take, range(takers), timeout=240) for pk in some]
    assert len(taken) == rows
    assert set(taken) == set(Outbox.objects.values_list("pk", flat=True))
    assert set(Outbox.objects.values_list("tries", flat=True)) == {1}
