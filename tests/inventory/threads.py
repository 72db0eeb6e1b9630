"""Many callers at once, each with a connection of its own, started by one barrier."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import connection


def at_once(callers: int, deed: Callable[[int], Any]) -> list[Any]:
    """What each caller got: the answer, or the exception that it raised."""
    start = threading.Barrier(callers)
    answers: list[Any] = [None] * callers

    def call(number: int) -> None:
        try:
            start.wait(timeout=60)
            answers[number] = deed(number)
        except Exception as trouble:
            answers[number] = trouble
        finally:
            connection.close()

    threads = [threading.Thread(target=call, args=(number,)) for number in range(callers)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=120)
    assert not any(one.is_alive() for one in threads)
    return answers
