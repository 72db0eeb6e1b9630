"""Charts of the Office, drawn as on squared paper: plain SVG with the classes of the style sheet."""

from datetime import date

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from estimates.office import BANDS, Weeks

LEFT, RIGHT, TOP, FOOT = 64.0, 760.0, 24.0, 264.0
WIDTH, HEIGHT = 960.0, 316.0
SQUARE = 7  # days in one square of the paper
APART = 19.0  # least distance between two letterings


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _step(most: int) -> int:
    """Units in one square, so that at most eight squares stand above each other."""
    return next(
        step for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if most <= 8 * step or step == 1000
    )


def _apart(wanted: list[float]) -> list[float]:
    """The places of letterings, from the foot up, pushed up until none touches the one below."""
    placed: list[float] = []
    for y in wanted:
        placed.append(min(y, placed[-1] - APART) if placed else y)
    return placed


def stage_chart(weeks: Weeks) -> SafeString:
    """Units by stage, one above the other, day by day; nothing if there were none."""
    if weeks.is_empty:
        return SafeString()
    totals = [sum(row[place] for row in weeks.counts) for place in range(len(weeks.days))]
    step = _step(max(totals))
    top = -(-max(totals) // step) * step
    across = (RIGHT - LEFT) / len(weeks.days)

    def x(place: int) -> float:
        return LEFT + place * across

    def y(units: int) -> float:
        return FOOT - units / top * (FOOT - TOP)

    below, bands, letters, wanted = [0] * len(weeks.days), [], [], []
    for number, (row, (name, _)) in enumerate(zip(weeks.counts, BANDS, strict=True), 1):
        above = [low + units for low, units in zip(below, row, strict=True)]
        if any(row):
            edge = f"M{_n(x(0))} {_n(y(above[0]))}" + "".join(
                f"V{_n(y(units))}H{_n(x(place + 1))}" for place, units in enumerate(above)
            )
            back = "".join(
                f"V{_n(y(below[place]))}H{_n(x(place))}" for place in range(len(below) - 1, -1, -1)
            )
            bands.append(f'<path class="band band-{number}" d="{edge}{back}Z"/>')
            letters.append(name if row[-1] else f"{name}: none now")
            wanted.append((y(above[-1]) + y(below[-1])) / 2 + 5)
        below = above
    texts = "".join(
        f'<text x="{_n(RIGHT + 10)}" y="{_n(at)}">{escape(name)}</text>'
        for name, at in zip(letters, _apart(wanted), strict=True)
    )
    return mark_safe(  # noqa: S308  numbers and the program's own words
        f'<svg class="chart" viewBox="0 0 {_n(WIDTH)} {_n(HEIGHT)}" role="img" '
        f'aria-label="Units in the shop by stage, day by day over {len(weeks.days) // 7} weeks. '
        f'The figures are in the table below.">'
        f"{_paper(weeks.days, top, step, across)}{''.join(bands)}"
        f'<path class="axis" d="M{_n(LEFT)} {_n(TOP - 6)}V{_n(FOOT)}H{_n(RIGHT + 4)}"/>{texts}</svg>'
    )


def _paper(days: tuple[date, ...], top: int, step: int, across: float) -> str:
    """The squares, and what the axes say: units upwards, the days of the weeks along."""
    rules, texts = [], []
    for units in range(0, top + 1, step):
        y = FOOT - units / top * (FOOT - TOP)
        rules.append(f"M{_n(LEFT)} {_n(y)}H{_n(RIGHT)}")
        texts.append(f'<text x="{_n(LEFT - 8)}" y="{_n(y + 5)}" text-anchor="end">{units}</text>')
    for place in range(len(days) - 1, -1, -SQUARE):
        x = LEFT + (place + 1) * across
        rules.append(f"M{_n(x)} {_n(TOP)}V{_n(FOOT)}")
        texts.append(
            f'<text x="{_n(x)}" y="{_n(FOOT + 21)}" text-anchor="middle">'
            f"{days[place].day} {days[place]:%b}</text>"
        )
    middle = (TOP + FOOT) / 2
    texts.append(
        f'<text x="{_n((LEFT + RIGHT) / 2)}" y="{_n(FOOT + 44)}" text-anchor="middle">end of the week</text>'
    )
    texts.append(
        f'<text transform="translate(22 {_n(middle)}) rotate(-90)" text-anchor="middle">units</text>'
    )
    return f'<path class="grid" d="{"".join(rules)}"/>{"".join(texts)}'
