"""What pages show of photographs: each with its marks drawn over it, as far as the person may see them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from uuid import UUID

from django.db.models import Q
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from inspections.bench.blind import Sight, sight_of
from inspections.evidence.photographs import is_clock_off, marks_of, photographs_of, sees
from inspections.evidence.zones import Grid, grid_of, marks_drawing
from inspections.models import Examination, Photograph, PhotographEnd, PhotographMark
from inspections.readings.findings import Examined, examination_for, examined
from shop.access import Actor, NotThere

# The picture as a form shows it, px: a tap without a script is answered in these.
SHOWN_WIDE, SHOWN_HIGH = 680, 820
SMALL = 2.4  # balloons on a thumbnail, against those on the picture in full


@dataclass(frozen=True, slots=True)
class MarkRow:
    mark: PhotographMark
    zone: str
    who: str
    withdrawn: PhotographMark | None


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph as a page shows it."""

    row: Photograph
    title: str
    position: str
    page: str
    small: str
    whole: str
    drawn: SafeString
    marks: int
    earlier: bool  # taken before the piece was last changed
    clock_off: bool

    @property
    def tag(self) -> str:
        return self.row.piece.tag if self.row.piece else ""

    @property
    def end(self) -> PhotographEnd | None:
        return end_of(self.row)


def end_of(row: Photograph) -> PhotographEnd | None:
    return getattr(row, "end", None)


def drawn_over(row: Photograph, pending: tuple[float, float] | None = None, size: float = 1.0) -> SafeString:
    """The balloons of the marks that stand; ``pending``: a place that was tapped and has no words yet."""
    places = [(str(one.number), one.across, one.down) for one in marks_of(row)]
    if pending is not None:
        places.append(("?", *pending))
    svg = marks_drawing(row.width_px, row.height_px, places, size)
    return mark_safe(svg)  # noqa: S308  the program's own drawing, of numbers


def shown_size(row: Photograph) -> tuple[int, int]:
    """Width and height at which the picture is shown to be marked, px."""
    scale = min(SHOWN_WIDE / row.width_px, SHOWN_HIGH / row.height_px, 1.0)
    return max(1, round(row.width_px * scale)), max(1, round(row.height_px * scale))


def grid_for(row: Photograph) -> Grid:
    return grid_of(row.width_px, row.height_px)


def shot_of(whole: Examined, row: Photograph) -> Shot:
    guide = whole.judgement.guide
    check, position = guide.check.get(row.check_code), guide.position.get(row.position_code)
    return Shot(
        row=row,
        title=check.title if check else row.check_code,
        position=position.name if position else row.position_code,
        page=reverse("photograph", args=[row.pk]),
        small=reverse("photograph_small", args=[row.pk]),
        whole=reverse("photograph_whole", args=[row.pk]),
        drawn=drawn_over(row, size=SMALL),
        marks=len(marks_of(row)),
        earlier=bool(row.piece and row.condition < row.piece.condition),
        clock_off=is_clock_off(row),
    )


@dataclass(frozen=True, slots=True)
class Shots:
    """The photographs that a person sees, and how many this person is still blind to."""

    seen: list[Shot]
    hidden: int
    check: str = ""  # of which check they are, if of one


def _sorted_out(rows: Iterable[Photograph], whole: Examined, sight: Sight, by: Actor) -> Shots:
    seen, hidden = [], 0
    for row in rows:
        if sees(sight, whole, by, row):
            seen.append(shot_of(whole, row))
        else:
            hidden += 1
    return Shots(seen, hidden)


def shots_of_check(
    held: Examination, whole: Examined, sight: Sight, by: Actor, check: str, tag: str
) -> Shots:
    """Photographs of one check on one piece; two queries, one where there are none."""
    rows = photographs_of(held).filter(check_code=check, end__isnull=True)
    rows = rows.filter(Q(piece__isnull=True) | Q(piece__tag=tag)) if tag else rows
    return replace(_sorted_out(rows.prefetch_related("marks"), whole, sight, by), check=check)


def shots_of(held: Examination, whole: Examined, sight: Sight, by: Actor) -> Shots:
    """All photographs of an examination, those that were taken back too."""
    return _sorted_out(photographs_of(held).prefetch_related("marks"), whole, sight, by)


def mark_rows(row: Photograph) -> list[MarkRow]:
    """Every mark by number, with the row that withdrew it."""
    grid = grid_for(row)
    marks = list(row.marks.select_related("person").order_by("number", "at"))
    gone = {one.withdraws_id: one for one in marks if one.withdraws_id}
    return [
        MarkRow(one, grid.zone(one.across, one.down), str(one.person), gone.get(one.pk))
        for one in marks
        if one.withdraws_id is None
    ]


def photograph_for(by: Actor, pk: UUID, right: str = "see_tickets") -> tuple[Photograph, Examined]:
    """The photograph with its examination as it stands, if ``by`` may do that with it. NotThere for one that
    this person is still blind to."""
    by.need("see_tickets")
    row = Photograph.objects.select_related("piece", "person", "end", "document").filter(pk=pk).first()
    if row is None:
        raise NotThere
    row.examination = examination_for(by, row.examination_id, right)
    whole = examined(row.examination)
    if not sees(sight_of(by, whole.state, whole.records), whole, by, row):
        raise NotThere
    return row, whole
