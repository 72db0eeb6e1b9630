"""A unit turns out to be of another variant: what still applies stays, pieces are set aside or laid out.

Nothing is moved to set a piece aside: a piece whose position the variant lacks stays in its tray with its
readings, is judged no more, and counts again if the variant is changed back.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from inspections.document import Check, GuideIndex
from inspections.guiding.adopting import STAGES, lock_examination, settle_examination
from inspections.guiding.guides import guide_of
from inspections.guiding.laying import Laying, lay_out_new, laying_for, need_no_lost_rows
from inspections.models import Examination
from inspections.readings.findings import examined, pieces_of
from inventory.access import need_any
from inventory.models import Donor
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Ticket, Unit, Variant
from shop.refusals import Conflict, Refusal

RIGHTS = ("record_readings", "open_tickets")
DONOR_RIGHTS = ("record_readings", "keep_stock")
MOST_WORDS = 200


@dataclass(frozen=True)
class Varying:
    """What another variant would change for a unit that is stripped."""

    added: tuple[Check, ...]
    gone: tuple[Check, ...]
    otherwise: tuple[tuple[Check, str, str], ...]  # identity or count: what was and what would be expected
    laying: Laying
    kept: int  # readings of checks that both variants have
    waiting: int  # readings of checks that the new one lacks: they stay on record


@dataclass(frozen=True)
class Varied:
    """What was done. ``back``: the ticket was examined and has open ends again, so it is stripped."""

    plan: Varying | None
    back: bool = False


def plan_variant(examination: Examination, variant: Variant) -> Varying:
    """What changing to that variant does; the guide's revision stays."""
    whole = examined(examination)
    guide, now = whole.judgement.guide, whole.state.variant
    asked, asks = guide.checks_of(now), guide.checks_of(variant.code)
    both = {one.code for one in asked} & {one.code for one in asks}
    said = [
        one
        for one in whole.records
        if not one.withdrawn and not one.aside and (one.outcome or one.value_mm is not None)
    ]
    kept = sum(one.check in both for one in said)
    return Varying(
        tuple(one for one in asks if one.code not in both),
        tuple(one for one in asked if one.code not in both),
        tuple(
            (one, one.expects(now), one.expects(variant.code))
            for one in asks
            if one.code in both and one.expects(now) != one.expects(variant.code)
        ),
        laying_for(list(pieces_of(examination)), [*whole.judgement.status], guide, variant.code),
        kept,
        len(said) - kept,
    )


def change_variant(
    *,
    ticket: Ticket,
    variant: Variant,
    why: str,
    by: Actor,
    missing: Collection[str] = (),
    at: datetime | None = None,
) -> Varied:
    """The ticket and its unit are of that variant from now on. ``missing``: codes of the new positions that
    are empty; the others get pieces. The same variant again changes nothing. Once the unit is stripped this
    is the bench's to say.

    Raises Refusal beside ``why`` or ``variant``; Conflict after the quote, and where an agreed build list
    fills a position that would be gone.
    """
    need_any(by, *RIGHTS)
    at = at or clock.now()
    why = _need_reason(why)
    if variant.family_id != ticket.family_id:
        raise Refusal(variant=f"{variant} is no variant of {ticket.family}. Choose one of its own.")
    with transaction.atomic():
        # Locked without its variant: that may change while this one waits.
        held = Ticket.objects.select_for_update().get(pk=ticket.pk)
        if held.variant_id == variant.pk:
            return Varied(None)
        if held.stage not in ("received", *STAGES):
            raise Conflict(
                f"The ticket is {held.stage}. Its quote is for the variant that it has: "
                "bring it back to examined first."
            )
        unit = next((one.unit for one in held.sources.filter(kind="unit").select_related("unit")), None)
        examination = Examination.objects.filter(ticket=held).first()
        plan = None
        if examination is not None:
            by.need("record_readings")
            plan = _lay(examination, variant, missing, by, at)
        won = Ticket.objects.filter(pk=held.pk, variant_id=held.variant_id, stage=held.stage).update(
            variant=variant, version=F("version") + 1
        )
        if not won:
            raise Conflict("Somebody changed this ticket at the same moment. Look again.")
        if unit is not None:
            Unit.objects.filter(pk=unit.pk).update(variant=variant)
        facts = _facts(held.variant, variant, why, plan)
        write_line(by=by, deed="variant changed", thing=held, ticket_number=held.number, at=at, **facts)
        back = _settle(examination, by, f"The unit is of the variant {variant.code}: {why}"[:200], at)
    ticket.refresh_from_db()
    return Varied(plan, back)


def change_donor_variant(
    *,
    donor: Donor,
    variant: Variant,
    why: str,
    by: Actor,
    missing: Collection[str] = (),
    at: datetime | None = None,
) -> Varied:
    """The same for a donor, until its cost is shared."""
    need_any(by, *DONOR_RIGHTS)
    at = at or clock.now()
    why = _need_reason(why)
    if variant.family_id != donor.unit.family_id:
        raise Refusal(variant=f"{variant} is no variant of {donor.unit.family}. Choose one of its own.")
    with transaction.atomic():
        held = Donor.objects.select_for_update().get(pk=donor.pk)
        before = held.unit.variant
        if before.pk == variant.pk:
            return Varied(None)
        if held.shared_at is not None:
            raise Conflict("The donor's cost is shared over its pieces already.")
        examination = Examination.objects.filter(donor=held.unit).first()
        plan = _lay(examination, variant, missing, by, at) if examination is not None else None
        Unit.objects.filter(pk=held.unit_id).update(variant=variant)
        write_line(by=by, deed="variant changed", thing=held, at=at, **_facts(before, variant, why, plan))
        _settle(examination, by, why, at)
    donor.refresh_from_db()
    return Varied(plan)


def _need_reason(why: str) -> str:
    why = " ".join(why.split())
    if not why:
        raise Refusal(why="Say how it was found to be another variant: it stands in the log.")
    if len(why) > MOST_WORDS:
        raise Refusal(why=f"At most {MOST_WORDS} characters.")
    return why


def _facts(before: Variant, after: Variant, why: str, plan: Varying | None) -> dict[str, Any]:
    facts: dict[str, Any] = {"before": before.code, "after": after.code, "why": why}
    if plan is not None:
        facts |= {"kept": plan.kept, "waiting": plan.waiting, "aside": len(plan.laying.aside)}
    return facts


def _lay(
    examination: Examination, variant: Variant, missing: Collection[str], by: Actor, at: datetime
) -> Varying:
    """Plan under the locks, and give the new positions their pieces."""
    held = lock_examination(examination)
    guide: GuideIndex = guide_of(held.revision)
    if variant.code not in {one.code for one in guide.guide.variants}:
        raise Refusal(variant=f"Revision {held.revision.number} of the guide has no variant {variant.code}.")
    need_no_lost_rows(held, guide, variant.code)
    plan = plan_variant(held, variant)
    lay_out_new(
        examination=held,
        laying=plan.laying,
        guide=guide,
        variant=variant.code,
        missing=missing,
        by=by,
        at=at,
    )
    Examination.objects.filter(pk=held.pk).update(counter=F("counter") + 1)
    return plan


def _settle(examination: Examination | None, by: Actor, why: str, at: datetime) -> bool:
    if examination is None:
        return False
    return settle_examination(lock_examination(examination), by, why, at)
