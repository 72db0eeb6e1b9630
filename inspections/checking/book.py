"""A guide whose shape is right, as its checkers go through it."""

from collections.abc import Iterable, Mapping
from typing import Any

from inspections.document import Check, Guide, GuideIndex, read
from inspections.guiding.shape import TABLES, Lines, Problem, Severity


class Book:
    """The document with its records by code, and where each of its entries stands."""

    def __init__(self, document: Mapping[str, Any], lines: Lines) -> None:
        self.document = document
        self.guide: Guide = read(document)
        self.index = GuideIndex(self.guide)
        self.variants = [one.code for one in self.guide.variants]
        self._lines = lines
        self._place = {
            (table, row["code"]): place
            for table in TABLES
            for place, row in enumerate(document.get(table, ()))
        }

    def say(self, table: str, code: str, key: str, words: str, *, warning: bool = False) -> Problem:
        severity: Severity = "warning" if warning else "refused"
        line = self._lines.of(table, self._place.get((table, code), -1), key)
        return Problem(severity, line, f"{table} {code}.{key}", words)

    def rows(self, table: str) -> Iterable[Mapping[str, Any]]:
        rows: Iterable[Mapping[str, Any]] = self.document.get(table, ())
        return rows

    def known(self, table: str) -> set[str]:
        return {row["code"] for row in self.rows(table)}

    def variants_of(self, check: Check) -> list[str]:
        """The variants that have a check; none for a position that is not known (reported elsewhere)."""
        position = self.index.position.get(check.position)
        if position is None:
            return []
        return [code for code in self.variants if check.exists_in(code) and position.exists_in(code)]


def upside_down(low: float, high: float, wear: float | None) -> str:
    """What is wrong with limits, in words; empty if nothing is."""
    if low > high:
        return f"The limits are upside down: {low:g} is above {high:g}."
    if wear is not None and low < wear < high:
        return f"The wear limit {wear:g} lies inside the new limits {low:g} to {high:g}."
    return ""
