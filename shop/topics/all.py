"""Every topic of the Handbook by name, in the order of its first page."""

from __future__ import annotations

from itertools import chain

from shop.topics import (
    bearing,
    fitting,
    floating,
    forecasting,
    forming,
    gearing,
    measuring,
    pressing,
    stocking,
    studying,
    surviving,
    threading,
)
from shop.topics.table import Topic

TOPICS: dict[str, Topic] = {
    one.name: one
    for one in chain(
        measuring.TOPICS,
        studying.TOPICS,
        forming.TOPICS,
        fitting.TOPICS,
        pressing.TOPICS,
        threading.TOPICS,
        floating.TOPICS,
        gearing.TOPICS,
        bearing.TOPICS,
        surviving.TOPICS,
        stocking.TOPICS,
        forecasting.TOPICS,
    )
}
