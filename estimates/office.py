"""What the Office page shows: who stands where, how long, stages over the weeks, quoted against cost."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from estimates.margins import Margin, margins_of
from shop import clock
from shop.models import CLOSED, STAGES, StageChange, Ticket

WEEKS = 8
# bands of the chart from the foot up, as units go through the shop from the top down; at most seven
BANDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("tested", ("tested",)),
    ("built", ("built",)),
    ("parts there, reworked", ("parts complete", "reworked")),
    ("waiting for parts", ("agreed",)),
    ("waiting for a yes", ("quoted",)),
    ("examined", ("examined",)),
    ("received, stripped", ("received", "stripped")),
)
AGREED = ("agreed", "parts complete", "reworked", "built", "tested", "handed over")


@dataclass(frozen=True, slots=True)
class Standing:
    """The open tickets of one stage, the longest there first, with their days in it."""

    stage: str
    tickets: tuple[tuple[Ticket, int], ...]

    @property
    def oldest_days(self) -> int:
        return max((days for _, days in self.tickets), default=0)


def standings(at: datetime | None = None) -> list[Standing]:
    """Open tickets by stage, in the order of the stages."""
    by_stage: dict[str, list[Ticket]] = {}
    rows = Ticket.objects.open().select_related("customer", "family").order_by("stage_since", "number")
    for one in rows:
        by_stage.setdefault(one.stage, []).append(one)
    return [
        Standing(stage, tuple((one, one.days_in_stage(at)) for one in by_stage.get(stage, ())))
        for stage in STAGES
        if stage not in CLOSED
    ]


@dataclass(frozen=True, slots=True)
class Weeks:
    """Units in each band at the end of each day; ``days`` runs over the weeks, the last is today."""

    days: tuple[date, ...]
    counts: tuple[tuple[int, ...], ...]  # one row a band, in the order of BANDS

    @property
    def is_empty(self) -> bool:
        return not any(any(row) for row in self.counts)

    @property
    def table(self) -> list[tuple[date, list[int], int]]:
        """Each week's last day with its counts, and their sum."""
        rows = []
        for place in range(len(self.days) - 1, -1, -7):
            found = [row[place] for row in self.counts]
            rows.append((self.days[place], found, sum(found)))
        return rows[::-1]


def weeks_of_stages(at: datetime | None = None, weeks: int = WEEKS) -> Weeks:
    """From the stage log: where each unit stood at the end of each day of the last weeks."""
    today = clock.today(at)
    days = tuple(today - timedelta(days=back) for back in range(weeks * 7, -1, -1))
    band = {stage: n for n, (_, stages) in enumerate(BANDS) for stage in stages}
    counts = [[0] * len(days) for _ in BANDS]
    for stays in _stays(days[0]):
        for stage, first, last in stays:
            if stage not in band:
                continue
            start = max(0, (first - days[0]).days)
            end = len(days) if last is None else (last - days[0]).days
            for place in range(start, min(end, len(days))):
                counts[band[stage]][place] += 1
    return Weeks(days, tuple(tuple(row) for row in counts))


def _stays(since: date) -> Iterable[list[tuple[str, date, date | None]]]:
    """For each ticket: stage, the day it came into it, the day it left it."""
    changes: dict[int, list[tuple[str, date]]] = {}
    for ticket, after, moment in StageChange.objects.order_by("at", "id").values_list(
        "ticket", "after", "at"
    ):
        changes.setdefault(ticket, []).append((after, clock.local(moment).date()))
    for ticket, opened in Ticket.objects.values_list("pk", "opened_at"):
        steps = [(STAGES[0], clock.local(opened).date()), *changes.get(ticket, ())]
        ends: Sequence[date | None] = [*(day for _, day in steps[1:]), None]
        if ends[-1] is None and steps[-1][0] in CLOSED and steps[-1][1] < since:
            continue
        yield [(stage, first, last) for (stage, first), last in zip(steps, ends, strict=True)]


def quoted_against_cost(limit: int = 50) -> list[Margin]:
    """Tickets that are agreed or further, the newest first."""
    rows = Ticket.objects.filter(stage__in=AGREED).select_related("customer", "family").order_by("-number")
    return margins_of(rows[:limit])
