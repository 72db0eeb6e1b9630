"""Checks: what each kind needs and may say, and whether it can be answered at all."""

from collections.abc import Iterator

from inspections.checking.book import Book, upside_down
from inspections.document import Check
from inspections.guiding.shape import Problem
from shop.handbook.quantities import Refused
from shop.handbook.threads import thread

_NEEDS = {"measure": "feature", "stack": "terms", "thread": "designation"}
_MAY = {
    "feature": {"measure"},
    "places": {"measure", "try"},
    "repeats": {"measure", "try"},
    "gauge_um": {"measure", "try"},
    "warm": {"measure", "try"},
    "of": {"try"},
    "dimension": {"try"},
    "terms": {"stack"},
    "min": {"stack", "try"},
    "max": {"stack", "try"},
    "wear": {"stack", "try"},
    "unit": {"stack", "try"},
    "fit": {"stack"},
    "zones": {"stack"},
    "sizes": {"stack"},
    "rollers": {"stack"},
    "gap": {"stack"},
    "rule": {"stack", "try"},
    "expected": {"identify", "count"},
    "identifies": {"count"},
    "designation": {"thread"},
    "taper": {"thread"},
    "chase": {"thread"},
    "remedies": {"measure", "stack", "count", "thread", "try"},
}


def check_problems(book: Book) -> Iterator[Problem]:
    for row in book.rows("check"):
        code, kind = row["code"], row["kind"]
        for key in row:
            if key in _MAY and kind not in _MAY[key]:
                yield book.say("check", code, key, f"{key} says nothing at a check of kind {kind}.")
        need = _NEEDS.get(kind)
        if need and not row.get(need):
            yield book.say("check", code, need, f"A check of kind {kind} needs {need}.")
    for one in book.guide.checks:
        if one.position in book.index.position:
            here = book.variants_of(one)
            if not here:
                words = f"No variant has this check: see position {one.position}."
                yield book.say("check", one.code, "position", words)
            yield from _by_kind(book, one, here)


def _by_kind(book: Book, one: Check, here: list[str]) -> Iterator[Problem]:
    feature = book.index.feature.get(one.feature)
    if feature is not None and feature.position != one.position:
        words = f"Feature {one.feature} is on {feature.position}, the check is on {one.position}."
        yield book.say("check", one.code, "feature", words)
    if one.kind in {"identify", "count"}:
        yield from _expected(book, one, here)
    if one.gauge_um is not None and one.gauge_um <= 0:
        yield book.say("check", one.code, "gauge_um", "The gauge's uncertainty has to be above 0 µm.")
    for place in sorted({place for place in one.places if one.places.count(place) > 1}):
        yield book.say("check", one.code, "places", f"Place {place} stands twice.")
    if one.kind == "try":
        yield from _try(book, one, here)
    if one.kind == "thread" and one.designation:
        yield from _thread(book, one)
    seen = one.kind == "look" or (one.kind == "try" and not one.takes_quantity)
    if seen and one.code not in book.index.defects_of:
        words = "Nothing can be found wrong here: no defect names this check."
        yield book.say("check", one.code, "code", words, warning=True)
    for code in one.remedies:
        yield from restores(book, "check", one.code, code, one.code)


def restores(book: Book, table: str, code: str, remedy: str, check: str) -> Iterator[Problem]:
    """A remedy that is named for a check has to make that check good."""
    known = book.index.remedy.get(remedy)
    if known is not None and known.restores and check not in known.restores:
        yield book.say(table, code, "remedies", f"Remedy {remedy} does not restore check {check}.")


def _expected(book: Book, one: Check, here: list[str]) -> Iterator[Problem]:
    for variant in here:
        if not one.expects(variant):
            yield book.say("check", one.code, "expected", f"What is expected of {variant}?")
    if one.kind == "count" and any(not text.isdigit() for text in (one.expected or {}).values()):
        yield book.say("check", one.code, "expected", "A count expects a whole number in quotes.")


def _thread(book: Book, one: Check) -> Iterator[Problem]:
    try:
        known = thread(one.designation)
    except Refused:
        words = f"{one.designation} is in none of the handbook's tables: is it written right?"
        yield book.say("check", one.code, "designation", words, warning=True)
        return
    if one.taper is not None and one.taper != known.taper:
        said, right = ("taper", "parallel") if one.taper else ("parallel", "taper")
        words = f"{one.designation} is a {right} thread, not {said}. One of them is wrong."
        yield book.say("check", one.code, "taper", words)


def _try(book: Book, one: Check, here: list[str]) -> Iterator[Problem]:
    if one.position in one.of:
        yield book.say("check", one.code, "of", f"{one.position} is the piece itself: name the others.")
    for code in dict.fromkeys(one.of):
        other = book.index.position.get(code)
        if other is not None and here and not any(other.exists_in(variant) for variant in here):
            words = f"No variant that has this check has {code}: there is nothing to try it with."
            yield book.say("check", one.code, "of", words)
        if one.of.count(code) > 1:
            yield book.say("check", one.code, "of", f"{code} stands twice.")
    yield from _tried_quantity(book, one) if one.takes_quantity else _tried_by_hand(book, one)


def _tried_by_hand(book: Book, one: Check) -> Iterator[Problem]:
    said = {
        "places": bool(one.places),
        "repeats": one.repeats > 1,
        "gauge_um": one.gauge_um is not None,
        "warm": one.warm,
        "dimension": bool(one.dimension),
    }
    for key in (key for key, there in said.items() if there):
        words = f"{key} needs a quantity to read: give min or max."
        yield book.say("check", one.code, key, words)


def _tried_quantity(book: Book, one: Check) -> Iterator[Problem]:
    low, high, wear = one.min_mm, one.max_mm, one.wear_mm
    if low is None and high is None:
        words = "A wear limit stands beyond the limit of new parts: give min or max as well."
        yield book.say("check", one.code, "wear", words)
    elif low is not None and high is not None:
        if words := upside_down(low, high, wear):
            yield book.say("check", one.code, "min" if low > high else "wear", words)
    elif wear is not None and wear not in {one.lower_mm, one.upper_mm}:
        words = "The wear limit lies inside the limit of new parts: it says nothing."
        yield book.say("check", one.code, "wear", words)
