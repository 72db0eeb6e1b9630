"""Gauges: which are in use, which are fine enough for a check, and whether one is past due. µm, k = 2."""

from collections.abc import Iterable
from datetime import date, datetime

from inspections.document import Check
from inspections.gauging.kinds import fits, kinds_of, past_due
from inspections.gauging.registering import add_gauge
from inspections.models import Gauge
from shop import clock

__all__ = [
    "add_gauge",
    "due_soon",
    "fine_gauges",
    "fits",
    "gauges_in_use",
    "is_fine_enough",
    "is_overdue",
    "kinds_of",
]

SOON_DAYS = 30


def gauges_in_use() -> list[Gauge]:
    """Gauges that may be read with, by code."""
    return list(Gauge.objects.filter(retired_at__isnull=True))


def is_fine_enough(check: Check, gauge: Gauge) -> bool:
    return check.gauge_um is None or gauge.expanded_um <= check.gauge_um


def fine_gauges(check: Check, gauges: Iterable[Gauge], dimension: str = "") -> list[Gauge]:
    """Those of the right kind whose expanded uncertainty the check accepts, the finest first."""
    return sorted(
        (one for one in gauges if is_fine_enough(check, one) and fits(one.measures, dimension)),
        key=lambda one: (one.expanded_um, one.code),
    )


def is_overdue(gauge: Gauge, at: datetime | None = None) -> bool:
    return past_due(gauge, clock.today(at))


def due_soon(gauge: Gauge, today: date) -> bool:
    """Due within the next thirty days, and not past it."""
    return gauge.due_on is not None and 0 <= (gauge.due_on - today).days <= SOON_DAYS
