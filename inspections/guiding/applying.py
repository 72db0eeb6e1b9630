"""Does a reading still apply under another revision of the guide? Pure: two guides and a reading in.

It applies if the same check stands there and asks the same question: the same kind, of the same position and
feature, with the same pieces, at a place that it still names, and answered in words that it still knows.
"""

from inspections.document import Check, GuideIndex
from inspections.judgement.judging import ReadingRecord
from inspections.judgement.seeing import SOUND


def why_not(one: ReadingRecord, before: GuideIndex, after: GuideIndex) -> str:
    """Why a reading does not apply any more, in words; empty if it does."""
    old, new = before.check.get(one.check), after.check.get(one.check)
    if new is None:
        return "the check is gone"
    if old is None:
        return "it was read under an earlier revision, and its check is new again"
    if old.kind != new.kind:
        return f"the check is of kind {new.kind} now, it was {old.kind}"
    if old.position != new.position:
        return f"the check is of {new.position} now, it was of {old.position}"
    if old.feature != new.feature:
        return f"the check measures {new.feature} now, it measured {old.feature}"
    if {*old.of} != {*new.of}:
        return "it was tried in another company than the check asks for"
    return _place(one, new) or _answer(one, old, new, before, after)


def _place(one: ReadingRecord, new: Check) -> str:
    if one.place and one.place not in new.places:
        return f"the check has no place “{one.place}” now"
    if new.places and not one.place:
        return "the check asks at places now"
    return ""


def _answer(one: ReadingRecord, old: Check, new: Check, before: GuideIndex, after: GuideIndex) -> str:
    measured = one.value_mm is not None
    if new.kind == "try" and _has_limits(old) != _has_limits(new):
        return "the check is measured now" if _has_limits(new) else "the check is tried by hand now"
    if measured or not one.outcome or one.outcome == SOUND:
        return ""
    known = {row.code for row in before.defects_of.get(old.code, ())}
    still = {row.code for row in after.defects_of.get(new.code, ())}
    if one.outcome in known - still:
        return f"the check knows no defect {one.outcome} now"
    return ""


def _has_limits(check: Check) -> bool:
    return check.lower_mm is not None or check.upper_mm is not None
