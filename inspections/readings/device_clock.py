"""A tablet's clock is kept as it says and never believed: ours gives order and dates.

It is called off when it cannot be right: it says now what it is not now, it read before the unit was
stripped, or it read in the future. A reading that waited for the network for days is none of these.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

SLACK = timedelta(minutes=5)


def read_time(text: str) -> datetime | None:
    """A time as a device writes it (RFC 3339); none if it cannot be read or names no zone."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if found.tzinfo is None else found.astimezone(UTC) if 2 <= found.year <= 9998 else None


def in_utc(taken: datetime) -> datetime | None:
    """The device's time in UTC; none where a zone could carry it out of the calendar (years 2 to 9998)."""
    return taken.astimezone(UTC) if 2 <= taken.year <= 9998 else None


def is_off(*, taken: datetime, sent: datetime | None, opened: datetime, at: datetime) -> bool:
    """Is the device's clock far off? ``sent``: what it said when it sent, if it did; ``at``: ours then."""
    if sent is not None and abs(sent - at) > SLACK:
        return True
    return taken > at + SLACK or taken < opened - SLACK
