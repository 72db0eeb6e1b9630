"""Cases of every room of topics: a room has a module here with its ``GOOD`` and its ``BAD``."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules
from typing import Any

GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {}
BAD: list[tuple[str, dict[str, Any], str]] = []

for _room in iter_modules(__path__):
    _module = import_module(f"{__name__}.{_room.name}")
    GOOD |= _module.GOOD
    BAD += _module.BAD
