"""The API of what an examination stands on: the revision of its guide, the variant of its unit."""

from __future__ import annotations

from typing import Annotated, Any

from django.http import HttpRequest
from ninja import Path, Query, Router, Schema
from pydantic import ConfigDict, Field

from inspections.guiding.adopting import Adoption, adopt_revision, newer_revisions, plan_adoption
from inspections.guiding.laying import Laying
from inspections.guiding.varying import Varying, change_variant
from inspections.models import Examination
from inspections.readings.findings import examinations
from shop.access import NotThere, asker, ticket_for
from shop.models import Ticket, Variant
from shop.refusals import Refusal

tickets = Router(tags=["tickets"])
Number = Annotated[int, Path(ge=1, le=2_147_483_647)]


class RevisionIn(Schema):
    """The newer revision to take up; ``missing``: codes of its new positions that are empty."""

    model_config = ConfigDict(extra="forbid")
    revision: Annotated[int, Field(ge=1, le=2_147_483_647)]
    missing: Annotated[list[str], Field(max_length=200)] = []


class VariantIn(Schema):
    """The code of the variant that it is, and how that was found."""

    model_config = ConfigDict(extra="forbid")
    variant: Annotated[str, Field(max_length=20)]
    why: str = ""
    missing: Annotated[list[str], Field(max_length=200)] = []


def _held(ticket: Ticket) -> Examination:
    found = examinations().filter(ticket=ticket).first()
    if found is None:
        raise NotThere
    return found


def _laying(one: Laying) -> dict[str, Any]:
    return {
        "new_positions": [row.code for row in one.new],
        "aside": [row.tag for row in one.aside],
        "back": [row.tag for row in one.back],
    }


def _adoption(plan: Adoption) -> dict[str, Any]:
    return {
        "revision": plan.after.number,
        "added": [one.code for one in plan.added],
        "gone": [one.code for one in plan.gone],
        "changed": [
            {
                "table": one.table,
                "code": one.code,
                "how": one.kind,
                "changes": [
                    {"what": row.what, "before": row.before, "after": row.after} for row in one.changes
                ],
            }
            for one in plan.changed
        ],
        "kept": plan.kept,
        "set_aside": [{"reading": key, "check": check, "why": why} for key, check, why in plan.lost],
    } | _laying(plan.laying)


@tickets.get("/{number}/guide")
def guide_of_ticket(
    request: HttpRequest,
    number: Number,
    revision: Annotated[int | None, Query(ge=1, le=2_147_483_647)] = None,
) -> dict[str, Any]:
    """The revision that a ticket's unit is examined under, the newer ones, and what one of them would change:
    the newest, or the one that is asked for."""
    ticket = ticket_for(asker(request), number)
    held = _held(ticket)
    newer = newer_revisions(held)
    asked = revision or (newer[0].number if newer else None)
    plan = plan_adoption(held, asked) if asked is not None else None
    return {
        "ticket": ticket.number,
        "revision": held.revision.number,
        "newer": [one.number for one in newer],
        "plan": _adoption(plan) if plan else None,
    }


@tickets.post("/{number}/guide")
def adopt_guide(request: HttpRequest, number: Number, sent: RevisionIn) -> dict[str, Any]:
    """Hold the examination under a newer revision from now on; the one in force again changes nothing."""
    by = asker(request)
    ticket = ticket_for(by, number)
    done = adopt_revision(examination=_held(ticket), number=sent.revision, missing=sent.missing, by=by)
    return {
        "ticket": ticket.number,
        "revision": done.examination.revision.number,
        "counter": done.examination.counter,
        "back_to_stripped": done.back,
        "plan": _adoption(done.plan) if done.plan else None,
    }


def _varying(plan: Varying) -> dict[str, Any]:
    return {
        "added": [one.code for one in plan.added],
        "gone": [one.code for one in plan.gone],
        "kept": plan.kept,
        "waiting": plan.waiting,
    } | _laying(plan.laying)


@tickets.post("/{number}/variant")
def change_variant_of_ticket(request: HttpRequest, number: Number, sent: VariantIn) -> dict[str, Any]:
    """The unit is of another variant; readings that still apply stay. The same variant changes nothing."""
    by = asker(request)
    ticket = ticket_for(by, number)
    variant = Variant.objects.filter(family=ticket.family, code=sent.variant).first()
    if variant is None:
        raise Refusal(variant=f"The {ticket.family} has no variant {sent.variant}.")
    done = change_variant(ticket=ticket, variant=variant, why=sent.why, missing=sent.missing, by=by)
    return {
        "ticket": ticket.number,
        "variant": variant.code,
        "back_to_stripped": done.back,
        "plan": _varying(done.plan) if done.plan else None,
    }
