"""What the topics of time answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # By hand: A has one of two days left and ends on Monday; B is stripped on Monday and built in two days,
    # but Tuesday is a holiday, so it ends on Thursday.
    "forecast": (
        {
            "stages": [{"stage": "strip", "benches": 1}, {"stage": "build", "benches": 1}],
            "history": [{"stage": "strip", "days": 1}, {"stage": "build", "days": 2}],
            "jobs": [
                {"code": "A", "stage": "build", "done": 1},
                {"code": "B", "stage": "strip", "promised": "2026-01-07"},
            ],
            "start": "2026-01-05",
            "holidays": ["2026-01-06"],
            "levels": [0.5],
        },
        {
            "finishes": [
                {
                    "code": "A",
                    "dates": [{"level": 0.5, "date": "2026-01-05", "working_days": 1.0}],
                    "chance_kept": None,
                },
                {
                    "code": "B",
                    "dates": [{"level": 0.5, "date": "2026-01-08", "working_days": 3.0}],
                    "chance_kept": 0.0,
                },
            ],
            "back_test": None,
        },
    ),
    # By enumeration of all draws of past weeks.
    "pace": (
        {"history": [3, 5, 2, 4], "jobs": 9},
        {"weeks": [2, 3, 4, 5], "chances": [0.1875, 0.65625, 0.15234375, 0.00390625], "weeks_at_level": 4},
    ),
    # Hillier and Lieberman, county hospital (from memory): two doctors.
    "waiting": (
        {"arrival_rate": 2, "service_rate": 3, "benches": 2},
        {"idle": 0.5, "waiting": 1 / 12, "wait": 1 / 24, "present": 0.75, "stay": 0.375},
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("forecast", {"stages": None}, "stages"),
    ("forecast", {"stages": [{"stage": "strip"}]}, "history"),
    ("forecast", {"stages": [{"stage": "strip"}, {"stage": "build"}, {"stage": "strip"}]}, "stages"),
    ("forecast", {"stages": [{"stage": "strip", "benches": 0}, {"stage": "build"}]}, "stages"),
    ("forecast", {"stages": [{"stage": "strip", "benches": 1.5}, {"stage": "build"}]}, "stages"),
    ("forecast", {"history": [{"stage": "strip", "days": 1}]}, "history"),
    ("forecast", {"history": [{"stage": "strip", "days": -1}]}, "history"),
    ("forecast", {"jobs": [{"code": "A", "stage": "paint"}]}, "jobs"),
    ("forecast", {"jobs": [{"code": "A", "stage": "strip", "promised": "2026-02-30"}]}, "jobs"),
    ("forecast", {"jobs": [{"code": "A", "stage": "strip", "done": 1e9}]}, "jobs"),
    ("forecast", {"start": "tomorrow"}, "start"),
    ("forecast", {"start": "0001-01-01"}, "start"),
    ("forecast", {"week": ["monday"]}, "week"),
    ("forecast", {"holidays": ["Christmas"]}, "holidays"),
    ("forecast", {"levels": [1.0]}, "levels"),
    ("forecast", {"draws": 1_000_000}, "draws"),
    ("forecast", {"draws": 100.5}, "draws"),
    ("forecast", {"seed": -1}, "seed"),
    ("pace", {"history": [0, 0]}, "history"),
    ("pace", {"history": [1.5]}, "history"),
    ("pace", {"history": [-1]}, "history"),
    ("pace", {"jobs": 0}, "jobs"),
    ("pace", {"level": 1}, "level"),
    ("waiting", {"arrival_rate": 6}, "arrival_rate"),
    ("waiting", {"benches": 0}, "benches"),
    ("waiting", {"benches": 1.5}, "benches"),
    ("waiting", {"service_rate": "fast"}, "service_rate"),
]
