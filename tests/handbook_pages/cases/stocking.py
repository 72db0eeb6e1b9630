"""What the topics of stock answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

# topic -> body, and what the contract says that it replies
GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # σ² = L σ_d² + d² σ_L² = 9 × 16 + 400 × 4; 180 + 1.644854 √1744 = 248.6911.
    "reorder": (
        {"mean_demand": 20, "sd_demand": 4, "lead_time": 9, "lead_time_sd": 2, "service_level": 0.95},
        {"reorder_point": 248.6911, "safety_stock": 68.6911, "lead_time_demand": 180.0},
    ),
    # Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., example 3.1.
    "order-quantity": (
        {"annual_demand": 1300, "order_cost": "8.00 EUR", "unit_cost": "0.75 EUR", "holding_rate": 0.3},
        {"quantity": 304.04678, "whole_quantity": 304, "running_cost": "68.41 EUR"},
    ),
    # Snyder and Shen, example 3.9 (Wagner and Whitin).
    "order-plan": (
        {"demands": [90, 120, 80, 70], "order_cost": 500, "holding_cost": 2},
        {"orders": [210.0, 0.0, 150.0, 0.0], "cost": 1380.0},
    ),
    # By hand: size 3 and interval 3 throughout; (1 − 0.1/2) × 3/3.
    "intermittent": (
        {"history": [0, 0, 3, 0, 0, 3, 0, 0, 3]},
        {"demand_per_period": 0.95, "size": 3.0, "interval": 3.0},
    ),
}

# topic, what is wrong, and the field that is named
BAD: list[tuple[str, dict[str, Any], str]] = [
    ("reorder", {"sd_demand": None}, "sd_demand"),
    ("reorder", {"sd_demand": 0.1, "model": "negative binomial", "lead_time_sd": 0}, "sd_demand"),
    ("reorder", {"model": "poisson"}, "lead_time_sd"),
    ("reorder", {"model": "gamma"}, "model"),
    ("reorder", {"service_level": 1}, "service_level"),
    ("reorder", {"service_level": "95 %"}, "service_level"),
    ("reorder", {"mean_demand": 0}, "mean_demand"),
    ("reorder", {"lead_time": -1}, "lead_time"),
    ("order-quantity", {"annual_demand": 0}, "annual_demand"),
    ("order-quantity", {"order_cost": "8.00 GBP"}, "unit_cost"),
    ("order-quantity", {"unit_cost": "cheap"}, "unit_cost"),
    ("order-quantity", {"unit_cost": -1}, "unit_cost"),
    ("order-quantity", {"holding_rate": 0}, "holding_rate"),
    ("order-quantity", {"breaks": [{"quantity": 10, "unit_cost": 0.8}]}, "breaks"),
    ("order-quantity", {"breaks": [{"quantity": 10}]}, "breaks"),
    ("order-quantity", {"shortage_cost": 0}, "shortage_cost"),
    ("order-plan", {"demands": None}, "demands"),
    ("order-plan", {"demands": [1, -1]}, "demands"),
    ("order-plan", {"holding_cost": "2 GBP", "order_cost": "500 EUR"}, "holding_cost"),
    ("order-plan", {"order_cost": True}, "order_cost"),
    ("intermittent", {"history": [0, 0]}, "history"),
    ("intermittent", {"history": [0, -2]}, "history"),
    ("intermittent", {"smoothing": 0}, "smoothing"),
    ("intermittent", {"variant": "other"}, "variant"),
]
