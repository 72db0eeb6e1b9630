"""Every formula of the Handbook with its source, read from the functions themselves."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, is_dataclass, replace
from functools import cache
from typing import Any

import shop.handbook

_PARAMETER = re.compile(r":param (\w+):\s*(.*?)(?=\n\s*:param |\Z)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Formula:
    """One function: what it says, its equation in words, what it takes with units, and its source."""

    room: str
    name: str
    summary: str
    body: tuple[str, ...]
    takes: tuple[tuple[str, str], ...]
    source: str
    topics: tuple[tuple[str, str], ...] = ()  # name and title of each topic that uses it

    @property
    def key(self) -> str:
        return f"{self.room}-{self.name}".replace("_", "-").replace(".", "-")


@dataclass(frozen=True, slots=True)
class Room:
    """A module of the handbook with its formulas."""

    name: str
    says: str
    formulas: tuple[Formula, ...]


def functions() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Every public function of the handbook whose result carries its working, with the name of its room."""
    for info in pkgutil.walk_packages(shop.handbook.__path__, "shop.handbook."):
        module = importlib.import_module(info.name)
        for name, found in vars(module).items():
            if name.startswith("_") or not inspect.isfunction(found) or found.__module__ != info.name:
                continue
            result = inspect.get_annotations(found, eval_str=True).get("return")
            if is_dataclass(result) and "working" in getattr(result, "__slots__", ()):
                yield info.name.removeprefix("shop.handbook."), found


@cache
def rooms() -> tuple[Room, ...]:
    """The rooms of the handbook in the order of their names, each with its formulas."""
    from shop.topics.all import TOPICS

    found: dict[str, list[Formula]] = {}
    for room, function in functions():
        used = tuple((one.name, one.title) for one in TOPICS.values() if function in one.formulas)
        found.setdefault(room, []).append(replace(formula_of(room, function), topics=used))
    return tuple(
        Room(name, _first_line(importlib.import_module(f"shop.handbook.{name}")), tuple(formulas))
        for name, formulas in sorted(found.items())
    )


def formula_of(room: str, function: Callable[..., Any]) -> Formula:
    """Read one docstring: summary, paragraphs, ``:param name:`` lines, a paragraph after "Reference:"."""
    text = inspect.cleandoc(function.__doc__ or "").split("\n>>> ")[0]
    paragraphs = [one.strip() for one in text.split("\n\n") if one.strip()]
    takes: list[tuple[str, str]] = []
    body: list[str] = []
    source = ""
    for paragraph in paragraphs[1:]:
        if paragraph.startswith(":param"):
            takes += [(name, _plain(says)) for name, says in _PARAMETER.findall(paragraph)]
        elif "Reference:" in paragraph:
            before, _, source = paragraph.partition("Reference:")
            body += [_plain(before)] if before.strip() else []
        else:
            body.append(_plain(paragraph))
    return Formula(room, function.__name__, _plain(paragraphs[0]), tuple(body), tuple(takes), _plain(source))


def _plain(text: str) -> str:
    """One line, without the marks of a docstring."""
    text = re.sub(r":(?:func|class|mod):`([^`]*)`", lambda one: one.group(1).rsplit(".", 1)[-1], text)
    return " ".join(text.replace("``", "").split())


def _first_line(module: Any) -> str:
    return _plain((module.__doc__ or "").strip().split("\n\n")[0])
