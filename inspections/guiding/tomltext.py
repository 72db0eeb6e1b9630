"""A guide's document written as TOML. Pure.

Every entry gets a ``[[table]]`` header of its own, as the checker's line numbers need it; keys stand in one
order whatever order the database kept them in.
"""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from inspections.guiding.shape import HEAD, TABLES

# keys that are read first; the others follow in the order in which the shape of a guide names them
FIRST = ("code", "number", "position", "check", "kind", "name", "title", "text", "size", "feature")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}


def toml_of(document: Mapping[str, Any]) -> str:
    """The whole document: the head, the tables in the order of the shape, then the drawing and the rest."""
    blocks = []
    if "guide" in document:
        blocks.append(_block("[guide]", document["guide"], HEAD[0]))
    for table in (*TABLES, *(one for one in document if one not in TABLES and one != "guide")):
        value = document.get(table)
        if isinstance(value, Mapping):
            blocks.extend(_nested(table, value))
        elif isinstance(value, list):
            blocks.extend(_block(f"[[{_key(table)}]]", row, TABLES.get(table, ({}, ""))[0]) for row in value)
    return "\n".join(blocks)


def toml_of_entry(row: Mapping[str, Any], table: str = "") -> str:
    """One entry's keys, each on its line, without a header."""
    known = HEAD[0] if table == "guide" else TABLES.get(table, ({}, ""))[0]
    return "".join(f"{_key(key)} = {_value(row[key])}\n" for key in _ordered(row, known))


def toml_of_table(name: str, table: Mapping[str, Any]) -> str:
    """One table that is no list of entries, such as the drawing, with lists of tables under it."""
    return "\n".join(_nested(name, table))


def _block(header: str, row: Mapping[str, Any], known: Iterable[str]) -> str:
    return f"{header}\n" + "".join(f"{_key(key)} = {_value(row[key])}\n" for key in _ordered(row, known))


def _nested(name: str, table: Mapping[str, Any]) -> list[str]:
    """A table with its lists of tables as blocks of their own."""
    inner = {key: value for key, value in table.items() if _is_tables(value)}
    blocks = [_block(f"[{_key(name)}]", {key: table[key] for key in table if key not in inner}, ())]
    for key in sorted(inner):
        header = f"[[{_key(name)}.{_key(key)}]]"
        blocks.extend(_block(header, row, ("position", "kind")) for row in inner[key])
    return blocks


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)


def _ordered(row: Mapping[str, Any], known: Iterable[str]) -> list[str]:
    order = {key: place for place, key in enumerate(dict.fromkeys((*FIRST, *known)))}
    return sorted(row, key=lambda key: (order.get(key, len(order)), key))


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _text(key)


def _text(text: str) -> str:
    escaped = (
        _ESCAPES.get(one) or (f"\\u{ord(one):04x}" if ord(one) < 0x20 or ord(one) == 0x7F else one)
        for one in text
    )
    return f'"{"".join(escaped)}"'


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list | tuple):
        return _list(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {_value(value[key])}" for key in _ordered(value, ()))
        return f"{{ {inner} }}" if inner else "{}"
    raise TypeError(f"{type(value).__name__} has no place in a guide")


def _list(value: Iterable[Any]) -> str:
    """On one line if it is short; else an element a line, which TOML allows in a list alone."""
    elements = [_value(one) for one in value]
    line = f"[{', '.join(elements)}]"
    if len(line) <= 100 or len(elements) < 2:
        return line
    return "[\n" + "".join(f"  {one},\n" for one in elements) + "]"
