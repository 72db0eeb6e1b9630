"""What the pages of the Bench show: rows of the ledger, the unit as drawn, a check in hand.

Pure presentation of what ``findings`` judged; what others read is left out where a person is still blind.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from inspections.bench.blind import SHOWN_LATER, Sight, state_of, words_for
from inspections.bench.places import At, position_url
from inspections.document import Check, Defect, Position, Remedy
from inspections.drawings.bars import limit_bar
from inspections.drawings.drawing import unit_drawing
from inspections.evidence.answers import ComplaintState
from inspections.guiding.guides import guide_of
from inspections.judgement.judging import Finding, Judgement, ReadingRecord
from inspections.judgement.weighing import weigh
from inspections.models import Examination, GuideRevision
from inspections.readings.findings import Examined, next_open_check
from shop.handbook.conformity import conformity
from shop.handbook.quantities import Refused, convert

MOST_WORDS = 3
_MARKS = {"wrong part": "wrong", "too close to call": "close"}


def mark_of_position(judgement: Judgement, code: str) -> str:
    """The key that a position is drawn by; one that waits only for a better gauge is too close to call."""
    status = judgement.status[code]
    if status == "open":
        own = [one for one in judgement.findings if one.position == code and one.undecided]
        if own and all(one.state == "too close to call" for one in own):
            return "close"
    return _MARKS.get(status, status)


def is_wrong(judgement: Judgement, tag: str) -> bool:
    """Is this piece the wrong part? Its other checks say nothing then."""
    return any(one.state == "wrong part" and one.piece == tag for one in judgement.findings)


def mark_of_finding(judgement: Judgement, finding: Finding) -> str:
    """The key of the small drawing beside a finding; empty where the check does not apply to a wrong part."""
    if finding.state in {"within", "sound"}:
        return "serviceable"
    if finding.state in {"outside", "defect"}:
        if finding.condemns:
            return "scrap"
        return "serviceable" if finding.harmless else "rework"
    if finding.state == "not applicable" and is_wrong(judgement, finding.piece):
        return ""
    marks = {"not examined": "open", "not applicable": "missing", "replaced": "replaced"}
    return marks.get(finding.state) or _MARKS[finding.state]


@lru_cache(maxsize=128)
def _drawn(
    revision: int, digest: str, variant: str, number: At, marks: tuple[tuple[str, str], ...],
    current: str | None, dimensions: tuple[tuple[str, str], ...],
) -> SafeString:  # fmt: skip
    guide = guide_of(GuideRevision(pk=revision, digest=digest))
    verdicts = dict(marks)
    svg = unit_drawing(
        guide.guide.drawing,
        guide.guide.positions,
        verdicts,
        {code: position_url(number, code) for code in verdicts},
        variant=variant,
        current=current,
        dimensions=dict(dimensions),
    )
    return mark_safe(svg)  # noqa: S308  the program's own drawing; it escapes what the guide says


def draw_unit(
    examination: Examination, number: At, whole: Examined, sight: Sight, current: str | None = None
) -> SafeString:
    """The unit drawing with each position's verdict and the floats that are known."""
    judgement = whole.judgement
    marks = tuple((one.position, mark_of_position(judgement, one.position)) for one in judgement.positions)
    floats = []
    for row in judgement.guide.guide.drawing.get("dimension", ()):
        found = next(iter(judgement.of_check(row["key"])), None)
        if found is not None and found.value_mm is not None and sight.sees_finding(found, whole.record):
            floats.append((row["key"], f"{judgement.guide.check[row['key']].title}: {found.value_mm:.3f} mm"))
    revision = examination.revision
    return _drawn(revision.pk, revision.digest, whole.state.variant, number, marks, current, tuple(floats))


@dataclass(frozen=True, slots=True)
class PositionRow:
    """One line of the unit's ledger."""

    position: Position
    mark: str
    tags: str
    read: int
    checks: int
    disputed: bool
    found: tuple[tuple[str, str], ...]  # check code, words
    hidden: bool  # something that another read is left out of the words
    more: int
    url: str


def position_rows(number: At, whole: Examined, sight: Sight) -> list[PositionRow]:
    """The unit's positions in the guide's order, each with what was found."""
    judgement = whole.judgement
    own: dict[str, list[Finding]] = {}
    for one in judgement.findings:
        own.setdefault(one.position, []).append(one)
    tags: dict[str, list[str]] = {}
    for piece in whole.state.pieces:
        tags.setdefault(piece.position, []).append(piece.tag)
    rows = []
    for position in judgement.guide.positions_of(whole.state.variant):
        findings = own.get(position.code, [])
        said = [one for one in findings if one.failing or one.state == "too close to call"]
        words = tuple(
            (
                one.check,
                words_for(sight, one, whole.record, judgement.guide.check[one.check].title, brief=True),
            )
            for one in said[:MOST_WORDS]
        )
        asked = [one for one in findings if one.state not in {"replaced", "not applicable"}]
        rows.append(
            PositionRow(
                position=position,
                mark=mark_of_position(judgement, position.code),
                tags=", ".join(tags.get(position.code, ())),
                read=sum(one.state != "not examined" for one in asked),
                checks=len(asked),
                disputed=any(one.dispute is not None and one.dispute.open for one in findings),
                found=words,
                hidden=not all(sight.sees_finding(one, whole.record) for one in said[:MOST_WORDS]),
                more=len(said) - len(words),
                url=position_url(number, position.code),
            )
        )
    return rows


def decided_of(judgement: Judgement) -> tuple[int, int]:
    """How many positions are decided, and how many there are."""
    return sum(one.status != "open" for one in judgement.positions), len(judgement.positions)


def complaint_rows(judgement: Judgement, complaints: Iterable[ComplaintState]) -> list[dict[str, Any]]:
    """Each chosen complaint with the checks found bad that explain it, or what answers it in words."""
    check = judgement.guide.check
    return [
        {
            "name": one.name,
            "by": [(check[code].position, code, check[code].title) for code in one.explained_by],
            "answer": one.answer,
            "own": not one.code,
        }
        for one in complaints
    ]


# --- the check in hand


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One line of a position's checks, for one piece."""

    check: Check
    finding: Finding
    mark: str
    words: str
    url: str
    current: bool

    @property
    def open(self) -> bool:
        """Nobody has read it yet, and somebody can."""
        return self.finding.state == "not examined" and self.check.kind not in {"stack", "replaced"}


def check_rows(
    number: At, whole: Examined, sight: Sight, code: str, tag: str, current: str
) -> list[CheckRow]:
    rows = []
    base = position_url(number, code)
    for one in whole.judgement.findings:
        if one.position != code or one.piece not in {tag, ""}:
            continue
        seen = sight.sees_finding(one, whole.record)
        rows.append(
            CheckRow(
                check=whole.judgement.guide.check[one.check],
                finding=one,
                mark=mark_of_finding(whole.judgement, one) if seen else "open",
                words=state_of(one) if seen else "read by another",
                url=f"{base}?check={one.check}" + (f"&piece={tag}" if tag else ""),
                current=one.check == current,
            )
        )
    return rows


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading as listed: who read what, with which gauge, where."""

    reading: ReadingRecord
    told: str
    takes_back: str  # the older reading that this line takes back, as it was read
    withdrawable: bool
    earlier: bool  # read before the piece was last changed
    history: bool


@dataclass(frozen=True, slots=True)
class InHand:
    """The check in hand on one piece, as far as the person may see it."""

    check: Check
    finding: Finding
    seen: bool
    wrong: bool  # the check does not apply: the piece is the wrong part
    state: str
    bar: str
    words: str
    chance: str
    readings: list[ReadingRow]
    hidden: int
    defects: Sequence[Defect]
    places_read: list[str] = field(default_factory=list)
    remedies: tuple[Remedy, ...] = ()  # each of which would make the finding good


def in_hand(whole: Examined, sight: Sight, check: Check, finding: Finding, *, may_withdraw: bool) -> InHand:
    """Everything that the page says of the check in hand. ``may_withdraw``: a lead, who may withdraw any."""
    mine = sight.name
    rows, hidden, places = [], 0, []
    for one in whole.records:
        if one.check != check.code or finding.piece not in {key for key, _ in one.pieces}:
            continue
        if not sight.sees(one):
            hidden += 1
            continue
        says = bool(one.outcome) or one.value_mm is not None
        history = one.key in finding.superseded
        if says and not history and (sight.sees_all or one.person == mine):
            places.append(one.place)
        own = may_withdraw or one.person == mine
        rows.append(
            ReadingRow(
                reading=one,
                told=_told(whole, sight, one),
                takes_back=_taken_back(whole, sight, one) if says else "",
                withdrawable=own and says and not history,
                earlier=history and says and not one.withdrawn,
                history=history,
            )
        )
    seen = sight.sees_finding(finding, whole.record)
    state, words = _said_of(whole, sight, check, finding, seen=seen)
    return InHand(
        check=check,
        finding=finding,
        seen=seen,
        wrong=finding.state == "not applicable" and is_wrong(whole.judgement, finding.piece),
        state=state,
        bar=_bar(whole, check, finding, rows, seen=seen),
        words=words,
        chance=_chance(finding) if seen else "",
        readings=rows,
        hidden=hidden,
        defects=whole.judgement.guide.defects_of.get(check.code, ()),
        places_read=places,
        remedies=_remedies_of(whole, finding) if seen else (),
    )


def _said_of(whole: Examined, sight: Sight, check: Check, finding: Finding, *, seen: bool) -> tuple[str, str]:
    """The state and the words under the check's heading. At a look the state is the reading: a person who is
    blind is told that somebody has read it, and no more."""
    disputed = finding.dispute is not None and finding.dispute.open
    if not seen:
        return ("in dispute" if disputed else "read by another"), SHOWN_LATER
    state = "in dispute" if disputed else state_of(finding)
    words = _after_title(words_for(sight, finding, whole.record, check.title), check.title)
    return state, "" if words.rstrip(".").lower() == state else words


def _remedies_of(whole: Examined, finding: Finding) -> tuple[Remedy, ...]:
    known = whole.judgement.guide.remedy
    return tuple(known[code] for code in finding.remedies if code in known) if finding.failing else ()


def _taken_back(whole: Examined, sight: Sight, one: ReadingRecord) -> str:
    """What the line takes back, in words, as far as the person may see it."""
    if not one.withdraws:
        return ""
    old = whole.record.get(one.withdraws)
    return _told(whole, sight, old) if old is not None and sight.sees(old) else "another reading"


def _told(whole: Examined, sight: Sight, one: ReadingRecord) -> str:
    """What was read, in words: a defect by its name, everything else as typed."""
    defect = whole.judgement.guide.defect.get(one.outcome)
    if not one.outcome and one.value_mm is None:
        return f"takes back {_taken_back(whole, sight, one)}"
    return defect.name if defect is not None and defect.check == one.check else one.text.strip()


def _after_title(words: str, title: str) -> str:
    """The words under a heading that says the title already."""
    rest = words.removeprefix(f"{title}: ")
    return "" if rest == "not examined yet." else rest[:1].upper() + rest[1:]


def _chance(finding: Finding) -> str:
    """The probability of conformity in words; readings in dispute have none that means anything."""
    probability = finding.probability
    if probability is None or finding.state == "not examined":
        return ""  # not all of its places are read
    if finding.dispute is not None and finding.dispute.open:
        return ""
    if probability > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.001 else f"{probability:.1%}".replace("%", " %")


def _bar(whole: Examined, check: Check, one: Finding, rows: Sequence[ReadingRow], *, seen: bool) -> str:
    """The limit bar in the unit that was typed last; without a needle as long as the person is blind.

    While readings are in dispute each has a needle of its own: their middle is what nobody read.
    """
    if one.lower_mm is None and one.upper_mm is None:
        return ""
    needles = _apart(whole, check, one) if seen else []
    unsure = seen and (bool(needles) or _of_disputed(whole.judgement, one))
    value, expanded = (one.value_mm, (one.expanded_um or 0.0) / 1000) if seen and not unsure else (None, 0.0)
    guide = whole.judgement.guide
    rule = guide.feature[check.feature].rule if check.feature else check.rule
    guard = 0.0
    if value is not None and expanded > 0 and rule == "guarded":
        guard = conformity(value, expanded / 2, one.lower_mm, one.upper_mm, rule=rule).guard_band_mm
    unit = _unit_of([row.reading.text for row in rows if row.reading.value_mm is not None])
    svg = limit_bar(
        value_mm=value,
        expanded_mm=expanded,
        lower_mm=one.lower_mm,
        upper_mm=one.upper_mm,
        guard_mm=guard,
        unit=unit,
        needles=needles,
        disputed=unsure,
    )
    return mark_safe(svg)  # noqa: S308  the program's own picture, of numbers


def _apart(whole: Examined, check: Check, one: Finding) -> list[tuple[float, float]]:
    """The readings of an open dispute, each at 20 °C with its own uncertainty (k = 2), mm."""
    if one.dispute is None or not one.dispute.open:
        return []
    material = whole.judgement.guide.position[check.position].material
    read = [whole.record[key] for key in one.dispute.readings if key in whole.record]
    return [(each.value_mm, each.expanded_um / 1000) for row in read for each in weigh([row], material)]


def _of_disputed(judgement: Judgement, one: Finding) -> bool:
    """Does a stack stand on readings that are in dispute?"""
    return any(
        not set(other.dispute.readings).isdisjoint(one.readings)
        for other in judgement.findings
        if other.dispute is not None and other.dispute.open
    )


def _unit_of(texts: Sequence[str]) -> str:
    if not texts:
        return "mm"
    tail = texts[-1].rstrip().lstrip("0123456789 .,/+-−")
    for name in ("mm", "µm", "in", "thou"):
        try:
            if tail and convert(1.0, "length", tail) == convert(1.0, "length", name):
                return name
        except Refused:
            return "mm"
    return "mm"


def next_link(number: At, judgement: Judgement, after: str) -> dict[str, str] | None:
    """Where the next check that nobody has read stands, and what it is."""
    found = next_open_check(judgement, after)
    if found is None:
        return None
    code, check = found
    guide = judgement.guide
    position = guide.position[code]
    return {
        "url": f"{position_url(number, code)}?check={check}",
        "words": f"{position.number} {position.name}: {guide.check[check].title}",
    }
