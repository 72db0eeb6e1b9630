"""A guide that is being written, as a document: read from a file, its entries changed one by one. Pure."""

import tomllib
from collections.abc import Iterator, Mapping
from copy import deepcopy
from math import isfinite
from typing import Any

from inspections.checking import MOST_CHARACTERS
from inspections.guiding.shape import HEAD, TABLES, Lines, Problem, faults, shape_problems
from inspections.guiding.tomltext import toml_of

HEAD_TABLE = "guide"
DRAWING = "drawing"
PLAIN = (HEAD_TABLE, DRAWING)  # tables that are one entry


class Unfit(ValueError):
    """The text cannot become a draft; ``problems`` names each line."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("; ".join(one.message for one in problems[:5]))


def read_upload(text: str) -> dict[str, Any]:
    """The document of a TOML file, if each of its entries can be edited; what it says may still be wrong.
    Raises :class:`Unfit`."""
    if len(text) > MOST_CHARACTERS:
        raise Unfit([Problem("refused", 0, HEAD_TABLE, "The file is longer than 2 million characters.")])
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Unfit([Problem("refused", 0, "document", f"This is not TOML: {error}.")]) from None
    problems = [*shape_problems(document, Lines(text))]
    if not problems:
        problems = [*_twice(document)]
    if not problems:
        problems = [Problem("refused", 0, "document", words) for words in unfit_values(document)]
    if problems:
        raise Unfit(problems)
    return document


def _twice(document: Mapping[str, Any]) -> Iterator[Problem]:
    for table in TABLES:
        codes = [row["code"] for row in document.get(table, ())]
        for code in sorted({code for code in codes if codes.count(code) > 1}):
            yield Problem("refused", 0, f"{table} {code}.code", f"{table} {code} stands twice.")


def unfit_values(value: Any, where: str = "document") -> Iterator[str]:
    """Values that the database cannot hold as they are: dates, numbers without end, a null character."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from unfit_values(key, where)
            yield from unfit_values(inner, f"{where}.{key}")
    elif isinstance(value, list):
        for inner in value:
            yield from unfit_values(inner, where)
    elif isinstance(value, str):
        if "\x00" in value:
            yield f"{where}: a null character has no place in a guide."
    elif isinstance(value, float):
        if not isfinite(value):
            yield f"{where}: {value} is no number to measure against."
    elif not isinstance(value, int):
        yield f"{where}: write {value} in quotes."


def rows_of(document: Mapping[str, Any], table: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = document.get(table, [])
    return rows


def entry_of(document: Mapping[str, Any], table: str, code: str = "") -> dict[str, Any] | None:
    """The entry of that code, or the one table (head, drawing) by its name."""
    if table in PLAIN:
        found: dict[str, Any] = document.get(table, {})
        return found
    return next((row for row in rows_of(document, table) if row.get("code") == code), None)


def with_entry(document: Mapping[str, Any], table: str, row: Mapping[str, Any]) -> dict[str, Any]:
    """The document with this entry in the place of the one of its code, or at the table's end."""
    changed = deepcopy(dict(document))
    if table in PLAIN:
        changed[table] = dict(row)
        return changed
    rows = changed.setdefault(table, [])
    place = next((n for n, one in enumerate(rows) if one.get("code") == row["code"]), None)
    if place is None:
        rows.append(dict(row))
    else:
        rows[place] = dict(row)
    return changed


def without_entry(document: Mapping[str, Any], table: str, code: str) -> dict[str, Any]:
    """The document without the entry of that code."""
    changed = deepcopy(dict(document))
    changed[table] = [row for row in rows_of(changed, table) if row.get("code") != code]
    if not changed[table]:
        del changed[table]
    return changed


def named_by(document: Mapping[str, Any], table: str, code: str) -> list[str]:
    """Other entries that name this one, such as "check BORE": they have to be changed before it goes."""
    found = []
    for other in TABLES:
        for row in rows_of(document, other):
            if (other, row.get("code")) != (table, code) and _names(row, table, code):
                found.append(f"{other} {row.get('code')}")
    return found


# what a key that holds codes points to
POINTS_TO: Mapping[str, str] = {
    "variants": "variant",
    "position": "position",
    "positions": "position",
    "of": "position",
    "washers": "position",
    "feature": "feature",
    "check": "check",
    "restores": "check",
    "explained_by": "check",
    "float_check": "check",
    "fit_check": "check",
    "remedies": "remedy",
    "rules_out": "remedy",
    "after": "step",
}


def _names(value: Any, table: str, code: str, key: str = "") -> bool:
    if isinstance(value, Mapping):
        return any(_names(inner, table, code, name) for name, inner in value.items())
    if isinstance(value, list):
        return any(_names(inner, table, code, key) for inner in value)
    return value == code and POINTS_TO.get(key) == table


def keys_of(table: str) -> tuple[str, ...]:
    """The keys that an entry of the table may have; any at all in the drawing."""
    return tuple(HEAD[0]) if table == HEAD_TABLE else tuple(TABLES[table][0]) if table in TABLES else ()


def entry_faults(table: str, row: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What is wrong with an entry by itself, as (key, words)."""
    found = [(key, words) for key, words in faults(row, *(HEAD if table == HEAD_TABLE else TABLES[table]))]
    return found + [("", words) for words in unfit_values(row, table)]


def parse_keys(text: str) -> dict[str, Any]:
    """Keys of one entry as typed in TOML. ValueError says what is not TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"This is not TOML: {error}.") from None


def text_of(document: Mapping[str, Any]) -> str:
    """The draft as the TOML text that is checked, shown and published."""
    return toml_of(document)
