"""A ticket takes up a newer revision of its guide; readings that still apply stay."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from inspections.document import Check, GuideIndex
from inspections.guiding.applying import why_not
from inspections.guiding.differences import Difference, differences
from inspections.guiding.guides import guide_of
from inspections.guiding.laying import Laying, lay_out_new, laying_for, need_no_lost_rows
from inspections.models import Examination, GuideRevision
from inspections.readings.examining import open_ends
from inspections.readings.findings import Examined, examinations, examined, pieces_of, variant_of
from inspections.readings.projecting import project_measures
from inventory.access import need_any
from shop import clock
from shop.access import Actor, NotThere
from shop.audit import write_line
from shop.models import Ticket
from shop.refusals import Conflict
from shop.stages import move_ticket

RIGHTS = ("settle_disputes", "keep_office")
# A quote stands on the findings that it was made from: after it the ticket goes back to examined first.
STAGES = ("stripped", "examined")


@dataclass(frozen=True)
class Adoption:
    """What would change for one unit if its examination were held under another revision."""

    before: GuideRevision
    after: GuideRevision
    added: tuple[Check, ...]
    gone: tuple[Check, ...]
    changed: tuple[Difference, ...]  # of entries that this variant has
    laying: Laying
    kept: int  # readings that still apply
    lost: tuple[tuple[str, str, str], ...]  # id, check, why: readings that do not

    @property
    def reopened(self) -> tuple[str, ...]:
        """Codes of checks whose readings are set aside although the check stands."""
        return tuple(dict.fromkeys(check for _, check, why in self.lost if why != "the check is gone"))


def newer_revisions(examination: Examination) -> list[GuideRevision]:
    """Revisions that came after the one that the examination is held under, the newest first."""
    revision = examination.revision
    rows = GuideRevision.objects.filter(family_id=revision.family_id, number__gt=revision.number)
    return list(rows.defer("document").order_by("-number"))


def need_before_quote(ticket: Ticket | None) -> None:
    """Conflict unless the ticket is stripped or examined; a donor has no stage."""
    if ticket is not None and ticket.stage not in STAGES:
        raise Conflict(
            f"The ticket is {ticket.stage}. Its quote stands on what was found: "
            "bring it back to examined first."
        )


def plan_adoption(examination: Examination, number: int) -> Adoption:
    """What adopting that revision changes. NotThere for a revision that the family does not have, Conflict
    for one that is not newer."""
    before = GuideRevision.objects.get(pk=examination.revision_id)
    after = GuideRevision.objects.filter(family_id=before.family_id, number=number).first()
    if after is None:
        raise NotThere
    if after.number <= before.number:
        raise Conflict(
            f"The unit is examined under revision {before.number}: revision {number} is not newer."
        )
    old, new, variant = guide_of(before), guide_of(after), variant_of(examination)
    asked, asks = old.checks_of(variant), new.checks_of(variant)
    whole = examined(examination)
    kept, lost = _readings(whole, old, new, {*examination.set_aside})
    return Adoption(
        before,
        after,
        tuple(one for one in asks if one.code not in {row.code for row in asked}),
        tuple(one for one in asked if one.code not in {row.code for row in asks}),
        tuple(_touching(differences(before.document, after.document), old, new, variant)),
        laying_for(list(pieces_of(examination)), [*whole.judgement.status], new, variant),
        kept,
        tuple(lost),
    )


def _readings(
    whole: Examined, old: GuideIndex, new: GuideIndex, aside: Collection[str]
) -> tuple[int, list[tuple[str, str, str]]]:
    kept, lost = 0, []
    for one in whole.records:
        if one.key in aside or one.withdrawn or not (one.outcome or one.value_mm is not None):
            continue
        if why := why_not(one, old, new):
            lost.append((one.key, one.check, why))
        else:
            kept += 1
    return kept, lost


def _touching(all_: list[Difference], old: GuideIndex, new: GuideIndex, variant: str) -> list[Difference]:
    """Changes of entries that say something of this variant; added and gone checks stand apart."""
    positions = {one.code for guide in (old, new) for one in guide.positions_of(variant)}
    checks = {one.code for guide in (old, new) for one in guide.checks_of(variant)}
    features = {one.code for guide in (old, new) for one in guide.guide.features if one.position in positions}
    defects = {one.code for guide in (old, new) for one in guide.guide.defects if one.check in checks}
    mine = {"position": positions, "check": checks, "feature": features, "defect": defects}
    found = []
    for one in all_:
        if one.table == "check" and one.kind != "changed":
            continue
        if one.table in {"guide", "drawing", "variant"} or not one.code:
            continue
        if one.table not in mine or one.code in mine[one.table]:
            found.append(one)
    return found


@dataclass(frozen=True)
class Adopted:
    """What was done. ``back``: the ticket was examined and has open ends again, so it is stripped."""

    examination: Examination
    plan: Adoption | None
    back: bool = False


def adopt_revision(
    *,
    examination: Examination,
    number: int,
    by: Actor,
    missing: Collection[str] = (),
    at: datetime | None = None,
) -> Adopted:
    """Hold the examination under that newer revision from now on. Readings that do not apply any more are
    set aside and stay on record; new positions get pieces, or are marked as empty (``missing``: codes).

    Adopting the revision in force changes nothing. Raises Conflict after the quote, for an older revision,
    and where an agreed build list fills a position that would be gone.
    """
    need_any(by, *RIGHTS)
    at = at or clock.now()
    with transaction.atomic():
        held = lock_examination(examination)
        if held.revision.number == number:
            return Adopted(held, None)
        need_before_quote(held.ticket)
        plan = plan_adoption(held, number)
        variant, guide = variant_of(held), guide_of(plan.after)
        need_no_lost_rows(held, guide, variant)
        lay_out_new(
            examination=held, laying=plan.laying, guide=guide, variant=variant, missing=missing, by=by, at=at
        )
        aside = [key for key, _, _ in plan.lost]
        held.revision = plan.after
        held.set_aside = list(dict.fromkeys([*held.set_aside, *aside]))
        held.counter += 1
        held.save(update_fields=["revision", "set_aside", "counter"])
        write_line(
            by=by,
            deed="guide adopted",
            thing=held,
            ticket_number=held.ticket.number if held.ticket else None,
            at=at,
            before=plan.before.number,
            after=plan.after.number,
            kept=plan.kept,
            aside=len(aside),
        )
        back = settle_examination(held, by, f"Guide revision {number} adopted.", at)
    return Adopted(held, plan, back)


def lock_examination(examination: Examination) -> Examination:
    """The examination as it stands, locked after its ticket: readings that come in meanwhile wait.

    Locked without its joins: PostgreSQL finds no row where the revision was changed while it waited.
    """
    if examination.ticket_id is not None:
        Ticket.objects.select_for_update().get(pk=examination.ticket_id)
    Examination.objects.select_for_update().only("pk").get(pk=examination.pk)
    return examinations().get(pk=examination.pk)


def settle_examination(held: Examination, by: Actor, why: str, at: datetime) -> bool:
    """After its guide or variant changed: measures are judged anew, and a ticket that was examined and has
    open ends again is stripped. True if it went back."""
    judgement = examined(held).judgement
    pieces = {one.tag: one for one in pieces_of(held)}
    codes = [one.code for one in judgement.guide.checks_of(judgement.variant) if one.kind == "measure"]
    project_measures(judgement, codes, pieces, at)
    ticket = held.ticket
    if ticket is None or ticket.stage != "examined" or not open_ends(ticket):
        return False
    move_ticket(ticket=ticket, to="stripped", by=by, why=why, at=at)
    return True
