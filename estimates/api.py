"""The API of estimates: the plan of a ticket, solved on the spot and not kept."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from ninja import Router, Schema

from estimates.planning import Aim
from estimates.quoting import plan_document, solve_ticket
from shop.access import asker, ticket_for
from shop.money import show_minor

tickets = Router(tags=["tickets"])
PLACES = 6


class Beaten(Schema):
    """An option that was not taken. ``extra_cost`` and ``extra_days`` are null where no plan can hold it."""

    code: str
    label: str
    extra_cost: str | None
    extra_days: int | None
    why: str


class PlannedPosition(Schema):
    position: str
    number: int
    name: str
    code: str
    kind: str
    way: str
    label: str
    cost: str | None
    wait_days: int
    rework_min: int
    risk: float
    piece: str | None
    part: str | None
    supplier: str | None
    remedies: list[str]
    beat: list[Beaten]


class PlannedStack(Schema):
    code: str
    title: str
    lower_mm: float | None
    upper_mm: float | None
    limit_lower_mm: float | None
    limit_upper_mm: float | None
    margin_mm: float | None
    enforced: bool


class PlanOut(Schema):
    """Money is text with its currency, and null for a caller who may not see what the shop pays."""

    ticket: int
    aim: str
    status: str
    provisional: bool
    cost: str | None
    parting_cost: str | None
    days: int
    rework_min: int
    risk: float
    parted_sets: list[str]
    notes: list[str]
    positions: list[PlannedPosition]
    stacks: list[PlannedStack]
    working: list[dict[str, Any]]
    cautions: list[str]


@tickets.get("/{int:number}/plan", response=PlanOut)
def plan(request: HttpRequest, number: int, aim: Aim = Aim.LEAST_COST) -> dict[str, Any]:
    """The plan for an aim: what goes into each position, and what it beat and by how much."""
    by = asker(request)
    ticket = ticket_for(by, number, "send_quotes")
    solved, basis = solve_ticket(ticket=ticket, aim=aim)
    document = plan_document(solved, basis)
    sees = by.may("see_prices")

    def money(minor: int | None) -> str | None:
        return show_minor(minor, settings.CURRENCY, sign=True) if sees and minor is not None else None

    answer = {
        "ticket": ticket.number,
        "aim": document["aim"],
        "status": solved.status,
        "provisional": solved.provisional,
        "cost": money(solved.cost_minor),
        "parting_cost": money(solved.parting_minor),
        "days": solved.days,
        "rework_min": solved.minutes,
        "risk": solved.risk,
        "parted_sets": document["parted"],
        "notes": document["notes"],
        "positions": [_position(one, money, sees) for one in document["choices"]],
        "stacks": [
            {**one, "limit_lower_mm": one["min_mm"], "limit_upper_mm": one["max_mm"]}
            for one in document["stacks"]
        ],
        "working": document["working"] if sees else [],
        "cautions": list(basis.judgement.guide.guide.cautions),
    }
    return {name: tidy(value) for name, value in answer.items()}


def tidy(value: Any) -> Any:
    """The same with every float at six places: a binary fraction's tail says nothing about a gearbox."""
    if isinstance(value, float):
        return round(value, PLACES)
    if isinstance(value, dict):
        return {name: tidy(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [tidy(one) for one in value]
    return value


def _position(one: dict[str, Any], money: Any, sees: bool) -> dict[str, Any]:
    means = one["means"]
    return {
        "position": one["slot"],
        "number": one["number"],
        "name": one["name"],
        "code": one["code"],
        "kind": one["kind"],
        "way": one["way"],
        "label": one["label"],
        "cost": money(one["cost_minor"]),
        "wait_days": one["days"],
        "rework_min": one["minutes"],
        "risk": one["risk"],
        "piece": means.get("piece") or None,
        "part": means.get("part") or None,
        "supplier": means.get("supplier") or None,
        "remedies": list(means.get("remedies", ())),
        "beat": [
            {
                "code": other["code"],
                "label": other["label"],
                "extra_cost": money(other["extra_minor"]),
                "extra_days": other["extra_days"],
                "why": other["why"] if sees else "",
            }
            for other in one["beat"]
        ],
    }
