"""What the topics of floating answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # 31.48 − 30.20 = 1.28 of room; 1.10 leaves 0.18 of the 0.10 to 0.25 that is wanted.
    "end-float": (
        {
            "gap": "31.48 mm",
            "stack": ["30.2 mm"],
            "target_min": "0.10 mm",
            "target_max": "0.25 mm",
            "washers": [
                {"code": "A", "thickness": "1.00 mm"},
                {"code": "B", "thickness": "1.10 mm", "count": 2, "price": "0.45 EUR"},
            ],
        },
        {"choice": ["B"], "float_mm": 0.18, "shim_change_mm": 1.105},
    ),
    # By hand: 1.60 does not enter 1.58, 1.55 leaves 0.03.
    "snap-ring": (
        {
            "groove": "1.58 mm",
            "rings": [{"code": "A", "thickness": "1.60 mm"}, {"code": "B", "thickness": "1.55 mm"}],
        },
        {"choice": "B", "play_mm": 0.03, "enters": 1.0},
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("end-float", {"gasket": "thick"}, "gasket"),
    ("end-float", {"gasket": "0.5 mm", "gasket_compression": 0.9}, "gasket_compression"),
    ("snap-ring", {"groove": "90 mm"}, "groove"),
    ("snap-ring", {"rings": []}, "rings"),
    ("snap-ring", {"rings": [{"code": "A", "thickness": "1 mm"}] * 2}, "rings"),
    ("snap-ring", {"confidence": 2}, "confidence"),
    ("end-float", {"gap": None}, "gap"),
    ("end-float", {"setting": "preload"}, "setting"),
    ("end-float", {"target_max": "0.05 mm"}, "target_max"),
    ("end-float", {"washers": []}, "washers"),
    ("end-float", {"washers": [{"code": "A", "thickness": "thick"}]}, "washers"),
    ("end-float", {"places": 0}, "places"),
    ("end-float", {"stack": ["30.2"]}, "stack"),
]
