"""What one call of recording looks up, once, and only as far as its readings need it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import OuterRef, Q, Subquery

from inspections.document import Check, GuideIndex, Position
from inspections.examining import need_stage
from inspections.gauge_desk import Chosen, Rack, choose_gauge
from inspections.gauges import gauges_in_use
from inspections.guides import guide_of
from inspections.models import Examination, Gauge, GuideRevision, Reading, Zeroing
from inspections.refusing import No
from inspections.zeroing import last_zeroings
from inventory.models import Piece
from shop import clock
from shop.access import Actor, NotThere
from shop.models import Ticket
from shop.prepared import Prepared, as_model, columns_of

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
_HELD = Prepared(
    lambda pk: Examination.objects.filter(pk=pk).values_list(
        "revision__digest", "ticket__number", "ticket__stage", "ticket__variant__code", "donor__variant__code"
    )
)
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


class _Gauges(Mapping[str, Gauge]):
    """The gauges in use by code: those at hand are fetched, all of them only where a message lists them."""

    def __init__(self, codes: Collection[str]) -> None:
        wanted = {one for one in codes if one and "\x00" not in one}
        self._all: dict[str, Gauge] | None = None
        self.zeroings: dict[int, Zeroing] = {}
        if len(wanted) <= FEW:
            rows = _GAUGES.rows(tuple(wanted))
            self.at_hand = {one.code: one for one in (as_model(Gauge, row[1:]) for row in rows)}
            for newest, pk, *_ in rows:
                if newest is not None:
                    self.zeroings[pk] = Zeroing(pk=newest)
            if any(one.needs_zeroing for one in self.at_hand.values()):
                self.zeroings = last_zeroings(self.at_hand.values())
        else:
            self.at_hand = {code: one for code, one in self._whole().items() if code in wanted}
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


def known_readings(readings: Sequence[Any]) -> dict[UUID, Reading]:
    """Those that are known already, of what was sent and of what it takes back."""
    wanted = {one.id for one in readings} | {one.withdraws for one in readings if one.withdraws}
    return {one.pk: one for one in Reading.objects.filter(pk__in=wanted).prefetch_related("of__piece")}


class Desk:
    """One call's examination, locked, with its guide, pieces and gauges; ``new``: what it will write."""

    def __init__(
        self, pk: int | None, number: int | None, readings: Sequence[Any], by: Actor, at: datetime
    ) -> None:
        # The counter is the sequence: writers of one examination come one after another.
        locked = _LOCKED_OF_TICKET.rows(number) if pk is None else _LOCKED.rows(pk)
        if not locked:
            raise NotThere
        self.examination: Examination = as_model(Examination, locked[0])
        # Asked after the lock: a stage may have changed while this one waited.
        digest, self.ticket_number, stage, variant, donors = _HELD.rows(self.examination.pk)[0]
        if stage is not None:
            need_stage(stage)
        self.by = by
        self.person = by.person
        self.lead = by.person.is_lead
        revision = GuideRevision(pk=self.examination.revision_id, digest=digest)
        self.guide: GuideIndex = guide_of(revision)
        self.variant: str = variant or donors
        self.checks = {one.code: one for one in self.guide.checks_of(self.variant)}
        self._pieces: list[BenchPiece] = []
        self._whole = False
        self._look_up_pieces({one.check for one in readings})
        gauges = _Gauges({one.gauge for one in readings})
        self.rack = Rack(gauges, gauges.zeroings, clock.today(at), at)
        self.warnings: dict[UUID, str] = {}
        self.sent_at: datetime | None = None
        self.alone = len(readings) <= 1 and not any(one.withdraws for one in readings)
        # Of one alone the database tells when it is written; it is seldom known.
        self.known = {} if self.alone else known_readings(readings)
        self.new: dict[UUID, Reading] = {}
        self.of: dict[UUID, Sequence[BenchPiece | Lifted]] = {}

    def _look_up_pieces(self, codes: Collection[str]) -> None:
        """Those in the positions of these checks and of what is tried with them."""
        checks = [self.checks[code] for code in codes if code in self.checks]
        positions = {one.position for one in checks}
        positions |= {other.code for one in checks for other in self.guide.company_of(one, self.variant)}
        if len(positions) > FEW:
            self._all_pieces()
        else:
            self._pieces = self._fetch(tuple(sorted(positions)))

    def _fetch(self, positions: tuple[str, ...]) -> list[BenchPiece]:
        held = self.examination
        rows = (_OF_TICKET if held.ticket_id else _OF_DONOR).rows(held.ticket_id or held.donor_id, positions)
        return [BenchPiece._make(row) for row in rows]

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
        return [Lifted(one.piece_id, one.piece.condition) for one in old.of.all()]

    def is_withdrawn(self, old: Reading) -> bool:
        if any(one.withdraws_id == old.pk for one in self.new.values()):
            return True
        return Reading.objects.filter(withdraws=old.pk).exists()
