"""Tries whose company is not there: nothing is left open for want of a part that goes anyway. Pure."""

from collections.abc import Iterator
from dataclasses import replace

from inspections.document import Check, Position
from inspections.judgement.judged import Finding
from inspections.judgement.stacking import Unit


def without_company(unit: Unit) -> Iterator[Finding]:
    """Findings of tries that nobody has read and nobody can: each other position has nothing worth trying.

    What is missing, a wrong part or scrap is replaced by another; that one is tried when it is there.
    """
    unread = [one for one in unit.found.values() if one.state == "not examined"]
    tries = [
        (one, unit.guide.check[one.check]) for one in unread if unit.guide.check[one.check].kind == "try"
    ]
    if not tries:
        return
    gone = {one.piece for one in unit.found.values() if one.condemns or one.state == "wrong part"}
    for one, check in tries:
        lacking = _lacking(unit, check, gone)
        if lacking is not None:
            words = f"{check.title}: {lacking.name} is not there to try it with. What goes in is tried then."
            yield replace(one, state="not applicable", words=words)


def _lacking(unit: Unit, check: Check, gone: set[str]) -> Position | None:
    """The first of its other positions in which no piece is left to try."""
    for position in unit.guide.company_of(check, unit.variant):
        pieces = unit.in_position.get(position.code, ())
        if all(one.missing or one.key in gone for one in pieces):
            return position
    return None
