"""The limit bar as SVG. Pure: no database, no Django.

Classes only, as in the unit drawing; lengths come in mm and are lettered in the unit that was typed.
"""

import math
from collections.abc import Sequence
from html import escape

_LEFT, _RIGHT, _AXIS = 110.0, 370.0, 40.0  # the zone between two limits stands here on a bar 480 wide
_EDGE = 14.0
_ABSURD_MM = 1e9  # no part is so large: a slip that must not reach the arithmetic of a picture
_WIDTH = 480.0


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0").replace("-0.0", "0")


# mm in one of the unit, and decimals. The inch is exactly 25.4 mm (ISO 31-1, from memory).
_DECIMALS = {"mm": (1.0, 3), "in": (25.4, 4), "thou": (0.0254, 1), "µm": (0.001, 0)}


def _typed(value_mm: float, unit: str) -> str:
    size, places = _DECIMALS.get(unit, _DECIMALS["mm"])
    return f"{value_mm / size:.{places}f}"


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) and abs(value) < _ABSURD_MM else None


class _Scale:
    """mm to the bar's units. A value off the bar is held at its edge and ``off`` says at which."""

    def __init__(self, lower: float | None, upper: float | None, value: float | None, guard: float) -> None:
        # A side without a limit has no length of its own: room for a value inside, however deep;
        # one outside stretches the bar only so far, then the scale is broken.
        stated = lower if lower is not None else upper if upper is not None else 0.0
        away = 0.0 if value is None else value - stated
        inside = away >= 0 if lower is not None else away <= 0
        stretch = abs(away) * 1.25 if inside else min(abs(away) * 3, max(guard * 12, 0.2))
        room = max(guard * 6, stretch, 0.02)
        if lower is not None and upper is not None:
            self.zero, self.span = lower, upper - lower
        elif lower is not None:
            self.zero, self.span = lower, room
        else:
            self.span = room
            self.zero = (upper or 0.0) - self.span
        floor = max(abs(self.zero), 1.0) * 1e-9
        self.span = max(self.span, floor)

    def at(self, value: float) -> float:
        place = _LEFT + (_RIGHT - _LEFT) * ((value - self.zero) / self.span)
        return min(max(place, _EDGE), _WIDTH - _EDGE)

    def off(self, value: float) -> int:
        place = _LEFT + (_RIGHT - _LEFT) * ((value - self.zero) / self.span)
        return -1 if place < _EDGE else 1 if place > _WIDTH - _EDGE else 0


def _said(
    value: float | None,
    expanded: float,
    lower: float | None,
    upper: float | None,
    unit: str,
    needles: Sequence[tuple[float, float]],
    disputed: bool,
) -> str:
    """The bar in words, for people who cannot see it."""
    words = []
    if needles:
        each = " and ".join(f"{_typed(one, unit)} {unit}" for one, _ in needles)
        words.append(f"Readings disagree: {each}")
    elif disputed:
        words.append("Two readings disagree")
    elif value is None:
        words.append("No reading yet")
    else:
        words.append(f"{_typed(value, unit)} {unit}, plus or minus {_typed(expanded, unit)}")
    if lower is not None and upper is not None:
        words.append(f"limits {_typed(lower, unit)} to {_typed(upper, unit)} {unit}")
    elif lower is not None:
        words.append(f"not below {_typed(lower, unit)} {unit}")
    elif upper is not None:
        words.append(f"not above {_typed(upper, unit)} {unit}")
    else:
        words.append("no limits stated")
    if value is not None and lower is not None and value < lower:
        words.append("below the lower limit")
    if value is not None and upper is not None and value > upper:
        words.append("above the upper limit")
    return "; ".join(words)


def _zone(scale: _Scale, lower: float | None, upper: float | None, guard: float) -> str:
    """The zone, its guard bands and its limits; a side without a limit fades into the axis."""
    left = scale.at(lower) if lower is not None else _EDGE
    right = scale.at(upper) if upper is not None else _WIDTH - _EDGE
    top, foot = _n(_AXIS - 10), _n(_AXIS + 10)
    # Drawn from the open side round, so that a side without a limit stays open.
    if lower is None:
        outline = f"M{_n(left)} {top}H{_n(right)}V{foot}H{_n(left)}"
    else:
        outline = f"M{_n(right)} {top}H{_n(left)}V{foot}H{_n(right)}" + ("" if upper is None else "Z")
    parts = [f'<path class="zone" d="{outline}"/>']
    most = (right - left) / 2 if lower is not None and upper is not None else right - left
    band = min(guard / scale.span * (_RIGHT - _LEFT), most)
    if band > 0.05:
        bands = []
        if lower is not None:
            bands.append(f"M{_n(left)} {top}H{_n(left + band)}V{foot}H{_n(left)}Z")
        if upper is not None:
            bands.append(f"M{_n(right - band)} {top}H{_n(right)}V{foot}H{_n(right - band)}Z")
        parts.append(f'<path class="guard" d="{"".join(bands)}"/>')
    return "".join(parts)


def _limits(scale: _Scale, lower: float | None, upper: float | None, unit: str) -> str:
    """Limits with their figures, and the dimension line between them or away from the only one."""
    left = scale.at(lower) if lower is not None else _EDGE
    right = scale.at(upper) if upper is not None else _WIDTH - _EDGE
    parts, heads = [f'<path class="axis" d="M{_n(left)} 62H{_n(right)}"/>'], ""
    for value, x, inward in ((lower, left, 1), (upper, right, -1)):
        if value is None:
            continue
        heads += f"M{_n(x)} 62l{_n(inward * 9.0)} -2.6v5.2Z"
        parts.append(f'<path class="limit" d="M{_n(x)} 20V65"/>')
        parts.append(f'<text x="{_n(x)}" y="80" text-anchor="middle">{_typed(value, unit)}</text>')
    return "".join(parts) + f'<path class="arrowhead" d="{heads}"/>'


def _needle(scale: _Scale, value: float, expanded: float) -> str:
    x, off = scale.at(value), scale.off(value)
    if off:
        # Off the bar: the axis is broken and an arrow points to where the value lies.
        zigzag = "".join(
            f"M{_n(x - off * far)} 30L{_n(x - off * (far - 4))} 38 {_n(x - off * far)} 42 "
            f"{_n(x - off * (far - 4))} 50"
            for far in (22.0, 14.0)
        )
        head = f"M{_n(x + off * 10)} 40 {_n(x - off * 4)} 32V48Z"
        return f'<path class="whisker" d="{zigzag}"/><path class="needle broken-scale" d="{head}"/>'
    low, high = scale.at(value - expanded), scale.at(value + expanded)
    ends = f"M{_n(low)} 33V47M{_n(high)} 33V47" if high - low > 1 else ""
    return (
        f'<path class="whisker" d="M{_n(low)} 40H{_n(high)}{ends}"/>'
        f'<path class="needle" d="M{_n(x)} 14V56M{_n(x - 6)} 4H{_n(x + 6)}L{_n(x)} 14Z"/>'
    )


def limit_bar(
    *,
    value_mm: float | None,
    expanded_mm: float,
    lower_mm: float | None,
    upper_mm: float | None,
    guard_mm: float,
    unit: str,
    needles: Sequence[tuple[float, float]] = (),
    disputed: bool = False,
) -> str:
    """A value with its expanded uncertainty (k = 2) against its limits, all mm, lettered in ``unit``.

    One limit may be missing, or both. A figure that is not finite, or absurd, counts as not given.
    ``disputed``: instead of a value, ``needles`` has each reading with its expanded uncertainty, or nothing.
    """
    apart = [
        (place, abs(_finite(width) or 0.0)) for at, width in needles if (place := _finite(at)) is not None
    ]
    value, lower, upper = _finite(value_mm), _finite(lower_mm), _finite(upper_mm)
    expanded, guard = abs(_finite(expanded_mm) or 0.0), abs(_finite(guard_mm) or 0.0)
    if lower is not None and upper is not None and lower > upper:
        lower, upper = upper, lower
    said = escape(_said(value, expanded, lower, upper, unit, apart, disputed))
    body = f'<path class="axis" d="M8 {_n(_AXIS)}H{_n(_WIDTH - 8)}"/>'
    if lower is not None or upper is not None:
        stated = lower if lower is not None else upper or 0.0
        farthest = max((one for one, _ in apart), key=lambda one: abs(one - stated), default=value)
        scale = _Scale(lower, upper, farthest, guard)
        body += _zone(scale, lower, upper, guard) + _limits(scale, lower, upper, unit)
    else:
        middle, reach = value or 0.0, max(expanded * 4, 0.01)
        scale = _Scale(middle - reach, middle + reach, value, guard)
    for place, width in apart or ([] if value is None else [(value, expanded)]):
        body += _needle(scale, place, width)
    return (
        f'<svg class="limit-bar" viewBox="0 0 {_WIDTH:.0f} 84" role="img" aria-label="{said}">'
        f"<title>{said}</title>{body}</svg>"
    )
