"""What a topic of the Handbook takes and gives: one table serves its page and the API alike.

Quantities come as text with their unit and leave as numbers whose key names the unit.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from shop.handbook.working import Danger, OutOfRange, Step
from shop.refusals import Refusal

MOST_LINES = 60
LEAST = re.compile(r"\b1e-0[6-9] to ")
POWER = re.compile(r"[0-9]+(?:\.[0-9]+)?e[+-][0-9]+")


@dataclass(frozen=True, slots=True)
class Argument:
    """One thing that a topic takes. ``example`` is shown, and typed by the link to a worked example.

    ``kind``: a kind of quantity (length, force, …), ``number``, ``money``, ``flag``, ``text``, ``choice``,
    ``places``, or ``rows``, whose ``columns`` are the keys of an object in the API and stand between
    semicolons on a page. ``many`` takes a list: one a line on a page. ``bare`` is the unit that a plain
    number has, if it may be one.
    """

    name: str
    label: str
    kind: str
    required: bool = True
    default: str = ""
    example: str = ""
    help: str = ""
    choices: Callable[[], Sequence[str]] | None = None
    check: Callable[[str], object] | None = None  # raises ValueError for a text that no table knows
    many: bool = False
    columns: tuple[Argument, ...] = ()
    most: int = MOST_LINES
    bare: str = ""

    @property
    def lines(self) -> bool:
        """Is it written in several lines?"""
        return self.many or self.kind == "rows"

    @property
    def such_as(self) -> str:
        """The first line of the example."""
        return self.example.partition("\n")[0]


@dataclass(frozen=True, slots=True)
class Ledger:
    """A table that belongs to an answer, as text."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """A result: what the API replies, the same in rows for the page, the working and the cautions.

    ``drawing`` is SVG that the program made itself, with everything typed escaped.
    """

    reply: dict[str, Any]
    rows: tuple[tuple[str, str], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]
    drawing: str = ""  # marked safe by the module that drew it
    ledger: Ledger | None = None

    def inch_first(self) -> Answer:
        """The same for somebody who typed inches: the inch system in front."""
        from shop.topics.shown import inch_first

        rows = tuple((label, inch_first(text)) for label, text in self.rows)
        ledger = self.ledger
        if ledger is not None:
            cells = tuple(tuple(inch_first(one) for one in row) for row in ledger.rows)
            ledger = replace(ledger, rows=cells)
        return replace(self, rows=rows, ledger=ledger)

    @property
    def dangers(self) -> list[str]:
        """What can hurt somebody, as sentences for the page."""
        return [_ended(one) for one in self.cautions if isinstance(one, Danger)]

    @property
    def notes(self) -> list[str]:
        """Every other caution, as sentences for the page."""
        return [_ended(one) for one in self.cautions if not isinstance(one, Danger)]

    def as_reply(self) -> dict[str, Any]:
        working = [one.as_dict() for one in self.working]
        return {**self.reply, "working": working, "cautions": list(self.cautions)}


def _ended(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


@dataclass(frozen=True, slots=True)
class Topic:
    """``formulas`` are the handbook functions that it uses, for the page that lists every formula.

    ``aliases``: the field that an argument of theirs came from, where the names differ.
    """

    name: str
    title: str
    says: str
    arguments: tuple[Argument, ...]
    run: Callable[[Mapping[str, Any]], Answer] = field(repr=False)
    formulas: tuple[Callable[..., Any], ...] = ()
    aliases: Mapping[str, str] = field(default_factory=dict)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(one.name for one in self.arguments)

    @property
    def example(self) -> dict[str, str]:
        """The inputs of the worked example, as typed on the page with a point as decimal mark."""
        return {one.name: one.example for one in self.arguments if one.example}


def answer(topic: Topic, raw: Mapping[str, Any], decimal_mark: str = ".") -> Answer:
    """Read what was typed or sent, and work it out. Refusal names each field that is wrong."""
    from shop.topics.reading import read

    values = read(topic.arguments, raw, decimal_mark)
    try:
        return topic.run(values)
    except OutOfRange as trouble:
        name = blamed(topic, trouble.argument)
        raise Refusal(**{name: outside(trouble, name)}) from None
    except ValueError as trouble:
        raise Refusal(sentence(trouble)) from None


def blamed(topic: Topic, argument: str) -> str:
    """The field that a handbook function's argument came from; "" if it is none of them by itself."""
    first = argument.partition(" ")[0]
    for name in (argument, _stem(argument), f"{first} of", first):  # "thickness of A" came from a row
        found = topic.aliases.get(name, name)
        if found in topic.names:
            return found
    return ""


def _stem(argument: str) -> str:
    return re.sub(r"_(mm|um|c|nm|n|mpa|rpm|deg|days)$", "", argument)


def outside(trouble: OutOfRange, name: str = "") -> str:
    """What is allowed and what it is, for the field ``name``; another argument is named as well."""
    value = trouble.value
    shown = f"{value:.12g}" if isinstance(value, float) else str(value)
    stem = _stem(trouble.argument)
    if name.startswith(stem):
        return _written_out(f"Allowed: {trouble.allowed}. This is {shown}.")
    about = stem.replace("_", " ").capitalize()
    return _written_out(f"{about} is {shown}; allowed: {trouble.allowed}.")


def _written_out(text: str) -> str:
    """Numbers without powers, and with the typographic minus; the least that is not 0 is "above 0"."""
    text = LEAST.sub("above 0, to ", text)
    return POWER.sub(lambda found: f"{Decimal(found[0]):f}", text).replace(" -", " −")


def asked(name: str, function: Callable[..., Any], *arguments: Any, **more: Any) -> Any:
    """Call a handbook function whose refusal is about the field ``name``."""
    try:
        return function(*arguments, **more)
    except OutOfRange:
        raise
    except ValueError as trouble:
        raise Refusal(**{name: sentence(trouble)}) from None


def sentence(trouble: ValueError, name: str = "") -> str:
    """The message of a refusal as a sentence, to stand beside the field ``name``."""
    if isinstance(trouble, OutOfRange):
        return outside(trouble, name or _stem(trouble.argument))
    text = str(trouble)
    return text if text.endswith((".", "?", '"')) else f"{text}."
