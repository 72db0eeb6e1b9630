"""What the topics of form answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

ROWS = [
    {"depth": "front", "direction": "0°", "diameter": "40.012 mm"},
    {"depth": "front", "direction": "90°", "diameter": "40.034 mm"},
    {"depth": "rear", "direction": "0°", "diameter": "40.008 mm"},
    {"depth": "rear", "direction": "90°", "diameter": "40.010 mm"},
]

GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # By hand: spread of the front 0.022; means of the depths 40.023 and 40.009.
    "form": ({"readings": ROWS}, {"mean_mm": 40.016, "out_of_round_mm": 0.022, "taper_mm": 0.014}),
    # By hand: the worst place.
    "flatness": (
        {
            "readings": [
                {"line": "along", "place": "rear", "enters": "0.05 mm", "refuses": "0.06 mm"},
                {"line": "across", "place": "middle", "enters": "0.02 mm", "refuses": "0.03 mm"},
            ],
            "allowed": "0.06 mm",
        },
        {"flatness_at_least_mm": 0.05, "flatness_at_most_mm": 0.06, "line": "along", "inside": True},
    ),
    # By hand: r = 0.02 − 0.02 cos θ is a shaft 0.02 out of centre toward 180°.
    "runout": (
        {
            "readings": [
                {"direction": "0°", "reading": "0 mm"},
                {"direction": "90°", "reading": "0.02 mm"},
                {"direction": "180°", "reading": "0.04 mm"},
                {"direction": "270°", "reading": "0.02 mm"},
            ]
        },
        {"runout_mm": 0.04, "eccentricity_mm": 0.02, "direction_deg": 180.0},
    ),
    # By hand: (31.04 − 25 − 2 × 3)/2.
    "needle-rollers": (
        {"bore": "31.04 mm", "shaft": "25 mm", "rollers": ["3.001 mm", "2.999 mm"], "count": 29},
        {"radial_clearance_mm": 0.02, "roller_mm": 3.0, "spread_mm": 0.002},
    ),
}

BAD: list[tuple[str, dict[str, Any], str]] = [
    ("form", {"readings": []}, "readings"),
    ("form", {"readings": [{"depth": "front", "direction": "0°", "diameter": "wide"}]}, "readings"),
    ("form", {"readings": [{"depth": "front", "direction": "0°"}]}, "readings"),
    ("form", {"readings": [{**ROWS[0], "colour": "red"}]}, "readings"),
    ("form", {"readings": "front; 0°; 40 mm"}, "readings"),
    ("flatness", {"allowed": "−1 mm"}, "allowed"),
    (
        "flatness",
        {"readings": [{"line": "a", "place": "b", "enters": "0.05 mm", "refuses": "0.04 mm"}]},
        "readings",
    ),
    ("flatness", {"readings": [{"line": "a", "place": "b", "enters": "20 mm"}]}, "readings"),
    ("runout", {"readings": [{"direction": "0 mm", "reading": "0 mm"}]}, "readings"),
    ("runout", {"readings": [{"direction": "900°", "reading": "0 mm"}] * 2}, "readings"),
    ("needle-rollers", {"count": 2}, "count"),
    ("needle-rollers", {"count": "many"}, "count"),
    ("needle-rollers", {"rollers": ["0.01 mm", "3 mm"]}, "rollers"),
    ("needle-rollers", {"bore": "20 mm"}, "bore"),
    ("needle-rollers", {"allowed_spread": "2 mm"}, "allowed_spread"),
]
