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
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("thread", {"designation": "7/8-99 ODD"}, "designation"),
    ("tightening", {"thread": "1/2-14 NPT"}, "thread"),
    ("tightening", {"grade": "99"}, "grade"),
    ("tightening", {"condition": "sticky"}, "condition"),
    ("tightening", {"nut_factor": 0.2}, "nut_factor"),
    ("tightening", {"clamp_fraction": 2}, "clamp_fraction"),
    ("tightening", {"engagement": "12 mm"}, "tapped_material"),
    ("tightening", {"tapped_material": "grey iron", "engagement": "900 mm"}, "engagement"),
]
