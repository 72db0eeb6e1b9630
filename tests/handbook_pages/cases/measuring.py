"""What the topics of measuring answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # An inch is 25.4 mm exactly (ISO 31-1, from memory): 1.125 in.
    "quantity": ({"text": "1 1/8 in", "kind": "length"}, {"canonical": 28.575, "unit": "in"}),
    # JCGM 106:2012, 7.3: one standard uncertainty below the limit, Φ(1) = 0.8413.
    "conformity": (
        {"value": "25.019 mm", "expanded_uncertainty": "0.004 mm", "upper": "25.021 mm"},
        {"probability": 0.841345, "decision": "too close to call", "acceptance_lower_mm": None},
    ),
    # ISO 1: 20 °C is the reference, so nothing is corrected there.
    "temperature": (
        {"length": "80.000 mm", "temperature": "20 °C", "material": "steel"},
        {"length_at_20_mm": 80.0, "correction_um": 0.0},
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("quantity", {"text": "28,540 mm"}, "text"),
    ("quantity", {"text": "3 thou", "kind": "colour"}, "kind"),
    ("conformity", {"upper": None}, "lower"),
    ("conformity", {"coverage_factor": 0}, "coverage_factor"),
    ("conformity", {"coverage_factor": True}, "coverage_factor"),
    ("conformity", {"confidence": "1.5"}, "confidence"),
    ("conformity", {"expanded_uncertainty": "−0.1 mm"}, "expanded_uncertainty"),
    ("temperature", {"temperature": "300 °C"}, "temperature"),
    ("temperature", {"material": "cheese"}, "material"),
    ("temperature", {"gauge_temperature": "28 °C"}, "gauge_material"),
]
