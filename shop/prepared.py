"""Statements of the busiest calls: Django writes their SQL once, and it is sent again with other values.

Building a queryset costs several times what the database takes to answer it. Only for what is asked at every
single reading; everything else is a plain queryset.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, TypeVar
from uuid import UUID

from django.db import connection
from django.db.models import AutoField, Model, QuerySet

M = TypeVar("M", bound=Model)
MOST_KEPT = 40
MOST_VALUES = 900  # in one INSERT: SQLite takes 999 at the least


class _Made(NamedTuple):
    sql: str
    params: tuple[Any, ...]
    places: dict[int, tuple[int, int | None]]  # place in ``params`` -> which argument, which of a list
    converters: list[tuple[int, Sequence[Any], Any]]


class Prepared:
    """``make`` builds a ``values_list`` from its arguments: whole numbers, texts, ids or tuples of them.

    An argument is compared with a column as it is; it must not decide what is asked.
    """

    def __init__(self, make: Callable[..., QuerySet[Any, Any]]) -> None:
        self._make = make
        self._kept: dict[tuple[Any, ...], _Made] = {}

    def rows(self, *args: Any) -> list[tuple[Any, ...]]:
        return ask_together([(self, args)])[0]

    def made(self, args: Sequence[Any]) -> tuple[_Made, list[Any]] | None:
        """The statement and its values; nothing where a list is empty, and so nothing is found."""
        shape = (connection.vendor, *(len(one) if isinstance(one, tuple) else -1 for one in args))
        if 0 in shape:
            return None
        made = self._kept.get(shape)
        if made is None:
            made = self._compile(args)
            if len(self._kept) < MOST_KEPT:
                self._kept[shape] = made
        params = list(made.params)
        for place, (number, item) in made.places.items():
            value = args[number] if item is None else args[number][item]
            params[place] = _like(params[place], value)
        return made, params

    def _compile(self, args: Sequence[Any]) -> _Made:
        marks: dict[Any, tuple[int, int | None]] = {}
        given = [
            tuple(_mark(one, number, item, marks) for item, one in enumerate(arg))
            if isinstance(arg, tuple)
            else _mark(arg, number, None, marks)
            for number, arg in enumerate(args)
        ]
        compiler = self._make(*given).query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        places = {place: marks[one] for place, one in enumerate(params) if _hashed(one) in marks}
        assert {*places.values()} == {*marks.values()}, "each argument is compared with a column"
        found = compiler.get_converters([one for one, *_ in compiler.select])
        return _Made(sql, tuple(params), places, [(at, *pair) for at, pair in found.items()])


Statement = tuple[str, list[Any]]


def ask_together(asks: Sequence[tuple[Prepared, Sequence[Any]]]) -> list[list[tuple[Any, ...]]]:
    """The rows of each, asked in this order; PostgreSQL is asked once for all. Each sees what was committed
    before it, also when an earlier one waited for a lock."""
    all_made = [prepared.made(args) for prepared, args in asks]
    found: list[list[tuple[Any, ...]]] = [[] for _ in asks]
    wanted = [(at, *one) for at, one in enumerate(all_made) if one is not None]
    if not wanted:
        return found
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(*_joined([(made.sql, params) for _, made, params in wanted]))
        for number, (at, made, params) in enumerate(wanted):
            if connection.vendor != "postgresql":
                cursor.execute(made.sql, params)
            elif number:
                cursor.nextset()
            rows = cursor.fetchall()
            found[at] = _converted(rows, made.converters) if made.converters else rows
    return found


def send_together(statements: Sequence[Statement]) -> None:
    """Statements whose answers nobody waits for; PostgreSQL gets them at once."""
    if not statements:
        return
    with connection.cursor() as cursor:
        for sql, params in [_joined(statements)] if connection.vendor == "postgresql" else statements:
            cursor.execute(sql, params)


def _joined(statements: Sequence[Statement]) -> Statement:
    # Values are bound on our side, so that several statements go in one message.
    return "; ".join(sql for sql, _ in statements), [one for _, params in statements for one in params]


def _hashed(one: Any) -> Any:
    return one if isinstance(one, int | str | UUID) else None


def _mark(like: Any, number: int, item: int | None, marks: dict[Any, tuple[int, int | None]]) -> Any:
    """A value of the argument's kind that stands nowhere else; as the database gets it, it is found again."""
    at = len(marks)
    mark: Any = 2_000_000_011 + at
    if isinstance(like, UUID):
        mark = UUID(int=mark)
        marks[mark.hex if connection.vendor == "sqlite" else mark] = number, item
        return mark
    if isinstance(like, str):
        mark = f"argument {mark}"
    marks[mark] = number, item
    return mark


def _like(mark: Any, value: Any) -> Any:
    """The value as the database gets it, in the mark's place."""
    if isinstance(value, UUID):
        return value.hex if isinstance(mark, str) else value
    return type(mark)(value) if isinstance(mark, int) else value


def _converted(rows: Sequence[tuple[Any, ...]], converters: Sequence[Any]) -> list[tuple[Any, ...]]:
    found = []
    for row in rows:
        values = list(row)
        for at, functions, expression in converters:
            for function in functions:
                values[at] = function(values[at], expression, connection)
        found.append(tuple(values))
    return found


def columns_of(model: type[Model], before: str = "") -> list[str]:
    """Names of all columns, for a Prepared whose rows become the model's by :func:`as_model`."""
    return [f"{before}{one.attname}" for one in model._meta.concrete_fields]


def as_model(model: type[M], values: Sequence[Any], names: Sequence[str] = ()) -> M:
    """The model's row. ``names``: of the columns asked for, in the model's own order, if not all."""
    return model.from_db(connection.alias, names or columns_of(model), values)


def insert_rows(model: type[Model], rows: Sequence[Model], ending: str = "") -> None:
    """Insert new rows; see :func:`inserts_of`."""
    send_together(inserts_of(model, rows, ending))


def inserts_of(model: type[Model], rows: Sequence[Model], ending: str = "") -> list[Statement]:
    """The statements for new rows: no signal, no id given back. ``ending``: the caller's ON CONFLICT."""
    fields = [one for one in model._meta.concrete_fields if not isinstance(one, AutoField)]
    quote = connection.ops.quote_name
    names = ", ".join(quote(str(one.column)) for one in fields)
    line = f"({', '.join(['%s'] * len(fields))})"
    step = max(1, MOST_VALUES // len(fields))
    statements = []
    for start in range(0, len(rows), step):
        some = rows[start : start + step]
        values = [one.get_db_prep_save(one.pre_save(row, True), connection) for row in some for one in fields]
        lines = ", ".join([line] * len(some))
        table = quote(model._meta.db_table)
        statements.append((f"INSERT INTO {table} ({names}) VALUES {lines} {ending}", values))  # noqa: S608
    return statements
