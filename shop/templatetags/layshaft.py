"""Tags and filters of the shop's pages and papers: money, verdicts, working, the scheme of the page."""

import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any
from zlib import crc32

from django import template
from django.forms import BaseForm
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

register = template.Library()

AS_FOUND = {
    "serviceable": "serviceable",
    "rework": "rework",
    "scrap": "scrap",
    "open": "open",
    "close": "too close to call",
    "replaced": "always replaced",
    "missing": "missing",
    "wrong": "wrong part",
}
AS_PLANNED = {
    "own": "own piece",
    "reworked": "own piece, reworked",
    "used": "another used piece",
    "new": "new",
}
WORDS = AS_FOUND | AS_PLANNED

# Left edges of the columns of dots in a swatch, in its own units (28 wide).
DOTS = (3.0, 6.8, 10.6, 14.4, 18.2, 22.0)

# Decimal places of the minor unit where they are not two (ISO 4217:2015, table A.1).
PLACES = {
    "BHD": 3,
    "CLP": 0,
    "IQD": 3,
    "ISK": 0,
    "JOD": 3,
    "JPY": 0,
    "KRW": 0,
    "KWD": 3,
    "LYD": 3,
    "OMR": 3,
    "TND": 3,
    "UYW": 4,
    "VND": 0,
}

SCHEMES = ("paper", "blueprint")
SCHEME_COOKIE = "layshaft_scheme"


@register.filter
def money(minor: int | str | None, currency: str = "EUR") -> str:
    """``minor`` units of ``currency`` as text with its places and a true minus; a dash for nothing."""
    if minor is None or minor == "":
        return "—"
    amount = int(minor)
    places = PLACES.get(currency, 2)
    digits = str(abs(amount)).rjust(places + 1, "0")
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return f"−{text}" if amount < 0 else text


@register.filter
def count_errors(form: BaseForm) -> int:
    """How many messages a form carries; a field may carry several."""
    return sum(len(messages) for messages in form.errors.values())


@register.filter
def both_lengths(mm: float, resolution_mm: float = 0.001) -> str:
    """A length [mm] in both systems, to the step of the gauge [mm]."""
    from shop.handbook.quantities import both

    return both(float(mm), resolution_mm)


@register.inclusion_tag("shop/parts/verdict.html")
def verdict(key: str) -> dict[str, Any]:
    """The verdict drawn small, and its word. An unknown key is a mistake in the template: KeyError."""
    return {"key": key, "word": WORDS[key], "dots": DOTS}


@register.inclusion_tag("shop/parts/swatch.html")
def swatch(key: str) -> dict[str, Any]:
    """The drawing alone, for where the word stands beside it already."""
    if key not in WORDS:
        raise KeyError(key)
    return {"key": key, "dots": DOTS}


@register.inclusion_tag("shop/parts/legend.html")
def legend(kind: str = "found", *keys: str) -> dict[str, Any]:
    """The key to a drawing: all marks of ``found`` or ``planned``, or only those named."""
    words = {"found": AS_FOUND, "planned": AS_PLANNED}[kind]
    marks = [{"key": key, "word": words[key]} for key in keys or words]
    label = "What the hatching means, as found" if kind == "found" else "What the hatching means, as planned"
    return {"marks": marks, "label": label, "dots": DOTS}


def _step(step: Any) -> dict[str, Any]:
    """A ``Step`` of the handbook, or its dictionary as frozen in a paper, as the part expects it."""
    entry = step if isinstance(step, Mapping) else step.as_dict()
    inputs = entry.get("inputs") or ()
    pairs = list(inputs.items()) if isinstance(inputs, Mapping) else [tuple(pair) for pair in inputs]
    return {"formula": entry["formula"], "inputs": pairs, "source": entry["source"]}


@register.inclusion_tag("shop/parts/working.html")
def working(steps: Any, title: str = "Working", opened: bool = False) -> dict[str, Any]:
    """Opens the working of a figure. ``steps``: one step, several, or a result that has ``working``."""
    found = getattr(steps, "working", steps)
    if not found:
        return {"steps": [], "title": title, "opened": opened}
    several: Iterable[Any] = found if isinstance(found, list | tuple) else (found,)
    return {"steps": [_step(step) for step in several], "title": title, "opened": opened}


@cache
def _paper_rules() -> str:
    """What a drawing needs inside itself on paper: its rules, and the hatchings that a page carries once."""
    rules = Path(__file__).parents[1] / "static" / "shop" / "css" / "paper_drawing.css"
    return f"<style>{rules.read_text()}</style>{render_to_string('shop/parts/patterns.html')}"


@register.filter
def for_paper(drawing: str) -> SafeString:
    """A drawing as the screens have it, made to stand alone in a PDF. Only for SVG of the program's own."""
    if not isinstance(drawing, SafeString):
        raise TypeError("for_paper takes a drawing that the program made and marked safe, not typed text")
    whole, found = re.subn(r"(<svg\b[^>]*>)", lambda tag: tag[1] + _paper_rules(), drawing, count=1)
    if not found:
        raise ValueError("for_paper found no drawing")
    # Ids are made the drawing's own: several drawings stand in one paper.
    mark = f"{crc32(drawing.encode()):08x}"
    whole = re.sub(r'(id="|url\(#)(hatch-\w+|arrow)\b', rf"\1\2-{mark}", whole)
    return mark_safe(whole)  # noqa: S308  checked above


@register.simple_tag(takes_context=True)
def scheme_choice(context: template.Context) -> str:
    """``paper`` or ``blueprint`` as the person chose (a cookie), or nothing: then the device decides."""
    request: HttpRequest | None = context.get("request")
    chosen = request.COOKIES.get(SCHEME_COOKIE, "") if request is not None else ""
    return chosen if chosen in SCHEMES else ""
