"""What the topic of the gauge study answers, and what it refuses, each naming its source."""

from __future__ import annotations

from typing import Any

from tests.handbook.checks import table

READINGS = [
    {"piece": row["piece"], "person": row["person"], "value": float(row["value"])}
    for row in table("gauge_study_msa4.csv")
]

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # AIAG, Measurement Systems Analysis, 4th edition, III-B: 10 pieces × 3 people × 3 repeats.
    "gauge-study": (
        {"readings": READINGS, "tolerance": "6 mm"},
        {
            "repeatability": 0.199933,
            "reproducibility": 0.226838,
            "gauge_rr": 0.302373,
            "part_variation": 1.042327,
            "gauge_rr_percent": 27.86,
            "percent_of_tolerance": 30.24,
            "distinct_categories": 4,
            "interaction_pooled": True,
        },
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("gauge-study", {"readings": None}, "readings"),
    ("gauge-study", {"readings": []}, "readings"),
    ("gauge-study", {"readings": READINGS[1:]}, "readings"),
    ("gauge-study", {"readings": READINGS[:30]}, "readings"),
    ("gauge-study", {"readings": [*READINGS, {"piece": "1", "person": "A"}]}, "readings"),
    ("gauge-study", {"readings": [{"piece": "1", "person": "A", "value": "wide"}]}, "readings"),
    ("gauge-study", {"readings": [row | {"value": 5} for row in READINGS]}, "readings"),
    ("gauge-study", {"tolerance": "0 mm"}, "tolerance"),
    ("gauge-study", {"tolerance": "6 kg"}, "tolerance"),
    ("gauge-study", {"spread": 5}, "spread"),
    ("gauge-study", {"lower": "−3 mm"}, "upper"),
    ("gauge-study", {"lower": "3 mm", "upper": "−3 mm"}, "upper"),
]
