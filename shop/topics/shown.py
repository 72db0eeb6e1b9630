"""Figures in words for the pages of the Handbook: both systems, the typographic minus, no needless digits."""

from __future__ import annotations

import re
from collections.abc import Iterable

from shop.handbook.quantities import both, convert

PAIR = re.compile(r"([−+]?[0-9.]+ (?:mm|µm|N·m|N|MPa|°C)) \(([−+]?[0-9.]+ (?:in|thou|lbf ft|lbf|psi|°F))\)")
INCH = re.compile(r"[0-9] ?(?:in\b|inch|\"|thou\b|ft\b|lbf|psi\b|°F)")
METRIC = re.compile(r"[0-9] ?(?:mm|µm|um|cm|m|k?N|N·m|[Mk]?Pa|bar|°C)\b")


def in_inches(typed: Iterable[str]) -> bool:
    """Was everything that has a unit typed in the inch system?"""
    text = "\n".join(typed)
    return bool(INCH.search(text)) and not METRIC.search(text)


def inch_first(text: str) -> str:
    """The same figures with the inch system in front."""
    return PAIR.sub(r"\2 (\1)", text)


def um(value: float) -> str:
    if abs(value) < 0.05:
        return "0 µm (0 thou)"
    return f"{value:+.1f} µm ({value / 25.4:+.2f} thou)".replace("-", "−")


def play(value: float) -> str:
    """A clearance [µm] in words: less than nothing is interference."""
    word = "interference" if value < 0 else "clearance"
    return f"{word} {abs(value):.1f} µm ({abs(value) / 25.4:.2f} thou)"


def mm(value: float | None, resolution: float = 0.001) -> str:
    return "none" if value is None else both(value, resolution)


def share(value: float) -> str:
    if value > 0.9999:
        return "over 99.99 %"
    return "under 0.01 %" if value < 0.0001 else f"{value * 100:.2f} %"


def torque(value: float) -> str:
    return f"{value:.1f} N·m ({convert(value, 'torque', 'lbf ft'):.1f} lbf ft)"


def force(value: float) -> str:
    return f"{value:.0f} N ({convert(value, 'force', 'lbf'):.0f} lbf)".replace("-", "−")


def pressure(value: float) -> str:
    return f"{value:.1f} MPa ({convert(value, 'pressure', 'psi'):.0f} psi)".replace("-", "−")


def celsius(value: float) -> str:
    return f"{value:.0f} °C ({convert(value, 'temperature', '°F'):.0f} °F)".replace("-", "−")
