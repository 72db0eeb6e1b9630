"""Stacks: limits the right way up, every term read by some check, fits that follow from the sizes."""

from collections.abc import Iterator, Sequence

from inspections.checking.book import Book, upside_down
from inspections.document import STANDARD, Check, Limit, MateLimits, Term
from inspections.guiding.shape import Problem

FIT_TOLERANCE_MM = 0.0006  # half a step of the last digit that a limit in mm is stated to
_ROLLERS = (-2, -1, 1)


def mate_problems(book: Book) -> Iterator[Problem]:
    for one in book.guide.checks:
        if one.kind != "stack":
            continue
        yield from _limits(book, one)
        yield from _rollers(book, one)
        for variant in book.variants_of(one):
            yield from _unread_terms(book, one, variant)
        if all(term.feature in book.index.feature for term in one.terms):
            yield from _follows(book, one)


def _limits(book: Book, one: Check) -> Iterator[Problem]:
    if any(term.factor == 0 for term in one.terms):
        yield book.say("check", one.code, "terms", "A factor of 0 takes nothing part.")
    row = next(row for row in book.rows("check") if row["code"] == one.code)
    if "zones" in row and "fit" in row:
        yield book.say("check", one.code, "zones", "The zones say the fit: take one of the two away.")
    yield from _of_size(book, one, one.limits_for(()), "")
    sizes = [limits.size for limits in one.sizes]
    known = {limit.size for term in one.terms for limit in _limits_of(book, term)}
    for limits in one.sizes:
        yield from _of_size(book, one, limits, f"{limits.size}: ")
        if sizes.count(limits.size) > 1 or limits.size == STANDARD:
            yield book.say("check", one.code, "sizes", f"Size {limits.size} stands twice.")
        elif limits.size not in known:
            words = f"No part of this stack has size {limits.size}."
            yield book.say("check", one.code, "sizes", words)


def _of_size(book: Book, one: Check, limits: MateLimits, size: str) -> Iterator[Problem]:
    if limits.lower_mm is None and limits.upper_mm is None:
        key = "sizes" if size else "min"
        yield book.say("check", one.code, key, f"{size}A stack needs min, max, zones or fit.")
    fit_key = "zones" if one.zones else "fit"
    for low, high, key in ((limits.min_mm, limits.max_mm, "min"), (*(limits.fit or (None, None)), fit_key)):
        if low is not None and high is not None and (words := upside_down(low, high, limits.wear_mm)):
            yield book.say("check", one.code, "sizes" if size else key, f"{size}{words}")


def _limits_of(book: Book, term: Term) -> Sequence[Limit]:
    feature = book.index.feature.get(term.feature)
    return feature.limits if feature else ()


def _rollers(book: Book, one: Check) -> Iterator[Problem]:
    if not one.rollers:
        if one.gap_mm is not None:
            words = "The gap round the circle needs the number of rollers."
            yield book.say("check", one.code, "gap", words)
        return
    if tuple(sorted(term.factor for term in one.terms)) != _ROLLERS:
        words = "Needle rollers are bore − shaft − 2 × roller: factors 1, -1 and -2."
        yield book.say("check", one.code, "terms", words)
    if one.gap_mm is not None and one.gap_mm[0] > one.gap_mm[1]:
        words = f"The limits are upside down: {one.gap_mm[0]:g} is above {one.gap_mm[1]:g}."
        yield book.say("check", one.code, "gap", words)


def _unread_terms(book: Book, one: Check, variant: str) -> Iterator[Problem]:
    measured = {
        row.feature for row in book.guide.checks if row.kind == "measure" and variant in book.variants_of(row)
    }
    for term in one.terms:
        feature = book.index.feature.get(term.feature)
        position = book.index.position.get(feature.position) if feature else None
        if feature is None or position is None:
            continue
        if not position.exists_in(variant):
            words = f"{term.feature} is on {position.code}, which variant {variant} does not have."
            yield book.say("check", one.code, "terms", words)
        elif not feature.stated and term.feature not in measured:
            words = f"No reading can give {term.feature} on variant {variant}: no check measures it."
            yield book.say("check", one.code, "terms", words)


def new_span(book: Book, terms: Sequence[Term], size: str = STANDARD) -> tuple[float, float] | None:
    """What new parts of a size leave, mm: every part at the end that counts against it."""
    tight = loose = 0.0
    for term in terms:
        feature = book.index.feature[term.feature]
        if not feature.limits:
            return None
        limit = feature.limit(size) or feature.limits[0]
        ends = sorted(term.factor * end for end in (limit.new_min_mm, limit.new_max_mm))
        tight, loose = tight + ends[0], loose + ends[1]
    return tight, loose


def _follows(book: Book, one: Check) -> Iterator[Problem]:
    """The fit of new parts has to follow from their new sizes; else one of the figures is a misprint."""
    stated = [(STANDARD, one.fit), *((limits.size, limits.fit) for limits in one.sizes)]
    for size, fit in stated:
        if fit is None or fit[0] > fit[1]:
            continue
        span = new_span(book, one.terms, size)
        if span is None:
            continue
        off = [stated - given for stated, given in zip(fit, span, strict=True)]
        if max(map(abs, off)) > FIT_TOLERANCE_MM:
            key = "sizes" if size != STANDARD else "zones" if one.zones else "fit"
            yield book.say("check", one.code, key, _misprint(size, fit, span, off), warning=True)


def _misprint(size: str, fit: Sequence[float], span: Sequence[float], off: Sequence[float]) -> str:
    ends = [
        f"the {name} end by {abs(by):.4f} mm"
        for name, by in zip(("tightest", "loosest"), off, strict=True)
        if abs(by) > FIT_TOLERANCE_MM
    ]
    which = "" if size == STANDARD else f"{size}: "
    return (
        f"{which}The fit of new parts is stated as {fit[0]:.4f} to {fit[1]:.4f} mm; their sizes give "
        f"{span[0]:.4f} to {span[1]:.4f} mm: {' and '.join(ends)} off. One of them is a misprint."
    )
