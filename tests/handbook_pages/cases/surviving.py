"""What the topic of survival answers, and what it refuses, each naming its source."""

from __future__ import annotations

from typing import Any

FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # NIST/SEMATECH e-Handbook 8.4.1.3: shape 1.7208, scale 606.528; of the ten that run on at 500 h
    # 2.3227 fail by 600 h: 10 (1 − S(600)/S(500)).
    "survival": (
        {
            "durations": [*FAILED, *[500] * 10],
            "observed": [*[True] * 10, *[False] * 10],
            "ages": [500] * 10,
            "term": 600,
        },
        {
            "times": [float(one) for one in FAILED],
            "weibull_shape": 1.7208,
            "weibull_scale": 606.528,
            "expected_comebacks": 2.322738,
        },
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("survival", {"durations": None}, "durations"),
    ("survival", {"durations": []}, "durations"),
    ("survival", {"durations": [-1, 2]}, "observed"),
    ("survival", {"durations": [-1, 2], "observed": None}, "durations"),
    ("survival", {"durations": ["soon"]}, "durations"),
    ("survival", {"durations": [1] * 2001, "observed": None}, "durations"),
    ("survival", {"observed": [True]}, "observed"),
    ("survival", {"observed": ["perhaps"]}, "observed"),
    ("survival", {"confidence": 1}, "confidence"),
    ("survival", {"term": None}, "term"),
    ("survival", {"ages": None}, "ages"),
    ("survival", {"term": -5}, "term"),
    ("survival", {"durations": [5, 6], "observed": [False, False]}, "ages"),
    ("survival", {"other_durations": [1, 2], "other_observed": [True]}, "other_observed"),
]
