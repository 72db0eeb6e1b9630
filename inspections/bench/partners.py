"""What a try was assembled with, where another of its positions holds several pieces. No query of its own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from inspections.document import Check
from inspections.readings.findings import Examined


@dataclass(frozen=True, slots=True)
class Partner:
    """One position of which the piece has to be named; ``chosen``: the tag that was, if any."""

    code: str
    name: str
    tags: tuple[str, ...]
    chosen: str = ""


def partners_of(whole: Examined, check: Check) -> list[Partner]:
    """The positions that the check is tried with and that hold several pieces: nobody but the bench knows
    which one was in."""
    found = []
    for position in whole.judgement.guide.company_of(check, whole.state.variant):
        there = [one for one in whole.state.pieces if one.position == position.code and not one.missing]
        if len(there) > 1:
            found.append(Partner(position.code, position.name, tuple(one.tag for one in there)))
    return found


def with_chosen(partners: Iterable[Partner], said: Iterable[str]) -> list[Partner]:
    """The same with what was said of them."""
    tags = set(said)
    return [replace(one, chosen=next((tag for tag in one.tags if tag in tags), "")) for one in partners]
