"""The shape of a guide's document: which tables and keys there are, what each holds, and on which line.

The TOML parser gives no line numbers, so every entry is a ``[[table]]`` and its header is counted; a key that
stands on a line of its own is named by that line.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite
from typing import Any, Literal

from inspections.document import CHECK_KINDS, DIMENSIONS, fit_of_zones, stated_fit, zone_of
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange

Severity = Literal["refused", "warning"]


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong with a guide. ``line``: of the key, else of its entry's header, 0 if neither."""

    severity: Severity
    line: int
    key: str
    message: str


Entry = tuple[str, int]  # table, place among its like counted from 0


_HEADER = re.compile(r"\s*\[\[?\s*([\w.-]+)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"\s*([\w-]+)\s*=")


class Lines:
    """Where each entry of a document begins, and where in it each key stands."""

    def __init__(self, text: str) -> None:
        self._found: dict[Entry, int] = {}
        self._keys: dict[tuple[str, int, str], int] = {}
        self._counts: dict[str, int] = {}
        entry: Entry | None = None
        quoted = ""
        for number, line in enumerate(text.splitlines(), 1):
            if not quoted:
                entry = self._header(line, number) or entry
                if entry is not None and (key := _KEY.match(line)):
                    self._keys.setdefault((*entry, key.group(1)), number)
            for mark in ('"""', "'''"):
                if line.count(mark) % 2 and quoted in {"", mark}:
                    quoted = "" if quoted else mark

    def _header(self, line: str, number: int) -> Entry | None:
        header = _HEADER.match(line)
        if header is None:
            return None
        table = header.group(1)
        entry = table, self._counts.get(table, 0)
        self._found[entry] = number
        self._counts[table] = entry[1] + 1
        return entry

    def of(self, table: str, place: int, key: str = "") -> int:
        """Line of the key if it stands there by itself, else of the entry's header; 0 if there is none."""
        return self._keys.get((table, place, key)) or self._found.get((table, place), 0)

    def entries(self, table: str) -> int:
        """How many headers of a table there are."""
        return self._counts.get(table, 0)


def _text(value: Any) -> str:
    return "" if isinstance(value, str) else "a text in quotes"


def _short(value: Any) -> str:
    good = isinstance(value, str) and 0 < len(value) <= 160
    return "" if good else "a text in quotes, 1 to 160 long"


def _code_up_to(most: int) -> Callable[[Any], str]:
    words = f"a code of capitals, digits, points and hyphens, at most {most} long"

    def check(value: Any) -> str:
        good = isinstance(value, str) and re.fullmatch(r"[A-Z0-9][A-Z0-9_.-]*", value) and len(value) <= most
        return "" if good else words

    return check


_code = _code_up_to(40)
_position_code = _code_up_to(20)


def _number(value: Any) -> str:
    good = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
    return "" if good else "a number"


def _whole(value: Any) -> str:
    good = isinstance(value, int) and not isinstance(value, bool) and value >= 0
    return "" if good else "a whole number, 0 or more"


def _factor(value: Any) -> str:
    good = isinstance(value, int) and not isinstance(value, bool)
    return "" if good else "a whole number with its sign, such as -2"


def _yes(value: Any) -> str:
    return "" if isinstance(value, bool) else "true or false"


def _list_of(inner: Callable[[Any], str], words: str) -> Callable[[Any], str]:
    return lambda value: "" if isinstance(value, list) and not any(map(inner, value)) else words


def _above(value: Any) -> str:
    return "a number above 0" if _number(value) or value <= 0 else ""


def _from(least: int) -> Callable[[Any], str]:
    words = f"a whole number, {least} or more"
    return lambda value: words if _whole(value) or value < least else ""


def _read_by(read: Callable[[str], object]) -> Callable[[Any], str]:
    """A text that the handbook can read; its own words if it cannot."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            return "a text in quotes"
        try:
            read(value)
        except (Refused, OutOfRange) as refused:
            return f"readable: {str(refused).removesuffix('.')}"
        return ""

    return check


_zone = _read_by(zone_of)
_zones = _read_by(fit_of_zones)
_printed_fit = _read_by(stated_fit)


def _fit(value: Any) -> str:
    if isinstance(value, str):
        return _printed_fit(value)
    return _pair(value) and f'{_pair(value)}, or a text such as "0.0005L-0.0025L"'


def _wear(value: Any) -> str:
    if isinstance(value, str):
        return _printed_fit(value)
    return _number(value) and 'a number, or a text such as "0.0040L"'


def _picture(value: Any) -> str:
    good = isinstance(value, str) and re.fullmatch(r"[a-z0-9][a-z0-9-]*\.(svg|png|jpg|webp)", value)
    return "" if good else 'the name of a picture, such as "pitted-tooth.svg"'


def _pair(value: Any) -> str:
    good = isinstance(value, list) and len(value) == 2 and not any(map(_number, value))
    return "" if good else "two numbers in brackets"


def _one_of(*words: str) -> Callable[[Any], str]:
    return lambda value: "" if value in words else f"one of: {', '.join(words)}"


def _expected(value: Any) -> str:
    good = isinstance(value, dict) and value and all(isinstance(one, str) for one in value.values())
    return "" if good else 'texts by variant, such as { "*" = "H4-101" }'


def _point(value: Any) -> str:
    good = (
        isinstance(value, list)
        and len(value) == 3
        and not _text(value[0])
        and not any(map(_number, value[1:]))
    )
    return "" if good else "a name, x and y"


_texts = _list_of(_text, "a list of texts")
Keys = Mapping[str, Callable[[Any], str]]


def _table(keys: Keys, required: str) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if not isinstance(value, dict):
            return "a table in braces"
        return next((f"a table: {words}" for _, words in faults(value, keys, required)), "")

    return check


def _tables(keys: Keys, required: str) -> Callable[[Any], str]:
    inner = _table(keys, required)

    def check(value: Any) -> str:
        if not isinstance(value, list):
            return "a list of tables"
        return next((words for words in map(inner, value) if words), "")

    return check


_UNIT = _one_of("mm", "in")
_LIMIT: Keys = {"size": _short, "new": _pair, "zone": _zone, "wear": _number, "mean": _pair}
_plain_limits = _tables(_LIMIT, "")


def _limits(value: Any) -> str:
    if words := _plain_limits(value):
        return words
    good = all(("new" in one) != ("zone" in one) for one in value)
    return "" if good else 'a list of tables, each with new = [low, high] or zone = "25 H7"'


_MATE: Keys = {"min": _number, "max": _number, "wear": _wear, "fit": _fit, "zones": _zones}
_TERM: Keys = {"feature": _text, "factor": _factor}
_LEAVES: Keys = {"feature": _text, "size": _text, "to": _pair}
_BOLTS: Keys = {
    **dict.fromkeys(("thread", "grade", "condition", "tapped_material", "turns"), _text),
    **dict.fromkeys(("engagement_mm", "torque_nm"), _number),
    "at": _list_of(_point, "a list of points, each a name, x and y"),
}

# table -> (keys, required keys)
TABLES: Mapping[str, tuple[Keys, str]] = {
    "variant": ({"code": _code, "name": _short}, "code name"),
    "position": (
        {
            "code": _position_code,
            "number": _whole,
            "name": _short,
            "us_name": _text,
            "quantity": _whole,
            "variants": _texts,
            "material": _text,
        },
        "code number name",
    ),
    "bond": (
        {
            "code": _code,
            "name": _short,
            "kind": _one_of("must", "should"),
            "positions": _texts,
            "penalty_minor": _whole,
        },
        "code name kind positions",
    ),
    "feature": (
        {
            "code": _code,
            "position": _text,
            "name": _short,
            "limit": _limits,
            "unit": _UNIT,
            "stated": _yes,
            **dict.fromkeys(("form", "taper", "spread"), _above),
            "rule": _one_of("guarded", "simple"),
            "source": _text,
            "dimension": _one_of(*DIMENSIONS),
        },
        "code position name limit",
    ),
    "check": (
        {
            "code": _code,
            "kind": _one_of(*CHECK_KINDS),
            "rule": _one_of("guarded", "simple"),
            "warm": _yes,
            "identifies": _yes,
            "terms": _tables(_TERM, "feature factor"),
            "expected": _expected,
            "title": _short,
            "unit": _UNIT,
            "repeats": _from(1),
            "rollers": _from(3),
            "gap": _pair,
            "taper": _yes,
            "chase": _yes,
            "sizes": _tables({"size": _short, **_MATE}, "size"),
            **_MATE,
            "dimension": _one_of(*DIMENSIONS),
            **dict.fromkeys(("variants", "places", "remedies", "of"), _texts),
            "gauge_um": _number,
            **dict.fromkeys(
                ("position", "how", "feature", "designation", "caution", "note", "source"), _text
            ),
        },
        "code position kind title",
    ),
    "defect": (
        {
            "code": _code,
            "check": _text,
            "name": _short,
            "condemns": _yes,
            "harmless": _yes,
            "remedies": _texts,
            "reject": _short,
            "picture": _picture,
        },
        "code check name",
    ),
    "remedy": (
        {
            "code": _code,
            "name": _short,
            "leaves": _tables(_LEAVES, "feature to"),
            "fails": _number,
            **dict.fromkeys(("skill", "caution", "note", "source", "not_when"), _text),
            **dict.fromkeys(("minutes", "consumables_minor", "outside_minor", "lead_days"), _whole),
            **dict.fromkeys(("restores", "rules_out"), _texts),
        },
        "code name minutes restores",
    ),
    "complaint": ({"code": _code, "name": _short, "explained_by": _texts}, "code name explained_by"),
    "step": (
        {
            "code": _code,
            "title": _short,
            "bolts": _table(_BOLTS, "thread"),
            **dict.fromkeys(
                ("text", "sealing", "float_check", "fit_check", "stamp", "caution", "note"), _text
            ),
            **dict.fromkeys(("positions", "after", "variants", "washers", "record"), _texts),
        },
        "code title text",
    ),
}
HEAD: tuple[Keys, str] = (
    {
        **dict.fromkeys(("name", "maker", "note", "oil", "source"), _text),
        "family": _code,
        "cautions": _texts,
        "build_minutes": _whole,
    },
    "family name maker note oil",
)


def faults(row: Mapping[str, Any], keys: Keys, required: str) -> Iterator[tuple[str, str]]:
    """What is wrong with one entry by itself, as (key, words)."""
    for key, value in row.items():
        if key not in keys:
            near = get_close_matches(key, keys, n=1)
            yield key, f"{key} is not known here" + (f"; did you mean {near[0]}?" if near else ".")
        elif words := keys[key](value):
            yield key, f"{key} has to be {words}."
    for key in required.split():
        if key not in row:
            yield key, f"{key} is missing."


def shape_problems(document: Mapping[str, Any], lines: Lines) -> Iterator[Problem]:
    """Unknown tables and keys, keys that are missing, values of the wrong kind."""
    head = document.get("guide")
    if not isinstance(head, dict):
        yield Problem("refused", 0, "guide", "The document needs a [guide] table.")
    else:
        for key, words in faults(head, *HEAD):
            yield Problem("refused", lines.of("guide", 0, key), f"guide.{key}", words)
    for table, rows in document.items():
        if table in {"guide", "drawing"}:
            continue
        if table not in TABLES:
            yield Problem("refused", lines.of(table, 0), table, f"There is no table {table} in a guide.")
        elif not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            yield Problem("refused", lines.of(table, 0), table, f"Write each entry as [[{table}]].")
        else:
            for place, row in enumerate(rows):
                for key, words in faults(row, *TABLES[table]):
                    name = row.get("code", place + 1)
                    yield Problem("refused", lines.of(table, place, key), f"{table} {name}.{key}", words)
            if rows and lines.entries(table) != len(rows):
                yield Problem("refused", lines.of(table, 0), table, f"Write each entry as [[{table}]].")
    for table in ("variant", "position", "check"):
        if not document.get(table):
            yield Problem("refused", 0, table, f"The document needs at least one [[{table}]].")
