"""Plans and quotes: solve, freeze, price for the customer, send.

Three figures stay apart: what a part costs the shop (the plan), and what the customer pays (the quote: cost
and the shop's margin on parts; time at the shop's hourly rate). Rounded once, where a figure becomes a line.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Max

from estimates.links import path_of_quote
from estimates.models import Plan, Quote, QuoteLine
from estimates.options import Basis, basis_for
from estimates.planning import Aim, NoPlan, solve
from estimates.planning import Plan as Solved
from inspections.document import STANDARD, GuideIndex
from inspections.guiding.guides import guide_of
from inspections.models import Examination
from shop import clock, outbox
from shop.access import Actor
from shop.audit import write_line
from shop.models import Ticket
from shop.money import half_up, part_of
from shop.refusals import Conflict, Refusal, Stale
from shop.stages import move_ticket

VALID_DAYS = 30
WAYS_OF_KIND = {"own": "own", "reworked": "reworked", "used": "used", "measure first": "own"}


def plan_document(solved: Solved, basis: Basis) -> dict[str, Any]:
    """The plan as it is kept: each choice with what it means to carry out and what it beat."""
    means = basis.ways.means
    return {
        "aim": str(solved.aim),
        "provisional": solved.provisional,
        "parting_minor": solved.parting_minor,
        "parted": list(solved.parted),
        "risk": solved.risk,
        "notes": list(basis.notes),
        "choices": [
            {
                "slot": one.slot,
                "number": basis.judgement.guide.position[one.slot].number,
                "name": basis.judgement.guide.position[one.slot].name,
                "code": one.option.code,
                "kind": one.option.kind,
                "way": WAYS_OF_KIND.get(one.option.kind, "new"),
                "label": one.option.label,
                "cost_minor": one.option.cost_minor,
                "days": one.option.days,
                "minutes": one.option.minutes,
                "risk": one.option.risk,
                "features": {
                    code: [span.lower_mm, span.nominal_mm, span.upper_mm]
                    for code, span in one.option.features.items()
                },
                "means": dict(means[one.option.code]),
                "beat": [
                    {
                        "code": other.option,
                        "label": other.label,
                        "extra_minor": other.extra_minor,
                        "extra_days": other.extra_days,
                        "why": other.why,
                    }
                    for other in one.beat
                ],
            }
            for one in solved.choices
        ],
        "stacks": [
            {
                "code": one.code,
                "title": one.title,
                "lower_mm": one.lower_mm,
                "upper_mm": one.upper_mm,
                "min_mm": one.min_mm,
                "max_mm": one.max_mm,
                "margin_mm": one.margin_mm,
                "enforced": one.enforced,
            }
            for one in solved.stacks
        ],
        "working": [step.as_dict() for step in solved.working],
    }


def solve_ticket(*, ticket: Ticket, aim: str, at: datetime | None = None) -> tuple[Solved, Basis]:
    """Solve without writing anything. Refusal if no plan meets all demands."""
    basis = basis_for(ticket=ticket, at=at)
    try:
        return solve(basis.ways.problem, Aim(aim)), basis
    except NoPlan as trouble:
        raise Refusal(str(trouble)) from None
    except ValueError as trouble:
        raise Refusal(aim=str(trouble)) from None


@dataclass(frozen=True, slots=True)
class AimRow:
    """One aim beside the others; ``net_minor`` is what the customer would pay before tax.
    ``trouble`` says why there is no plan for it."""

    aim: str
    cost_minor: int = 0
    net_minor: int = 0
    days: int = 0
    minutes: int = 0
    risk: float = 0.0
    provisional: bool = False
    trouble: str = ""

    @property
    def risk_percent(self) -> str:
        return f"{100 * self.risk:.1f}"


@dataclass(frozen=True, slots=True)
class Aims:
    """Each aim's figures, and the plan of the one that was asked for."""

    rows: tuple[AimRow, ...]
    document: dict[str, Any]
    guide: GuideIndex
    variant: str


def plans_for_aims(*, basis: Basis, ticket: Ticket, chosen: str) -> Aims:
    """Solve each aim on one basis, without writing. Refusal if the chosen aim has no plan."""
    guide = basis.judgement.guide
    rows, document = [], {}
    for aim in Aim:
        mine = aim == chosen
        try:
            solved = solve(basis.ways.problem, aim, beats="runner-up" if mine else "none")
        except NoPlan as trouble:
            if mine:
                raise Refusal(str(trouble)) from None
            rows.append(AimRow(str(aim), trouble=str(trouble)))
            continue
        frozen = plan_document(solved, basis)
        net = sum(one.amount_minor for one in lines_of(frozen, ticket, guide.guide.build_minutes))
        rows.append(
            AimRow(
                str(aim),
                solved.cost_minor,
                net,
                solved.days,
                solved.minutes,
                solved.risk,
                solved.provisional,
            )
        )
        if mine:
            document = frozen
    return Aims(tuple(rows), document, guide, basis.judgement.variant)


def make_plan(*, ticket: Ticket, aim: str, by: Actor, at: datetime | None = None) -> Plan:
    """Solve and keep the plan under the ticket's next plan number."""
    by.need("send_quotes")
    at = at or clock.now()
    solved, basis = solve_ticket(ticket=ticket, aim=aim, at=at)
    with transaction.atomic():
        Ticket.objects.select_for_update().get(pk=ticket.pk)
        last = Plan.objects.filter(ticket=ticket).aggregate(Max("number"))["number__max"] or 0
        plan = Plan.objects.create(
            ticket=ticket,
            number=last + 1,
            aim=aim,
            document=plan_document(solved, basis),
            cost_minor=solved.cost_minor,
            days=solved.days,
            minutes=solved.minutes,
            reading_counter=basis.counter,
            made_at=at,
            made_by=by.key,
        )
        write_line(by=by, deed="planned", thing=plan, ticket_number=ticket.number, at=at, aim=aim)
    return plan


@dataclass(frozen=True, slots=True)
class Line:
    kind: str
    words: str
    cost_minor: int
    amount_minor: int
    position_code: str = ""
    way: str = ""


def labour_minor(minutes: int, per_hour: int) -> int:
    """Time as money, rounded once [minor units]."""
    return half_up(Decimal(minutes) * per_hour / 60)


def with_margin(cost_minor: int) -> int:
    """What the customer pays for a part that costs the shop so much."""
    return cost_minor + part_of(cost_minor, settings.PARTS_MARGIN_PERMILLE)


def part_words(choice: dict[str, Any]) -> str:
    """A part as the customer reads it: what it is, not where the shop has it from."""
    means = choice["means"]
    if choice["way"] == "used":
        return f"{choice['name']}: used piece {means['piece']}"
    size = means.get("size", STANDARD)
    return f"{choice['name']}: new, {means['part']}" + (f", {size}" if size != STANDARD else "")


def lines_of(document: dict[str, Any], ticket: Ticket, build_minutes: int) -> list[Line]:
    """The quote's lines from a plan: examination, each part, rework by position, building and testing."""
    lines = []
    if ticket.examination_fee_minor:
        lines.append(Line("examination", "Strip and examination, as agreed", 0, ticket.examination_fee_minor))
    for one in document["choices"]:
        means, place, label = one["means"], one["slot"], one["label"]
        if one["way"] in {"used", "new"} and one["cost_minor"]:
            cost = means.get("part_minor", one["cost_minor"])
            lines.append(Line("part", part_words(one), cost, with_margin(cost), place, one["way"]))
        if one["way"] == "reworked":
            cost = labour_minor(one["minutes"], settings.LABOUR_COST_MINOR_PER_HOUR)
            price = labour_minor(one["minutes"], settings.LABOUR_MINOR_PER_HOUR)
            lines.append(Line("labour", f"{label}, {one['minutes']} min", cost, price, place, "reworked"))
            if extra := means.get("consumables_minor", 0):
                lines.append(
                    Line("consumables", f"{one['name']}: consumables", extra, with_margin(extra), place)
                )
            if extra := means.get("outside_minor", 0):
                lines.append(
                    Line("outside work", f"{one['name']}: outside work", extra, with_margin(extra), place)
                )
    if build_minutes:
        cost = labour_minor(build_minutes, settings.LABOUR_COST_MINOR_PER_HOUR)
        price = labour_minor(build_minutes, settings.LABOUR_MINOR_PER_HOUR)
        lines.append(Line("labour", f"Build and test, {build_minutes} min", cost, price))
    return lines


def make_quote(*, plan: Plan, by: Actor, at: datetime | None = None) -> Quote:
    """A draft from a plan that still stands; a draft before it is superseded."""
    by.need("send_quotes")
    at = at or clock.now()
    ticket = plan.ticket
    if plan.document["provisional"]:
        open_ones = [one["label"] for one in plan.document["choices"] if one["kind"] == "measure first"]
        raise Refusal(f"Not everything is decided yet: {'; '.join(open_ones)}.")
    examination = Examination.objects.select_related("revision").get(ticket=ticket)
    if examination.counter != plan.reading_counter:
        raise Stale("Readings came in since this plan was made. Plan again.")
    lines = lines_of(plan.document, ticket, guide_of(examination.revision).guide.build_minutes)
    net = sum(one.amount_minor for one in lines)
    tax = part_of(net, settings.TAX_PERMILLE)
    with transaction.atomic():
        Ticket.objects.select_for_update().get(pk=ticket.pk)
        Quote.objects.filter(ticket=ticket, state="draft").update(state="superseded")
        last = Quote.objects.filter(ticket=ticket).aggregate(Max("version"))["version__max"] or 0
        quote = Quote.objects.create(
            ticket=ticket,
            version=last + 1,
            plan=plan,
            currency=ticket.currency,
            tax_permille=settings.TAX_PERMILLE,
            net_minor=net,
            tax_minor=tax,
            total_minor=net + tax,
            cost_minor=sum(one.cost_minor for one in lines),
            made_at=at,
        )
        QuoteLine.objects.bulk_create(
            QuoteLine(
                quote=quote,
                ordinal=at_place,
                kind=one.kind,
                position_code=one.position_code,
                way=one.way,
                words=one.words[:240],
                cost_minor=one.cost_minor,
                amount_minor=one.amount_minor,
            )
            for at_place, one in enumerate(lines, 1)
        )
        write_line(by=by, deed="quoted", thing=quote, ticket_number=ticket.number, at=at, total=net + tax)
    return quote


def send_quote(*, quote: Quote, by: Actor, at: datetime | None = None) -> str:
    """Put the quote before the customer and return the path of its signed link. Sent twice is sent once."""
    by.need("send_quotes")
    at = at or clock.now()
    if quote.state == "sent":
        return path_of_quote(quote)
    ticket = quote.ticket
    try:
        with transaction.atomic():
            Ticket.objects.select_for_update().get(pk=ticket.pk)
            Quote.objects.filter(ticket=ticket, state="sent").update(state="superseded")
            won = Quote.objects.filter(pk=quote.pk, state="draft").update(
                state="sent", sent_at=at, valid_until=clock.today(at) + timedelta(days=VALID_DAYS)
            )
            if not won:
                raise Conflict("Only a draft can be sent. Make a new version.")
            ticket.refresh_from_db()
            if ticket.stage != "quoted":
                move_ticket(ticket=ticket, to="quoted", by=by, at=at)
            outbox.put(key=f"quote-paper:{quote.pk}", rule="print quote", payload={"quote": quote.pk}, at=at)
            if ticket.customer is not None and ticket.customer.email:
                outbox.put(
                    key=f"quote-mail:{quote.pk}", rule="mail quote", payload={"quote": quote.pk}, at=at
                )
            write_line(by=by, deed="sent", thing=quote, ticket_number=ticket.number, at=at)
    except IntegrityError:
        raise Conflict("Another quote of this ticket was sent at the same moment. Look again.") from None
    quote.refresh_from_db()
    return path_of_quote(quote)
