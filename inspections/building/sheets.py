"""From the database to the build sheet, its frozen revisions and its print."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from math import sqrt
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Sum

from inspections.building.floating import Measured
from inspections.building.reworking import examination_of
from inspections.building.sheet_pictures import with_pictures
from inspections.building.sheeting import TESTS, Chosen, Circle, Offer, compute, same_work
from inspections.document import BuildStep, GuideIndex
from inspections.guiding.guides import guide_of
from inspections.judgement.judged import Judgement
from inspections.models import BuildRow, BuildSheet, Examination, Rework
from inspections.readings.findings import judgement_of
from inventory.models import Balance, Measure, Part, PartFit, Purchase, Reservation
from shop import clock, outbox
from shop.access import PROGRAM, Actor
from shop.audit import write_line
from shop.documents import keep_file, render_paper
from shop.models import STAGES, Document, StageChange, Ticket
from shop.refusals import Conflict, Refusal

FROM_STAGE = "agreed"
PRINT = "print build sheet"


def newest_sheet(ticket: Ticket) -> BuildSheet | None:
    """The newest frozen revision, if there is one."""
    return BuildSheet.objects.filter(ticket=ticket).order_by("-revision").first()


def compute_sheet(ticket: Ticket) -> dict[str, Any]:
    """The sheet as it would be frozen now, plain JSON. Raises Conflict before a plan was agreed."""
    _agreed(ticket)
    rows = list(
        BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True)
        .select_related("piece", "part", "lot", "purchase")
        .order_by("id")
    )
    if not rows:
        raise Conflict("There is no build list yet. It is written when the customer says yes.")
    examination = examination_of(ticket)
    guide = guide_of(examination.revision)
    variant = ticket.variant.code
    chosen = chosen_of(ticket, examination, guide, rows)
    offers = {
        step.code: washer_offers(ticket, guide, step, rows, chosen)
        for step in guide.guide.steps
        if step.float_check and step.exists_in(variant)
    }
    try:
        document = compute(guide, variant, chosen, offers)
    except Circle as trouble:
        raise Refusal(str(trouble)) from None
    return document | {
        "ticket": ticket.number,
        "vehicle": ticket.vehicle,
        "guide_revision": examination.revision.number,
        "agreed_on": _agreed_on(ticket),
        "preliminary": STAGES.index(ticket.stage) < STAGES.index("parts complete"),
        "waiting_for": _waiting_for(ticket),
    }


def _agreed(ticket: Ticket) -> None:
    if ticket.stage not in STAGES or STAGES.index(ticket.stage) < STAGES.index(FROM_STAGE):
        raise Conflict(
            f"Ticket {ticket.number} is {ticket.stage}. A build sheet is made once the plan is agreed."
        )


def _agreed_on(ticket: Ticket) -> str:
    last = StageChange.objects.filter(ticket=ticket, after="agreed").order_by("-id").first()
    return clock.local(last.at).date().isoformat() if last else ""


def _waiting_for(ticket: Ticket) -> list[str]:
    waiting = Purchase.objects.filter(ticket=ticket, state__in=("wanted", "ordered")).select_related("part")
    return [f"{one.quantity} × {one.part.number} {one.part.name}" for one in waiting.order_by("id")]


def chosen_of(
    ticket: Ticket, examination: Examination, guide: GuideIndex, rows: Sequence[BuildRow]
) -> list[Chosen]:
    """What goes into each position, with what counts of its measures now."""
    reworked: dict[int, list[str]] = {}
    for piece, code in (
        Rework.objects.filter(ticket=ticket).order_by("id").values_list("piece_id", "remedy_code")
    ):
        reworked.setdefault(piece, []).append(code)
    judged = _judged(guide, judgement_of(examination))
    shelf = _from_the_shelf(row.piece_id for row in rows if row.piece and row.piece.tag not in judged)
    return [
        Chosen(
            position=row.position_code,
            way=row.way,
            label=row.label,
            tag=row.piece.tag if row.piece else "",
            part=row.part.number if row.part else "",
            size=row.piece.size if row.piece else row.size,
            remedies=tuple(row.remedies),
            reworked=tuple(reworked.get(row.piece_id or 0, ())),
            measured=(judged.get(row.piece.tag) or shelf.get(row.piece.pk, {})) if row.piece else {},
            stated=_stated(row.part),
        )
        for row in rows
    ]


def _stated(part: Part | None) -> dict[str, tuple[float, float]]:
    return {code: (float(low), float(high)) for code, (low, high) in (part.features if part else {}).items()}


def _judged(guide: GuideIndex, judgement: Judgement) -> dict[str, dict[str, Measured]]:
    """Newest measures by tag, of the pieces examined on this ticket; what is in dispute does not count."""
    found: dict[str, dict[str, Measured]] = {}
    for one in judgement.findings:
        feature = guide.check[one.check].feature
        rows = found.setdefault(one.piece, {})
        disputed = one.dispute is not None and one.dispute.open
        if feature and one.value_mm is not None and one.state != "not examined" and not disputed:
            rows.setdefault(
                feature, Measured(one.value_mm, one.expanded_um or 0.0, f"{one.piece} as measured")
            )
    return found


def _from_the_shelf(pieces: Iterable[int | None]) -> dict[int, dict[str, Measured]]:
    """Measures of pieces that came from stock, if they are of the condition that the piece is in now."""
    found: dict[int, dict[str, Measured]] = {}
    for one in Measure.objects.filter(
        piece__in=[pk for pk in pieces if pk], condition=F("piece__condition")
    ).select_related("piece"):
        value = Measured(one.value_um / 1000, one.expanded_um, f"{one.piece.tag} as measured")
        found.setdefault(one.piece_id, {})[one.feature] = value
    return found


def washer_offers(
    ticket: Ticket,
    guide: GuideIndex,
    step: BuildStep,
    rows: Sequence[BuildRow],
    chosen: Sequence[Chosen],
) -> list[Offer]:
    """Washers to choose from at a step: those on the build list, and those free on the shelf."""
    features = {
        guide.feature[term.feature].position: term.feature for term in guide.check[step.float_check].terms
    }
    wanted = {code: features[code] for code in step.washers if code in features}
    offers = [
        Offer(
            one.tag,
            found.value_mm,
            found.expanded_um * sqrt(3) / 2000,  # as wide as U = 2 u makes it
            1,
            one.position,
            planned=True,
            where="tray",
        )
        for one in chosen
        if one.tag
        and one.position in wanted
        and (found := one.measured.get(wanted[one.position])) is not None
    ]
    planned = {
        row.part_id: row.purchase.quantity if row.purchase and row.purchase.state != "received" else 0
        for row in rows
        if row.part_id and row.position_code in wanted
    }
    return offers + _shelf_offers(ticket, wanted, planned)


def _shelf_offers(ticket: Ticket, wanted: Mapping[str, str], planned: Mapping[int, int]) -> list[Offer]:
    fits: dict[int, set[str]] = {}
    for fit in PartFit.objects.filter(
        position__family=ticket.family, position__code__in=wanted
    ).select_related("position"):
        if fit.variant_id in (None, ticket.variant_id):
            fits.setdefault(fit.part_id, set()).add(fit.position.code)
    parts = Part.objects.filter(pk__in={*fits, *planned}).order_by("number")
    counts, bins, costs = _at_hand(ticket, [one.pk for one in parts])
    offers = []
    for part in parts:
        places = sorted(fits.get(part.pk, set()) or set(wanted), key=list(wanted).index)
        spans = {tuple(part.features[wanted[code]]) for code in places if wanted[code] in part.features}
        count = counts.get(part.pk, 0) + planned.get(part.pk, 0)
        if len(spans) != 1 or count < 1:
            continue  # nobody stated its thickness, or there is none
        low, high = spans.pop()
        offers.append(
            Offer(
                part.number,
                (low + high) / 2,
                (high - low) / 2,
                count,
                "" if len(places) == len(wanted) else places[0],
                0.0 if part.pk in planned else max(costs.get(part.pk, 0.0), 0.01),
                part.pk in planned,
                ", ".join(bins.get(part.pk, ())) or "on order",
            )
        )
    return offers


def _at_hand(
    ticket: Ticket, parts: Sequence[int]
) -> tuple[dict[int, int], dict[int, list[str]], dict[int, float]]:
    """By part: how many are free or promised to this ticket, in which bins, and what one cost."""
    promised = (
        Reservation.objects.filter(ticket=ticket, lot__part__in=parts, resolved_at__isnull=True)
        .values_list("lot_id")
        .annotate(count=Sum("quantity"))
    )
    own = dict(promised)
    counts: dict[int, int] = {}
    bins: dict[int, list[str]] = {}
    costs: dict[int, float] = {}
    for one in Balance.objects.filter(lot__part__in=parts).select_related("lot__bin").order_by("lot_id"):
        count = one.free + own.get(one.lot_id, 0)
        if count > 0:
            part = one.lot.part_id
            counts[part] = counts.get(part, 0) + count
            bins.setdefault(part, []).append(f"bin {one.lot.bin.code}")
            costs.setdefault(part, one.lot.cost_micro / 1_000_000)
    return counts, bins, costs


def make_sheet(*, ticket: Ticket, by: Actor, at: datetime | None = None) -> BuildSheet:
    """Freeze the sheet as its next revision and ask for its print; unchanged work is the newest revision.

    Raises Conflict before a plan was agreed, or if somebody made a revision at the same moment.
    """
    by.need("build_units")
    at = at or clock.now()
    document = compute_sheet(ticket)
    newest = newest_sheet(ticket)
    if newest is not None and same_work(newest.document, document):
        return newest
    if newest is not None and newest.revision >= 26:
        raise Conflict("There is no letter after Z. Talk to the lead technician about this ticket.")
    try:
        with transaction.atomic():
            sheet = BuildSheet.objects.create(
                ticket=ticket,
                revision=newest.revision + 1 if newest else 1,
                document=document,
                made_at=at,
                made_by=by.key,
            )
            outbox.put(key=f"{PRINT}:{sheet.pk}", rule=PRINT, payload={"sheet": sheet.pk}, at=at)
            write_line(
                by=by,
                deed="froze build sheet",
                thing=sheet,
                ticket_number=ticket.number,
                at=at,
                revision=sheet.letter,
            )
    except IntegrityError:
        raise Conflict("Somebody made a revision of this sheet at the same moment. Look again.") from None
    return sheet


def paper_context(sheet: BuildSheet) -> dict[str, Any]:
    """What the paper template shows."""
    guide = guide_of(examination_of(sheet.ticket).revision)
    agreed_on = sheet.document["agreed_on"]
    return {
        "sheet": sheet,
        "document": with_pictures(sheet.document, guide.guide),
        "ticket": sheet.ticket,
        "agreed_on": date.fromisoformat(agreed_on) if agreed_on else None,
        "tests": TESTS,
    }


def print_sheet(key: str, sheet: int) -> None:
    """Outbox rule: write the sheet's PDF. Running twice keeps one paper."""
    row = BuildSheet.objects.select_related("ticket").get(pk=sheet)
    paper_key = f"build sheet:{row.pk}"
    if Document.objects.filter(key=paper_key).exists():
        return
    data = render_paper("inspections/build/sheet_paper.html", paper_context(row))
    keep_file(
        ticket=row.ticket,
        kind="build sheet",
        title=f"Build sheet {row.letter}, ticket {row.ticket.number}",
        suffix=".pdf",
        content_type="application/pdf",
        data=data,
        key=paper_key,
        by=PROGRAM,
    )


def paper_of(sheet: BuildSheet) -> Document | None:
    """The sheet's PDF once the worker has written it."""
    return Document.objects.filter(key=f"build sheet:{sheet.pk}").first()
