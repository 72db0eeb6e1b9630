"""What changed from one revision of a guide to another, in words. Pure: documents in, lines out.

Entries are compared key by key as the documents hold them, so that a new kind of key needs nothing here.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from inspections.guiding.shape import TABLES

# table -> what one entry of it is called, and several
NOUNS: Mapping[str, tuple[str, str]] = {
    "variant": ("variant", "variants"),
    "position": ("position", "positions"),
    "bond": ("bond", "bonds"),
    "feature": ("feature", "features"),
    "check": ("check", "checks"),
    "defect": ("defect", "defects"),
    "remedy": ("remedy", "remedies"),
    "complaint": ("complaint", "complaints"),
    "step": ("build step", "build steps"),
}
_KEYS = {
    "new": "new size, mm",
    "wear": "wear limit, mm",
    "form": "allowed out-of-round, mm",
    "min": "least, mm",
    "max": "most, mm",
    "fit": "fit of new parts, mm",
    "gauge_um": "gauge within, µm",
    "to": "leaves, mm",
    "how": "how it is done",
    "consumables_minor": "consumables, minor units",
    "outside_minor": "outside work, minor units",
    "penalty_minor": "cost of parting, minor units",
    "fails": "chance of failing",
    "us_name": "American name",
}
Kind = Literal["added", "removed", "changed"]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing said otherwise than before; empty where nothing stood or stands."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Difference:
    """What became of one entry of a table; ``code`` is empty for the head, the drawing and an order."""

    kind: Kind
    table: str
    code: str
    name: str
    changes: tuple[Change, ...] = ()

    @property
    def words(self) -> str:
        noun = NOUNS.get(self.table, (self.table, ""))[0]
        return f"{noun.capitalize()} {self.code}".strip()


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Difference]:
    """Every entry that was added, removed or changed; the head first, then table by table."""
    found = [*_plain("guide", before, after)]
    for table in TABLES:
        found += _of_table(table, _entries(before, table), _entries(after, table))
    return [*found, *_plain("drawing", before, after)]


def changes_of(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Change, ...]:
    """What one entry says otherwise than another of the same code."""
    old, new = told(before), told(after)
    return tuple(
        Change(what, old.get(what, ""), new.get(what, ""))
        for what in dict.fromkeys((*old, *new))
        if old.get(what) != new.get(what)
    )


def told(row: Mapping[str, Any]) -> dict[str, str]:
    """An entry as words: what each key is called, and what it says."""
    return dict(_told(row))


def _told(row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    inches = row.get("unit") == "in"
    for what, says in _told_keys(row):
        yield (what.replace(", mm", ", in") if inches else what), says


def _told_keys(row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key, value in row.items():
        if isinstance(value, Mapping):
            yield from ((f"{word(key)} {_named(inner)}", say(value[inner])) for inner in value)
        elif isinstance(value, Sequence) and value and all(isinstance(one, Mapping) for one in value):
            yield from _told_rows(word(key), value)
        else:
            yield word(key), say(value)


def _named(code: str) -> str:
    return "of all" if code == "*" else code


def _told_rows(noun: str, rows: Sequence[Mapping[str, Any]]) -> Iterator[tuple[str, str]]:
    """Rows inside an entry, each by its size or its feature; a limit without a size is the standard one."""
    seen: Counter[str] = Counter()
    for row in rows:
        by = "feature" if "feature" in row else "size"
        name = str(row.get(by, "standard"))
        seen[name] += 1
        mark = f" ({seen[name]})" if seen[name] > 1 else ""
        for key, value in row.items():
            if key != by:
                yield f"{noun} {name}{mark}, {word(key)}", say(value)


def word(key: str) -> str:
    return _KEYS.get(key, key.replace("_", " "))


def say(value: Any) -> str:
    """A value as a person reads it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return number(value)
    if isinstance(value, Mapping):
        return "; ".join(f"{word(key)} {say(inner)}" for key, inner in value.items())
    if isinstance(value, list | tuple):
        if len(value) == 2 and all(_is_number(one) for one in value):
            return f"{number(value[0])} to {number(value[1])}"
        said = [say(one) for one in value]
        if any(" " in one for one in said):  # sentences
            return "; ".join(one.removesuffix(".") for one in said)
        return ", ".join(said)
    return str(value)


def number(value: float) -> str:
    """With every digit that it has, without a point that says nothing; a true minus."""
    text = repr(value).removesuffix(".0")
    return f"−{text[1:]}" if text.startswith("-") else text


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _entries(document: Mapping[str, Any], table: str) -> dict[str, Mapping[str, Any]]:
    return {row["code"]: row for row in document.get(table, ())}


def _name(row: Mapping[str, Any]) -> str:
    return str(row.get("name") or row.get("title") or "")


def _of_table(
    table: str, before: Mapping[str, Mapping[str, Any]], after: Mapping[str, Mapping[str, Any]]
) -> Iterator[Difference]:
    for code, row in after.items():
        if code not in before:
            yield Difference("added", table, code, _name(row))
        elif changes := changes_of(before[code], row):
            yield Difference("changed", table, code, _name(row), changes)
    yield from (
        Difference("removed", table, code, _name(row)) for code, row in before.items() if code not in after
    )
    order = [code for code in before if code in after]
    if order != [code for code in after if code in before]:
        change = Change("order", ", ".join(order), ", ".join(code for code in after if code in before))
        yield Difference("changed", table, "", f"order of the {NOUNS[table][1]}", (change,))


def _plain(table: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Difference]:
    old, new = before.get(table, {}), after.get(table, {})
    name = "head of the guide" if table == "guide" else "unit drawing"
    if table == "drawing":
        if old != new:
            change = Change("shapes", _counted(old), _counted(new))
            yield Difference("changed", table, "", name, (change,))
    elif changes := changes_of(old, new):
        yield Difference("changed", table, "", name, changes)


def _counted(drawing: Mapping[str, Any]) -> str:
    rows = sum(len(value) for value in drawing.values() if isinstance(value, list))
    return f"{rows} lines in all" if drawing else "none"
