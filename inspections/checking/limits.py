"""Limits of features: the right way up, one of each size, and sizes that a mating part has as well."""

from collections.abc import Iterator

from inspections.checking.book import Book, upside_down
from inspections.document import STANDARD, Feature, Limit
from inspections.guiding.shape import Problem


def limit_problems(book: Book) -> Iterator[Problem]:
    for one in book.guide.features:
        yield from _of_feature(book, one)
        yield from _of_form(book, one)
        yield from _sizes_nobody_has(book, one)


def _of_feature(book: Book, one: Feature) -> Iterator[Problem]:
    sizes = [limit.size for limit in one.limits]
    if not sizes:
        yield book.say("feature", one.code, "limit", "A feature needs limits for one size.")
    for size in {size for size in sizes if sizes.count(size) > 1}:
        yield book.say("feature", one.code, "limit", f"Size {size} stands twice.")
    for limit in one.limits:
        words = upside_down(limit.new_min_mm, limit.new_max_mm, limit.wear_mm)
        if words or (words := _wears_backwards(one.dimension, limit)):
            yield book.say("feature", one.code, "limit", f"{limit.size}: {words}")
        if limit.mean_mm is None:
            continue
        low, high = limit.mean_mm
        if low > high:
            words = f"{limit.size}: The limits of the mean are upside down: {low:g} is above {high:g}."
            yield book.say("feature", one.code, "limit", words)
        elif low > limit.upper_mm or high < limit.lower_mm:
            words = f"{limit.size}: the mean's limits, {low:g} to {high:g}, lie beyond those of the feature."
            yield book.say("feature", one.code, "limit", words)


def _wears_backwards(dimension: str, limit: Limit) -> str:
    """Wear opens a bore and thins what is measured from outside. A limit on the other side would let every
    worn part pass."""
    if limit.wear_mm is None:
        return ""
    if dimension == "bore" and limit.wear_mm < limit.new_min_mm:
        return f"A bore wears larger: its wear limit {limit.wear_mm:g} is below {limit.new_min_mm:g}, new."
    if dimension == "outside" and limit.wear_mm > limit.new_max_mm:
        return (
            f"An outside wears smaller: its wear limit {limit.wear_mm:g} is above {limit.new_max_mm:g}, new."
        )
    return ""


def _of_form(book: Book, one: Feature) -> Iterator[Problem]:
    """Form needs places to show it: two directions, two depths, or several parts of a set."""
    if one.spread_mm is not None and (one.form_mm is not None or one.taper_mm is not None):
        yield book.say("feature", one.code, "spread", "A set has a spread; form and taper are of one part.")
    places = [check.places for check in book.guide.checks if check.feature == one.code]
    if one.stated:
        if places:
            yield book.say(
                "feature", one.code, "stated", "It is stated and never read: no check measures it."
            )
        yield from _stated(book, one)
        return
    pairs = [{*map(place_of, row)} for row in places]
    if one.taper_mm is not None and pairs:
        apart = any(len({depth for depth, _ in row}) > 1 for row in pairs)
        plain = one.form_mm is None and any(len(row) > 1 for row in places)
        if not apart and not plain:
            words = 'A taper needs places at two depths, such as "front, upright" and "rear, upright".'
            yield book.say("feature", one.code, "taper", words)
    if one.spread_mm is not None and pairs and not any(len(row) > 1 for row in places):
        words = 'A spread needs several places, each another part of the set: "one", "two", "three".'
        yield book.say("feature", one.code, "spread", words)


def place_of(place: str) -> tuple[str, str]:
    """Depth and direction of a place; a place without a comma is a direction.

    >>> place_of("front, upright"), place_of("upright")
    (('front', 'upright'), ('', 'upright'))
    """
    depth, comma, direction = place.partition(",")
    return (depth.strip(), direction.strip()) if comma else ("", place.strip())


def _stated(book: Book, one: Feature) -> Iterator[Problem]:
    """What is never read has to be new: a used gasket is as thick as it is."""
    replaced = {check.position for check in book.guide.checks if check.kind == "replaced"}
    if one.position not in replaced:
        words = f"{one.position} is not always replaced: a part that stays has to be measured."
        yield book.say("feature", one.code, "stated", words)


def _sizes_nobody_has(book: Book, one: Feature) -> Iterator[Problem]:
    """A size that no mating part comes in can never be built."""
    mates = book.index.mated_with.get(one.code, ())
    if not mates:
        return
    theirs = {limit.size for mate in mates for limit in mate.limits}
    made = {left.size for remedy in book.guide.remedies for left in remedy.leaves if left.feature == one.code}
    for limit in one.limits:
        if limit.size not in {*theirs, *made, STANDARD}:
            names = ", ".join(mate.code for mate in mates)
            words = f"No part has size {limit.size}: what it goes with ({names}) does not come in it."
            yield book.say("feature", one.code, "limit", words)
