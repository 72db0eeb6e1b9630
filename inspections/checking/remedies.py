"""Defects and remedies: each defect leads somewhere, each remedy makes good what it is named for."""

from collections.abc import Iterator
from pathlib import Path

from inspections.checking.book import Book
from inspections.checking.checks import restores
from inspections.document import Remedy
from inspections.guiding.shape import Problem

# Pictures of rejects come with the program: a revision is frozen, what it shows must not change under it.
PICTURES = Path(__file__).parents[1] / "static" / "inspections" / "rejects"


def remedy_problems(book: Book) -> Iterator[Problem]:
    yield from _defects(book)
    used = {code for check in book.guide.checks for code in check.remedies}
    used |= {code for defect in book.guide.defects for code in defect.remedies}
    for one in book.guide.remedies:
        if not one.restores:
            yield book.say("remedy", one.code, "restores", "A remedy has to restore a check.")
        if not 0 <= one.fails < 1:
            words = "The chance of failing is from 0 up to, not including, 1."
            yield book.say("remedy", one.code, "fails", words)
        if one.code in one.rules_out:
            yield book.say("remedy", one.code, "rules_out", "A remedy does not rule out itself.")
        if one.lead_days and not one.outside_minor:
            words = "Lead time without outside work: say what the outside work costs."
            yield book.say("remedy", one.code, "lead_days", words, warning=True)
        if one.code not in used:
            words = "No check or defect names this remedy."
            yield book.say("remedy", one.code, "code", words, warning=True)
        yield from _leaves(book, one)


def _leaves(book: Book, one: Remedy) -> Iterator[Problem]:
    for left in one.leaves:
        feature = book.index.feature.get(left.feature)
        limit = feature.limit(left.size) if feature else None
        if left.min_mm > left.max_mm:
            yield book.say("remedy", one.code, "leaves", f"{left.feature}: limits are upside down.")
        elif feature and limit is None:
            words = f"Feature {left.feature} has no size {left.size}."
            yield book.say("remedy", one.code, "leaves", words)
        elif limit and not (limit.lower_mm <= left.min_mm and left.max_mm <= limit.upper_mm):
            words = f"{left.feature}: what it leaves is not inside the limits of {left.size}."
            yield book.say("remedy", one.code, "leaves", words)


def _defects(book: Book) -> Iterator[Problem]:
    for one in book.guide.defects:
        check = book.index.check.get(one.check)
        if check is not None and check.kind not in {"look", "thread", "try"}:
            words = f"Check {one.check} is of kind {check.kind}; defects belong to look, thread and try."
            yield book.say("defect", one.code, "check", words)
        elif check is not None and check.takes_quantity:
            words = f"Check {one.check} is read as a quantity: its limits say what is wrong."
            yield book.say("defect", one.code, "check", words)
        if one.condemns and (one.harmless or one.remedies):
            words = "A defect that condemns is not harmless and has no remedy."
            yield book.say("defect", one.code, "condemns", words)
        if not (one.condemns or one.harmless or one.remedies):
            yield book.say("defect", one.code, "remedies", "Say condemns, harmless, or name a remedy.")
        if one.picture and not (PICTURES / one.picture).is_file():
            known = ", ".join(sorted(file.name for file in PICTURES.iterdir()))
            words = f"There is no picture {one.picture}. There are: {known}."
            yield book.say("defect", one.code, "picture", words)
        for code in one.remedies:
            yield from restores(book, "defect", one.code, code, one.check)
