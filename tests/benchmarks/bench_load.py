"""Forty technicians at once against the real server, and an outbox that comes back with 300 readings.

The server is the one that ``docker/start web`` starts, on this test's own database, in a process of its own;
the load comes from this process, one kept connection a technician. Ten units, four technicians at each. Now
and then one sends a reading again, as a tablet does that has lost the answer. In between, for the ratio, the
same forty post to a plain view of the same server (``load_urls``). ``-s`` prints the figures.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from itertools import count
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection

from inspections.guiding.guides import publish_guide
from inspections.models import Examination, Reading, ReadingPiece
from inspections.readings.examining import open_examination
from shop import groups
from shop.access import PROGRAM, make_token
from shop.models import User
from tests.benchmarks.load_client import Load, Poster, run_load
from tests.benchmarks.load_server import serving
from tests.benchmarks.scenes import one_round, p95
from tests.conftest import Cast, is_postgresql, make_user
from tests.inspections.shop import make_gauges, open_ticket
from tests.inspections.test_publishing import DEMONSTRATION

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db(transaction=True)]

UNITS = 10
TECHNICIANS = 40
SLICES = 4
OURS_S, PLAIN_S = 15.0, 7.0
LEAST_RATIO = 0.5
MOST_P95_MS = 250.0
BATCH, MOST_BATCH_MS = 300, 500.0
BATCHES = 6
RESENT_EVERY = 50


class Technician:
    """One of the forty: goes through the checks of a unit again and again, each time with a new reading."""

    def __init__(self, examination: Examination, user: User, start: int) -> None:
        number = examination.ticket.number if examination.ticket else 0
        self.path = f"/api/v1/tickets/{number}/readings"
        self.token = make_token(user=user, label="load")
        self.rows = [_json(one) for one in one_round(examination)]
        self.turn = count(start)
        self.last: dict[str, Any] = {}

    def new(self) -> dict[str, Any]:
        """A reading that nobody has sent yet."""
        return self.rows[next(self.turn) % len(self.rows)] | {"id": str(uuid4())}

    def body(self) -> dict[str, Any]:
        if not self.last or next(self.turn) % RESENT_EVERY:
            self.last = {"readings": [self.new()]}
        return self.last

    def poster(self) -> Poster:
        return Poster(self.path, self.token, self.body)

    def plain_poster(self) -> Poster:
        return Poster("/plain", self.token, lambda: {"readings": [self.new()]})


def _json(sent: Any) -> dict[str, Any]:
    return {"check": sent.check, "text": sent.text, "gauge": sent.gauge, "place": sent.place}


@pytest.fixture
def held(cast: Cast) -> list[Examination]:
    publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    make_gauges()
    by = cast.actor("technician")
    return [open_examination(ticket=open_ticket(number=2401 + n, family="H4"), by=by) for n in range(UNITS)]


@pytest.fixture
def port(held: list[Examination], tmp_path: Path) -> Iterator[int]:
    with serving(tmp_path) as port:
        yield port


def technicians(held: Sequence[Examination], number: int = TECHNICIANS) -> list[Technician]:
    return [
        Technician(
            held[n % len(held)],
            make_user(f"bench-{n}", groups.TECHNICIAN, f"Invented Bench {n}"),
            start=n * 7,
        )
        for n in range(number)
    ]


def test_forty_technicians_at_once(held: list[Examination], port: int) -> None:
    people = technicians(held)
    ours_of, plain_of = [one.poster() for one in people], [one.plain_poster() for one in people]
    run_load(port, plain_of, 1.0)
    first = run_load(port, ours_of, 2.0)
    ours, plain = Load(), Load()
    ratios = []
    for _ in range(SLICES):
        slices = [run_load(port, plain_of, PLAIN_S), run_load(port, ours_of, OURS_S)]
        plain.add(slices[0])
        ours.add(slices[1])
        ratios.append(slices[1].rate / slices[0].rate)
    ratio = ours.rate / plain.rate
    print(  # noqa: T201
        f"\n{connection.vendor}: {told(ours)}; plain {told(plain)}; ratio {ratio:.2f} "
        f"(by slice {', '.join(f'{one:.2f}' for one in ratios)})"
    )
    assert ours.others == first.others == plain.others == []
    first.add(ours)
    need_each_once(held, first)
    assert ratio >= LEAST_RATIO
    if is_postgresql():
        assert p95(ours.took_ms) < MOST_P95_MS


def need_each_once(held: Sequence[Examination], load: Load) -> None:
    """Each reading that was acknowledged is in the database once, as sent, in an unbroken order."""
    acknowledged: dict[UUID, tuple[str, str, str]] = {}
    again = 0
    for body, answer in load.answered:
        (sent,), (result,) = body["readings"], answer["results"]
        key = UUID(sent["id"])
        assert result["id"] == sent["id"]
        assert result["status"] == ("already recorded" if key in acknowledged else "recorded"), result
        again += key in acknowledged
        acknowledged[key] = sent["check"], sent["text"], sent["place"]
    rows = {pk: tuple(rest) for pk, *rest in Reading.objects.values_list("id", "check_code", "text", "place")}
    assert rows == acknowledged
    assert again > 0
    assert ReadingPiece.objects.count() == len(rows)
    for one in held:
        order = list(Reading.objects.filter(examination=one).values_list("sequence", flat=True))
        assert order == list(range(1, len(order) + 1))
        one.refresh_from_db(fields=["counter"])
        assert one.counter == len(order)


def told(load: Load) -> str:
    times = load.took_ms
    return f"{load.rate:.0f} a second, median {statistics.median(times):.0f} ms, p95 {p95(times):.0f} ms"


def test_an_outbox_of_three_hundred(held: list[Examination], port: int) -> None:
    """The first comes to a new server, the next to other units, as outboxes do."""
    load = Load()
    for one in technicians(held[:BATCHES], BATCHES):
        body = {"readings": [one.new() for _ in range(BATCH)]}
        load.add(run_load(port, [Poster(one.path, one.token, body.copy)], 0.0))
    assert load.others == []
    statuses = {result["status"] for _, answer in load.answered for result in answer["results"]}
    assert statuses == {"recorded"}
    assert Reading.objects.count() == BATCH * BATCHES
    first, *later = load.took_ms
    print(  # noqa: T201
        f"\n{connection.vendor}: {BATCH} readings at once: first {first:.0f} ms, "
        f"then {', '.join(f'{one:.0f}' for one in later)} ms"
    )
    assert statistics.median(later) < MOST_BATCH_MS
