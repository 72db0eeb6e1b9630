"""Every topic of the Handbook by name, in the order of its first page."""

from __future__ import annotations

from itertools import chain

from shop.topics import fitting, floating, measuring, threading
from shop.topics.table import Topic

TOPICS: dict[str, Topic] = {
    one.name: one for one in chain(measuring.TOPICS, fitting.TOPICS, threading.TOPICS, floating.TOPICS)
}
