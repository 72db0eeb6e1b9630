"""The shop's clock. Rules take ``at``; by default it is this, which the demonstration and tests may shift."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

_shift: ContextVar[timedelta] = ContextVar("shift", default=timedelta(0))


def now() -> datetime:
    """The present moment in UTC, shifted if a test or the demonstration says so."""
    return datetime.now(UTC) + _shift.get()


def local(at: datetime) -> datetime:
    return at.astimezone(ZoneInfo(settings.TIME_ZONE))


def today(at: datetime | None = None) -> date:
    """The day in the shop's zone."""
    return local(at or now()).date()


@contextmanager
def shifted(by: timedelta) -> Iterator[None]:
    """Within the block the clock is ahead (or behind) by that much."""
    token = _shift.set(_shift.get() + by)
    try:
        yield
    finally:
        _shift.reset(token)


@contextmanager
def standing_at(moment: datetime) -> Iterator[None]:
    """Within the block the clock starts from ``moment`` and runs on."""
    with shifted(moment - now()):
        yield
