"""The shop's own Celery with one rule more, for tests: ``celery -A tests.house.slow_app worker``.

``python -m tests.house.slow_app KEY`` puts a row for that rule.
"""

import os
import sys
import time
from pathlib import Path

from celery.signals import worker_process_init

from shop.celery import app

__all__ = ["app"]

RULE = "slow effect"
MOST_WAIT_S = 120


def work_slowly(key: str) -> None:
    """Say that it began, wait for the test's word, then have an effect that is keyed by the row."""
    from shop.models import Customer

    folder = Path(os.environ["SLOW_FOLDER"])
    with (folder / "began").open("a") as file:
        file.write(f"{key} {os.getpid()}\n")
    end = time.monotonic() + MOST_WAIT_S
    while not (folder / "go").exists() and time.monotonic() < end:
        time.sleep(0.05)
    Customer.objects.get_or_create(name=key)


def add_rule(**_: object) -> None:
    from shop import outbox

    outbox.RULES[RULE] = "tests.house.slow_app.work_slowly"


worker_process_init.connect(add_rule)


if __name__ == "__main__":
    import django

    django.setup()
    add_rule()
    from shop import outbox

    outbox.put(key=sys.argv[1], rule=RULE)
