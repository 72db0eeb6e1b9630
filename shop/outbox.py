"""What must happen: rows written with the change, claimed by a conditional update, delivered to a rule.

A row's rule may run twice (a worker killed after the work and before the mark): rules key their effects
by the row, so the second run changes nothing.
"""

import logging
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.utils.module_loading import import_string

from shop import clock
from shop.models import Outbox

HARD_LIMIT_S = 300
LEASE = timedelta(seconds=2 * HARD_LIMIT_S)  # longer than the time in the queue and the hard limit
MOST_TRIES = 8

# name of a rule -> dotted path of its function; each app adds its own in ready()
RULES: dict[str, str] = {}

log = logging.getLogger(__name__)


def put(
    *,
    key: str,
    rule: str,
    payload: dict[str, Any] | None = None,
    due: datetime | None = None,
    at: datetime | None = None,
) -> bool:
    """Write the row, in the caller's transaction; False if that key stands already."""
    if rule not in RULES:
        raise KeyError(f"no outbox rule is called {rule}")
    at = at or clock.now()
    _row, made = Outbox.objects.get_or_create(
        key=key, defaults={"rule": rule, "payload": payload or {}, "due_at": due or at, "made_at": at}
    )
    return made


def _claimable(at: datetime) -> Q:
    return Q(done_at__isnull=True, given_up_at__isnull=True, due_at__lte=at) & (
        Q(lease_until__isnull=True) | Q(lease_until__lt=at)
    )


def claim(limit: int = 20, at: datetime | None = None) -> list[int]:
    """Take up to ``limit`` due rows for a lease and return their ids; each row has one taker."""
    at = at or clock.now()
    taken = []
    waiting = Outbox.objects.filter(_claimable(at)).order_by("due_at", "id").values_list("pk", flat=True)
    for pk in list(waiting[:limit]):
        won = Outbox.objects.filter(_claimable(at), pk=pk).update(
            lease_until=at + LEASE, tries=F("tries") + 1
        )
        if won:
            taken.append(pk)
    return taken


def deliver(pk: int) -> None:
    """Hand one claimed row to its rule. Trouble is kept on the row and tried again later, then given up."""
    row = Outbox.objects.filter(pk=pk, done_at__isnull=True, given_up_at__isnull=True).first()
    if row is None:
        return
    try:
        import_string(RULES[row.rule])(row.key, **row.payload)
    except Exception as trouble:
        log.exception("outbox row %s: %s", row.pk, row.rule)
        at = clock.now()
        over = row.tries >= MOST_TRIES
        Outbox.objects.filter(pk=pk, done_at__isnull=True).update(
            trouble=f"{type(trouble).__name__}: {trouble}"[:2000],
            lease_until=at + timedelta(seconds=min(600, 2**row.tries)),
            given_up_at=at if over else None,
        )
        return
    with transaction.atomic():
        Outbox.objects.filter(pk=pk, done_at__isnull=True).update(done_at=clock.now(), trouble="")


def run_due(limit: int = 200) -> int:
    """Deliver all that is due in this process: for the journey, the demonstration and tests."""
    count = 0
    while count < limit and (taken := claim()):
        for pk in taken:
            deliver(pk)
        count += len(taken)
    return count


def free_leases() -> None:
    """For a worker that starts with an empty queue of its own: what its forerunner had in hand is lost."""
    Outbox.objects.filter(done_at__isnull=True, given_up_at__isnull=True, lease_until__isnull=False).update(
        lease_until=None
    )
