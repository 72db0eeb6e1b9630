"""What makes a bench page cheap: one row for the ticket with its examination, and ledger lines drawn once."""

from __future__ import annotations

from functools import lru_cache

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from inspections.bench.pages import PositionRow
from inspections.models import Examination
from shop.access import Actor, ticket_for
from shop.models import Ticket


def lies_at(by: Actor, number: int) -> tuple[Ticket, Examination | None]:
    """The ticket and its examination by one query; only a unit that is not stripped yet takes two."""
    by.need("see_tickets")
    held = (
        Examination.objects.select_related(
            "revision", "ticket__customer", "ticket__family", "ticket__variant"
        )
        .defer("revision__document")
        .filter(ticket__number=number)
        .first()
    )
    if held is None or held.ticket is None:
        return ticket_for(by, number), None
    return held.ticket, held


def line_of(row: PositionRow) -> SafeString:
    """The ledger's line of a position. Most positions are as they were after somebody reads something."""
    place = row.position
    return _drawn(
        place.code, place.number, place.name, row.mark, row.tags, row.read, row.checks, row.disputed,
        row.found, row.more, row.url,
    )  # fmt: skip


@lru_cache(maxsize=4096)
def _drawn(
    code: str, number: int, name: str, mark: str, tags: str, read: int, checks: int, disputed: bool,
    found: tuple[tuple[str, str], ...], more: int, url: str,
) -> SafeString:  # fmt: skip
    row = {
        "code": code, "number": number, "name": name, "mark": mark, "tags": tags, "read": read,
        "checks": checks, "disputed": disputed, "found": found, "more": more, "url": url,
    }  # fmt: skip
    return render_to_string("inspections/bench/unit_row.html", {"row": row})
