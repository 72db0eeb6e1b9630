"""The topics of the Handbook: one table of what each takes and gives, for its page and for the API alike.

Quantities come as text with their unit and leave as numbers whose key names the unit.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, Literal

from shop.handbook.bolts import grades
from shop.handbook.materials import expansion, materials
from shop.handbook.packs import Washer
from shop.handbook.quantities import parse
from shop.handbook.stripping import tapped_materials
from shop.handbook.tightening import conditions
from shop.handbook.working import OutOfRange, Step
from shop.refusals import Refusal

Kind = Literal["length", "temperature", "number", "text", "choice", "lengths", "washers", "places"]
MOST_LINES = 60
NUMBER = re.compile(r"[+\-−]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
PRICE = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,6})?)(?: [A-Z]{3})?")


@dataclass(frozen=True, slots=True)
class Argument:
    """One thing that a topic takes. ``example`` is shown, and typed by the link to a worked example."""

    name: str
    label: str
    kind: Kind
    required: bool = True
    default: str = ""
    example: str = ""
    help: str = ""
    choices: Callable[[], Sequence[str]] | None = None
    check: Callable[[str], object] | None = None  # raises ValueError for a text that no table knows


@dataclass(frozen=True, slots=True)
class Answer:
    """A result: what the API replies, the same in rows for the page, the working and the cautions."""

    reply: dict[str, Any]
    rows: tuple[tuple[str, str], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]

    @property
    def warnings(self) -> list[str]:
        """The cautions as sentences, for the page."""
        return [one if one.endswith(".") else f"{one}." for one in self.cautions]

    def as_reply(self) -> dict[str, Any]:
        working = [one.as_dict() for one in self.working]
        return {**self.reply, "working": working, "cautions": list(self.cautions)}


@dataclass(frozen=True, slots=True)
class Topic:
    name: str
    title: str
    says: str
    arguments: tuple[Argument, ...]
    run: Callable[[Mapping[str, Any]], Answer] = field(repr=False)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(one.name for one in self.arguments)


def answer(topic: Topic, raw: Mapping[str, Any], decimal_mark: str = ".") -> Answer:
    """Read what was typed or sent, and work it out. Refusal names each field that is wrong."""
    values = read(topic, raw, decimal_mark)
    try:
        return topic.run(values)
    except OutOfRange as trouble:
        raise Refusal(**{blamed(topic, trouble.argument): _sentence(trouble)}) from None
    except ValueError as trouble:
        raise Refusal(_sentence(trouble)) from None


def blamed(topic: Topic, argument: str) -> str:
    """The field that a handbook function's argument came from; "" if it is none of them by itself."""
    stem = re.sub(r"_(mm|c|nm|n)$", "", argument)
    known = {"standard_uncertainty": "expanded_uncertainty"} | dict(
        zip(topic.names, topic.names, strict=True)
    )
    return known.get(argument) or known.get(stem, "")


def asked(name: str, function: Callable[..., Any], *arguments: Any, **more: Any) -> Any:
    """Call a handbook function whose refusal is about the field ``name``."""
    try:
        return function(*arguments, **more)
    except OutOfRange:
        raise
    except ValueError as trouble:
        raise Refusal(**{name: _sentence(trouble)}) from None


def _sentence(trouble: ValueError) -> str:
    text = str(trouble)
    return text if text.endswith((".", "?", '"')) else f"{text}."


def read(topic: Topic, raw: Mapping[str, Any], decimal_mark: str = ".") -> dict[str, Any]:
    """The topic's arguments as values: lengths mm, temperatures °C. All that is wrong is said at once."""
    values: dict[str, Any] = {}
    errors: dict[str, str] = {}
    for one in topic.arguments:
        typed = raw.get(one.name)
        if typed in (None, "", []):
            typed = one.default
        if typed in ("", []):
            values[one.name] = [] if one.kind in {"lengths", "washers"} else None
            if one.required:
                errors[one.name] = f"This is needed. Write it like {one.example}."
            continue
        try:
            values[one.name] = _value(one, typed, decimal_mark)
        except Refusal as trouble:
            errors[one.name] = trouble.message
        except ValueError as trouble:
            errors[one.name] = _sentence(trouble)
    if errors:
        raise Refusal(**errors)
    return values


def _value(one: Argument, typed: Any, mark: str) -> Any:
    if one.kind in {"length", "temperature"}:
        return _quantity(typed, one.kind, mark)
    if one.kind == "number":
        return _number(typed)
    if one.kind == "lengths":
        return [_line(n, _quantity, text, "length", mark) for n, text in enumerate(_lines(typed), 1)]
    if one.kind == "washers":
        return [_line(n, _washer, row, mark) for n, row in enumerate(_lines(typed), 1)]
    if one.kind == "places":
        return _places(typed)
    if not isinstance(typed, str) or len(typed) > 60:
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
        raise Refusal(f"Line {number}: {_sentence(trouble)}") from None


def _quantity(typed: Any, kind: str, mark: str) -> float:
    if not isinstance(typed, str):
        example = "28.54 mm" if kind == "length" else "21 °C"
        raise Refusal(f"Write it as text with its unit, such as {example}.")
    return parse(typed, kind, decimal_mark=mark).canonical


def _number(typed: Any) -> float:
    if isinstance(typed, str):
        if not NUMBER.fullmatch(typed.strip()):
            raise Refusal("Write a plain number, such as 0.75.")
        return float(typed.strip().replace("−", "-"))
    if isinstance(typed, bool) or not isinstance(typed, int | float) or not isfinite(typed):
        raise Refusal("Write a plain number, such as 0.75.")
    return float(typed)


def _lines(typed: Any) -> list[Any]:
    lines = typed.splitlines() if isinstance(typed, str) else list(typed)
    lines = [one for one in lines if not isinstance(one, str) or one.strip()]
    if len(lines) > MOST_LINES:
        raise Refusal(f"At most {MOST_LINES} lines.")
    return lines


def _washer(row: Any, mark: str) -> Washer:
    """A washer as the API sends it, or as a page has it: code; thickness; tolerance; count; price; place."""
    if isinstance(row, str):
        parts = [one.strip() for one in row.split(";")]
        if not 2 <= len(parts) <= 6:
            raise Refusal(
                "Write code; thickness; tolerance; count; price; place, such as TW-155; 1.55 mm; 0.01 mm; 2."
            )
        row = dict(zip(("code", "thickness", "tolerance", "count", "price", "place"), parts, strict=False))
    count = _number(row.get("count") or 1)
    if count != int(count) or not 1 <= count <= 99:
        raise Refusal("A count is a whole number, 1 to 99.")
    code = str(row.get("code", "")).strip()
    if not 1 <= len(code) <= 40:
        raise Refusal("Each washer needs a code.")
    return Washer(
        code,
        _quantity(row["thickness"], "length", mark),
        _quantity(row.get("tolerance") or "0 mm", "length", mark),
        int(count),
        _price(row.get("price")),
        row.get("place") or None,
    )


def _price(typed: Any) -> float:
    if typed in (None, ""):
        return 0.0
    found = PRICE.fullmatch(str(typed))
    if found is None:
        raise Refusal("Write a price such as 0.45 EUR.")
    return float(found.group(1))


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


def diameter(label: str = "Diameter", example: str = "25 mm") -> Argument:
    return Argument("diameter", label, "length", example=example, help="Number and unit: 25 mm, 1 1/8 in.")


def material(name: str, label: str, required: bool = False, example: str = "") -> Argument:
    return Argument(name, label, "text", required, example=example, choices=materials, check=expansion)


def tapped(name: str, label: str) -> Argument:
    return Argument(name, label, "choice", False, example="grey iron", choices=tapped_materials)


def condition(name: str, label: str) -> Argument:
    return Argument(name, label, "choice", False, example="oiled", choices=conditions)


def grade(name: str, label: str) -> Argument:
    words = "What is on the head. No mark: unmarked."
    return Argument(name, label, "text", example="SAE 5", help=words, choices=grades)
