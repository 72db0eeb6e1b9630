"""What the topics of threading answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # ASME B1.1-2003, table 2: 3/8-16 UNC, pitch diameter 0.3344 in.
    "thread": (
        {"designation": "3/8-16 UNC"},
        {"taper": False, "major_mm": 9.525, "pitch_diameter_mm": 0.3344 * 25.4},
    ),
    # T = K F d with K 0.2: F 0.75 × 586.05 MPa × 49.99 mm² = 21.97 kN (SAE J429, IFI N-12).
    "tightening": (
        {"thread": "3/8-16 UNC", "grade": "SAE 5", "condition": "dry"},
        {"torque_nm": 41.86, "torque_min_nm": 31.4, "torque_max_nm": 52.3, "limited_by": "bolt"},
    ),
    # By hand: the square's corners, each followed by the one opposite.
    "pattern": (
        {
            "bolts": [
                {"name": "A", "x": "0 mm", "y": "0 mm"},
                {"name": "B", "x": "100 mm", "y": "0 mm"},
                {"name": "C", "x": "100 mm", "y": "100 mm"},
                {"name": "D", "x": "0 mm", "y": "100 mm"},
            ],
            "passes": [0.4, 0.7, 1],
            "torque": "20 N·m",
        },
        {
            "order": ["A", "C", "B", "D"],
            "passes": [
                {"share": 0.4, "torque_nm": 8.0},
                {"share": 0.7, "torque_nm": 14.0},
                {"share": 1.0, "torque_nm": 20.0},
            ],
        },
    ),
    # Drill charts: 5/16 in for 3/8-16 (docslib.org 4942776); hole 9.525 − 0.75 × 1.299 × 1.5875.
    "drills": ({"designation": "3/8-16 UNC"}, {"hole_mm": 7.9784, "insert_hole_mm": 9.8687}),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("pattern", {"bolts": [{"name": "A", "x": "0 mm", "y": "0 mm"}]}, "bolts"),
    ("pattern", {"bolts": [{"name": "A", "x": "0 mm", "y": "0 mm"}] * 2}, "bolts"),
    ("pattern", {"bolts": [{"name": "A", "x": "900 m", "y": "0 mm"}] * 2}, "bolts"),
    ("pattern", {"passes": ["half"]}, "passes"),
    ("drills", {"designation": "7/8-99 ODD"}, "designation"),
    ("drills", {"share": 3}, "share"),
    ("drills", {"designation": "G 2"}, "designation"),
    ("thread", {"designation": "7/8-99 ODD"}, "designation"),
    ("tightening", {"thread": "1/2-14 NPT"}, "thread"),
    ("tightening", {"grade": "99"}, "grade"),
    ("tightening", {"condition": "sticky"}, "condition"),
    ("tightening", {"nut_factor": 0.2}, "nut_factor"),
    ("tightening", {"clamp_fraction": 2}, "clamp_fraction"),
    ("tightening", {"engagement": "12 mm"}, "tapped_material"),
    ("tightening", {"tapped_material": "grey iron", "engagement": "900 mm"}, "engagement"),
]
