"""Drawings of the Handbook's answers: zones either side of the zero line, a thread, a washer pack.

SVG as text, classes only; every figure in a drawing stands in the answer's rows as well. Not to scale.
Nothing is hatched: hatching means a verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import radians, tan

from django.utils.safestring import SafeString, mark_safe

WIDTH = 480.0


def zones(named: Sequence[tuple[str, float, float]]) -> SafeString:
    """Tolerance zones as bars either side of the zero line: (name, lower, upper) in µm, to one scale."""
    low = min(0.0, *(one[1] for one in named))
    high = max(0.0, *(one[2] for one in named))
    scale = 150.0 / max(high - low, 1e-9)
    top = 34.0

    def y(value: float) -> float:
        return top + (high - value) * scale

    bars, words = [], []
    step = (WIDTH - 150) / len(named)
    for n, (name, lower, upper) in enumerate(named):
        x = 130 + step * n + step / 2
        kind = "metal" if n % 2 == 0 else "part"
        height = max(y(lower) - y(upper), 2.0)
        bars.append(
            f'<rect class="{kind}" x="{_n(x - 44)}" y="{_n(y(upper))}" width="88" height="{_n(height)}"/>'
        )
        words.append(_text(x, y(upper) - 8, f"{_um(upper)}"))
        words.append(_text(x, y(lower) + 19, f"{_um(lower)}"))
        words.append(_text(x, top + 150 + 52, name))
    said = "; ".join(f"{name} from {_um(lower)} to {_um(upper)} µm" for name, lower, upper in named)
    line = f'<path class="outline" d="M96 {_n(y(0))}H{_n(WIDTH - 12)}"/>' + _text(52, y(0) + 5, "zero line")
    line += _text(52, y(0) + 23, "µm")
    return _svg(WIDTH, top + 150 + 64, f"Tolerance zones: {said}", line + "".join(bars) + "".join(words))


def thread_profile(pitch_mm: float, angle_deg: float, taper: bool, words: str) -> SafeString:
    """Three teeth of a thread's form at its own angle, with the pitch as a dimension line."""
    pitch = 110.0
    depth = pitch / 2 / tan(radians(angle_deg / 2)) * (0.75 if angle_deg == 60 else 0.6667)
    flat = pitch / 8 if angle_deg == 60 else pitch / 10
    crest, root = 60.0, 60.0 + depth
    fall = 3.5 if taper else 0.0
    x, y = 40.0, root
    path = [f"M{_n(x)} {_n(y + 70)}V{_n(y)}"]
    for n in range(3):
        drop = fall * n
        half = (pitch - 2 * flat) / 2
        path.append(
            f"L{_n(x + half)} {_n(crest + drop)}H{_n(x + half + flat)}"
            f"L{_n(x + 2 * half + flat)} {_n(root + drop)}H{_n(x + pitch)}"
        )
        x += pitch
    path.append(f"V{_n(root + 70)}Z")
    first = 40.0 + (pitch - flat) / 2
    body = (
        f'<path class="metal" d="{"".join(path)}"/>'
        f'<path class="leader" d="M{_n(first)} {_n(crest - 6)}V26'
        f'M{_n(first + pitch)} {_n(crest + fall - 6)}V26"/>'
        f'<g class="dimension"><path class="reach" d="M{_n(first)} 32H{_n(first + pitch)}"/></g>'
        + _text(first + pitch / 2, 24, f"P {pitch_mm:.4g} mm")
        + _text(40 + 1.5 * pitch, root + 46 + fall, f"{angle_deg:g}°{', taper 1 : 16' if taper else ''}")
    )
    return _svg(
        WIDTH, root + 82, f"{words}: pitch {pitch_mm:.4g} mm, angle {angle_deg:g}°. Not to scale", body
    )


def washer_pack(
    washers: Sequence[str], float_mm: float, least_mm: float, most_mm: float, low_mm: float, high_mm: float
) -> SafeString:
    """The washers chosen, and the float they leave on its limits: a needle, with a whisker to its worst."""
    parts = []
    x = 24.0
    for code in washers[:8]:
        parts.append(f'<rect class="solid" x="{_n(x)}" y="40" width="14" height="74"/>')
        parts.append(f'<text x="{_n(x + 7)}" y="132" text-anchor="middle">{escape(code[:10])}</text>')
        x += max(30.0, 9.0 * len(code[:10]) + 12)
    left, right = max(x + 40, 230.0), WIDTH - 40.0
    span = max(most_mm - least_mm, 1e-9)

    def at(value: float) -> float:
        return min(
            max(left + (right - left) * (0.15 + 0.7 * (value - least_mm) / span), left - 14), right + 14
        )

    parts.append(f'<path class="outline" d="M{_n(at(least_mm))} 58V98M{_n(at(most_mm))} 58V98"/>')
    parts.append(f'<path class="fine" d="M{_n(left - 14)} 78H{_n(right + 14)}"/>')
    parts.append(f'<path class="fine" d="M{_n(at(low_mm))} 70V86M{_n(at(high_mm))} 70V86"/>')
    parts.append(f'<path class="outline" d="M{_n(at(low_mm))} 78H{_n(at(high_mm))}"/>')
    parts.append(f'<path class="solid" d="M{_n(at(float_mm) - 6)} 46h12l-6 16Z"/>')
    parts.append(_text(at(least_mm), 116, f"{least_mm:.2f}") + _text(at(most_mm), 116, f"{most_mm:.2f}"))
    parts.append(_text(at(float_mm), 36, f"float {float_mm:.3f} mm"))
    said = (
        f"Washers {', '.join(washers) or 'none'} leave {float_mm:.3f} mm, at the worst {low_mm:.3f} to "
        f"{high_mm:.3f}; wanted {least_mm:.2f} to {most_mm:.2f} mm"
    )
    return _svg(WIDTH, 146, said, "".join(parts))


def _svg(width: float, height: float, said: str, body: str) -> SafeString:
    return mark_safe(  # noqa: S308  our own drawing; what was typed is escaped
        f'<svg class="drawing" viewBox="0 0 {_n(width)} {_n(height)}" role="img" aria-label="{escape(said)}">'
        f"<title>{escape(said)}</title>{body}</svg>"
    )


def _text(x: float, y: float, words: str) -> str:
    return f'<text x="{_n(x)}" y="{_n(y)}" text-anchor="middle">{escape(words)}</text>'


def _um(value: float) -> str:
    return f"{value:+g}".replace("-", "−") if value else "0"


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
