"""Measures of pieces as they are judged now, for search and for mates."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol
from uuid import UUID

from inspections.document import GuideIndex
from inspections.judgement.judging import Finding, Judgement, PieceRecord, ReadingRecord, judge_some
from inspections.models import Examination, Reading, ReadingPiece
from inventory.models import Measure
from shop.prepared import Prepared, Statement, inserts_of, send_together

_NEWEST = """ON CONFLICT (piece_id, feature) DO UPDATE SET condition = excluded.condition,
 value_um = excluded.value_um, expanded_um = excluded.expanded_um, state = excluded.state, at = excluded.at"""


class Measured(Protocol):
    """What is asked of a piece's row here."""

    @property
    def pk(self) -> int: ...
    @property
    def condition(self) -> int: ...


class Tagged(Measured, Protocol):
    @property
    def tag(self) -> str: ...


class Readable(Tagged, Protocol):
    @property
    def size(self) -> str: ...
    @property
    def missing(self) -> bool: ...


def project_measures(
    judgement: Judgement, checks: Iterable[str], pieces: Mapping[str, Measured], at: datetime
) -> None:
    """Bring the measures of these measuring checks to what is judged; ``pieces`` by tag."""
    findings = [one for code in checks for one in judgement.of_check(code)]
    send_together(_statements(judgement.guide, findings, pieces, at))


def _statements(
    guide: GuideIndex, findings: Iterable[Finding], pieces: Mapping[str, Measured], at: datetime
) -> list[Statement]:
    """What writes the measures of these findings; those that have no value any more go at once."""
    rows, without = [], []
    for one in findings:
        piece, feature = pieces[one.piece], guide.check[one.check].feature
        if one.value_mm is None or one.expanded_um is None:
            without.append((piece.pk, feature))
            continue
        rows.append(
            Measure(
                piece_id=piece.pk,
                feature=feature,
                condition=piece.condition,
                value_um=one.value_mm * 1000,
                expanded_um=one.expanded_um,
                state=one.state,
                at=at,
            )
        )
    if without:
        known = Measure.objects.filter(piece__in={pk for pk, _ in without})
        gone = [pk for pk, *of in known.values_list("pk", "piece", "feature") if tuple(of) in {*without}]
        Measure.objects.filter(pk__in=gone).delete()
    return inserts_of(Measure, rows, _NEWEST)


_COLUMNS = (
    "sequence", "check_code", "value_mm", "resolution_um", "text", "outcome", "place", "part_temperature_c",
    "person", "as_lead", "overdue_reason", "withdraws", "gauge_expanded_um", "gauge_calibration_um",
    "gauge_size_mm", "gauge__code", "gauge__expanded_um", "gauge__calibration_um", "gauge__size_mm",
    "gauge__kind",
)  # fmt: skip
READ = Prepared(
    lambda held, codes: (
        ReadingPiece.objects.filter(reading__examination=held, reading__check_code__in=codes)
        .order_by("reading__sequence", "pk")
        .values_list("reading", "piece__tag", "condition", *(f"reading__{one}" for one in _COLUMNS))
    )
)


def codes_to_read(guide: GuideIndex, variant: str, codes: Collection[str]) -> tuple[str, ...]:
    """These checks and what identifies their pieces: whose readings :func:`project_some` needs."""
    positions = {guide.check[code].position for code in codes}
    identities = {
        one.code for one in guide.checks_of(variant) if one.kind == "identify" and one.position in positions
    }
    return tuple(sorted({*codes} | identities))


def project_some(
    held: Examination,
    guide: GuideIndex,
    variant: str,
    codes: Collection[str],
    pieces: Sequence[Readable],
    rows: Sequence[tuple[Any, ...]],
    at: datetime,
) -> list[Statement]:
    """The statements that do the same after a few readings. ``rows``: of READ and of the new ones, for
    :func:`codes_to_read`; ``pieces``: all of the checks' positions."""
    readings = _records(rows, {*held.set_aside})
    findings = judge_some(guide, variant, [_piece(one) for one in pieces], readings, codes)
    return _statements(guide, findings, {one.tag: one for one in pieces}, at)


def rows_of_new(row: Reading, of: Iterable[Tagged]) -> list[tuple[Any, ...]]:
    """The same columns of a reading that is not written yet."""
    gauge = row.gauge
    known = (gauge.code, gauge.expanded_um, gauge.calibration_um, gauge.size_mm, gauge.kind) if gauge else ()
    columns = (
        *(getattr(row, one) for one in _COLUMNS[:8]),
        row.person_id, row.as_lead, row.overdue_reason, row.withdraws_id, row.gauge_expanded_um,
        row.gauge_calibration_um, row.gauge_size_mm,
        *(known or [None] * 5),
    )  # fmt: skip
    return [(row.pk, one.tag, one.condition, *columns) for one in of]


def _piece(one: Any) -> PieceRecord:
    return PieceRecord(
        one.tag, one.position, one.condition, one.size, "customer" if one.owner else "shop", one.missing
    )


def _records(rows: Sequence[tuple[Any, ...]], aside: Collection[str]) -> list[ReadingRecord]:
    """Readings as judging takes them. A person stands by number: which is which is all that counts here."""
    of: dict[UUID, list[tuple[str, int]]] = {}
    read: dict[UUID, dict[str, Any]] = {}
    for pk, tag, condition, *columns in rows:
        of.setdefault(pk, []).append((tag, condition))
        read[pk] = dict(zip(_COLUMNS, columns, strict=True))
    withdrawn = {one["withdraws"] for one in read.values()}
    return [
        ReadingRecord(
            key=str(pk),
            check=one["check_code"],
            pieces=tuple(of[pk]),
            person=str(one["person"]),
            sequence=one["sequence"],
            lead=one["as_lead"],
            **_gauge(one),
            value_mm=one["value_mm"],
            resolution_um=one["resolution_um"],
            text=one["text"],
            outcome=one["outcome"],
            place=one["place"],
            part_temperature_c=one["part_temperature_c"],
            withdrawn=pk in withdrawn,
            withdraws=str(one["withdraws"] or ""),
            aside=str(pk) in aside,
        )
        for pk, one in read.items()
    ]


def _gauge(one: dict[str, Any]) -> dict[str, Any]:
    """The gauge's figures on the day of the reading; an old reading without them goes by the register."""
    if one["gauge__code"] is None:
        return {}

    def then(name: str) -> Any:
        kept = one[f"gauge_{name}"]
        return one[f"gauge__{name}"] if kept is None else kept

    return {
        "gauge": one["gauge__code"],
        "gauge_expanded_um": then("expanded_um"),
        "gauge_calibration_um": then("calibration_um"),
        "gauge_kind": one["gauge__kind"],
        "gauge_size_mm": then("size_mm"),
        "overdue_reason": one["overdue_reason"],
    }
