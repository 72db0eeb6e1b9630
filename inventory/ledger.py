"""The stock ledger and its promises: the only module that writes Balance, Movement and Reservation.

Locks are taken in one order: the ticket, then balances by the key of their lot, then pieces by key. Every
check is also the condition of the update that it guards, and the row count decides, so that the rules hold
where the database knows no row locks (SQLite) as well. A caller that reserves several things in one
transaction takes pieces by key, then lots by key.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, Sum
from django.db.models.functions import Coalesce

from inventory.access import need_any, need_to_promise
from inventory.models import Balance, Bin, Donor, Lot, Movement, Part, Piece, Reservation
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import CLOSED, Position, Ticket
from shop.money import line_minor
from shop.refusals import Conflict, Refusal


def lock_ticket(ticket: Ticket) -> Ticket:
    """Lock the ticket's row, first of all locks, and return it as it stands; Conflict if it is closed."""
    row = Ticket.objects.select_for_update(no_key=True).get(pk=ticket.pk)
    if row.stage in CLOSED:
        raise Conflict(f"Ticket {row.number} is {row.stage}. Nothing more can be promised to it.")
    return row


def lock_balances(lots: Iterable[int]) -> dict[int, Balance]:
    """Lock the balances of these lots by key; lot's key -> balance."""
    rows = Balance.objects.select_for_update(no_key=True, of=("self",)).select_related("lot__part")
    return {row.lot_id: row for row in rows.filter(lot_id__in=set(lots)).order_by("lot_id")}


def _once(key: str, deed: Callable[[], Movement], same: Callable[[Movement], bool]) -> Movement:
    """The movement of that key: made now, or the first one if it stands already. Refusal if that was another
    deed."""
    if not 1 <= len(key) <= 160:
        raise Refusal(key="A key has 1 to 160 characters.")
    first = Movement.objects.filter(key=key).first()
    if first is None:
        try:
            with transaction.atomic():
                return deed()
        except (IntegrityError, Conflict):
            # Somebody with the same key was first, and its deed may be what stood in the way of this one.
            first = Movement.objects.filter(key=key).first()
            if first is None:
                raise
    if not same(first):
        raise Refusal(key="This key was used before for another movement. Take a new key.")
    return first


def _value(lot: Lot, quantity: int) -> int:
    """What so much of the lot is worth [minor units], rounded once."""
    return line_minor(lot.cost_micro, quantity, settings.CURRENCY)


def _move_lot(
    *,
    lot_id: int,
    kind: str,
    quantity: int,
    by: Actor,
    at: datetime,
    key: str,
    why: str = "",
    ticket: Ticket | None = None,
    corrects: Movement | None = None,
    from_reserved: int = 0,
) -> Movement:
    """Change the balance and write the line. The line's cost is the difference of the lot's value before and
    after, so that the costs of a lot add up to what is left of it, to the last minor unit."""
    balance = lock_balances([lot_id])[lot_id]
    before, after = balance.on_hand, balance.on_hand + quantity
    changed = Balance.objects.filter(
        pk=balance.pk,
        on_hand=before,
        reserved__lte=after + from_reserved,
        reserved__gte=from_reserved,
    ).update(on_hand=after, reserved=F("reserved") - from_reserved)
    if not changed:
        raise Conflict(
            f"Of {balance.lot.part.number} in this lot {balance.on_hand} are there and {balance.reserved} "
            f"are promised: it cannot change by {quantity}."
        )
    movement = Movement.objects.create(
        at=at,
        by=by.key,
        kind=kind,
        lot=balance.lot,
        quantity=quantity,
        cost_minor=_value(balance.lot, after) - _value(balance.lot, before),
        ticket=ticket,
        corrects=corrects,
        why=why,
        key=key,
    )
    _line(movement, by, at)
    return movement


def _line(movement: Movement, by: Actor, at: datetime) -> None:
    write_line(
        by=by,
        deed=movement.kind,
        thing=movement,
        ticket_number=movement.ticket.number if movement.ticket else None,
        at=at,
        quantity=movement.quantity,
        lot=movement.lot_id,
        piece=movement.piece_id,
    )


def _count(quantity: int, least: int = 1) -> None:
    if not least <= quantity <= 1_000_000_000:
        raise Refusal(quantity=f"Write a whole number, {least} or more.")


def receive_lot(
    *,
    part: Part,
    bin: Bin,
    quantity: int,
    cost_micro: int,
    key: str,
    by: Actor,
    why: str = "",
    words: str = "",
    at: datetime | None = None,
) -> Lot:
    """Take a counted quantity [smallest units] into a bin as a new lot. ``cost_micro``: millionths of the
    shop's currency for one smallest unit."""
    by.need("keep_stock")
    at = at or clock.now()
    _count(quantity)
    if not 0 <= cost_micro <= 10**15:
        raise Refusal(cost="A cost cannot be negative or that large.")

    def deed() -> Movement:
        lot = Lot.objects.create(part=part, bin=bin, cost_micro=cost_micro, received_at=at, words=words)
        Balance.objects.create(lot=lot)
        return _move_lot(lot_id=lot.pk, kind="received", quantity=quantity, by=by, at=at, key=key, why=why)

    def same(first: Movement) -> bool:
        lot = first.lot
        return bool(
            lot and lot.part_id == part.pk and first.kind == "received" and first.quantity == quantity
        )

    first = _once(key, deed, same)
    return Lot.objects.select_related("part", "bin").get(movements=first)


def adjust_lot(
    *, lot: Lot, quantity: int, why: str, key: str, by: Actor, at: datetime | None = None
) -> Movement:
    """Change a lot by so many smallest units, more (+) or fewer (−), with the reason: a count, a breakage."""
    by.need("keep_stock")
    at = at or clock.now()
    if not quantity:
        raise Refusal(quantity="Write how many more (3) or fewer (-3) there are.")
    _count(abs(quantity))
    if not why.strip():
        raise Refusal(why="Say why the count changes.")
    return _once(
        key,
        lambda: _move_lot(
            lot_id=lot.pk, kind="adjusted", quantity=quantity, by=by, at=at, key=key, why=why.strip()
        ),
        lambda first: (first.lot_id, first.kind, first.quantity) == (lot.pk, "adjusted", quantity),
    )


def _reserve(
    *, ticket: Ticket, lot: Lot, quantity: int, position_code: str, by: Actor, at: datetime
) -> Reservation:
    won = Balance.objects.filter(lot=lot, on_hand__gte=F("reserved") + quantity).update(
        reserved=F("reserved") + quantity
    )
    if not won:
        free = sum(one.free for one in Balance.objects.filter(lot=lot))
        raise Conflict(
            f"{quantity} of {lot.part.number} are wanted from bin {lot.bin.code}, {free} are free there. "
            "Take fewer, or another lot."
        )
    made = Reservation.objects.create(
        ticket=ticket, lot=lot, quantity=quantity, position_code=position_code, made_at=at, made_by=by.key
    )
    _reserved_line(made, ticket, by, at)
    return made


def _reserved_line(made: Reservation, ticket: Ticket, by: Actor, at: datetime) -> None:
    write_line(
        by=by,
        deed="reserved",
        thing=made,
        ticket_number=ticket.number,
        at=at,
        quantity=made.quantity,
        lot=made.lot_id,
        piece=made.piece_id,
    )


def reserve_lot(
    *, ticket: Ticket, lot: Lot, quantity: int, position_code: str, by: Actor, at: datetime | None = None
) -> Reservation:
    """Promise so many smallest units of one lot to the ticket; Conflict if fewer are free."""
    need_to_promise(by)
    _count(quantity)
    with transaction.atomic():
        held = lock_ticket(ticket)
        return _reserve(
            ticket=held, lot=lot, quantity=quantity, position_code=position_code, by=by, at=at or clock.now()
        )


def reserve_part(
    *, ticket: Ticket, part: Part, quantity: int, position_code: str, by: Actor, at: datetime | None = None
) -> list[Reservation]:
    """Promise so many smallest units of a part, from its oldest lots first; all of it or Conflict."""
    need_to_promise(by)
    _count(quantity)
    at = at or clock.now()
    with transaction.atomic():
        held = lock_ticket(ticket)
        balances = lock_balances(Lot.objects.filter(part=part).values_list("pk", flat=True))
        left, made = quantity, []
        for balance in sorted(balances.values(), key=lambda row: (row.lot.received_at, row.lot_id)):
            if (take := min(left, balance.free)) > 0:
                made.append(
                    _reserve(
                        ticket=held, lot=balance.lot, quantity=take, position_code=position_code, by=by, at=at
                    )
                )
                left -= take
        if left:
            raise Conflict(f"{quantity} of {part.number} are wanted, {quantity - left} are free.")
        return made


def _may_have(ticket: Ticket, piece: Piece) -> None:
    own = piece.source is not None and piece.source.ticket_id == ticket.pk
    if piece.missing or not (piece.state == "bin" or (piece.state == "tray" and own)):
        where = (
            "missing" if piece.missing else {"tray": "in another ticket's tray"}.get(piece.state, piece.state)
        )
        raise Conflict(f"Piece {piece.tag} is {where}. Choose another.")
    if piece.owner_id and not own and piece.owner_id != ticket.customer_id and not piece.owner_consents:
        raise Conflict(f"Piece {piece.tag} belongs to a customer who has not agreed to part with it.")


def reserve_piece(
    *, ticket: Ticket, piece: Piece, position_code: str, by: Actor, at: datetime | None = None
) -> Reservation:
    """Promise a piece to the ticket; a set that must stay together is promised whole. Twice is once.
    Conflict names the ticket that holds it."""
    need_to_promise(by)
    at = at or clock.now()
    with transaction.atomic():
        held = lock_ticket(ticket)
        whole = Piece.objects.filter(pk=piece.pk)
        if piece.bound_in and piece.bound_in.kind == "must" and piece.bound_in.parted_at is None:
            whole = Piece.objects.filter(bound_in=piece.bound_in, missing=False)
        rows = whole.select_for_update(no_key=True, of=("self",)).select_related("source", "position")
        made = {
            row.pk: _reserve_one(
                held, row, position_code if row.pk == piece.pk else row.position.code, by, at
            )
            for row in rows.order_by("pk")
        }
        return made[piece.pk]


def _reserve_one(ticket: Ticket, piece: Piece, position_code: str, by: Actor, at: datetime) -> Reservation:
    holder = (
        Reservation.objects.select_related("ticket").filter(piece=piece, resolved_at__isnull=True).first()
    )
    if holder is not None and holder.ticket_id == ticket.pk:
        return holder
    _may_have(ticket, piece)
    try:
        with transaction.atomic():
            made = Reservation.objects.create(
                ticket=ticket, piece=piece, position_code=position_code, made_at=at, made_by=by.key
            )
    except IntegrityError:
        holder = (
            Reservation.objects.select_related("ticket").filter(piece=piece, resolved_at__isnull=True).first()
        )
        to = f"ticket {holder.ticket.number}" if holder else "another ticket"
        raise Conflict(f"Piece {piece.tag} is promised to {to}. Choose another.") from None
    _reserved_line(made, ticket, by, at)
    return made


def _resolve(reservation: Reservation, end: str, at: datetime) -> None:
    won = Reservation.objects.filter(pk=reservation.pk, resolved_at__isnull=True).update(
        end=end, resolved_at=at
    )
    if not won:
        now = Reservation.objects.get(pk=reservation.pk)
        raise Conflict(f"This promise is {now.end} already.")


def issue_reservation(
    *, reservation: Reservation, key: str, by: Actor, at: datetime | None = None
) -> Movement:
    """Hand out what was promised: out of the balance, or the piece into the ticket's tray."""
    need_any(by, "keep_stock", "build_units")
    at = at or clock.now()

    def deed() -> Movement:
        ticket = Ticket.objects.select_for_update(no_key=True).get(pk=reservation.ticket_id)
        _resolve(reservation, "issued", at)
        if reservation.lot_id is not None:
            return _move_lot(
                lot_id=reservation.lot_id,
                kind="issued",
                quantity=-reservation.quantity,
                from_reserved=reservation.quantity,
                by=by,
                at=at,
                key=key,
                ticket=ticket,
            )
        assert reservation.piece is not None
        return move_piece(
            piece=reservation.piece, kind="issued", state="tray", by=by, at=at, key=key, ticket=ticket
        )

    return _once(
        key,
        deed,
        lambda first: (
            (first.kind, first.lot_id, first.piece_id, first.ticket_id)
            == ("issued", reservation.lot_id, reservation.piece_id, reservation.ticket_id)
        ),
    )


def release_reservation(
    *, reservation: Reservation, by: Actor, end: str = "released", at: datetime | None = None
) -> Reservation:
    """Take a promise back (``released``) or let it run out (``lapsed``); Conflict if it is resolved."""
    need_to_promise(by)
    at = at or clock.now()
    if end not in {"released", "lapsed"}:
        raise ValueError(f"a promise is released or lapsed, not {end}")
    with transaction.atomic():
        ticket = Ticket.objects.select_for_update(no_key=True).get(pk=reservation.ticket_id)
        _resolve(reservation, end, at)
        if reservation.lot_id is not None:
            Balance.objects.filter(lot_id=reservation.lot_id, reserved__gte=reservation.quantity).update(
                reserved=F("reserved") - reservation.quantity
            )
        write_line(by=by, deed=end, thing=reservation, ticket_number=ticket.number, at=at)
    reservation.refresh_from_db()
    return reservation


# ---- pieces in the ledger: +1 into a bin, −1 out of it, 0 when it was or stays outside or inside ----


def move_piece(
    *,
    piece: Piece,
    kind: str,
    state: str,
    by: Actor,
    at: datetime,
    key: str,
    bin: Bin | None = None,
    why: str = "",
    ticket: Ticket | None = None,
    corrects: Movement | None = None,
) -> Movement:
    """Give the piece its new state and write the line; for rules of this app, which ask for rights first.
    A piece keeps the bin that it last lay in, so that a correction can put it back."""
    now = Piece.objects.select_for_update(no_key=True).get(pk=piece.pk)
    quantity = int(state == "bin") - int(now.state == "bin")
    won = Piece.objects.filter(pk=piece.pk, state=now.state, bin=now.bin_id).update(
        state=state, bin=bin or now.bin
    )
    if not won:
        raise Conflict(f"Piece {piece.tag} was moved meanwhile. Look again.")
    movement = Movement.objects.create(
        at=at,
        by=by.key,
        kind=kind,
        piece=now,
        quantity=quantity,
        cost_minor=quantity * now.cost_minor,
        ticket=ticket,
        corrects=corrects,
        why=why,
        key=key,
    )
    _line(movement, by, at)
    piece.refresh_from_db(fields=["state", "bin"])
    return movement


def receive_piece(
    *, make: Callable[[], Piece], position: Position, bin: Bin, key: str, by: Actor, at: datetime
) -> Piece:
    """Take a new piece into a bin; the same key again gives the first one. For ``pieces``, which asks for the
    right and knows how to make it."""

    def deed() -> Movement:
        return move_piece(piece=make(), kind="received", state="bin", bin=bin, by=by, at=at, key=key)

    def same(first: Movement) -> bool:
        piece = first.piece
        return bool(piece and first.kind == "received" and piece.position_id == position.pk)

    piece = _once(key, deed, same).piece
    assert piece is not None
    return Piece.objects.get(pk=piece.pk)


def bin_piece(
    *, piece: Piece, bin: Bin, key: str, by: Actor, why: str = "", at: datetime | None = None
) -> Movement:
    """Put a piece from a tray into a bin, or from one bin into another."""
    by.need("keep_stock")
    at = at or clock.now()

    def deed() -> Movement:
        now = Piece.objects.get(pk=piece.pk)
        if now.missing or now.state not in {"tray", "bin"}:
            raise Conflict(
                f"Piece {now.tag} is {'missing' if now.missing else now.state}. It cannot be put away."
            )
        kind = "moved" if now.state == "bin" else _kind_of_return(now)
        return move_piece(piece=piece, kind=kind, state="bin", bin=bin, by=by, at=at, key=key, why=why)

    kinds = {"moved", "returned", "received"}
    return _once(key, deed, lambda first: first.piece_id == piece.pk and first.kind in kinds)


def donor_of(piece: Piece) -> Donor | None:
    """The donor that the piece was stripped from, if it is one's."""
    if piece.from_unit_id is None or piece.source_id is not None:
        return None
    return Donor.objects.filter(unit=piece.from_unit_id).first()


def _kind_of_return(piece: Piece) -> str:
    """A donor's piece is received when it first comes to a bin, with its part of the donor's cost."""
    donor = donor_of(piece)
    if donor is None or Movement.objects.filter(piece=piece).exists():
        return "returned"
    if donor.shared_at is None:
        raise Conflict(f"Piece {piece.tag} came out of donor {donor.number}. Share the donor's cost first.")
    return "received"


# ---- corrections ----

# what a movement of a piece did -> the state it must still be in, and the one that the correction gives it
UNDONE = {"received": ("bin", "gone"), "issued": ("tray", "bin"), "scrapped": ("scrapped", "bin")}


def correct_movement(
    *, movement: Movement, why: str, key: str, by: Actor, at: datetime | None = None
) -> Movement:
    """Take a movement back by a counter-movement that points to it; nothing is changed or removed."""
    by.need("keep_stock")
    at = at or clock.now()
    if not why.strip():
        raise Refusal(why="Say what was wrong with the movement.")
    if movement.corrects_id is not None:
        raise Conflict("This line is a correction itself. Write a new movement.")

    def deed() -> Movement:
        if movement.lot_id is not None:
            lock_balances([movement.lot_id])  # serialises two corrections of one movement
        else:
            Piece.objects.select_for_update(no_key=True, of=("self",)).get(movements=movement)
        if Movement.objects.filter(corrects=movement).exists():
            raise Conflict("This movement is corrected already.")
        if movement.lot_id is not None:
            return _move_lot(
                lot_id=movement.lot_id,
                kind=movement.kind,
                quantity=-movement.quantity,
                by=by,
                at=at,
                key=key,
                why=why.strip(),
                ticket=movement.ticket,
                corrects=movement,
            )
        return _correct_piece(movement, why.strip(), key, by, at)

    return _once(key, deed, lambda first: first.corrects_id == movement.pk)


def _correct_piece(movement: Movement, why: str, key: str, by: Actor, at: datetime) -> Movement:
    piece = Piece.objects.get(movements=movement)
    if movement.kind not in UNDONE or not movement.quantity:
        raise Conflict(f"Piece {piece.tag} was {movement.kind}. Put it where it belongs by a new movement.")
    expected, state = UNDONE[movement.kind]
    if state == "gone" and donor_of(piece) is not None:
        state = "tray"  # where it lay before it was received
    if piece.state != expected:
        raise Conflict(f"Piece {piece.tag} is {piece.state} now. Put it back first.")
    leaves = movement.kind == "received"
    if leaves and Reservation.objects.filter(piece=piece, resolved_at__isnull=True).exists():
        raise Conflict(f"Piece {piece.tag} is promised. Release it first.")
    return move_piece(
        piece=piece,
        kind=movement.kind,
        state=state,
        by=by,
        at=at,
        key=key,
        why=why,
        ticket=movement.ticket,
        corrects=movement,
    )


# ---- what the ledger says ----


def cost_of_ticket(ticket: Ticket) -> int:
    """What was issued to the ticket, less what came back [minor units of the shop's currency]."""
    rows = Movement.objects.filter(ticket=ticket, kind__in=("issued", "returned"))
    return -int(rows.aggregate(total=Coalesce(Sum("cost_minor"), 0))["total"])


def free_of_part(part: Part) -> int:
    """Smallest units of the part on hand and promised to nobody."""
    rows = Balance.objects.filter(lot__part=part)
    return int(rows.aggregate(total=Coalesce(Sum(F("on_hand") - F("reserved")), 0))["total"])


def check_ledger() -> list[str]:
    """What does not add up, in sentences; empty if balances equal their movements, promised quantities equal
    the unresolved reservations, costs add up to what is left, and a piece is in stock as its lines say."""
    troubles = []
    moved: dict[int, tuple[int, int]] = {
        row["lot"]: (row["quantity"], row["cost"])
        for row in Movement.objects.filter(lot__isnull=False)
        .values("lot")
        .annotate(quantity=Sum("quantity"), cost=Sum("cost_minor"))
    }
    promised: dict[int, int] = {
        row["lot"]: row["quantity"]
        for row in Reservation.objects.filter(lot__isnull=False, resolved_at__isnull=True)
        .values("lot")
        .annotate(quantity=Sum("quantity"))
    }
    for balance in Balance.objects.select_related("lot__part").order_by("lot_id").iterator():
        quantity, cost = moved.pop(balance.lot_id, (0, 0))
        what = f"Lot {balance.lot_id} of {balance.lot.part.number}"
        if balance.on_hand != quantity:
            troubles.append(f"{what}: {balance.on_hand} on hand, its movements add up to {quantity}.")
        if balance.reserved != promised.get(balance.lot_id, 0):
            troubles.append(
                f"{what}: {balance.reserved} promised, its reservations add up to "
                f"{promised.get(balance.lot_id, 0)}."
            )
        if cost != _value(balance.lot, quantity):
            troubles.append(f"{what}: its costs add up to {cost}, what is left is worth another amount.")
    troubles += [f"Lot {lot} has movements and no balance." for lot in sorted(moved)]
    in_stock = dict(
        Movement.objects.filter(piece__isnull=False)
        .values_list("piece")
        .annotate(quantity=Sum("quantity"))
        .order_by()
    )
    for pk, tag, state in Piece.objects.order_by("pk").values_list("pk", "tag", "state").iterator():
        if in_stock.get(pk, 0) != int(state == "bin"):
            troubles.append(f"Piece {tag} is {state}, its movements add up to {in_stock.get(pk, 0)}.")
    return troubles
