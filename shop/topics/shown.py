"""Figures in words for the pages of the Handbook: both systems, the typographic minus, no needless digits."""

from __future__ import annotations

from shop.handbook.quantities import both, convert


def um(value: float) -> str:
    return f"{value:+.1f} µm ({value / 25.4:+.2f} thou)".replace("-", "−")


def mm(value: float | None, resolution: float = 0.0001) -> str:
    return "none" if value is None else both(value, resolution)


def share(value: float) -> str:
    return "over 99.99 %" if value > 0.9999 else f"{value * 100:.2f} %"


def torque(value: float) -> str:
    return f"{value:.1f} N·m ({convert(value, 'torque', 'lbf ft'):.1f} lbf ft)"


def force(value: float) -> str:
    return f"{value:.0f} N ({convert(value, 'force', 'lbf'):.0f} lbf)".replace("-", "−")


def pressure(value: float) -> str:
    return f"{value:.1f} MPa ({convert(value, 'pressure', 'psi'):.0f} psi)".replace("-", "−")


def celsius(value: float) -> str:
    return f"{value:.0f} °C ({convert(value, 'temperature', '°F'):.0f} °F)".replace("-", "−")
