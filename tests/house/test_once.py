"""A repeatable write: the same key has one effect, whoever sends it how often, also at the same moment."""

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connections

from shop.access import PROGRAM, Actor
from shop.models import Customer, Once
from shop.once import KeyReused, once
from shop.refusals import Refusal

CALLERS = 50


def add(name: str) -> dict[str, Any]:
    return {"pk": Customer.objects.create(name=name).pk}


def ask(name: str = "A. Harrow", key: str = "key", by: Actor = PROGRAM, operation: str = "add") -> Any:
    return once(by=by, operation=operation, key=key, body={"name": name}, rule=lambda: add(name))


@pytest.mark.django_db
def test_a_repeat_gets_the_first_answer() -> None:
    assert ask() == ask()
    assert Customer.objects.count() == 1


@pytest.mark.django_db
def test_another_body_is_refused_and_another_asker_or_deed_is_another_key() -> None:
    ask()
    with pytest.raises(KeyReused) as trouble:
        ask("B. Marsh")
    assert trouble.value.status == 422
    ask("B. Marsh", by=Actor("person", "user:7"))
    ask("B. Marsh", operation="other")
    assert Customer.objects.count() == 3


@pytest.mark.django_db
def test_only_success_is_kept() -> None:
    def fail() -> Any:
        add("half done")
        raise Refusal("no")

    with pytest.raises(Refusal):
        once(by=PROGRAM, operation="add", key="key", body={"name": "A. Harrow"}, rule=fail)
    assert not Once.objects.exists()
    assert not Customer.objects.exists()
    assert ask()["pk"] > 0


@pytest.mark.django_db
@pytest.mark.parametrize("key", ["", "x" * 81])
def test_a_key_has_bounds(key: str) -> None:
    with pytest.raises(Refusal):
        ask(key=key)


@pytest.mark.django_db(transaction=True)
def test_fifty_callers_at_the_same_moment_have_one_effect() -> None:
    together = threading.Barrier(CALLERS)

    def call(_: int) -> Any:
        together.wait(timeout=60)
        try:
            return ask()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(CALLERS) as callers:
        answers = list(callers.map(call, range(CALLERS), timeout=240))
    customer = Customer.objects.get()
    assert answers == [{"pk": customer.pk}] * CALLERS
    assert Once.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_different_bodies_at_the_same_moment_one_wins() -> None:
    together = threading.Barrier(8)

    def call(number: int) -> Any:
        together.wait(timeout=60)
        try:
            return ask(f"customer {number}")
        except KeyReused:
            return None
        finally:
            connections.close_all()

    with ThreadPoolExecutor(8) as callers:
        answers = list(callers.map(call, range(8), timeout=120))
    assert len([one for one in answers if one]) == 1
    assert Customer.objects.count() == 1
