"""Arguments that several topics share."""

from __future__ import annotations

from typing import Any

from shop.handbook.bolts import grades
from shop.handbook.materials import expansion, materials
from shop.handbook.stripping import tapped_materials
from shop.handbook.tightening import conditions
from shop.topics.table import Argument


def diameter(label: str = "Diameter", example: str = "25 mm") -> Argument:
    return Argument("diameter", label, "length", example=example, help="Number and unit: 25 mm, 1 1/8 in.")


def length(name: str, label: str, example: str, required: bool = True, **more: Any) -> Argument:
    return Argument(name, label, "length", required, example=example, **more)


def material(name: str, label: str, required: bool = False, example: str = "") -> Argument:
    return Argument(name, label, "text", required, example=example, choices=materials, check=expansion)


def tapped(name: str, label: str) -> Argument:
    return Argument(name, label, "choice", False, example="grey iron", choices=tapped_materials)


def condition(name: str, label: str) -> Argument:
    return Argument(name, label, "choice", False, example="oiled", choices=conditions)


def grade(name: str, label: str) -> Argument:
    words = "What is on the head. No mark: unmarked."
    return Argument(name, label, "text", example="SAE 5", help=words, choices=grades)
