"""What the topics of fitting answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # ISO 286-2, table 6: H7 at 25 mm is 0 to +21 µm.
    "limits": ({"diameter": "25 mm", "zone": "H7"}, {"lower_um": 0.0, "upper_um": 21.0}),
    # ISO 286-2, tables 6 and 27: H7 0/+21 with p6 +22/+35 gives −35 to −1.
    "fit": (
        {"diameter": "25 mm", "hole": "H7", "shaft": "p6"},
        {
            "hole": {"lower_um": 0.0, "upper_um": 21.0},
            "shaft": {"lower_um": 22.0, "upper_um": 35.0},
            "clearance_min_um": -35.0,
            "clearance_max_um": -1.0,
            "character": "interference",
        },
    ),
    # ANSI/ASME B4.1-1967, RC4 over 1.19 to 1.97 in: 1.0 to 3.6 thou (Machinery's Handbook, 31st ed.).
    "inch-fit": (
        {"diameter": "1 1/2 in", "fit_class": "RC4"},
        {"clearance_min_um": 25.4, "clearance_max_um": 91.44, "character": "clearance"},
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("inch-fit", {"diameter": "6 in"}, "diameter"),
    ("inch-fit", {"fit_class": "RC99"}, "fit_class"),
    ("inch-fit", {"diameter": "0.1 in", "fit_class": "LT3"}, "diameter"),
    ("limits", {"diameter": "25"}, "diameter"),
    ("limits", {"diameter": 25}, "diameter"),
    ("limits", {"diameter": "900 mm"}, "diameter"),
    ("limits", {"zone": "Q99"}, "zone"),
    ("limits", {"zone": None}, "zone"),
    ("limits", {"colour": "red"}, "colour"),
    ("fit", {"hole": "p6"}, "hole"),
    ("fit", {"shaft": "zz1"}, "shaft"),
    ("fit", {"temperature": "80 °C"}, "hole_material"),
    ("fit", {"temperature": "80 °C", "hole_material": "cheese", "shaft_material": "steel"}, "hole_material"),
]
