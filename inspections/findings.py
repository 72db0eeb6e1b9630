"""From the rows of an examination to its judgement. A handful of queries, whatever was read."""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Iterable, Sequence
from datetime import date
from threading import Lock
from typing import NamedTuple

from django.db import connection
from django.db.models import Q, QuerySet

from inspections.guides import guide_of
from inspections.judging import Dispute, Finding, Judgement, PieceRecord, ReadingRecord, judge
from inspections.models import Examination, Gauge, Reading, ReadingPiece
from inventory.models import Piece
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


class State(NamedTuple):
    """Everything beside the append-only readings that a judgement follows from, asked anew each time."""

    examination: int
    counter: int
    digest: str
    variant: str
    pieces: tuple[PieceRow, ...]
    gauges: tuple[GaugeRow, ...]
    people: tuple[tuple[int, str], ...]


def state_of(examination: Examination) -> State:
    """Three queries and the counter: a judgement kept under this state is never stale."""
    pieces = tuple(
        PieceRow(tag, position, condition, size, owner is not None, missing)
        for tag, position, condition, size, owner, missing in pieces_of(examination).values_list(
            "tag", "position__code", "condition", "size", "owner_id", "missing"
        )
    )
    gauges = tuple(
        GaugeRow(pk, code, name, expanded, calibration, retired is not None, due)
        for pk, code, name, expanded, calibration, retired, due in Gauge.objects.values_list(
            "pk", "code", "name", "expanded_um", "calibration_um", "retired_at", "due_on"
        )
    )
    revision = examination.revision
    return State(
        examination.pk,
        examination.counter,
        f"{revision.pk}:{revision.digest}",
        variant_of(examination),
        pieces,
        gauges,
        _people(),
    )


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


def reading_records(examination: Examination, state: State) -> list[ReadingRecord]:
    """All readings as judging takes them: two queries."""
    of: dict[object, list[tuple[str, int]]] = {}
    for reading, tag, condition in ReadingPiece.objects.filter(
        reading__examination_id=examination.pk
    ).values_list("reading_id", "piece__tag", "condition"):
        of.setdefault(reading, []).append((tag, condition))
    people, gauges = dict(state.people), {one.pk: one for one in state.gauges}
    rows = list(Reading.objects.filter(examination_id=examination.pk).order_by("sequence"))
    withdrawn = {one.withdraws_id for one in rows}
    return [
        ReadingRecord(
            key=str(one.pk),
            check=one.check_code,
            pieces=tuple(of.get(one.pk, ())),
            person=people.get(one.person_id, "somebody"),
            sequence=one.sequence,
            lead=one.as_lead,
            gauge=gauges[one.gauge_id].code if one.gauge_id else "",
            gauge_expanded_um=gauges[one.gauge_id].expanded_um if one.gauge_id else 0.0,
            gauge_calibration_um=gauges[one.gauge_id].calibration_um if one.gauge_id else 0.0,
            value_mm=one.value_mm,
            resolution_um=one.resolution_um,
            text=_typed(one),
            outcome=one.outcome,
            place=one.place,
            part_temperature_c=one.part_temperature_c,
            withdrawn=one.pk in withdrawn,
        )
        for one in rows
    ]


def _typed(one: Reading) -> str:
    """Text and unit as typed: a bare number gets the unit that it was taken to have."""
    bare = one.value_mm is not None and one.text.strip()[-1:].isdigit()
    return f"{one.text.strip()} {one.unit}" if bare else one.text


_KEPT: OrderedDict[State, Judgement] = OrderedDict()
_MOST = 64
_lock = Lock()


def judgement_of(examination: Examination, state: State | None = None) -> Judgement:
    """Judge everything that was read. At most six queries, three when nothing has changed since."""
    state = state or state_of(examination)
    # Inside a transaction rows can still be taken back, and their counter given to others: nothing is kept.
    keep = not connection.in_atomic_block
    if keep:
        with _lock:
            kept = _KEPT.get(state)
            if kept is not None:
                _KEPT.move_to_end(state)
                return kept
    guide = guide_of(examination.revision)
    made = judge(
        guide, state.variant, [one.record for one in state.pieces], reading_records(examination, state)
    )
    if not keep:
        return made
    with _lock:
        _KEPT[state] = made
        while len(_KEPT) > _MOST:
            _KEPT.popitem(last=False)
    return made


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
