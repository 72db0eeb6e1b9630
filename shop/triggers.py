"""Append-only tables: the database itself refuses to change or remove their rows."""

from typing import Any

from django.apps import apps as installed
from django.db import connections

TRUNCATE_FREE = "test flushes truncate, which row triggers do not see"


def append_only_tables() -> list[str]:
    """Tables of the models that say ``append_only = True``, in a settled order."""
    return sorted(
        model._meta.db_table for model in installed.get_models() if getattr(model, "append_only", False)
    )


def _sqlite(table: str) -> list[str]:
    return [
        f'CREATE TRIGGER IF NOT EXISTS "{table}_no_{verb}" BEFORE {verb.upper()} ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        for verb in ("update", "delete")
    ]


def _postgresql(table: str) -> list[str]:
    return [
        "CREATE OR REPLACE FUNCTION layshaft_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME "
        "USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f'CREATE OR REPLACE TRIGGER "{table}_append_only" BEFORE UPDATE OR DELETE ON "{table}" '
        "FOR EACH ROW EXECUTE FUNCTION layshaft_append_only()",
    ]


def make_triggers(using: str = "default", **_: Any) -> None:
    """Make the triggers that are missing; called after every migration of every app."""
    connection = connections[using]
    make = _sqlite if connection.vendor == "sqlite" else _postgresql
    with connection.cursor() as cursor:
        present = set(connection.introspection.table_names(cursor))
        for table in append_only_tables():
            if table in present:
                for statement in make(table):
                    cursor.execute(statement)


def drop_triggers(using: str = "default") -> None:
    """Take them away: for a migration that must mend rows, and for tests that empty SQLite tables."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for table in append_only_tables():
            if connection.vendor == "sqlite":
                cursor.execute(f'DROP TRIGGER IF EXISTS "{table}_no_update"')
                cursor.execute(f'DROP TRIGGER IF EXISTS "{table}_no_delete"')
            else:
                cursor.execute(f'DROP TRIGGER IF EXISTS "{table}_append_only" ON "{table}"')
