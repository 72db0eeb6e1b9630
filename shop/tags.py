"""The tag that hangs on the unit: number, promise, and a code that leads to the ticket's page."""

from io import BytesIO

import segno
from django.conf import settings
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from shop.access import PROGRAM, NotThere
from shop.documents import keep_file, render_paper
from shop.models import Document, Ticket


def address_of(ticket: Ticket) -> str:
    """The whole address of the ticket's page."""
    return f"{settings.ADDRESS}{reverse('ticket', args=[ticket.number])}"


def draw_code(text: str) -> SafeString:
    """A QR code (ISO/IEC 18004, level M) as inline SVG. Only digits and classes: it holds no typed text."""
    out = BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=2, nl=False
    )
    return mark_safe(out.getvalue().decode())  # noqa: S308  made by the library from modules, not from text


def print_tag(key: str, ticket: int) -> Document:
    """Outbox rule: make the tag of the ticket with that number and keep it."""
    row = Ticket.objects.select_related("family", "variant", "customer").filter(number=ticket).first()
    if row is None:
        raise NotThere
    address = address_of(row)
    data = render_paper(
        "shop/counter/tag_paper.html", {"ticket": row, "code": draw_code(address), "address": address}
    )
    return keep_file(
        ticket=row,
        kind="tag",
        title=f"Tag of ticket {row.number}",
        suffix=".pdf",
        content_type="application/pdf",
        data=data,
        key=key,
        by=PROGRAM,
    )
