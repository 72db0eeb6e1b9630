"""From what a scanner typed to the page of its ticket, donor, piece or bin.

What the shop's tags say: a ticket's tag the whole address of its page, a piece's tag ``P-0412``, a bin its
code; people also type a ticket's bare number. The address is read for its number only, wherever it points.
"""

from __future__ import annotations

import re
from urllib.parse import urlencode

from django.urls import reverse

from inspections.bench.places import At, position_url, unit_url
from inspections.models import Examination
from inventory.models import Bin, Donor, Part, Piece
from shop.access import Actor
from shop.models import Ticket

LONGEST = 200
# Some scanners are set for another keyboard and type other signs for those of an address.
_TICKET = re.compile(r"(?:.*counter\W+tickets\W+|t(?:icket)?\W*)?0*(\d{1,9})", re.IGNORECASE)
_DONOR = re.compile(r"d\W*0*(\d{1,9})", re.IGNORECASE)
_PIECE = re.compile(r"p\W*(\d{1,9})", re.IGNORECASE)


def address_of_tag(*, text: str, by: Actor) -> str:
    """The address of what is tagged so, as far as this person may see it; empty if there is none."""
    text = text.strip()[:LONGEST]
    if not text or "\x00" in text:
        return ""
    for look in (_piece, _ticket, _bin, _donor, _part):
        if found := look(text, by):
            return found
    return ""


def _ticket(text: str, by: Actor) -> str:
    found = _TICKET.fullmatch(text)
    if found is None or not by.may("see_tickets"):
        return ""
    number = int(found[1])
    ticket = Ticket.objects.filter(number=number).first() if number < 2**31 else None
    if ticket is None:
        return ""
    # A technician who scans the unit on the bench wants to read it; everybody else its papers.
    if by.may("record_readings") and Examination.objects.filter(ticket=ticket).exists():
        return unit_url(ticket.number)
    return reverse("ticket", args=[ticket.number])


def _piece(text: str, by: Actor) -> str:
    found = _PIECE.fullmatch(text)
    if found is None:
        return ""
    tags = {text.upper(), f"P-{int(found[1]):04d}"}
    piece = Piece.objects.select_related("position", "source__ticket").filter(tag__in=tags).first()
    if piece is None:
        return ""
    at = _bench_of(piece) if piece.state == "tray" and by.may("record_readings") else None
    if at is not None:
        return f"{position_url(at, piece.position.code)}?{urlencode({'piece': piece.tag})}"
    return reverse("piece", args=[piece.tag]) if by.may("see_stock") else ""


def _bench_of(piece: Piece) -> At | None:
    """Where on the bench a piece in a tray is examined."""
    if piece.source is not None:
        ticket = piece.source.ticket
        return ticket.number if Examination.objects.filter(ticket=ticket).exists() else None
    if not Examination.objects.filter(donor=piece.from_unit_id).exists():
        return None
    number = Donor.objects.filter(unit=piece.from_unit_id).values_list("number", flat=True).first()
    return f"D{number}" if number is not None else None


def _bin(text: str, by: Actor) -> str:
    code = Bin.objects.filter(code__iexact=text).values_list("code", flat=True).first()
    return f"{reverse('stores')}?{urlencode({'bin': code})}" if code and by.may("see_stock") else ""


def _donor(text: str, by: Actor) -> str:
    found = _DONOR.fullmatch(text)
    if found is None or not by.may("see_tickets") or int(found[1]) >= 2**31:
        return ""
    number = int(found[1])
    return unit_url(f"D{number}") if Donor.objects.filter(number=number).exists() else ""


def _part(text: str, by: Actor) -> str:
    number = Part.objects.filter(number__iexact=text).values_list("number", flat=True).first()
    return reverse("part", args=[number]) if number and by.may("see_stock") else ""
