"""Judging a whole ticket: 140 checks and 600 readings of them, all judged anew. Pure: no database.

The promise is a time, so the program's own processor time is counted and the best of many rounds held against
it: a busy neighbour on the machine must not fail it. ``-s`` prints the figures, for the first time and again.
"""

from __future__ import annotations

import statistics
import time
from typing import Any

import pytest

from inspections.checking import check_document
from inspections.document import GuideIndex, read
from inspections.judgement import weighing
from inspections.judgement.judging import PieceRecord, ReadingRecord, judge
from tests.inspections.small import HEAD

MOST_MS = 25.0
ROUNDS = 30
PEOPLE = ("Ann", "Ben", "Cy")


def guide_text(wheels: int = 35) -> str:
    """140 checks: each of 35 positions is looked at, measured twice and mated with its neighbour."""
    parts = [HEAD]
    for n in range(wheels):
        code, mate = f"W{n}", f"W{(n + 1) % wheels}"
        parts.append(f"""
[[position]]
code = "{code}"
number = {n + 10}
name = "Wheel {n}"

[[feature]]
code = "{code}.B"
position = "{code}"
name = "bore"
form = 0.020
taper = 0.020
limit = [{{ new = [40.000, 40.025] }}, {{ size = "oversize", new = [40.250, 40.275] }}]

[[feature]]
code = "{code}.J"
position = "{code}"
name = "journal"
rule = "simple"
limit = [{{ new = [39.930, 39.946], wear = 39.900 }}, {{ size = "oversize", new = [40.180, 40.196] }}]

[[check]]
code = "L-{code}"
position = "{code}"
kind = "look"
title = "Teeth of wheel {n}"

[[check]]
code = "B-{code}"
position = "{code}"
kind = "measure"
title = "Bore of wheel {n}"
feature = "{code}.B"
gauge_um = 6.0
places = ["front, upright", "front, across", "rear, upright", "rear, across"]

[[check]]
code = "J-{code}"
position = "{code}"
kind = "measure"
title = "Journal of wheel {n}"
feature = "{code}.J"
places = ["front", "rear"]

[[check]]
code = "M-{code}"
position = "{code}"
kind = "stack"
title = "Wheel {n} on its neighbour"
terms = [{{ feature = "{code}.B", factor = 1 }}, {{ feature = "{mate}.J", factor = -1 }}]
fit = [0.054, 0.095]
wear = 0.125

[[defect]]
code = "PIT-{code}"
check = "L-{code}"
name = "pitted"
condemns = true
""")
    return "".join(parts)


def scene() -> tuple[GuideIndex, list[PieceRecord], list[ReadingRecord]]:
    """600 readings by three people; some warm, some in dispute, some too close to call or worn out."""
    document, problems = check_document(guide_text())
    assert [one for one in problems if one.severity == "refused"] == []
    guide = GuideIndex(read(document))
    pieces = [PieceRecord(f"P{n}", f"W{n}") for n in range(35)]
    readings: list[ReadingRecord] = []

    def add(n: int, check: str, person: str, **more: Any) -> None:
        number = len(readings) + 1
        of = ((f"P{n}", 1),)
        readings.append(ReadingRecord(f"R{number}", check, of, person, number, **more))

    def measure(n: int, check: str, person: str, value: float, place: str, warm: float | None = None) -> None:
        gauge = {"gauge": "B1", "gauge_expanded_um": 3.0, "gauge_calibration_um": 2.0, "resolution_um": 1.0}
        figures = {"value_mm": value, "place": place, "text": f"{value:.4f}", "part_temperature_c": warm}
        add(n, check, person, **gauge, **figures)

    while len(readings) < 600:
        turn = len(readings) // 245
        for n in range(35):
            person = PEOPLE[(n + turn) % 3]
            add(n, f"L-W{n}", person, outcome=f"PIT-W{n}" if n % 9 == 0 else "sound")
            for ordinal, place in enumerate(guide.check[f"B-W{n}"].places):
                value = 40.010 + 0.001 * ordinal + (0.0135 if n % 5 == 0 else 0.0) + 0.002 * turn
                measure(n, f"B-W{n}", person, value, place, 22.0 if n % 3 == 0 else None)
            for place in guide.check[f"J-W{n}"].places:
                worn = 39.890 if n % 7 == 0 else 39.938
                measure(n, f"J-W{n}", person, worn - 0.002 * turn, place)
    return guide, pieces, readings[:600]


@pytest.mark.benchmark
def test_a_whole_ticket_is_judged_in_its_time() -> None:
    guide, pieces, readings = scene()
    assert len(guide.checks_of("FC")) == 140
    assert len(readings) == 600
    cold: list[float] = []
    warm: list[float] = []
    for number in range(2 * ROUNDS):
        if number % 2 == 0:  # nothing is remembered of an earlier judgement
            weighing.decide.cache_clear()
            weighing.at_20.cache_clear()
        start = time.process_time()
        judged = judge(guide, "FC", pieces, readings)
        (warm if number % 2 else cold).append((time.process_time() - start) * 1000)
    states = {one.state for one in judged.findings}
    for name, times in (("for the first time", cold), ("again", warm)):
        told = f"median {statistics.median(times):.1f} ms, best {min(times):.1f} ms"
        print(f"\njudged {name}: {told}")  # noqa: T201
    # The scene holds the dear cases: disputes, values at a limit, worn ones.
    assert {"within", "outside", "too close to call", "sound", "defect"} <= states
    assert any(one.dispute is not None for one in judged.findings)
    assert min(cold) < MOST_MS
