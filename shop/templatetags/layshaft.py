"""Tags and filters of the shop's pages and papers: money, verdicts, working, the scheme of the page."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import template
from django.http import HttpRequest

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
def money(minor: int | None, currency: str = "EUR") -> str:
    """``minor`` units of ``currency`` as text with its decimal places and a true minus; a dash for nothing."""
    if minor is None or minor == "":
        return "—"
    amount = int(minor)
    places = PLACES.get(currency, 2)
    digits = str(abs(amount)).rjust(places + 1, "0")
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return f"−{text}" if amount < 0 else text


@register.inclusion_tag("shop/parts/verdict.html")
def verdict(key: str) -> dict[str, Any]:
    """The verdict drawn small, and its word. A key that is no verdict is a mistake in the template: KeyError."""
    return {"key": key, "word": WORDS[key], "dots": DOTS}


@register.inclusion_tag("shop/parts/swatch.html")
def swatch(key: str) -> dict[str, Any]:
    """The drawing alone, for where the word stands beside it already."""
    return {"key": key if key in WORDS else WORDS[key], "dots": DOTS}


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
    """What opens the working of a figure. ``steps``: one step, or several, or a result that has ``working``."""
    found = getattr(steps, "working", steps)
    if not found:
        return {"steps": [], "title": title, "opened": opened}
    several: Iterable[Any] = found if isinstance(found, list | tuple) else (found,)
    return {"steps": [_step(step) for step in several], "title": title, "opened": opened}


@register.simple_tag(takes_context=True)
def scheme_choice(context: template.Context) -> str:
    """``paper`` or ``blueprint`` as the person chose (a cookie), or nothing: then the device decides."""
    request: HttpRequest | None = context.get("request")
    chosen = request.COOKIES.get(SCHEME_COOKIE, "") if request is not None else ""
    return chosen if chosen in SCHEMES else ""
