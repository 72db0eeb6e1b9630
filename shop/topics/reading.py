"""From what was typed on a page or sent to the API to the values that a topic works with."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from shop.handbook.kinds import KINDS
from shop.handbook.quantities import parse
from shop.refusals import Refusal
from shop.topics.sums import read_sum
from shop.topics.table import Argument, Topic, sentence

NUMBER = re.compile(r"[+\-−]?([0-9]{1,9})(?:([.,])([0-9]{1,9}))?")
DECIMAL = re.compile(r"(?<=[0-9])\.(?=[0-9])")
FLAGS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
LONGEST = 60
MOST = 1e18  # a number beyond is a slip; so is one that is none, or an integer too long for a float


def read(arguments: Sequence[Argument], raw: Mapping[str, Any], decimal_mark: str = ".") -> dict[str, Any]:
    """The arguments as values, in canonical units. All that is wrong is said at once.

    An optional one that is left out is None, or an empty list where it takes several.
    """
    values: dict[str, Any] = {}
    errors: dict[str, str] = {}
    for one in arguments:
        typed = raw.get(one.name)
        if typed in (None, "", []):
            typed = one.default
        if typed in ("", []):
            values[one.name] = [] if one.lines else None
            if one.required:
                errors[one.name] = f"This is needed. Write it like {one.such_as}."
            continue
        try:
            values[one.name] = _value(one, typed, decimal_mark)
        except Refusal as trouble:
            errors[one.name] = trouble.message
        except ValueError as trouble:
            errors[one.name] = sentence(trouble)
    if errors:
        raise Refusal(**errors)
    return values


def in_marks_of(text: str, mark: str) -> str:
    """An example or a hint as a person with this decimal mark writes it."""
    return text if mark == "." else DECIMAL.sub(mark, text)


def example_of(one: Argument, mark: str) -> str:
    """The worked example of an argument by a person's decimal mark; a name or a designation has none."""
    return one.example if one.kind in {"text", "choice"} else in_marks_of(one.example, mark)


def example_inputs(topic: Topic, mark: str) -> dict[str, str]:
    """The inputs of the worked example as a person with this decimal mark types them."""
    return {one.name: example_of(one, mark) for one in topic.arguments if one.example}


def _value(one: Argument, typed: Any, mark: str) -> Any:
    if one.kind == "rows":
        return [_line(n, _row, one, row, mark) for n, row in enumerate(_lines(one, typed), 1)]
    if one.many:
        return [_line(n, _single, one, item, mark) for n, item in enumerate(_lines(one, typed), 1)]
    return _single(one, typed, mark)


def _single(one: Argument, typed: Any, mark: str) -> Any:
    if one.kind in KINDS:
        return _quantity(one, typed, mark)
    if one.kind == "number":
        return _number(typed, mark)
    if one.kind == "money":
        return read_sum(typed, mark)
    if one.kind == "flag":
        return _flag(typed)
    if one.kind == "places":
        return _places(typed)
    if not isinstance(typed, str) or len(typed) > LONGEST:
        raise Refusal("Write a short text.")
    text = typed.strip()
    if one.choices is not None and one.kind == "choice" and text not in one.choices():
        raise Refusal(f"Choose one of: {', '.join(one.choices())}.")
    if one.check is not None:
        one.check(text)
    return text


def _line(number: int, reader: Callable[..., Any], *arguments: Any) -> Any:
    try:
        return reader(*arguments)
    except Refusal as trouble:
        raise Refusal(f"Line {number}: {trouble.message}") from None
    except ValueError as trouble:
        raise Refusal(f"Line {number}: {sentence(trouble)}") from None


def _lines(one: Argument, typed: Any) -> list[Any]:
    """The lines of a page or the items of a list. A page may also part plain items by semicolons."""
    if isinstance(typed, str):
        lines: list[Any] = typed.splitlines() if one.kind == "rows" else re.split(r"[\n;]", typed)
        lines = [row.strip() for row in lines if row.strip()]
    elif isinstance(typed, list):
        lines = typed
    else:
        raise Refusal("Write a list.")
    if len(lines) > one.most:
        raise Refusal(f"At most {one.most} lines.")
    return lines


def _row(one: Argument, row: Any, mark: str) -> dict[str, Any]:
    """One object of the API, or one line of a page with the columns between semicolons."""
    if isinstance(row, str):
        parts = [part.strip() for part in row.split(";")]
        least = sum(column.required for column in one.columns)
        if not least <= len(parts) <= len(one.columns):
            raise Refusal(f"Write {'; '.join(column.label.lower() for column in one.columns)}.")
        names = (column.name for column in one.columns)
        row = dict(zip(names, parts, strict=False))
    if not isinstance(row, Mapping):
        raise Refusal("Write an object with named values.")
    try:
        return read(one.columns, row, mark)
    except Refusal as trouble:
        name, message = next(iter(trouble.errors.items()))
        label = next((column.label.lower() for column in one.columns if column.name == name), "")
        raise Refusal(f"{label}: {message}" if label else message) from None


def _quantity(one: Argument, typed: Any, mark: str) -> float:
    if one.bare and not isinstance(typed, str):
        typed = f"{_number(typed):.9f}".rstrip("0").rstrip(".")
        mark = "."
    if not isinstance(typed, str):
        example = one.example or KINDS[one.kind].example
        raise Refusal(f"Write it as text with its unit, such as {example}.")
    return parse(typed, one.kind, one.bare or None, decimal_mark=mark).canonical


def _number(typed: Any, mark: str = ".") -> float:
    if isinstance(typed, str):
        found = NUMBER.fullmatch(typed.strip())
        if found is None or (found[2] == "," and mark != ","):
            raise Refusal("Write a plain number, such as 0.75.")
        if found[2] == "." and mark == "," and len(found[3]) == 3 and found[1] != "0":
            whole, places = found[1], found[3]
            raise Refusal(
                f'"{whole}.{places}" could be two numbers. Write {whole},{places} or {whole}{places}.'
            )
        return float(typed.strip().replace("−", "-").replace(",", "."))
    if isinstance(typed, bool) or not isinstance(typed, int | float) or not abs(typed) <= MOST:
        raise Refusal("Write a plain number, such as 0.75.")
    return float(typed)


def _flag(typed: Any) -> bool:
    if isinstance(typed, bool):
        return typed
    found = FLAGS.get(str(typed).strip().lower())
    if found is None:
        raise Refusal("Write yes or no.")
    return found


def _places(typed: Any) -> int | list[str]:
    if isinstance(typed, str) and not typed.strip().isdigit():
        typed = [one.strip() for one in typed.split(",") if one.strip()]
    if isinstance(typed, list):
        names = [str(one) for one in typed]
        if not 1 <= len(names) <= 6 or len({*names}) != len(names):
            raise Refusal("Name each place once, at most six.")
        return names
    count = _number(typed)
    if count != int(count) or not 1 <= count <= 6:
        raise Refusal("Write how many washers are fitted, 1 to 6, or name the places.")
    return int(count)
