"""Readings to findings to verdicts. Pure: no database, no Django, nothing is written.

1. Readings that are withdrawn, or of an earlier condition of any of their pieces, are history.
2. Each check of the variant gives one finding for each piece in its position.
3. Stacks are worked out from the findings of their terms.
4. Findings give verdicts of pieces; verdicts give the status of positions.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from inspections.document import Check, GuideIndex
from inspections.gauging.kinds import overridden
from inspections.judgement.judged import (
    Dispute,
    Finding,
    FindingState,
    Judgement,
    PieceRecord,
    PieceVerdict,
    PositionStatus,
    ReadingRecord,
    Status,
    Verdict,
)
from inspections.judgement.measuring import judge_measure
from inspections.judgement.seeing import judge_count, judge_identity, judge_look, judge_thread
from inspections.judgement.stacking import Unit, judge_stack
from inspections.judgement.too_close import Candidates
from inspections.judgement.trying import without_company
from inspections.judgement.weighing import Gathered

__all__ = [
    "Dispute",
    "Finding",
    "FindingState",
    "Judgement",
    "Known",
    "PieceRecord",
    "PieceVerdict",
    "PositionStatus",
    "ReadingRecord",
    "Status",
    "Verdict",
    "judge",
    "judge_some",
]

_StandsOn = tuple[PieceRecord, tuple[ReadingRecord, ...], tuple[ReadingRecord, ...]]
# By check and piece: what a finding stands on, and the finding.
Known = dict[tuple[str, str], tuple[_StandsOn, Finding]]

_BEST_FIRST: tuple[Status, ...] = ("serviceable", "rework", "open", "wrong part", "scrap")


def judge(
    guide: GuideIndex,
    variant: str,
    pieces: Sequence[PieceRecord],
    readings: Iterable[ReadingRecord],
    candidates: Candidates | None = None,
    known: Known | None = None,
) -> Judgement:
    """Judge everything that has been read of one unit.

    ``candidates``: which gauges may be read with at a check, to say what would settle a close value.
    ``known``: findings of an earlier judgement with the same guide, variant and candidates. Those that follow
    from the same piece and readings are taken as they are; new ones are put in.
    """
    present = {one.key: one for one in pieces}
    gathered = _gather(guide, present, readings)
    in_position: dict[str, list[PieceRecord]] = {}
    for piece in pieces:
        in_position.setdefault(piece.position, []).append(piece)
    checks = guide.checks_of(variant)
    found: dict[tuple[str, str], Finding] = {}
    unit = Unit(guide, variant, in_position, found, candidates)
    wrong = _judge_direct(unit, checks, gathered, found, known)
    for check in checks:
        if check.kind == "stack":
            for piece in in_position.get(check.position, []):
                one = judge_stack(unit, check, piece)
                found[check.code, piece.key] = _aside(check, one, wrong)
    for one in [*without_company(unit)]:
        found[one.check, one.piece] = one
    order = {check.code: n for n, check in enumerate(checks)}
    findings = tuple(sorted(found.values(), key=lambda one: order[one.check]))
    own: dict[str, list[Finding]] = {}
    at: dict[str, list[Finding]] = {}
    for one in findings:
        own.setdefault(one.piece, []).append(one)
        at.setdefault(one.position, []).append(one)
    verdicts = tuple(_verdict(guide, piece, own.get(piece.key, [])) for piece in pieces if not piece.missing)
    by_position: dict[str, list[PieceVerdict]] = {}
    for verdict in verdicts:
        by_position.setdefault(verdict.position, []).append(verdict)
    positions = tuple(
        PositionStatus(
            one.code,
            _status(in_position.get(one.code, []), by_position.get(one.code, []), at.get(one.code, [])),
        )
        for one in guide.positions_of(variant)
    )
    return Judgement(guide, variant, findings, verdicts, positions)


def judge_some(
    guide: GuideIndex,
    variant: str,
    pieces: Sequence[PieceRecord],
    readings: Iterable[ReadingRecord],
    codes: Collection[str],
) -> list[Finding]:
    """The findings of these measuring checks alone, as :func:`judge` gives them. ``pieces`` and ``readings``:
    all of the checks, and of what identifies their pieces.
    """
    wanted = {guide.check[code].position for code in codes}
    checks = [
        one
        for one in guide.checks_of(variant)
        if one.code in codes or (one.kind == "identify" and one.position in wanted)
    ]
    in_position: dict[str, list[PieceRecord]] = {}
    for piece in pieces:
        in_position.setdefault(piece.position, []).append(piece)
    found: dict[tuple[str, str], Finding] = {}
    gathered = _gather(guide, {one.key: one for one in pieces}, readings)
    _judge_direct(Unit(guide, variant, in_position, found), checks, gathered, found, None)
    return [one for one in found.values() if one.check in codes]


def _judge_direct(
    unit: Unit,
    checks: Sequence[Check],
    gathered: dict[tuple[str, str], Gathered],
    found: dict[tuple[str, str], Finding],
    known: Known | None,
) -> set[str]:
    """Put in what follows from a check's own readings; gives the pieces that are the wrong part."""
    for check in checks:
        for one in _direct(unit, check, unit.in_position.get(check.position, []), gathered, known):
            found[one.check, one.piece] = one
    wrong = {one.piece for one in found.values() if one.state == "wrong part"}
    if wrong:
        found.update({place: _aside(unit.guide.check[one.check], one, wrong) for place, one in found.items()})
    return wrong


def _gather(
    guide: GuideIndex, present: dict[str, PieceRecord], readings: Iterable[ReadingRecord]
) -> dict[tuple[str, str], Gathered]:
    """Readings by (check, piece of the check's position), those that count apart from history."""
    gathered: dict[tuple[str, str], Gathered] = {}
    for one in sorted(readings, key=lambda row: row.sequence):
        check = guide.check.get(one.check)
        if check is None:
            continue
        keys = [key for key, _ in one.pieces if key in present]
        home = next((key for key in keys if present[key].position == check.position), None)
        if home is None:
            continue
        current = all(key in present and present[key].condition == condition for key, condition in one.pieces)
        # A reading that only withdraws another says nothing by itself.
        says = bool(one.outcome) or one.value_mm is not None
        rows = gathered.setdefault((check.code, home), Gathered())
        rows.add(one, counts=current and says and not one.withdrawn and not one.aside)
    for (code, _), rows in gathered.items():
        if guide.check[code].of:
            _newest_company(rows)
    return gathered


def _newest_company(rows: Gathered) -> None:
    """Pieces tried in another company than the newest reading's have been parted since: that is history."""
    if rows.counted:
        company = {*rows.counted[-1].pieces}
        rows.history.extend(one for one in rows.counted if {*one.pieces} != company)
        rows.history.sort(key=lambda one: one.sequence)
        rows.counted = [one for one in rows.counted if {*one.pieces} == company]


def _direct(
    unit: Unit,
    check: Check,
    pieces: Sequence[PieceRecord],
    gathered: dict[tuple[str, str], Gathered],
    known: Known | None,
) -> Iterable[Finding]:
    if check.kind == "replaced":
        keys = [one.key for one in pieces] or [""]
        for key in keys:
            yield Finding(check.code, check.position, key, "replaced", f"{check.title}: replaced always.")
        return
    for piece in pieces:
        if piece.missing:
            yield Finding(check.code, check.position, piece.key, "not applicable", "The piece is missing.")
        elif check.kind != "stack":
            rows = gathered.get((check.code, piece.key), Gathered())
            yield (
                _judge_one(unit, check, piece, rows)
                if known is None
                else _again(unit, check, piece, rows, known)
            )


def _again(unit: Unit, check: Check, piece: PieceRecord, rows: Gathered, known: Known) -> Finding:
    """The known finding if it follows from the same piece and readings, else a new one."""
    stands_on = (piece, tuple(rows.counted), tuple(rows.history))
    before = known.get((check.code, piece.key))
    if before is not None and before[0] == stands_on:
        return before[1]
    one = _judge_one(unit, check, piece, rows)
    known[check.code, piece.key] = stands_on, one
    return one


def _judge_one(unit: Unit, check: Check, piece: PieceRecord, rows: Gathered) -> Finding:
    guide, variant = unit.guide, unit.variant
    if check.takes_quantity:
        one = judge_measure(guide, check, piece, rows.counted, unit.candidates)
    elif check.kind == "identify":
        one = judge_identity(guide, variant, check, piece, rows.counted)
    elif check.kind == "count":
        one = judge_count(guide, variant, check, piece, rows.counted)
    elif check.kind == "thread":
        one = judge_thread(guide, check, piece, rows.counted)
    else:
        one = judge_look(guide, check, piece, rows.counted)
    return replace(
        one,
        readings=tuple(row.key for row in rows.counted),
        superseded=tuple(row.key for row in rows.history),
        cautions=(*one.cautions, *overridden(rows.counted)),
    )


def _aside(check: Check, one: Finding, wrong: set[str]) -> Finding:
    """Limits of the right part say nothing of a wrong one: its other checks do not apply."""
    kept = check.kind == "identify" or one.state in {"wrong part", "replaced", "not applicable"}
    if kept or one.piece not in wrong:
        return one
    return Finding(
        one.check,
        one.position,
        one.piece,
        "not applicable",
        "The piece is a wrong part: see its identity.",
        readings=one.readings,
        superseded=one.superseded,
    )


def _verdict(guide: GuideIndex, piece: PieceRecord, own: Sequence[Finding]) -> PieceVerdict:
    outside = [one for one in own if one.state == "outside"]
    needs = [(one.check, one.remedies) for one in outside if one.remedies]
    needs += [
        (one.check, guide.defect[code].remedies) for one in own for code in one.defects if _needs(guide, code)
    ]
    because = [one.words for one in own if one.failing or one.undecided or one.state == "replaced"]
    if not own:
        because = ["The guide has no check for it on this variant."]
    return PieceVerdict(
        piece.key,
        piece.position,
        _decide(own, bool(needs)),
        any(one.state == "too close to call" for one in own),
        tuple(because),
        tuple(needs),
        tuple((one.check, one.suits) for one in outside if one.suits),
        tuple(one.check for one in outside if guide.check[one.check].kind == "stack" and not one.remedies),
    )


def _decide(own: Sequence[Finding], needs: bool) -> Verdict:
    if any(one.condemns or one.state == "replaced" for one in own):
        return "scrap"
    if not own or any(one.undecided or one.state == "wrong part" for one in own):
        return "open"
    return "rework" if needs else "serviceable"


def _needs(guide: GuideIndex, code: str) -> bool:
    defect = guide.defect[code]
    return bool(defect.remedies) and not defect.harmless


def _status(
    pieces: Sequence[PieceRecord], verdicts: Sequence[PieceVerdict], findings: Sequence[Finding]
) -> Status:
    """The best of the pieces that lie in a position; two sources may each bring one."""
    if any(one.state == "replaced" for one in findings):
        return "replaced"
    if all(one.missing for one in pieces):
        return "missing"
    wrong = {one.piece for one in findings if one.state == "wrong part"}
    states: set[Status] = {"wrong part" if one.piece in wrong else one.verdict for one in verdicts}
    return next(status for status in _BEST_FIRST if status in states)
