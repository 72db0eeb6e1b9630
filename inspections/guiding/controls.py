"""How one key of a guide's entry is typed in a form: what is shown of its value, and what typed text means.

A control takes a value that it can show; a key whose value is of another shape is typed in TOML below the
form's fields. Lengths are typed as anywhere in the shop, with a unit or in mm (µm for a gauge's uncertainty).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from inspections.guiding.differences import number
from shop.handbook.quantities import Refused, parse

MM_PER_INCH = 25.4  # exactly
Said = Mapping[str, Any]  # what was typed, by field
Document = Mapping[str, Any]


class Unreadable(Exception):
    """What was typed in this field has no meaning."""

    def __init__(self, name: str, message: str) -> None:
        self.name, self.message = name, message
        super().__init__(message)


def text_of_number(value: float) -> str:
    return number(value).replace("−", "-")


def read_length(name: str, text: str, unit: str, mark: str) -> float:
    """A length in the unit of the key (mm, in or µm), which a bare number is taken to have;
    :class:`Unreadable` otherwise."""
    try:
        found = parse(text, "length", unit, mark).canonical
    except Refused as trouble:
        raise Unreadable(name, f"{str(trouble).removesuffix('.')}.") from None
    return round({"µm": found * 1000, "in": found / MM_PER_INCH}.get(unit, found), 9)


def codes_in(text: str) -> list[str]:
    """Codes with commas, blanks or lines between them, each once."""
    return list(dict.fromkeys(text.replace(",", " ").split()))


@dataclass(frozen=True)
class Control:
    """A line of text. Others say what else they take."""

    key: str
    label: str
    help: str = ""
    most: int = 400

    def fits(self, value: Any) -> bool:
        """Can the control show this value?"""
        whole = isinstance(value, str) and value.strip() == value and len(value.splitlines()) <= 1
        return whole and len(value) <= self.most

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        return {self.key: forms.CharField(max_length=self.most, required=False)}

    def shown(self, value: Any) -> Said:
        return {self.key: value}

    def read(self, said: Said, mark: str) -> Any:
        """The value for the document; None if nothing was typed, and the key is left out."""
        return said.get(self.key) or None

    def sections(self, form: forms.Form) -> list[Section]:
        return [Section(fields=[form[self.key]])]


@dataclass
class Section:
    """One field of the form, or a group of rows of fields under one name."""

    fields: list[forms.BoundField] = field(default_factory=list)
    label: str = ""
    help: str = ""
    rows: list[list[forms.BoundField]] = field(default_factory=list)


@dataclass(frozen=True)
class Words(Control):
    """Text of several lines."""

    most: int = 4000

    def fits(self, value: Any) -> bool:
        whole = isinstance(value, str) and value.strip() == value and "\r" not in value
        return whole and len(value) <= self.most

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        return {self.key: forms.CharField(max_length=self.most, required=False, widget=forms.Textarea)}

    def read(self, said: Said, mark: str) -> Any:
        return (said.get(self.key) or "").replace("\r\n", "\n") or None


@dataclass(frozen=True)
class Lines(Control):
    """A list of texts, one a line."""

    most: int = 4000

    def fits(self, value: Any) -> bool:
        return isinstance(value, list) and all(
            isinstance(one, str) and one.strip() == one != "" and len(one.splitlines()) == 1 for one in value
        )

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        return {self.key: forms.CharField(max_length=self.most, required=False, widget=forms.Textarea)}

    def shown(self, value: Any) -> Said:
        return {self.key: "\n".join(value)}

    def read(self, said: Said, mark: str) -> Any:
        lines = [one.strip() for one in (said.get(self.key) or "").splitlines()]
        return [one for one in lines if one] or None


@dataclass(frozen=True)
class Whole(Control):
    """A whole number, 0 or more."""

    def fits(self, value: Any) -> bool:
        return isinstance(value, int) and not isinstance(value, bool) and value >= 0

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        widget = forms.TextInput(attrs={"inputmode": "numeric"})
        return {self.key: forms.CharField(max_length=12, required=False, widget=widget)}

    def shown(self, value: Any) -> Said:
        return {self.key: str(value)}

    def read(self, said: Said, mark: str) -> Any:
        text = (said.get(self.key) or "").strip()
        if not text:
            return None
        if not (text.isascii() and text.isdigit()):
            raise Unreadable(self.key, "Write a whole number, 0 or more.")
        return int(text)


@dataclass(frozen=True)
class Number(Control):
    """A plain number."""

    def fits(self, value: Any) -> bool:
        return isinstance(value, int | float) and not isinstance(value, bool)

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        widget = forms.TextInput(attrs={"inputmode": "decimal"})
        return {self.key: forms.CharField(max_length=40, required=False, widget=widget)}

    def shown(self, value: Any) -> Said:
        return {self.key: text_of_number(value)}

    def read(self, said: Said, mark: str) -> Any:
        text = (said.get(self.key) or "").strip()
        if not text:
            return None
        try:
            found = Decimal(text.replace(",", ".").replace("−", "-"))
        except InvalidOperation:
            raise Unreadable(self.key, "Write a number, such as 0.05.") from None
        if not found.is_finite() or abs(found) > 10**9:
            raise Unreadable(self.key, "Write a number, such as 0.05.")
        return float(found)


@dataclass(frozen=True)
class Length(Number):
    """A length, in the unit of the entry (mm if it says none) unless the key is in µm."""

    unit: str = "mm"

    def read(self, said: Said, mark: str) -> Any:
        text = (said.get(self.key) or "").strip()
        return read_length(self.key, text, self.unit, mark) if text else None


@dataclass(frozen=True)
class LengthPair(Control):
    """Two lengths: from, to."""

    names: tuple[str, str] = ("from", "to")
    unit: str = "mm"

    def _keys(self) -> tuple[str, str]:
        return f"{self.key}__low", f"{self.key}__high"

    def fits(self, value: Any) -> bool:
        return (
            isinstance(value, list)
            and len(value) == 2
            and all(isinstance(one, int | float) and not isinstance(one, bool) for one in value)
        )

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        made = {}
        for key, name in zip(self._keys(), self.names, strict=True):
            widget = forms.TextInput(attrs={"inputmode": "decimal"})
            made[key] = forms.CharField(max_length=40, required=False, widget=widget, label=name)
        return made  # type: ignore[return-value]

    def shown(self, value: Any) -> Said:
        return {key: text_of_number(one) for key, one in zip(self._keys(), value, strict=True)}

    def read(self, said: Said, mark: str) -> Any:
        texts = [(said.get(key) or "").strip() for key in self._keys()]
        if not any(texts):
            return None
        for key, text, name in zip(self._keys(), texts, self.names, strict=True):
            if not text:
                raise Unreadable(key, f"Write both figures: “{name}” is missing.")
        return [
            read_length(key, text, self.unit, mark) for key, text in zip(self._keys(), texts, strict=True)
        ]

    def sections(self, form: forms.Form) -> list[Section]:
        return [Section(label=self.label, help=self.help, rows=[[form[key] for key in self._keys()]])]


@dataclass(frozen=True)
class Tick(Control):
    """True, or left out."""

    def fits(self, value: Any) -> bool:
        return value is True

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        return {self.key: forms.BooleanField(required=False)}

    def read(self, said: Said, mark: str) -> Any:
        return True if said.get(self.key) else None


@dataclass(frozen=True)
class OneOf(Control):
    """One of a few words."""

    words: tuple[str, ...] = ()

    def fits(self, value: Any) -> bool:
        return value in self.words

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        choices = [("", "not said"), *((one, one) for one in self.words)]
        return {self.key: forms.ChoiceField(choices=choices, required=False)}


@dataclass(frozen=True)
class CodeOf(Control):
    """The code of one entry of a table."""

    table: str = ""

    def fits(self, value: Any) -> bool:
        return isinstance(value, str) and 0 < len(value) <= 40

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        return {self.key: forms.CharField(max_length=40, required=False, widget=self._select(document))}

    def _select(self, document: Document) -> forms.Select:
        return Select(choices=[("", "Choose"), *named(document, self.table)])

    def read(self, said: Said, mark: str) -> Any:
        return (said.get(self.key) or "").strip() or None


class Select(forms.Select):
    """Keeps and shows a value that is not in its list: another entry may be removed while a form is open."""

    def optgroups(self, name: str, value: Any, attrs: Any = None) -> Any:
        known = {str(choice) for choice, _ in self.choices}
        extra = [(one, f"{one}, which is not in the draft") for one in value if one and one not in known]
        self.choices = [*self.choices, *extra]
        return super().optgroups(name, value, attrs)


def named(document: Document, table: str) -> list[tuple[str, str]]:
    """Codes of a table with their names, to choose from."""
    rows = document.get(table, [])
    return [(row["code"], f"{row['code']}  {row.get('name') or row.get('title') or ''}") for row in rows]


@dataclass(frozen=True)
class CodesOf(Control):
    """Codes of entries of a table, with commas between them."""

    table: str = ""
    most: int = 2000

    def fits(self, value: Any) -> bool:
        return isinstance(value, list) and all(
            isinstance(one, str) and codes_in(one) == [one] for one in value
        )

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        return {self.key: forms.CharField(max_length=self.most, required=False)}

    def shown(self, value: Any) -> Said:
        return {self.key: ", ".join(value)}

    def read(self, said: Said, mark: str) -> Any:
        return codes_in(said.get(self.key) or "") or None


@dataclass(frozen=True)
class TicksOf(Control):
    """Codes of entries of a short table, each a box to tick; a code that the table lost keeps its box."""

    table: str = ""

    def fits(self, value: Any) -> bool:
        return isinstance(value, list) and bool(value) and all(isinstance(one, str) for one in value)

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        widget = forms.CheckboxSelectMultiple
        choices = named(document, self.table)
        return {self.key: LooseChoices(choices=choices, required=False, widget=widget)}

    def read(self, said: Said, mark: str) -> Any:
        return list(said.get(self.key) or ()) or None


class LooseChoices(forms.MultipleChoiceField):
    """The checker says what is not in the draft, beside the field; nothing that was said is lost."""

    def valid_value(self, value: Any) -> bool:
        return True


@dataclass(frozen=True)
class ByVariant(Control):
    """A text for each variant, or one for all of them."""

    def _key(self, variant: str) -> str:
        return f"{self.key}__{'ALL' if variant == '*' else variant}"

    def fits(self, value: Any) -> bool:
        return isinstance(value, dict) and all(isinstance(one, str) for one in value.values())

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        made: dict[str, forms.Field] = {}
        for code, name in [("*", "all variants"), *named(document, "variant")]:
            made[self._key(code)] = forms.CharField(max_length=160, required=False, label=name)
        return made

    def shown(self, value: Any) -> Said:
        return {self._key(code): text for code, text in value.items()}

    def read(self, said: Said, mark: str) -> Any:
        found = {}
        for name, text in said.items():
            if name.startswith(f"{self.key}__") and text:
                code = name.removeprefix(f"{self.key}__")
                found["*" if code == "ALL" else code] = text
        return found or None

    def sections(self, form: forms.Form) -> list[Section]:
        mine = [form[name] for name in form.fields if name.startswith(f"{self.key}__")]
        return [Section(label=self.label, help=self.help, rows=[mine])]


@dataclass(frozen=True)
class Rows(Control):
    """Rows of inner tables, each with the same few columns; an empty row is no row."""

    columns: Sequence[Control] = ()
    must: tuple[str, ...] = ()  # columns that a row cannot do without

    def fits(self, value: Any) -> bool:
        known = {one.key: one for one in self.columns}
        return isinstance(value, list) and all(
            isinstance(row, dict)
            and not {*row} - {*known}
            and all(known[key].fits(inner) for key, inner in row.items())
            for row in value
        )

    def _at(self, number: int) -> str:
        return f"{self.key}__{number}__"

    def fields(self, document: Document, rows: int) -> dict[str, forms.Field]:
        made = {}
        for n in range(rows):
            for column in self.columns:
                for name, one in column.fields(document, 0).items():
                    one.label = one.label or column.label
                    made[self._at(n) + name] = one
        return made

    def shown(self, value: Any) -> Said:
        return {
            self._at(n) + name: text
            for n, row in enumerate(value)
            for column in self.columns
            if column.key in row
            for name, text in column.shown(row[column.key]).items()
        }

    def read(self, said: Said, mark: str) -> Any:
        return self.read_rows(said, mark, []) or None

    def read_rows(self, said: Said, mark: str, original: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
        """The rows as typed; a figure that stands as it was shown keeps its value."""
        numbers = sorted({int(name.split("__")[1]) for name in said if name.startswith(f"{self.key}__")})
        found = []
        for n in numbers:
            at = self._at(n)
            typed = {name.removeprefix(at): said[name] for name in said if name.startswith(at)}
            if not any(typed.values()):
                continue
            found.append(self._row(typed, at, mark, original[n] if n < len(original) else {}))
        return found

    def _row(self, typed: Said, at: str, mark: str, before: Mapping[str, Any]) -> dict[str, Any]:
        row = {}
        for column in self.columns:
            try:
                value = read_kept(column, typed, mark, before.get(column.key))
            except Unreadable as trouble:
                raise Unreadable(at + trouble.name, trouble.message) from None
            if value is not None:
                row[column.key] = value
            elif column.key in self.must:
                first = next(iter(column.fields({}, 0)))
                raise Unreadable(at + first, f"{column.label}: this row cannot do without it.")
        return row

    def sections(self, form: forms.Form) -> list[Section]:
        rows: dict[str, list[forms.BoundField]] = {}
        for name in form.fields:
            if name.startswith(f"{self.key}__"):
                rows.setdefault(name.split("__")[1], []).append(form[name])
        return [Section(label=self.label, help=self.help, rows=list(rows.values()))]


@dataclass(frozen=True)
class Signed(Whole):
    """A whole number with its sign, such as -2."""

    def fits(self, value: Any) -> bool:
        return isinstance(value, int) and not isinstance(value, bool)

    def read(self, said: Said, mark: str) -> Any:
        text = (said.get(self.key) or "").strip().replace("−", "-")
        if not text:
            return None
        try:
            return int(text)
        except ValueError:
            raise Unreadable(self.key, "Write a whole number with its sign, such as -2.") from None


def in_unit(control: Control, unit: str) -> Control:
    """The control for an entry whose figures are in that unit: mm or in."""
    if isinstance(control, Rows):
        return replace(control, columns=tuple(in_unit(one, unit) for one in control.columns))
    if isinstance(control, Length | LengthPair) and control.unit == "mm":
        return replace(control, unit=unit)
    return control


def read_kept(control: Control, said: Said, mark: str, original: Any) -> Any:
    """What was typed, or the value that stands if the text is as it was shown: it has every digit."""
    if original is not None and control.fits(original):
        if isinstance(control, Rows):
            return control.read_rows(said, mark, original) or None
        shown = control.shown(original)
        if all((said.get(name) or "") == text for name, text in shown.items()) and not any(
            text and name not in shown for name, text in said.items() if name.startswith(f"{control.key}__")
        ):
            return original
    return control.read(said, mark)
