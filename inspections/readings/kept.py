"""A few made things kept in the process under everything that they follow from."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

from django.db import connection

T = TypeVar("T")


class Kept(Generic[T]):
    """The most recent ``most`` of them. Nothing is kept inside a transaction: its rows can be taken back."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._things: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = Lock()

    def find(self, key: Hashable) -> T | None:
        if connection.in_atomic_block:
            return None
        with self._lock:
            found = self._things.get(key)
            if found is not None:
                self._things.move_to_end(key)
            return found

    def committed(self, key: Hashable) -> T | None:
        """What is kept, in a transaction too: only for what stands on rows that never change."""
        with self._lock:
            return self._things.get(key)

    def keep(self, key: Hashable, thing: T) -> None:
        if connection.in_atomic_block:
            return
        with self._lock:
            self._things[key] = thing
            self._things.move_to_end(key)
            while len(self._things) > self._most:
                self._things.popitem(last=False)

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """What is kept under the key, else what ``make`` makes."""
        found = self.find(key)
        if found is None:
            found = make()
            self.keep(key, found)
        return found
