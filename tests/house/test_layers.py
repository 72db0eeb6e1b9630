"""The import direction, and that lower apps name upper ones by strings only."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ORDER = ("shop", "inventory", "inspections", "estimates")  # each may import from itself and from its left


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (one.name.split(".")[0] for one in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module.split(".")[0]


@pytest.mark.parametrize("app", ORDER)
def test_imports_point_one_way(app: str) -> None:
    upper = set(ORDER[ORDER.index(app) + 1 :])
    files = list((ROOT / app).rglob("*.py"))
    assert len(files) > 3
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files
        for name in imports(path)
        if name in upper or name == "tests"
    ]
    assert wrong == []


@pytest.mark.django_db
def test_foreign_keys_point_one_way() -> None:
    from django.apps import apps

    wrong = []
    for app in ORDER:
        upper = set(ORDER[ORDER.index(app) + 1 :])
        for model in apps.get_app_config(app).get_models():
            for field in model._meta.get_fields():
                target = field.related_model if field.many_to_one or field.one_to_one else None
                if (
                    target is not None
                    and not field.auto_created
                    and not isinstance(target, str)
                    and target._meta.app_label in upper
                ):
                    wrong.append(f"{model.__name__}.{field.name}")
    assert wrong == []
