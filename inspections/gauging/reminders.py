"""A letter to those who keep the gauges when one is due for calibration, once for each gauge and due day."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from inspections.gauge_models import Gauge
from inspections.gauging.gauges import SOON_DAYS
from inspections.gauging.kinds import CHAIN
from inspections.gauging.registering import may_keep_gauges
from shop import clock, outbox
from shop.access import actor_for
from shop.mailing import send_letter, usable_address
from shop.models import User


def queue_due_gauges(key: str, at: datetime | None = None) -> int:
    """Outbox rule: put a row for each gauge that is due within thirty days; how many were new.

    A chain is due when one of its gauges is: that one is reminded of, the chain is not.
    """
    at = at or clock.now()
    soon = clock.today(at) + timedelta(days=SOON_DAYS)
    rows = Gauge.objects.filter(retired_at__isnull=True, due_on__lte=soon).exclude(kind=CHAIN)
    return sum(
        outbox.put(
            key=f"gauge due:{pk}:{due}",
            rule="send gauge reminder",
            payload={"gauge": pk, "due": due.isoformat()},
            at=at,
        )
        for pk, due in rows.values_list("pk", "due_on")
        if due is not None
    )


def keepers() -> list[User]:
    """People who keep the register and have an address."""
    rows = User.objects.filter(is_active=True, supplier__isnull=True).exclude(email="").order_by("pk")
    return [one for one in rows if may_keep_gauges(actor_for(one)) and usable_address(one.email)]


def send_gauge_reminder(key: str, gauge: int, due: str) -> int:
    """Outbox rule: write to the keepers, unless the gauge was calibrated or retired meanwhile; how many."""
    row = Gauge.objects.filter(pk=gauge, retired_at__isnull=True, due_on=date.fromisoformat(due)).first()
    if row is None or row.due_on is None:
        return 0
    to = keepers()
    for one in to:
        send_letter(
            to=one.email,
            subject=f"Gauge {row.code} is due for calibration",
            body=(
                f"{row.code} {row.name} is due for calibration on {row.due_on:%d %B %Y}. "
                "Past that day it is refused for measuring.\n\n"
                f"Kept: {row.whereabouts or 'not said'}\n"
            ),
            key=f"{key}:{one.pk}",
        )
    return len(to)
