"""Every code that names another entry has to name one that exists."""

from collections.abc import Iterator

from inspections.checking.book import Book
from inspections.guiding.shape import Problem
from shop.handbook.materials import expansion
from shop.handbook.quantities import Refused

_NAMES = (
    ("position", "variants", "variant"),
    ("bond", "positions", "position"),
    ("feature", "position", "position"),
    ("check", "position", "position"),
    ("check", "variants", "variant"),
    ("check", "feature", "feature"),
    ("check", "of", "position"),
    ("check", "remedies", "remedy"),
    ("defect", "check", "check"),
    ("defect", "remedies", "remedy"),
    ("remedy", "restores", "check"),
    ("remedy", "rules_out", "remedy"),
    ("complaint", "explained_by", "check"),
    ("step", "positions", "position"),
    ("step", "washers", "position"),
    ("step", "after", "step"),
    ("step", "variants", "variant"),
    ("step", "float_check", "check"),
    ("step", "fit_check", "check"),
)


def reference_problems(book: Book) -> Iterator[Problem]:
    for table, key, target in _NAMES:
        known = book.known(target)
        for row in book.rows(table):
            named = row.get(key, [])
            for code in [named] if isinstance(named, str) else named:
                if code not in known:
                    yield book.say(table, row["code"], key, f"There is no {target} {code}.")
    for row in book.rows("check"):
        for code in {*row.get("expected", {})} - {"*", *book.variants}:
            yield book.say("check", row["code"], "expected", f"There is no variant {code}.")
    for table, key in (("check", "terms"), ("remedy", "leaves")):
        for row in book.rows(table):
            for inner in row.get(key, ()):
                if inner["feature"] not in book.index.feature:
                    yield book.say(table, row["code"], key, f"There is no feature {inner['feature']}.")
    for one in book.guide.positions:
        try:
            expansion(one.material)
        except Refused as error:
            yield book.say("position", one.code, "material", f"{str(error).removesuffix('.')}.")
