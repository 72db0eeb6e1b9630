"""What one call of recording looks up, once, and only as far as its readings need it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import OuterRef, Q, Subquery

from inspections.bench.refusing import No
from inspections.document import Check, GuideIndex, Position
from inspections.gauging.desk import Chosen, Rack, choose_gauge
from inspections.gauging.gauges import gauges_in_use
from inspections.gauging.zeroing import last_zeroings
from inspections.guiding.guides import guide_of
from inspections.models import Examination, Gauge, GuideRevision, Reading, Zeroing
from inspections.readings.examining import need_stage
from inspections.readings.projecting import READ, codes_to_read
from inventory.models import Piece
from shop import clock
from shop.access import Actor, NotThere
from shop.models import Ticket
from shop.prepared import Prepared, as_model, ask_together, columns_of

FEW = 8  # so many or fewer are asked for one by one; of more, all are

_LOCKED = Prepared(
    lambda pk: Examination.objects.filter(pk=pk).select_for_update().values_list(*columns_of(Examination))
)
# No join: the ticket is not locked.
_LOCKED_OF_TICKET = Prepared(
    lambda number: (
        Examination.objects.filter(ticket__in=Ticket.objects.filter(number=number).values("pk"))
        .select_for_update()
        .values_list(*columns_of(Examination))
    )
)
_FACTS = (
    "revision__digest", "ticket__number", "ticket__stage", "ticket__variant__code", "donor__variant__code"
)  # fmt: skip
_HELD = Prepared(lambda pk: Examination.objects.filter(pk=pk).values_list(*_FACTS))
_HELD_OF_TICKET = Prepared(
    lambda number: Examination.objects.filter(ticket__number=number).values_list(*_FACTS)
)
_KNOWN = Prepared(lambda ids: Reading.objects.filter(pk__in=ids).order_by().values_list("sequence"))
_NEWEST = Zeroing.objects.filter(Q(gauge=OuterRef("pk")) | Q(gauge=OuterRef("second"))).order_by("-id")
# With each gauge the last time that it was zeroed; a chain goes by what it is read with as well.
_GAUGES = Prepared(
    lambda codes: (
        Gauge.objects.filter(code__in=codes, retired_at__isnull=True)
        .order_by()
        .values_list(Subquery(_NEWEST.values("pk")[:1]), *columns_of(Gauge))
    )
)
_PIECE = ("pk", "tag", "position__code", "position__name", "condition", "size", "owner", "missing", "state")
_OF_TICKET = Prepared(
    lambda pk, codes: (
        Piece.objects.filter(source__ticket=pk, position__code__in=codes).order_by("tag").values_list(*_PIECE)
    )
)
_OF_DONOR = Prepared(
    lambda pk, codes: (
        Piece.objects.filter(from_unit=pk, position__code__in=codes).order_by("tag").values_list(*_PIECE)
    )
)


class BenchPiece(NamedTuple):
    """A piece as recording needs it. ``owner``: the customer's number, none for the shop's."""

    pk: int
    tag: str
    position: str
    position_name: str
    condition: int
    size: str
    owner: int | None
    missing: bool
    state: str


class Lifted(NamedTuple):
    """A piece of an older reading that is taken back: which, and how it is now."""

    pk: int
    condition: int
    tag: str = ""


class _Gauges(Mapping[str, Gauge]):
    """The gauges in use by code: those at hand are fetched, all of them only where a message lists them."""

    def __init__(self, codes: Collection[str], rows: Sequence[tuple[Any, ...]]) -> None:
        self._all: dict[str, Gauge] | None = None
        self.zeroings: dict[int, Zeroing] = {}
        if len(codes) <= FEW:
            self.at_hand = {one.code: one for one in (as_model(Gauge, row[1:]) for row in rows)}
            self.zeroings = {pk: Zeroing(pk=newest) for newest, pk, *_ in rows if newest is not None}
        else:
            self.at_hand = {code: one for code, one in self._whole().items() if code in codes}
        if len(codes) > FEW or any(one.needs_zeroing for one in self.at_hand.values()):
            self.zeroings = last_zeroings(self.at_hand.values())

    def _whole(self) -> dict[str, Gauge]:
        if self._all is None:
            self._all = {one.code: one for one in gauges_in_use()}
        return self._all

    def __getitem__(self, code: str) -> Gauge:
        found = self.at_hand.get(code)
        return self._whole()[code] if found is None else found

    def __contains__(self, code: object) -> bool:
        return code in self.at_hand

    def __iter__(self) -> Iterator[str]:
        return iter(self._whole())

    def __len__(self) -> int:
        return len(self._whole())


def _known_readings(wanted: Collection[UUID]) -> dict[UUID, Reading]:
    return {one.pk: one for one in Reading.objects.filter(pk__in=wanted).prefetch_related("of__piece")}


class Desk:
    """One call's examination, locked, with its guide, pieces and gauges; ``new``: what it will write."""

    def __init__(
        self, pk: int | None, number: int | None, readings: Sequence[Any], by: Actor, at: datetime
    ) -> None:
        # The counter is the sequence: writers of one examination come one after another. What it is held on
        # is asked after the lock: a stage may have changed, and a reading come in, while this one waited.
        wanted = {one.id for one in readings} | {one.withdraws for one in readings if one.withdraws}
        which = (number,) if pk is None else (pk,)
        locked, facts, known = ask_together(
            [
                (_LOCKED_OF_TICKET if pk is None else _LOCKED, which),
                (_HELD_OF_TICKET if pk is None else _HELD, which),
                (_KNOWN, (tuple(wanted) if len(wanted) <= FEW else (),)),
            ]
        )
        if not locked:
            raise NotThere
        self.examination: Examination = as_model(Examination, locked[0])
        digest, self.ticket_number, stage, variant, donors = facts[0]
        if stage is not None:
            need_stage(stage)
        self.by = by
        self.person = by.person
        self.lead = by.person.is_lead
        self.guide: GuideIndex = guide_of(GuideRevision(pk=self.examination.revision_id, digest=digest))
        self.variant: str = variant or donors
        self.checks = {one.code: one for one in self.guide.checks_of(self.variant)}
        self.known = _known_readings(wanted) if known or len(wanted) > FEW else {}
        self.warnings: dict[UUID, str] = {}
        self.sent_at: datetime | None = None
        self.new: dict[UUID, Reading] = {}
        self.of: dict[UUID, Sequence[BenchPiece | Lifted]] = {}
        self._look_up(readings, at)

    def _look_up(self, readings: Sequence[Any], at: datetime) -> None:
        """Pieces in the positions of what is read and of what is tried with them, gauges, and what was read
        before of a few measuring checks."""
        held = self.examination
        checks = [self.checks[code] for code in {one.check for one in readings} if code in self.checks]
        positions = {one.position for one in checks}
        positions |= {other.code for one in checks for other in self.guide.company_of(one, self.variant)}
        measured = {one.code for one in checks if one.kind == "measure"}
        gauges = {one.gauge for one in readings if one.gauge and "\x00" not in one.gauge}
        to_read = codes_to_read(self.guide, self.variant, measured) if len(measured) <= FEW else ()
        few = len(positions) <= FEW
        pieces, at_hand, before = ask_together(
            [
                (
                    _OF_TICKET if held.ticket_id else _OF_DONOR,
                    (held.ticket_id or held.donor_id, tuple(sorted(positions)) if few else ()),
                ),
                (_GAUGES, (tuple(sorted(gauges)) if len(gauges) <= FEW else (),)),
                (READ, (held.pk, to_read)),
            ]
        )
        # None: there are many, and the whole unit is judged.
        self.before = before if len(measured) <= FEW else None
        self._pieces = [BenchPiece._make(row) for row in pieces]
        self._whole = False
        if not few:
            self._all_pieces()
        rack = _Gauges(gauges, at_hand)
        self.rack = Rack(rack, rack.zeroings, clock.today(at), at)

    def _all_pieces(self) -> list[BenchPiece]:
        """Everything on this bench; of positions that the variant lacks, too: they lie in their trays."""
        if not self._whole:
            held = self.examination
            own = {"source__ticket": held.ticket_id} if held.ticket_id else {"from_unit": held.donor_id}
            rows = Piece.objects.filter(**own).order_by("tag").values_list(*_PIECE)
            self._pieces, self._whole = [BenchPiece._make(row) for row in rows], True
        return self._pieces

    def at(self, position: str) -> list[BenchPiece]:
        return [one for one in self._pieces if one.position == position]

    def in_positions(self, positions: Collection[str]) -> list[BenchPiece]:
        return [one for one in self._pieces if one.position in positions]

    def _tagged(self, tag: str) -> BenchPiece | None:
        found = next((one for one in self._pieces if one.tag == tag), None)
        return found or next((one for one in self._all_pieces() if one.tag == tag), None)

    def check(self, code: str) -> Check:
        found = self.checks.get(code)
        if found is not None:
            if found.kind == "stack":
                raise No("check", f"{found.title} is worked out from its parts. Read those.")
            if found.kind == "replaced":
                raise No("check", f"{found.title}: replaced always, nothing is read.")
            return found
        other = self.guide.check.get(code)
        if other is not None:
            raise No("check", f"{other.title} is not on this variant.")
        raise No("check", f"This unit's guide has no check {code}.")

    def piece(self, check: Check, tag: str) -> BenchPiece:
        here = self.at(check.position)
        name = self.guide.position[check.position].name
        if tag:
            named = self._tagged(tag)
            if named is None:
                raise No("piece", f"There is no piece {tag} on this bench.")
            found = named
            if found.position != check.position:
                raise No("piece", f"{tag} is a {found.position_name}; {check.title} is of {name}.")
        elif len(here) != 1:
            tags = ", ".join(one.tag for one in here) or "none"
            raise No("piece", f"{name} has {len(here)} pieces: {tags}. Say which.")
        else:
            found = here[0]
        if found.missing:
            raise No("piece", f"{found.tag} is marked as missing. If it has turned up, say so first.")
        if self.examination.donor_id and found.state not in {"tray", "bin"}:
            raise No("piece", f"{found.tag} is {found.state}. Only what lies in a tray or a bin is read.")
        return found

    def company(self, check: Check, tags: Sequence[str]) -> list[BenchPiece]:
        """The pieces that a try was assembled with, one of each of its other positions."""
        positions = self.guide.company_of(check, self.variant)
        named = [self._named(check, tag, {one.code for one in positions}) for tag in dict.fromkeys(tags)]
        return [self._companion(one, named) for one in positions]

    def _named(self, check: Check, tag: str, positions: Collection[str]) -> BenchPiece:
        found = self._tagged(tag)
        if found is None:
            raise No("pieces", f"There is no piece {tag} on this bench.")
        if found.position not in positions:
            raise No("pieces", f"{check.title} is not tried with {tag}, a {found.position_name}.")
        return found

    def _companion(self, position: Position, named: Collection[BenchPiece]) -> BenchPiece:
        chosen = [one for one in named if one.position == position.code]
        there = [one for one in chosen or self.at(position.code) if not one.missing]
        if not there:
            raise No("pieces", f"{position.name} is missing: there is nothing to try it with.")
        if len(there) > 1:
            tags = ", ".join(one.tag for one in there)
            raise No("pieces", f"{position.name} has {len(there)} pieces: {tags}. Say which one.")
        return there[0]

    def gauge(self, check: Check, size: str, sent: Any) -> Chosen:
        chosen = choose_gauge(
            self.rack,
            self.guide,
            check,
            size=size,
            code=sent.gauge,
            override=sent.override,
            lead=self.lead,
        )
        self.warnings[sent.id] = chosen.warning
        return chosen

    def pieces_of(self, old: Reading) -> Sequence[BenchPiece | Lifted]:
        """What an older reading is of, be it of this call."""
        if old.pk in self.of:
            return self.of[old.pk]
        return [Lifted(one.piece_id, one.piece.condition, one.piece.tag) for one in old.of.all()]

    def is_withdrawn(self, old: Reading) -> bool:
        if any(one.withdraws_id == old.pk for one in self.new.values()):
            return True
        return Reading.objects.filter(withdraws=old.pk).exists()
