"""What the topics of press and shrink fits answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # Equal steels, solid shaft: p = E δ/(2 d) (1 − d²/Do²), Lamé (form as in a stored worked example,
    # metricmech.com); E 207 GPa, so 62.1 MPa, hoop 5/3 of it.
    "press-fit": (
        {
            "diameter": "25 mm",
            "interference": "0.02 mm",
            "length": "20 mm",
            "hub_outer": "50 mm",
            "hub_material": "steel",
            "shaft_material": "steel",
            "friction": 0.1,
            "torque": "100 N·m",
        },
        {
            "pressure_mpa": 62.1,
            "hub_hoop_stress_mpa": 103.5,
            "press_force_n": 9754.6,
            "torque_held_nm": 121.93,
            "holds": True,
            "warm_interference_mm": None,
        },
    ),
    # 0.05 over 50 mm of steel at 11.7e-6 (Callister, table B.6): 85.5 K.
    "shrink-fit": (
        {
            "diameter": "50 mm",
            "interference": "0.03 mm",
            "working_clearance": "0.02 mm",
            "material": "steel",
            "ambient": "20 °C",
        },
        {"temperature_c": 105.47, "too_hot": False, "limit_c": 120.0},
    ),
}

BAD: list[tuple[str, dict[str, Any], str]] = [
    ("press-fit", {"interference": "1 mm"}, "interference"),
    ("press-fit", {"interference": 0.02}, "interference"),
    ("press-fit", {"hub_outer": "25 mm"}, "hub_outer"),
    ("press-fit", {"shaft_bore": "25 mm"}, "shaft_bore"),
    ("press-fit", {"length": "0 mm"}, "length"),
    ("press-fit", {"hub_material": "cheese"}, "hub_material"),
    ("press-fit", {"friction": 3}, "friction"),
    ("press-fit", {"least_interference": "0.05 mm"}, "least_interference"),
    ("press-fit", {"temperature": "400 °C"}, "temperature"),
    ("shrink-fit", {"diameter": "50"}, "diameter"),
    ("shrink-fit", {"interference": "−0.01 mm"}, "interference"),
    ("shrink-fit", {"working_clearance": "2 mm"}, "working_clearance"),
    ("shrink-fit", {"working_clearance": None}, "working_clearance"),
    ("shrink-fit", {"ambient": "90 °C"}, "ambient"),
    ("shrink-fit", {"part": "anvil"}, "part"),
    ("shrink-fit", {"method": "hammer"}, "method"),
    ("shrink-fit", {"inner_temperature": "−40 °C"}, "inner_material"),
    ("shrink-fit", {"inner_material": "steel"}, "inner_temperature"),
    ("shrink-fit", {"inner_material": "steel", "inner_temperature": "60 °C"}, "inner_temperature"),
    ("shrink-fit", {"method": "chill the inner part", "inner_material": "steel"}, "inner_material"),
]
