"""The one task: deliver a claimed outbox row. It is only the doorbell; the row is the queue."""

from celery import shared_task

from shop import outbox


@shared_task(  # type: ignore[untyped-decorator]
    name="shop.deliver",
    acks_late=True,
    reject_on_worker_lost=False,  # the row's lease brings it back, not the broker
    ignore_result=True,
    time_limit=outbox.HARD_LIMIT_S,
    soft_time_limit=outbox.HARD_LIMIT_S - 10,
)
def deliver(pk: int) -> None:
    outbox.deliver(pk)
