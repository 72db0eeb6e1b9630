"""Check a guide's document before it is published. Pure: text in, document and problems out.

A problem that is *refused* keeps the guide from being published; a *warning* is shown and can be right.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from inspections.checking.book import Book
from inspections.checking.checks import check_problems
from inspections.checking.limits import limit_problems
from inspections.checking.mates import mate_problems
from inspections.checking.order import order_problems
from inspections.checking.references import reference_problems
from inspections.checking.remedies import remedy_problems
from inspections.guiding.shape import TABLES, Lines, Problem, shape_problems

__all__ = ["MOST_CHARACTERS", "check_document"]

MOST_CHARACTERS = 2_000_000
PARTS = (
    reference_problems,
    limit_problems,
    check_problems,
    mate_problems,
    remedy_problems,
    order_problems,
)


def check_document(text: str) -> tuple[dict[str, Any], list[Problem]]:
    """Parse and check a guide. The document is empty if it could not be parsed."""
    if len(text) > MOST_CHARACTERS:
        return {}, [Problem("refused", 0, "guide", "The document is longer than 2 million characters.")]
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+)", str(error))
        line = int(at.group(1)) if at else len(text.splitlines())
        return {}, [Problem("refused", line, "document", f"This is not TOML: {error}.")]
    lines = Lines(text)
    problems = [*shape_problems(document, lines)]
    if not problems:
        problems = [*_duplicates(document, lines)]
    if not problems:
        book = Book(document, lines)
        problems = [one for part in PARTS for one in part(book)]
    return document, sorted(problems, key=lambda one: (one.severity, one.line))


def _duplicates(document: Mapping[str, Any], lines: Lines) -> Iterator[Problem]:
    for table in TABLES:
        keys = ("code", "number") if table == "position" else ("code",)
        for key in keys:
            first: dict[Any, int] = {}
            for place, row in enumerate(document.get(table, ())):
                line = lines.of(table, place, key)
                if row[key] in first:
                    words = f"{key} {row[key]} stands already on line {first[row[key]]}."
                    yield Problem("refused", line, f"{table} {row['code']}.{key}", words)
                first.setdefault(row[key], line)
