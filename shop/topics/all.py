"""Every topic of the Handbook by name, in the groups of its first page."""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class Group:
    """Topics that stand together."""

    title: str
    topics: tuple[Topic, ...]


GROUPS = (
    Group("Measuring", (*measuring.TOPICS, *studying.TOPICS, *forming.TOPICS)),
    Group("Fits", (*fitting.TOPICS, *pressing.TOPICS)),
    Group("Threads and bolts", threading.TOPICS),
    Group("End float", floating.TOPICS),
    Group("Gears and bearings", (*gearing.TOPICS, *bearing.TOPICS)),
    Group("What lasts and what is in stock", (*surviving.TOPICS, *stocking.TOPICS)),
    Group("When it will be done", forecasting.TOPICS),
)
TOPICS: dict[str, Topic] = {one.name: one for group in GROUPS for one in group.topics}


def group_of(topic: Topic) -> Group:
    return next(group for group in GROUPS if topic in group.topics)
