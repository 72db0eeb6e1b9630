"""What the web process does once before its first request, so that the first person does not wait for it.

An upper app adds its part to ``WARM`` in its ``ready()``. A part that fails is logged and costs nothing but
the wait: a server whose database is not there yet has to start all the same.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

WARM: list[Callable[[], object]] = []
log = logging.getLogger(__name__)


def warm_up() -> None:
    """Load the units (pint takes half a second) and whatever the apps keep for the life of the process."""
    from shop.handbook.quantities import convert, parse

    parse("1 1/8 in", "length")
    convert(1.0, "torque", "lbf ft")
    for part in WARM:
        try:
            part()
        except Exception:
            log.exception("warming up: %s failed", getattr(part, "__name__", part))
