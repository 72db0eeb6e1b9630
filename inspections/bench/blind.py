"""A second person's reading is blind: what others read is shown once one's own is sent, or to a lead.

A person who takes no readings (the desk, stores, the office) is not blind: nothing can be swayed.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from inspections.judgement.judging import Finding, ReadingRecord
from inspections.readings.findings import State
from shop.access import Actor

Spot = tuple[str, tuple[tuple[str, int], ...], str]  # check, pieces with their conditions, place


def spot_of(one: ReadingRecord) -> Spot:
    return one.check, one.pieces, one.place


@dataclass(frozen=True, slots=True)
class Sight:
    """What one person may see. ``mine``: spots of which this person has sent a reading."""

    sees_all: bool
    name: str = ""
    mine: frozenset[Spot] = frozenset()

    def sees(self, one: ReadingRecord) -> bool:
        return self.sees_all or one.person == self.name or spot_of(one) in self.mine

    def sees_finding(self, finding: Finding, records: dict[str, ReadingRecord]) -> bool:
        return self.sees_all or all(self.sees(records[key]) for key in finding.readings if key in records)


def sees_all(by: Actor) -> bool:
    """Leads see everything, and so do those who take no readings."""
    return by.may("settle_disputes") or not by.may("record_readings")


def sight_of(by: Actor, state: State, records: Iterable[ReadingRecord]) -> Sight:
    if sees_all(by):
        return Sight(True)
    name = dict(state.people).get(by.person.pk, "")
    # A line that only withdraws another has looked at nothing.
    said = (one for one in records if one.person == name and (one.outcome or one.value_mm is not None))
    return Sight(False, name, frozenset(spot_of(one) for one in said))


SHOWN_LATER = "What was read is shown once you have read it."


def state_of(finding: Finding) -> str:
    """The state in the bench's words: what is worth a note only is no reason to stop."""
    return "seen, may run" if finding.harmless else finding.state


def words_for(
    sight: Sight, finding: Finding, records: dict[str, ReadingRecord], title: str, *, brief: bool = False
) -> str:
    """The finding's words, without what others read while this person still has to read it.

    ``brief``: a list that says once why something is left out.
    """
    if sight.sees_finding(finding, records):
        return f"{finding.words.removesuffix('.')}: seen, may run." if finding.harmless else finding.words
    disputed = finding.dispute is not None and finding.dispute.open
    words = f"{title}: {'in dispute' if disputed else state_of(finding)}."
    return words if brief else f"{words} {SHOWN_LATER}"
