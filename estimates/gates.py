"""What the Office asks before a ticket is agreed and before its parts count as complete."""

from estimates.models import Quote
from inspections.models import BuildRow
from inventory.models import Reservation
from shop.models import Ticket


def accepted_quote(ticket: Ticket) -> list[str]:
    """A yes is the customer's own, on a quote: nobody says it by moving the ticket."""
    if Quote.objects.filter(ticket=ticket, state="accepted").exists():
        return []
    return ["No quote of this ticket is accepted. The customer answers through the quote's link."]


def promised_parts(ticket: Ticket) -> list[str]:
    """What the agreed build list needs and nothing is promised for, in sentences; empty if all is there."""
    rows = list(
        BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True).select_related("piece", "part")
    )
    if not rows:
        return ["Nothing is agreed yet: the ticket has no build list."]
    held = list(Reservation.objects.filter(ticket=ticket).exclude(end__in=("released", "lapsed")))
    pieces = {one.piece_id for one in held}
    places = {one.position_code for one in held if one.lot_id is not None}
    missing = [
        f"Piece {one.piece.tag} is not promised to this ticket any more."
        for one in rows
        if one.way == "used" and one.piece is not None and one.piece_id not in pieces
    ]
    missing += [
        f"{one.part.number} is not promised to this ticket any more."
        for one in rows
        if one.part is not None and one.purchase_id is None and one.position_code not in places
    ]
    return missing
