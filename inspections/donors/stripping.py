"""A donor on the bench: stripped and examined with the guide of its family, like a ticket's unit."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from inspections.bench.pages import decided_of
from inspections.bench.places import DonorAtBench
from inspections.guiding.guides import guide_of, newest_revision
from inspections.guiding.laying import rows_for
from inspections.models import Examination
from inspections.readings.findings import examinations, examined_many, open_disputes
from inventory.access import need_any
from inventory.models import Donor
from inventory.pieces import lay_out_donor
from shop import clock
from shop.access import Actor, NotThere
from shop.audit import write_line
from shop.refusals import Refusal

RIGHTS = ("record_readings", "keep_stock")


def donor_at_bench(by: Actor, number: int) -> DonorAtBench:
    """The donor as the bench shows it to whoever may see what lies there."""
    by.need("see_tickets")
    found = (
        Donor.objects.select_related("unit__family", "unit__variant").filter(number=number).first()
        if number < 2**31
        else None
    )
    if found is None:
        raise NotThere
    return DonorAtBench(found)


def strip_donor(
    *, donor: Donor, by: Actor, missing: Collection[str] = (), at: datetime | None = None
) -> Examination:
    """Lay out the donor's pieces under the newest guide of its family; they are the shop's. ``missing``:
    codes of positions that were empty. Stripping it again gives the same examination."""
    need_any(by, *RIGHTS)
    at = at or clock.now()
    with transaction.atomic():
        # Two people strip the same donor: the second waits here and finds the first one's examination.
        held = Donor.objects.select_for_update().get(pk=donor.pk)
        found = Examination.objects.filter(donor=held.unit).first()
        if found is not None:
            return found
        unit = held.unit
        revision = newest_revision(unit.family)
        guide, variant = guide_of(revision), unit.variant.code
        known = {one.code for one in guide.positions_of(variant)}
        if strange := sorted({*missing} - known):
            raise Refusal(missing=f"The {unit.variant.name} has no position {', '.join(strange)}.")
        examination = Examination.objects.create(
            donor=unit, revision=revision, opened_at=at, opened_by=by.key
        )
        lay_out_donor(donor=held, rows=rows_for(guide, variant, {*missing}), by=by, at=at)
        write_line(by=by, deed="opened", thing=examination, at=at, guide=revision.number, donor=held.number)
    return examination


def donors_on_bench() -> list[tuple[Donor, int, int, int]]:
    """Donors whose cost is not shared yet, each with its decided positions, all positions (0 before it is
    stripped) and open disputes; the oldest first."""
    donors = list(
        Donor.objects.filter(shared_at__isnull=True)
        .select_related("unit__family", "unit__variant")
        .order_by("number")
    )
    if not donors:
        return []
    held = list(examinations().filter(donor__in=[one.unit_id for one in donors]))
    judged = {one.donor_id: whole.judgement for one, whole in zip(held, examined_many(held), strict=True)}
    rows = []
    for one in donors:
        judgement = judged.get(one.unit_id)
        decided, of = decided_of(judgement) if judgement else (0, 0)
        rows.append((one, decided, of, len(open_disputes(judgement)) if judgement else 0))
    return rows
