"""What the benchmarks share: a round of readings of a whole unit, and the 95th percentile."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from uuid import uuid4

from inspections.guiding.guides import guide_of
from inspections.models import Examination
from inspections.readings.recording import SentReading


def p95(times: Sequence[float]) -> float:
    return statistics.quantiles(times, n=20)[18]


def one_round(held: Examination) -> list[SentReading]:
    """Each check of the floor change that can be read once, most of them good."""
    guide = guide_of(held.revision)
    sent = []
    for number, check in enumerate(guide.checks_of("FC")):
        if check.kind == "measure":
            limit = guide.feature[check.feature].limits[0]
            value = limit.upper_mm + 0.02 if number % 9 == 0 else (limit.new_min_mm + limit.new_max_mm) / 2
            for place in check.places or ("",):
                sent.append(SentReading(uuid4(), check.code, f"{value:.4f} mm", gauge="B1", place=place))
        elif check.kind in {"count", "identify"}:
            sent.append(SentReading(uuid4(), check.code, check.expects("FC")))
        elif check.kind in {"look", "thread"}:
            defects = guide.defects_of.get(check.code, ())
            seen = defects[0].code if defects and number % 7 == 0 else "sound"
            sent.append(SentReading(uuid4(), check.code, seen))
    return sent
