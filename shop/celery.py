"""Celery: a worker that looks into the outbox, and a beat that publishes nothing but rows.

With REDIS_URL the doorbell rings through Redis; without it each worker has a broker in its own memory.
"""

import logging
import os
import threading
from datetime import UTC, datetime, timedelta
from typing import Any

from celery import Celery, bootsteps
from celery.beat import Scheduler
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

LOOK_EVERY_S = 0.25
# name of the slot, how often, and the outbox rule that it calls
SLOTS: tuple[tuple[str, timedelta, str], ...] = (
    ("reminders", timedelta(minutes=15), "queue due reminders"),
    ("lapses", timedelta(hours=1), "lapse quotes"),
    ("gauges", timedelta(days=1), "queue due gauges"),
)

log = logging.getLogger(__name__)
app = Celery("shop")
app.conf.update(
    broker_url=settings.REDIS_URL or "memory://",
    broker_transport_options=(
        {"visibility_timeout": 3600, "unacked_restore_interval": 5, "unacked_restore_throttle": 1}
        if settings.REDIS_URL
        else {"polling_interval": 0.05}
    ),
    broker_connection_retry_on_startup=True,
    task_ignore_result=True,
    task_acks_late=True,
    worker_prefetch_multiplier=1,
    worker_hijack_root_logger=False,
    worker_send_task_events=False,
    enable_utc=True,
    timezone="UTC",
    beat_max_loop_interval=30,
)
app.autodiscover_tasks(["shop"])


class LookOut(bootsteps.StartStopStep):  # type: ignore[misc]
    """A thread of the worker that claims due rows, then rings; the lease covers what a crash loses."""

    requires = {"celery.worker.components:Pool"}

    def __init__(self, parent: Any, **options: Any) -> None:
        super().__init__(parent, **options)
        self.ended = threading.Event()
        self.thread: threading.Thread | None = None

    def start(self, parent: Any) -> None:
        self.thread = threading.Thread(target=self.watch, name="look-out", daemon=True)
        self.thread.start()

    def stop(self, parent: Any) -> None:
        self.ended.set()
        if self.thread is not None:
            self.thread.join(timeout=5)

    def watch(self) -> None:
        from django.db import close_old_connections, connection

        from shop import outbox
        from shop.tasks import deliver

        if not settings.REDIS_URL:
            outbox.free_leases()
        while not self.ended.wait(LOOK_EVERY_S):
            try:
                close_old_connections()
                for pk in outbox.claim():
                    deliver.delay(pk)
            except Exception:  # the database may be down for a while: say so and look again
                log.exception("the look-out could not look")
                connection.close()
                self.ended.wait(5)
        connection.close()


app.steps["worker"].add(LookOut)


def slot_key(name: str, every: timedelta, at: datetime) -> str:
    """The key of the slot that ``at`` falls into: the same for every beat that runs."""
    start = int(at.timestamp() // every.total_seconds() * every.total_seconds())
    return f"{name}:{datetime.fromtimestamp(start, UTC):%Y-%m-%dT%H:%M}"


def insert_slots(at: datetime | None = None) -> int:
    """Insert the rows of the present slots; two beats at once insert one row each."""
    from shop import clock, outbox

    at = at or clock.now()
    return sum(outbox.put(key=slot_key(name, every, at), rule=rule, at=at) for name, every, rule in SLOTS)


class RowScheduler(Scheduler):  # type: ignore[misc]
    """Beat that inserts outbox rows and keeps no schedule of its own on the disk."""

    def setup_schedule(self) -> None:
        self.install_default_entries({})

    def tick(self, *_: Any, **__: Any) -> float:
        from django.db import close_old_connections

        try:
            close_old_connections()
            insert_slots()
        except Exception:
            log.exception("beat could not insert its rows")
        return 10.0

    @property
    def info(self) -> str:
        return "    . rows -> outbox"
