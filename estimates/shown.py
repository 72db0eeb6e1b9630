"""A plan and a quote as pages and papers show them: rows for the templates, the drawing, the stacks."""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.utils.safestring import SafeString, mark_safe

from estimates.models import Quote
from inspections.document import GuideIndex
from inspections.drawings.bars import limit_bar
from inspections.drawings.drawing import unit_drawing
from inspections.guiding.guides import guide_of
from inspections.models import Examination
from shop.models import Ticket
from shop.money import show_minor


@dataclass(frozen=True, slots=True)
class StackRow:
    """One stack of a plan with its bar; ``said`` is the margin in words."""

    title: str
    said: str
    bar: SafeString
    narrow: bool


def guide_for(ticket: Ticket) -> GuideIndex:
    """The guide that the ticket was examined under."""
    return guide_of(
        Examination.objects.select_related("revision").defer("revision__document").get(ticket=ticket).revision
    )


def plan_drawing(document: dict[str, Any], guide: GuideIndex, variant: str, link: str = "") -> SafeString:
    """The unit with each position hatched as planned. ``link``: what a position's code is added to."""
    ways = {one["slot"]: one["way"] for one in document["choices"]}
    links = {slot: f"{link}{slot}" for slot in ways} if link else {}
    svg = unit_drawing(guide.guide.drawing, guide.guide.positions, ways, links, variant=variant)
    return mark_safe(svg)  # noqa: S308  made by the program, every text in it escaped


def stack_rows(document: dict[str, Any]) -> list[StackRow]:
    """Stacks with the room that is left in them, the narrowest first; those not enforced at the end."""
    rows = sorted(
        document["stacks"], key=lambda one: (one["margin_mm"] is None, one["margin_mm"] or 0.0, one["code"])
    )
    return [_stack_row(one) for one in rows]


def _mm(value: float) -> str:
    """Three decimals and a true minus."""
    return f"{value:.3f}".replace("-0.000", "0.000").replace("-", "−")


def _stack_row(one: dict[str, Any]) -> StackRow:
    lower, upper = one["lower_mm"], one["upper_mm"]
    if not one["enforced"] or lower is None or upper is None:
        return StackRow(
            one["title"], "Not all of it is measured: it is checked at the build.", SafeString(), False
        )
    bar = limit_bar(
        value_mm=(lower + upper) / 2,
        expanded_mm=(upper - lower) / 2,
        lower_mm=one["min_mm"],
        upper_mm=one["max_mm"],
        guard_mm=0.0,
        unit="mm",
    )
    margin = one["margin_mm"]
    said = f"{_mm(lower)} mm" if _mm(lower) == _mm(upper) else f"{_mm(lower)} to {_mm(upper)} mm"
    if margin is not None:
        said += f"; {margin:.3f} mm to the nearest limit"
    narrow = margin is not None and margin < 0.005
    return StackRow(one["title"], said, mark_safe(bar), narrow)  # noqa: S308  made by the program


def stacked_choices(document: dict[str, Any]) -> list[dict[str, Any]]:
    """The choices in the order of their balloons. ``said``: the label without the position's name, which
    stands in a column of its own; ``unchanged``: an own piece that goes back as it is."""
    rows = sorted(document["choices"], key=lambda one: (one["number"], one["slot"]))
    return [
        one
        | {
            "said": without_name(one["label"], one["name"]),
            "unchanged": one["kind"] == "own",
            "beat": [other | {"said": without_name(other["label"], one["name"])} for other in one["beat"]],
        }
        for one in rows
    ]


def without_name(label: str, name: str) -> str:
    return label.removeprefix(f"{name}: ")


def bond_names(document: dict[str, Any], guide: GuideIndex) -> list[str]:
    known = {one.code: one.name for one in guide.guide.bonds}
    return [known.get(code, code) for code in document["parted"]]


def people_cautions(guide: GuideIndex) -> list[str]:
    """The guide's cautions for who works on the unit, without the deference that each box ends with."""
    return [one for one in guide.guide.cautions if not one.startswith("The maker's data")]


CUSTOMER_CAUTIONS = (
    "The unit is heavy: never lift or carry it alone. Have it fitted by a competent person.",
)
ON_NO = {
    "returned apart": "On a no the unit goes back to you as it is, apart, with all its pieces.",
    "returned together": "On a no the unit goes back to you put together, as it came and not for use.",
    "left to the shop": "On a no the unit is left to the shop, as you agreed when you brought it.",
}
FOUND_DAMAGE = (
    "If more damage is found while the work goes on, the work stops and you get a new quote. "
    "Nothing beyond this one is done or charged without your yes."
)
STAND = "The price stands until the day named above. Parts are kept for you once you accept."
OLD_PARTS = "Old parts are kept for you to see until the unit is handed over."
USED = "Used pieces are not new. The drawing shows where they go."


def terms_of(quote: Quote) -> list[str]:
    """All that a yes and a no bring with them, one sentence or two each: the one source of page and paper."""
    ticket = quote.ticket

    def money(minor: int) -> str:
        return show_minor(minor, ticket.currency, sign=True)

    terms = [ON_NO[ticket.on_no]]
    if ticket.examination_fee_minor:
        fee = money(ticket.examination_fee_minor)
        terms.append(f"The examination, {fee} before tax, is owed in either case, as you agreed.")
    if storage := ticket.storage_words.strip().rstrip("."):
        terms.append(f"Storage after a no: {storage}.")
    if ticket.deposit_minor:
        terms.append(f"Your deposit of {money(ticket.deposit_minor)} is taken off the bill.")
    terms += [FOUND_DAMAGE, STAND, OLD_PARTS]
    if any(one["way"] == "used" for one in quote.plan.document["choices"]):
        terms.append(USED)
    return terms


def quote_context(quote: Quote) -> dict[str, Any]:
    """What the customer sees of a quote, on paper and on the page. No cost of the shop is in it."""
    ticket = quote.ticket
    guide = guide_for(ticket)
    lines = list(
        quote.lines.only("ordinal", "kind", "position_code", "way", "words", "amount_minor", "quote")
    )
    numbers = {one["slot"]: one["number"] for one in quote.plan.document["choices"]}
    in_use = sorted({one["way"] for one in quote.plan.document["choices"]})
    return {
        "quote": quote,
        "ticket": ticket,
        "lines": [{"line": one, "number": numbers.get(one.position_code, "")} for one in lines],
        "drawing": plan_drawing(quote.plan.document, guide, ticket.variant.code),
        "ways": [way for way in ("own", "reworked", "used", "new") if way in in_use],
        "tax_percent": f"{quote.tax_permille / 10:g}",
        "terms": terms_of(quote),
        "due_minor": quote.total_minor - ticket.deposit_minor,
        "cautions": CUSTOMER_CAUTIONS,
        "shop_name": settings.SHOP_NAME,
        "shop_address": settings.SHOP_ADDRESS,
    }
