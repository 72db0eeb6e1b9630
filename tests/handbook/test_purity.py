"""The handbook is plain Python: no Django, no Celery, nothing heavy before use; its words match its code."""

import ast
import dataclasses
import doctest
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import shop.handbook

ROOM = Path(shop.handbook.__file__).parent
ROOT = ROOM.parents[1]
FOREIGN = {"django", "celery", "ninja", "redis", "inventory", "inspections", "estimates"}
HEAVY = {"pint", "scipy", "numpy"}
NAMES = sorted(info.name for info in pkgutil.walk_packages([str(ROOM)], "shop.handbook."))
# These return what a page prints or looks up, not a result with a working.
PLAIN = {
    *("convert", "units", "canonical_unit", "show_length", "both", "materials", "rows", "band", "within"),
    *("involute", "inverse_involute", "forms", "makes", "parts"),
    *("quantile", "pinball", "shown_p"),
}
DOCUMENTED = {
    f"shop.handbook.{name}"
    for name in (
        "quantities",
        "fits",
        "materials",
        "uncertainty",
        "conformity",
        "deciding",
        "drills",
        "snaprings",
        "inchfits",
        "form",
        "flatness",
        "rollers",
        "involute",
        "gears",
        "trains",
        "gearchecks",
        "bending",
        "elastic",
        "pressing",
        "shrinking",
        "bearings",
        "survival",
        "gaugestudy",
        "stockcontrol",
        "ordering",
        "resampling",
        "scoring",
        "queueing",
        "tables.reading",
    )
}


def _functions(module: ModuleType) -> Iterator[tuple[str, Callable[..., Any]]]:
    for name, found in vars(module).items():
        if inspect.isfunction(found) and found.__module__ == module.__name__ and not name.startswith("_"):
            yield name, found


def test_rooms_are_found() -> None:
    assert set(NAMES) >= DOCUMENTED | {"shop.handbook.working"}


def test_importing_everything_loads_neither_django_nor_anything_heavy() -> None:
    program = (
        "import importlib, sys\n"
        "for name in sys.argv[1].split(','): importlib.import_module(name)\n"
        "print(','.join(sorted({name.partition('.')[0] for name in sys.modules})))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, ",".join(NAMES)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    loaded = set(done.stdout.strip().split(","))
    assert "shop" in loaded
    assert not loaded & (FOREIGN | HEAVY)


@pytest.mark.parametrize("path", sorted(ROOM.rglob("*.py")), ids=lambda path: path.name)
def test_no_import_reaches_out_of_the_room(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            modules = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            modules = [node.module or ""]
        else:
            continue
        for module in modules:
            assert module.partition(".")[0] not in FOREIGN, f"{path.name} imports {module}"
            assert not module.startswith("shop.") or module.startswith("shop.handbook"), (
                f"{path.name} imports {module}"
            )
            assert module.partition(".")[0] != "pint" or path.name == "quantities.py", (
                f"{path.name} imports pint"
            )


@pytest.mark.parametrize("name", NAMES)
def test_examples_in_docstrings(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0
    if name in DOCUMENTED - {"shop.handbook.tables.reading"}:
        assert result.attempted > 0


@pytest.mark.parametrize("name", NAMES)
def test_documented_parameters_are_those_of_the_signature(name: str) -> None:
    for function_name, function in _functions(importlib.import_module(name)):
        documented = re.findall(r":param (\w+):", function.__doc__ or "")
        signature = list(inspect.signature(function).parameters)
        if name in DOCUMENTED or documented:
            assert documented == signature, f"{name}.{function_name}"


@pytest.mark.parametrize("name", sorted(DOCUMENTED))
def test_results_are_frozen_and_end_with_working_and_cautions(name: str) -> None:
    module = importlib.import_module(name)
    for function_name, function in _functions(module):
        if function_name in PLAIN:
            continue
        result = inspect.get_annotations(function, eval_str=True)["return"]
        assert dataclasses.is_dataclass(result), function_name
        assert vars(result)["__dataclass_params__"].frozen, function_name
        assert "__slots__" in vars(result), function_name
        assert [field.name for field in dataclasses.fields(result)][-2:] == ["working", "cautions"], (
            function_name
        )
