"""From the rows of an examination to its judgement. A handful of queries, whatever was read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Q, QuerySet

from inspections.gauging.kinds import candidates_of
from inspections.guiding.guides import guide_of
from inspections.judgement.judging import (
    Dispute,
    Finding,
    Judgement,
    Known,
    PieceRecord,
    ReadingRecord,
    judge,
)
from inspections.models import Examination, Gauge, ReadingPiece
from inspections.readings.kept import Kept
from inventory.models import Piece
from shop import clock
from shop.access import Actor, NotThere
from shop.models import User


def examinations() -> QuerySet[Examination]:
    """Examinations with what judging asks of them; the document is read once a process, by its guide."""
    return Examination.objects.select_related(
        "revision", "revision__family", "ticket", "ticket__variant", "donor", "donor__variant"
    ).defer("revision__document")


def examination_for(by: Actor, pk: int, right: str = "see_tickets") -> Examination:
    """The examination, if ``by`` may do that with it."""
    by.need("see_tickets")
    found = examinations().filter(pk=pk).first()
    if found is None:
        raise NotThere
    by.need(right)
    return found


def pieces_of(examination: Examination) -> QuerySet[Piece]:
    """What was laid out of the ticket's sources, or of the donor, by tag."""
    own = (
        Q(source__ticket_id=examination.ticket_id)
        if examination.ticket_id
        else Q(from_unit_id=examination.donor_id)
    )
    rows: QuerySet[Piece] = Piece.objects.filter(own).select_related("position").order_by("tag")
    return rows


def variant_of(examination: Examination) -> str:
    holder = examination.ticket or examination.donor
    assert holder is not None
    return holder.variant.code


class PieceRow(NamedTuple):
    """A piece as judged; equal rows give equal judgements."""

    tag: str
    position: str
    condition: int
    size: str
    owned: bool
    missing: bool

    @property
    def record(self) -> PieceRecord:
        owner = "customer" if self.owned else "shop"
        return PieceRecord(self.tag, self.position, self.condition, self.size, owner, self.missing)


class GaugeRow(NamedTuple):
    """A gauge as judged, and what a page says of it."""

    pk: int
    code: str
    name: str
    expanded_um: float
    calibration_um: float
    retired: bool
    due_on: date | None
    measures: str
    kind: str = "other"
    from_mm: float | None = None
    to_mm: float | None = None
    size_mm: float | None = None
    needs_zeroing: bool = False
    second_id: int | None = None  # of a chain: what it is read with


_GAUGE_FIELDS = (
    "pk", "code", "name", "expanded_um", "calibration_um", "retired_at", "due_on", "measures", "kind",
    "from_mm", "to_mm", "size_mm", "needs_zeroing", "second_id",
)  # fmt: skip


class State(NamedTuple):
    """Everything beside the append-only readings that a judgement follows from, asked anew each time."""

    examination: int
    counter: int
    digest: str
    variant: str
    pieces: tuple[PieceRow, ...]
    gauges: tuple[GaugeRow, ...]
    people: tuple[tuple[int, str], ...]
    today: date  # which gauges are past due, and so cannot settle a close value


def states_of(several: Sequence[Examination]) -> list[State]:
    """Three queries and each one's counter: a judgement kept under its state is never stale."""
    gauges = tuple(
        GaugeRow._make((*row[:5], row[5] is not None, *row[6:]))
        for row in Gauge.objects.values_list(*_GAUGE_FIELDS)
    )
    people, pieces, today = _people(), _pieces(several), clock.today()
    return [
        State(
            one.pk,
            one.counter,
            f"{one.revision.pk}:{one.revision.digest}",
            variant_of(one),
            tuple(pieces.get((one.ticket_id, one.donor_id), ())),
            gauges,
            people,
            today,
        )
        for one in several
    ]


def _pieces(several: Sequence[Examination]) -> dict[tuple[int | None, int | None], list[PieceRow]]:
    """Pieces by the (ticket, donor) of their examination: one query for tickets, one for donors."""
    found: dict[tuple[int | None, int | None], list[PieceRow]] = {}
    tickets = {one.ticket_id for one in several if one.ticket_id}
    donors = {one.donor_id for one in several if one.donor_id}
    fields = ("tag", "position__code", "condition", "size", "owner_id", "missing")
    if tickets:
        rows = Piece.objects.filter(source__ticket_id__in=tickets).order_by("tag")
        for ticket, tag, position, condition, size, owner, missing in rows.values_list(
            "source__ticket_id", *fields
        ):
            row = PieceRow(tag, position, condition, size, owner is not None, missing)
            found.setdefault((ticket, None), []).append(row)
    if donors:
        rows = Piece.objects.filter(from_unit_id__in=donors).order_by("tag")
        for donor, tag, position, condition, size, owner, missing in rows.values_list(
            "from_unit_id", *fields
        ):
            row = PieceRow(tag, position, condition, size, owner is not None, missing)
            found.setdefault((None, donor), []).append(row)
    return found


def _people() -> tuple[tuple[int, str], ...]:
    """The shop's people by the name that findings say; two of one name are told apart."""
    rows = list(
        User.objects.filter(supplier__isnull=True)
        .order_by("pk")
        .values_list("pk", "display_name", "username")
    )
    names = Counter(display or username for _, display, username in rows)
    return tuple(
        (pk, display or username if names[display or username] == 1 else f"{display} ({username})")
        for pk, display, username in rows
    )


def reading_records(
    states: Sequence[State], aside: Collection[str] = (), after: Mapping[int, int] | None = None
) -> dict[int, list[ReadingRecord]]:
    """All readings as judging takes them, by examination: one query, however many are asked for.

    ``after``: by examination, the sequence that the asker knows all readings up to.
    """
    found: dict[int, list[ReadingRecord]] = {one.examination: [] for one in states}
    if not states:
        return found
    lacking = Q(pk__in=())
    for pk in found:
        lacking |= Q(reading__examination_id=pk, reading__sequence__gt=(after or {}).get(pk, 0))
    # Every reading is of a piece at least: one query gives readings and pieces.
    of: dict[UUID, list[tuple[str, int]]] = {}
    rows: list[_Row] = []
    for tag, condition, *columns in (
        ReadingPiece.objects.filter(lacking)
        .order_by("reading__sequence", "pk")
        .values_list("piece__tag", "condition", *(f"reading__{name}" for name in _FIELDS))
    ):
        row = _Row._make(columns)
        if row.id not in of:
            rows.append(row)
        of.setdefault(row.id, []).append((tag, condition))
    people, gauges = dict(states[0].people), {one.pk: one for one in states[0].gauges}
    withdrawn = {one.withdraws_id for one in rows}
    for row in rows:
        gauge = gauges[row.gauge_id] if row.gauge_id else None
        found[row.examination_id].append(
            ReadingRecord(
                key=str(row.id),
                check=row.check_code,
                pieces=tuple(of.get(row.id, ())),
                person=people.get(row.person_id, "somebody"),
                sequence=row.sequence,
                lead=row.as_lead,
                gauge=gauge.code if gauge else "",
                **_figures(row, gauge),
                value_mm=row.value_mm,
                resolution_um=row.resolution_um,
                text=_typed(row),
                outcome=row.outcome,
                place=row.place,
                part_temperature_c=row.part_temperature_c,
                withdrawn=row.id in withdrawn,
                withdraws=str(row.withdraws_id or ""),
                aside=str(row.id) in aside,
                clock_off=row.clock_off,
            )
        )
    return found


class _Row(NamedTuple):
    """The columns of a reading that judging needs."""

    id: UUID
    examination_id: int
    sequence: int
    check_code: str
    text: str
    unit: str
    value_mm: float | None
    resolution_um: float
    outcome: str
    place: str
    gauge_id: int | None
    person_id: int
    as_lead: bool
    part_temperature_c: float | None
    withdraws_id: UUID | None
    overdue_reason: str
    gauge_expanded_um: float | None
    gauge_calibration_um: float | None
    gauge_size_mm: float | None
    clock_off: bool


_FIELDS = _Row._fields


def _figures(row: _Row, gauge: GaugeRow | None) -> dict[str, Any]:
    """The gauge's figures on the day of the reading; an old reading without them goes by the register."""
    if gauge is None:
        return {}
    then, calibration = row.gauge_expanded_um, row.gauge_calibration_um
    return {
        "gauge_expanded_um": gauge.expanded_um if then is None else then,
        "gauge_calibration_um": gauge.calibration_um if calibration is None else calibration,
        "gauge_kind": gauge.kind,
        "gauge_size_mm": gauge.size_mm if row.gauge_size_mm is None else row.gauge_size_mm,
        "overdue_reason": row.overdue_reason,
    }


def _typed(one: _Row) -> str:
    """Text and unit as typed: a bare number gets the unit that it was taken to have."""
    bare = one.value_mm is not None and one.text.strip()[-1:].isdigit()
    return f"{one.text.strip()} {one.unit}" if bare else one.text


@dataclass(frozen=True)
class Examined:
    """An examination as it stands: what it follows from, what was read, and what follows."""

    state: State
    records: tuple[ReadingRecord, ...]
    judgement: Judgement

    @cached_property
    def record(self) -> dict[str, ReadingRecord]:
        return {one.key: one for one in self.records}


_kept: Kept[Examined] = Kept(64)


@dataclass(frozen=True, slots=True)
class _Grown:
    """What was read of an examination up to a sequence, and what was judged of it check by check."""

    upto: int
    records: tuple[ReadingRecord, ...]
    known: Known


_grown: Kept[_Grown] = Kept(64)


def grown_records(
    states: Sequence[State], several: Sequence[Examination]
) -> dict[int, tuple[tuple[ReadingRecord, ...], Known]]:
    """All readings of each, and the findings known so far. Only what came since the last look is fetched.

    A reading is never changed and its sequence never comes late (its writer holds the examination), so what
    was fetched stands; whether it is withdrawn or set aside is told anew each time.
    """
    opened = {one.pk: (one.opened_at, {*one.set_aside}) for one in several}
    # Everything that a record and a finding follow from beside the readings and pieces themselves.
    keys = {
        one.examination: (
            one.examination, opened[one.examination][0], one.digest, one.variant, one.gauges, one.people,
            one.today,
        )
        for one in states
    }  # fmt: skip
    before = {pk: _grown.committed(key) or _Grown(0, (), {}) for pk, key in keys.items()}
    came = reading_records(states, after={pk: one.upto for pk, one in before.items()})
    found = {}
    for pk, old in before.items():
        new, aside = came[pk], opened[pk][1]
        taken_back = {one.withdraws for one in new if one.withdraws}
        rows = tuple(_as_it_stands(one, taken_back, aside) for one in (*old.records, *new))
        found[pk] = rows, old.known
        _grown.keep(keys[pk], _Grown(new[-1].sequence if new else old.upto, rows, old.known))
    return found


def _as_it_stands(one: ReadingRecord, taken_back: Collection[str], aside: Collection[str]) -> ReadingRecord:
    withdrawn, lies_aside = one.withdrawn or one.key in taken_back, one.key in aside
    if (withdrawn, lies_aside) == (one.withdrawn, one.aside):
        return one
    return replace(one, withdrawn=withdrawn, aside=lies_aside)


def examined_many(several: Sequence[Examination]) -> list[Examined]:
    """Judge everything that was read of each. Five or six queries, three when nothing has changed since."""
    states = states_of(several)
    found = {one: kept for one in states if (kept := _kept.find(one)) is not None}
    new = [one for one in states if one not in found]
    guides = {one.pk: guide_of(one.revision) for one in several}
    # What is set aside changes with the examination's counter, which the state holds.
    grown = grown_records(new, several)
    for state in new:
        rows, known = grown[state.examination]
        # Pieces of positions that the variant lacks lie aside, in their trays.
        here = {one.code for one in guides[state.examination].positions_of(state.variant)}
        pieces = [one.record for one in state.pieces if one.position in here]
        guide = guides[state.examination]
        rack = [one for one in state.gauges if not one.retired]
        judgement = judge(guide, state.variant, pieces, rows, candidates_of(guide, rack, state.today), known)
        found[state] = Examined(state, rows, judgement)
        _kept.keep(state, found[state])
    return [found[one] for one in states]


def examined(examination: Examination) -> Examined:
    """One examination as it stands; see :func:`examined_many`."""
    return examined_many([examination])[0]


def judgement_of(examination: Examination) -> Judgement:
    """The judgement of everything that was read of an examination; see :func:`examined`."""
    return examined(examination).judgement


def disputes_of(judgement: Judgement) -> list[tuple[Finding, Dispute]]:
    """Findings whose readings are in dispute, open or settled."""
    return [(one, one.dispute) for one in judgement.findings if one.dispute is not None]


def open_disputes(judgement: Judgement) -> list[Finding]:
    return [one for one, dispute in disputes_of(judgement) if dispute.open]


def undecided_positions(judgement: Judgement) -> list[str]:
    """Codes of positions that are still open, in the guide's order."""
    return [one.position for one in judgement.positions if one.status == "open"]


def next_open_check(
    judgement: Judgement, after: str = "", positions: Iterable[str] = ()
) -> tuple[str, str] | None:
    """Position and check of the next one not examined, from ``after`` on and round again; a technician goes
    through a unit in the guide's order, position by position."""
    wanted = {*positions}
    order = _by_position(judgement)
    waiting = [
        one
        for one in order
        if one.state == "not examined"
        and judgement.guide.check[one.check].kind != "stack"
        and (not wanted or one.position in wanted)
    ]
    if not waiting:
        return None
    place = {(one.check, one.piece): n for n, one in enumerate(order)}
    here = max((n for (check, _), n in place.items() if check == after), default=-1)
    later = [one for one in waiting if place[one.check, one.piece] > here]
    found = (later or waiting)[0]
    return found.position, found.check


def _by_position(judgement: Judgement) -> Sequence[Finding]:
    rank = {one.code: one.number for one in judgement.guide.guide.positions}
    return sorted(judgement.findings, key=lambda one: rank[one.position])
