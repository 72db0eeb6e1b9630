"""What the topic of rolling bearings answers, and what it refuses, each naming its source."""

from __future__ import annotations

from typing import Any

DUTY: list[dict[str, Any]] = [
    {"name": "first", "share": 0.1, "speed": "600 rpm", "radial": "9 kN"},
    {"name": "top", "share": 0.9, "speed": 1500, "radial": "2 kN", "axial": "0 N"},
]
# A body with a duty has no load or speed of its own; None takes a value away.
WITH_DUTY: dict[str, Any] = {"radial": None, "axial": None, "speed": None, "x": None, "y": None, "e": None}

GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # A bearing maker's own report, stored: C 55.3 kN, Fr 4 kN, Fa 0.5 kN, 1800 rpm: P = Fr, 24 500 h.
    "bearing-life": (
        {
            "dynamic_rating": "55.3 kN",
            "radial": "4 kN",
            "axial": "500 N",
            "x": 0.56,
            "y": 1.9,
            "e": 0.23,
            "kind": "ball",
            "speed": "1800 rpm",
        },
        {"equivalent_load_n": 4000.0, "axial_counts": False, "l10_million_rev": 2642.4, "l10_hours": 24500.0},
    ),
}

BAD: list[tuple[str, dict[str, Any], str]] = [
    ("bearing-life", {"dynamic_rating": "0 N"}, "dynamic_rating"),
    ("bearing-life", {"dynamic_rating": "1 kN"}, "dynamic_rating"),
    ("bearing-life", {"dynamic_rating": 55300}, "dynamic_rating"),
    ("bearing-life", {"radial": None}, "radial"),
    ("bearing-life", {"radial": "−4 kN"}, "radial"),
    ("bearing-life", {"axial": "−1 N"}, "axial"),
    ("bearing-life", {"x": 9}, "x"),
    ("bearing-life", {"y": "lots"}, "y"),
    ("bearing-life", {"e": -1}, "e"),
    ("bearing-life", {"kind": "plain"}, "kind"),
    ("bearing-life", {"speed": 0}, "speed"),
    ("bearing-life", {"speed": "fast"}, "speed"),
    ("bearing-life", {"speed": None, "hours": 1000}, "speed"),
    ("bearing-life", {"hours": 0}, "hours"),
    ("bearing-life", {"f0": 14}, "static_rating"),
    ("bearing-life", {"f0": 14, "static_rating": "1 kN"}, "axial"),
    ("bearing-life", {"duty": DUTY}, "radial"),
    ("bearing-life", WITH_DUTY | {"duty": DUTY[:1]}, "duty"),
    ("bearing-life", WITH_DUTY | {"duty": [DUTY[0] | {"speed": "12 mm"}]}, "duty"),
    ("bearing-life", WITH_DUTY | {"duty": [DUTY[0] | {"share": 1, "radial": "0 N"}]}, "duty"),
    ("bearing-life", WITH_DUTY | {"duty": [DUTY[0] | {"share": 1, "speed": 0}]}, "duty"),
    ("bearing-life", WITH_DUTY | {"dynamic_rating": "1 kN", "duty": DUTY}, "dynamic_rating"),
]
