"""Drawings of figures in the Handbook: SVG as text, classes only. The table beside has the same data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from html import escape
from math import floor, log10

from shop.handbook.resampling import Forecast
from shop.handbook.survival import Survival

WIDTH, LEFT, RIGHT, TOP, FOOT = 480.0, 58.0, 464.0, 16.0, 236.0
ROW = 34.0
SQUARES = 5


def step_curve(curve: Survival, until: float) -> str:
    """Share still running over time with its band, on squared paper."""
    top = _round_up(until)

    def x(time: float) -> float:
        return LEFT + time / top * (RIGHT - LEFT)

    def y(share: float) -> float:
        return FOOT - share * (FOOT - TOP)

    points = [(0.0, 1.0), *zip(curve.times, curve.survival, strict=True)]
    line = _steps([(x(time), y(share)) for time, share in points], x(until))
    title = (
        f"Share still running over time, with its {curve.confidence * 100:g} % band. "
        "The figures are in the table."
    )
    return (
        f'<svg class="chart" viewBox="0 0 {_n(WIDTH)} 290" role="img" aria-label="{escape(title)}">'
        f"<title>{escape(title)}</title>{_band(curve, x, y, until)}"
        f"{_squares([f'{top * n / SQUARES:g}' for n in range(SQUARES + 1)])}"
        f'<path class="axis" d="M{_n(LEFT)} {_n(TOP - 6)}V{_n(FOOT)}H{_n(RIGHT + 4)}"/>'
        f'<path class="mark" fill="none" d="{line}"/>'
        f'<text x="{_n((LEFT + RIGHT) / 2)}" y="282" text-anchor="middle">time</text>'
        f'<text transform="translate(16 {_n((TOP + FOOT) / 2)}) rotate(-90)" text-anchor="middle">'
        "still running</text></svg>"
    )


def finish_lines(found: Forecast, start: date, promises: Sequence[date | None]) -> str:
    """Each unit's dates as a dimension line from the first level to the last, with its promise marked."""
    last = max((one.dates[-1] for one in found.jobs), default=start)
    last = max([last, *(day for day in promises if day is not None)])
    span = max((last - start).days, 1)
    foot = TOP + 24 + ROW * len(found.jobs)

    def x(day: date) -> float:
        return LEFT + 56 + max((day - start).days, 0) / span * (RIGHT - LEFT - 66)

    rules = [round(span * n / 4) for n in range(5)] if span >= 4 else [0, span]
    marks = "".join(f"M{_n(x(start + timedelta(days=n)))} {_n(TOP)}V{_n(foot)}" for n in rules)
    words = "".join(
        f'<text x="{_n(x(day))}" y="{_n(foot + 20)}" text-anchor="middle">{day.day} {day:%b}</text>'
        for day in (start + timedelta(days=n) for n in rules)
    )
    rows = "".join(
        _finish_row(
            one.code,
            [x(day) for day in one.dates],
            None if promise is None else x(promise),
            TOP + 24 + ROW * n,
        )
        for n, (one, promise) in enumerate(zip(found.jobs, promises, strict=True))
    )
    levels = ", ".join(f"{level:g}" for level in found.levels)
    title = f"Finish dates at the levels {levels}, a line for each unit. The figures are in the table."
    legend = f"held in {levels} of the draws" + ("; thick line: promised" if any(promises) else "")
    return (
        f'<svg class="chart" viewBox="0 0 {_n(WIDTH)} {_n(foot + 54)}" role="img" '
        f'aria-label="{escape(title)}"><title>{escape(title)}</title>'
        f'<path class="grid" d="{marks}"/>{rows}{words}'
        f'<text x="{_n(WIDTH / 2)}" y="{_n(foot + 46)}" text-anchor="middle">{escape(legend)}</text>'
        f'<path class="axis" d="M{_n(x(start))} {_n(TOP)}V{_n(foot)}H{_n(RIGHT)}"/></svg>'
    )


def _finish_row(code: str, at: list[float], promise: float | None, y: float) -> str:
    ends = "".join(f"M{_n(one)} {_n(y - 8)}V{_n(y + 8)}" for one in at)
    held = "" if promise is None else f'<path class="promise" d="M{_n(promise)} {_n(y - 14)}V{_n(y + 14)}"/>'
    shown = code if len(code) <= 12 else f"{code[:11]}…"
    return (
        f'<text x="8" y="{_n(y + 5)}">{escape(shown)}</text>'
        f'<path class="bar" d="M{_n(at[0])} {_n(y)}H{_n(at[-1])}{ends}"/>{held}'
    )


def _band(curve: Survival, x: Callable[[float], float], y: Callable[[float], float], until: float) -> str:
    """The band as one closed outline, as far as it has a value."""
    known = [
        (time, low, high)
        for time, low, high in zip(curve.times, curve.lower, curve.upper, strict=True)
        if low is not None and high is not None
    ]
    if not known:
        return ""
    end = until
    if len(known) < len(curve.times):
        end = curve.times[len(known)]
    over = _steps([(x(time), y(high)) for time, _, high in known], x(end))
    under = [(x(time), y(low)) for time, low, _ in known]
    back = f"V{_n(under[-1][1])}"
    for n in range(len(under) - 1, 0, -1):
        back += f"H{_n(under[n][0])}V{_n(under[n - 1][1])}"
    return f'<path class="band band-1" d="{over}{back}H{_n(under[0][0])}Z"/>'


def _steps(points: list[tuple[float, float]], end: float) -> str:
    (first, height), *rest = points
    return f"M{_n(first)} {_n(height)}" + "".join(f"H{_n(x)}V{_n(y)}" for x, y in rest) + f"H{_n(end)}"


def _squares(along: list[str]) -> str:
    rules, words = [], []
    for n, word in enumerate(along):
        x = LEFT + n / (len(along) - 1) * (RIGHT - LEFT)
        rules.append(f"M{_n(x)} {_n(TOP)}V{_n(FOOT)}")
        words.append(f'<text x="{_n(x)}" y="{_n(FOOT + 22)}" text-anchor="middle">{escape(word)}</text>')
    for n in range(SQUARES + 1):
        y = FOOT - n / SQUARES * (FOOT - TOP)
        rules.append(f"M{_n(LEFT)} {_n(y)}H{_n(RIGHT)}")
        words.append(f'<text x="{_n(LEFT - 8)}" y="{_n(y + 5)}" text-anchor="end">{n / SQUARES:.1f}</text>')
    return f'<path class="grid" d="{"".join(rules)}"/>{"".join(words)}'


def _round_up(value: float) -> float:
    """The next of 1, 1.5, 2, 3, 5 or 7.5 times a power of ten."""
    if value <= 0:
        return 1.0
    ten = 10.0 ** floor(log10(value))
    return next(ten * step for step in (1, 1.5, 2, 3, 5, 7.5, 10, 15) if value <= ten * step * (1 + 1e-12))


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
