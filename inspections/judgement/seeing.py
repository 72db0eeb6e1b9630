"""Findings of checks that are looked at, identified or counted. Pure.

Two people who differ (one calls it sound, the other sees a defect; or they identify it differently) are in
dispute until a lead has looked later than both.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from inspections.document import Check, GuideIndex
from inspections.judgement.judged import Dispute, Finding, PieceRecord, ReadingRecord
from shop.handbook.quantities import Refused
from shop.handbook.threads import thread

SOUND = "sound"
View = Callable[[ReadingRecord], object]


def plain(text: str) -> str:
    """A stamped or cast number as compared: capitals, without blanks, hyphens, dots and strokes."""
    return "".join(letter for letter in text.upper() if letter.isalnum())


def judge_look(
    guide: GuideIndex, check: Check, piece: PieceRecord, readings: Sequence[ReadingRecord]
) -> Finding:
    """Sound, or every defect that was seen."""
    if not readings:
        return _not_examined(check, piece)
    known = {SOUND, *(one.code for one in guide.defects_of.get(check.code, ()))}
    strange = next((one for one in readings if one.outcome not in known), None)
    if strange is not None:
        words = f"{check.title}: {strange.outcome} is not in the guide. Read it again."
        return replace(_not_examined(check, piece), words=words)
    standing, dispute = _settle(readings, lambda one: one.outcome != SOUND)
    if dispute is not None and dispute.open:
        return _disputed(check, piece, dispute)
    codes = tuple(dict.fromkeys(one.outcome for one in standing if one.outcome != SOUND))
    decided = dispute.words if dispute else ""
    if not codes:
        return Finding(
            check.code,
            check.position,
            piece.key,
            "sound",
            f"{check.title}: sound.",
            dispute=dispute,
            decided_by=decided,
        )
    defects = [guide.defect[code] for code in codes]
    names = "; ".join(one.name for one in defects)
    remedies = tuple(dict.fromkeys(code for one in defects if not one.harmless for code in one.remedies))
    return Finding(
        check.code,
        check.position,
        piece.key,
        "defect",
        f"{check.title}: {names}.",
        typed=standing[-1].text,
        defects=codes,
        remedies=remedies,
        condemns=any(one.condemns or not (one.harmless or one.remedies) for one in defects),
        dispute=dispute,
        decided_by=decided,
    )


def judge_thread(
    guide: GuideIndex, check: Check, piece: PieceRecord, readings: Sequence[ReadingRecord]
) -> Finding:
    """A thread is chased, then looked at; another designation than the guide's is outside."""
    if not readings and check.chase:
        words = f"{check.title}: chase it first, then look. Not examined yet."
        return replace(_not_examined(check, piece), words=words)
    right = plain(check.designation)
    rows = [replace(one, outcome=SOUND) if plain(one.outcome) == right else one for one in readings]
    known = {SOUND, *(one.code for one in guide.defects_of.get(check.code, ()))}
    other = [one for one in rows if one.outcome not in known]
    if not other:
        return judge_look(guide, check, piece, rows)
    found = other[-1].outcome
    words = f"{check.title}: {found} found, {check.designation} expected."
    return Finding(
        check.code,
        check.position,
        piece.key,
        "outside",
        words,
        typed=other[-1].text,
        remedies=check.remedies,
        condemns=not check.remedies,
        cautions=_forced(check, found),
    )


def _forced(check: Check, found: str) -> tuple[str, ...]:
    """A taper thread and a parallel one are never mates, however far one screws into the other."""
    taper, other = _is_taper(check.designation), _is_taper(found)
    if check.taper is not None:
        taper = check.taper
    if taper is None or other is None or taper == other:
        return ()
    if other:
        return ("A taper plug forced into a parallel boss splits it. Look for cracks round the hole.",)
    return ("A parallel plug in a taper hole does not seal by its thread.",)


def _is_taper(designation: str) -> bool | None:
    try:
        return thread(designation).taper
    except Refused:
        return None


def judge_identity(
    guide: GuideIndex, variant: str, check: Check, piece: PieceRecord, readings: Sequence[ReadingRecord]
) -> Finding:
    """The text found against what the variant expects; what another variant expects is said so."""
    if not readings:
        return _not_examined(check, piece)
    standing, dispute = _settle(readings, lambda one: plain(one.outcome))
    if dispute is not None and dispute.open:
        return _disputed(check, piece, dispute)
    seen = standing[-1].outcome
    expected = check.expects(variant)
    right = plain(seen) == plain(expected)
    words = f"{check.title}: {seen}, as expected."
    if not right:
        words = f"{check.title}: {seen} found, {expected} expected.{_elsewhere(guide, check, variant, seen)}"
    return Finding(
        check.code,
        check.position,
        piece.key,
        "sound" if right else "wrong part",
        words,
        typed=standing[-1].text,
        dispute=dispute,
        decided_by=dispute.words if dispute else "",
    )


def judge_count(
    guide: GuideIndex, variant: str, check: Check, piece: PieceRecord, readings: Sequence[ReadingRecord]
) -> Finding:
    """A count that identifies (teeth) makes a wrong part; any other that differs is outside."""
    one = judge_identity(guide, variant, check, piece, readings)
    if one.state != "wrong part" or check.identifies:
        return one
    return Finding(
        one.check,
        one.position,
        one.piece,
        "outside",
        one.words,
        typed=one.typed,
        remedies=check.remedies,
        condemns=not check.remedies,
        dispute=one.dispute,
        decided_by=one.decided_by,
    )


def _settle(readings: Sequence[ReadingRecord], view: View) -> tuple[Sequence[ReadingRecord], Dispute | None]:
    """The readings that stand, and the dispute if people's views differ."""
    clash = next((n for n, _ in enumerate(readings, 1) if _clashes(readings[:n], view)), None)
    if clash is None:
        return readings, None
    keys = tuple(one.key for one in readings)
    lead = next((one for one in reversed(readings[clash:]) if one.lead), None)
    if lead is None:
        people = " and ".join(dict.fromkeys(one.person for one in readings))
        return readings, Dispute("", keys, f"{people} see it differently. A third look settles it: a lead's.")
    later = [one for one in readings if one.sequence > lead.sequence and view(one) != view(lead)]
    if later:
        return readings, Dispute("", keys, f"{later[-1].person} differs from the lead. A lead looks again.")
    standing = [one for one in readings if view(one) == view(lead)]
    words = f"settled by a later look by a lead, {lead.person}; the earlier readings stay listed."
    return standing, Dispute("", keys, words, settled_by=lead.key)


def _clashes(readings: Sequence[ReadingRecord], view: View) -> bool:
    """Do two people hold different views? One person's several defects at one check are no clash."""
    views: dict[str, set[object]] = {}
    for one in readings:
        views.setdefault(one.person, set()).add(view(one))
    return any(
        not (mine & theirs) for who, mine in views.items() for other, theirs in views.items() if who < other
    )


def _elsewhere(guide: GuideIndex, check: Check, variant: str, seen: str) -> str:
    for one in guide.guide.variants:
        if one.code != variant and plain(check.expects(one.code)) == plain(seen):
            return f" It belongs to the {one.name}."
    return ""


def _not_examined(check: Check, piece: PieceRecord) -> Finding:
    return Finding(check.code, check.position, piece.key, "not examined", f"{check.title}: not examined yet.")


def _disputed(check: Check, piece: PieceRecord, dispute: Dispute) -> Finding:
    return Finding(
        check.code,
        check.position,
        piece.key,
        "too close to call",
        f"{check.title}: {dispute.words}",
        dispute=dispute,
        decided_by=dispute.words,
    )
