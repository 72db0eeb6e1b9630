"""Forms for the entries of a guide: fields for the commonest keys, TOML for the others."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from inspections.document import CHECK_KINDS, DIMENSIONS, STANDARD
from inspections.guiding import drafts
from inspections.guiding.controls import (
    ByVariant,
    CodeOf,
    CodesOf,
    Control,
    Length,
    LengthPair,
    Lines,
    Number,
    OneOf,
    Rows,
    Section,
    Signed,
    Tick,
    TicksOf,
    Unreadable,
    Whole,
    Words,
    in_unit,
    read_kept,
)
from inspections.guiding.drafts import DRAWING, HEAD_TABLE
from inspections.guiding.shape import HEAD, TABLES, Problem
from inspections.guiding.tomltext import toml_of_entry, toml_of_table
from shop.refusals import Refusal

MOST_ROWS = 60
_COMMAS = "Codes, with commas between them."
_VARIANTS = TicksOf("variants", "Only in the variants", "None ticked: in all of them.", table="variant")
_REMEDIES = CodesOf("remedies", "Remedies", _COMMAS, table="remedy")
_CAUTION = Words("caution", "Caution", "Danger to people, and nothing else.")
_NOTE = Words("note", "Note", "What spoils the work, or has to be known.")
_SOURCE = Control("source", "Source", "Standard, manual or shop's own; say so if there is none.")
_RULE = OneOf(
    "rule",
    "Decision rule",
    "guarded: the uncertainty counts against the part. simple: wear limits, with a fine gauge.",
    words=("guarded", "simple"),
)
_DIMENSION = OneOf("dimension", "What a gauge measures here", words=DIMENSIONS)
_GAUGE = Length("gauge_um", "Gauge within, µm", "Largest expanded uncertainty of a gauge.", unit="µm")
_PLACES = Lines("places", "Places", "One a line: where it is read.")
_UNIT = OneOf(
    "unit", "Unit of its figures", "mm if none is said. A bare figure is read in it.", words=("mm", "in")
)
_TITLE = Control("title", "Title", most=160)
_NAME = Control("name", "Name", most=160)
_POSITION = CodeOf("position", "Position", table="position")

CONTROLS: Mapping[str, Sequence[Control]] = {
    HEAD_TABLE: (
        _NAME,
        Control("maker", "Maker"),
        Words("note", "Note"),
        Control("oil", "Oil"),
        Control("source", "Source", "Of every feature and check that states none of its own."),
        Whole("build_minutes", "Minutes to build and test"),
        Lines("cautions", "Cautions", "One a line: danger to people, and nothing else."),
    ),
    "variant": (_NAME,),
    "position": (
        Whole("number", "Number on the drawing"),
        _NAME,
        Control("us_name", "American name"),
        Whole("quantity", "Quantity"),
        Control("material", "Material"),
        _VARIANTS,
    ),
    "bond": (
        _NAME,
        OneOf("kind", "How they are bound", "must: taken whole. should: parting them costs soundness.",
              words=("must", "should")),
        CodesOf("positions", "Positions", _COMMAS, table="position"),
        Whole("penalty_minor", "Cost of parting them", "In minor units: 2500 is 25.00."),
    ),
    "feature": (
        _POSITION,
        _NAME,
        Rows(
            "limit",
            "Limits by size",
            "In the unit of its figures, or with a unit of their own. The first row is the standard size.",
            columns=(
                Control("size", "Size", most=30),
                LengthPair("new", "New", names=("New, from", "New, to")),
                Length("wear", "Wear limit"),
            ),
            must=("new",),
        ),
        _UNIT,
        _RULE,
        _DIMENSION,
        Length("form", "Allowed out-of-round", "Between places; empty if there is none."),
        Length("taper", "Allowed taper", "Along the part; empty if there is none."),
        _SOURCE,
    ),
    "check": (
        _TITLE,
        _POSITION,
        Words("how", "How it is done"),
        CodeOf("feature", "Feature", table="feature"),
        _PLACES,
        _GAUGE,
        Tick("warm", "Ask for the part's temperature"),
        CodesOf("of", "Assembled with", "Codes of positions, with commas between them.", table="position"),
        _DIMENSION,
        Rows(
            "terms",
            "Terms",
            "Each feature with its factor: 1 adds, -1 takes away, -2 is two rollers.",
            columns=(CodeOf("feature", "Feature", table="feature"), Signed("factor", "Factor")),
            must=("feature", "factor"),
        ),
        _UNIT,
        Length("min", "Least"),
        Length("max", "Most"),
        Length("wear", "Wear limit"),
        LengthPair("fit", "Fit of new parts", "Interference is negative.", names=("Tightest", "Loosest")),
        _RULE,
        ByVariant("expected", "What is expected", "For all variants, or for each."),
        Tick("identifies", "The count tells one part from another"),
        Control("designation", "Thread", "Such as 3/8-16 UNC."),
        Tick("chase", "Chase it first"),
        _REMEDIES,
        _VARIANTS,
        _CAUTION,
        _NOTE,
        _SOURCE,
    ),
    "defect": (
        CodeOf("check", "Check", table="check"),
        _NAME,
        Control("reject", "How bad is a reject", most=160),
        Tick("condemns", "It condemns the piece"),
        Tick("harmless", "Worth a note only"),
        _REMEDIES,
    ),
    "remedy": (
        _NAME,
        CodesOf("restores", "Checks that it makes good", _COMMAS, table="check"),
        Whole("minutes", "Minutes"),
        Control("skill", "Skill", most=80),
        Whole("consumables_minor", "Consumables", "In minor units: 2500 is 25.00."),
        Whole("outside_minor", "Outside work", "In minor units: 2500 is 25.00."),
        Whole("lead_days", "Days away"),
        Number("fails", "Chance of failing", "From 0 to below 1: 0.05 is one in twenty."),
        Rows(
            "leaves",
            "What it leaves behind",
            "Feature, size by name, and the sizes that it can be relied on to reach, in mm.",
            columns=(
                CodeOf("feature", "Feature", table="feature"),
                Control("size", "Size", most=30),
                LengthPair("to", "To", names=("From", "To")),
            ),
            must=("feature", "to"),
        ),
        CodesOf("rules_out", "Remedies that it rules out", _COMMAS, table="remedy"),
        Words("not_when", "When it is not worth doing"),
        _CAUTION,
        _NOTE,
        _SOURCE,
    ),
    "complaint": (_NAME, CodesOf("explained_by", "Checks that explain it", _COMMAS, table="check")),
    "step": (
        _TITLE,
        Words("text", "What is done"),
        CodesOf("positions", "Positions fitted", _COMMAS, table="position"),
        CodesOf("after", "Steps that come first", _COMMAS, table="step"),
        _VARIANTS,
        Control("sealing", "Sealing"),
        CodeOf("float_check", "Float that washers are chosen for", table="check"),
        CodesOf("washers", "Positions of the washers", _COMMAS, table="position"),
        CodeOf("fit_check", "Fit that is shown", table="check"),
        Lines("record", "Boxes to fill in", "One a line."),
        Control("stamp", "Short order in capitals", most=80),
        _CAUTION,
        _NOTE,
    ),
}  # fmt: skip
# keys of a check that say something at some kinds alone; a kind that is not named here has them all
ONLY_AT: Mapping[str, Sequence[str]] = {
    "identify": ("expected",),
    "look": (),
    "measure": ("feature", "places", "gauge_um", "warm", "remedies"),
    "stack": ("terms", "unit", "min", "max", "wear", "fit", "rule", "remedies"),
    "count": ("expected", "identifies", "remedies"),
    "thread": ("designation", "chase", "remedies"),
    "try": (
        *("of", "places", "gauge_um", "warm", "dimension", "unit", "min", "max", "wear", "rule", "remedies"),
    ),
    "replaced": (),
}
_SOME_KINDS = {key for keys in ONLY_AT.values() for key in keys}


def controls_of(table: str, kind: str = "") -> tuple[Control, ...]:
    """The controls of a table's form, less those of keys that the shape does not know."""
    known = HEAD[0] if table == HEAD_TABLE else TABLES.get(table, ({}, ""))[0]
    rows = [one for one in CONTROLS.get(table, ()) if one.key in known]
    if table == "check" and kind in ONLY_AT:
        rows = [one for one in rows if one.key not in _SOME_KINDS or one.key in ONLY_AT[kind]]
    return tuple(rows)


def _can_show(control: Control, value: Any) -> bool:
    few = not isinstance(control, Rows) or (isinstance(value, list) and len(value) <= MOST_ROWS - 2)
    return few and control.fits(value)


class EntryForm(forms.Form):
    """One entry of a guide. ``row`` after :meth:`is_valid` is the entry as it is to stand."""

    use_required_attribute = False
    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)

    def __init__(
        self,
        document: Mapping[str, Any],
        table: str,
        original: Mapping[str, Any],
        *,
        mark: str,
        new: bool = False,
        data: Any = None,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(data, initial=dict(initial or {}))
        self.table, self.original, self.mark, self.new = table, original, mark, new
        self.kind = str(original.get("kind", "")) if table == "check" else ""
        unit = (data or {}).get("unit") or original.get("unit") or "mm"
        self.controls = [
            in_unit(one, "in" if unit == "in" else "mm")
            for one in controls_of(table, self.kind)
            if one.key not in original or _can_show(one, original[one.key])
        ]
        self.row: dict[str, Any] = {}
        needed = (HEAD[1] if table == HEAD_TABLE else TABLES.get(table, ({}, ""))[1]).split()
        if new:
            self.fields["code"] = forms.CharField(
                label="Code",
                max_length=40,
                help_text="Capitals, digits, points and hyphens. It stays for ever.",
                error_messages={"required": "Give it a code: it is named by it."},
            )
        for control in self.controls:
            self._add(control, document, needed)
        self.fields["rest"] = forms.CharField(
            label="Other keys, in TOML",
            required=False,
            max_length=200_000,
            widget=forms.Textarea(attrs={"spellcheck": "false", "class": "toml"}),
            help_text="Keys that have no field above, one a line.",
        )
        self.initial = {**self.shown(), **self.initial}

    def _add(self, control: Control, document: Mapping[str, Any], needed: Sequence[str]) -> None:
        for name, made in control.fields(document, self._count(control)).items():
            made.label = made.label or control.label
            if name == control.key:
                made.help_text = control.help
                made.required = control.key in needed
                made.error_messages["required"] = f"{control.label} is missing."
            self.fields[name] = made
        if control.key in self.original:
            # a code that another entry has lost keeps its field, or what it says would be lost with it
            for name in {*control.shown(self.original[control.key])} - {*self.fields}:
                gone = f"{name.rpartition('__')[2]}, which is not in the draft"
                self.fields[name] = forms.CharField(label=gone, required=False, max_length=160)

    def _count(self, control: Control) -> int:
        """How many rows there are to type in: those that stand or were sent, and two more."""
        if not isinstance(control, Rows):
            return 0
        rows = len(self.original.get(control.key, ()))
        if self.is_bound:
            named = re.compile(rf"{control.key}__(\d{{1,2}})__")
            typed = [found[1] for name in self.data if self.data[name] and (found := named.match(name))]
            rows = max((int(one) + 1 for one in typed), default=0)
        return min(rows + 2, MOST_ROWS)

    def shown(self) -> dict[str, Any]:
        """What the fields say of the entry as it stands."""
        said: dict[str, Any] = {}
        for control in self.controls:
            if control.key in self.original:
                said |= control.shown(self.original[control.key])
        mine = {"code", *(one.key for one in self.controls), *(("kind",) if self.kind else ())}
        if self.table == HEAD_TABLE:
            mine.add("family")
        rest = {key: value for key, value in self.original.items() if key not in mine}
        if self.table == DRAWING:
            said["rest"] = toml_of_table("drawing", rest).partition("\n")[2]
            return said
        return said | {"rest": toml_of_entry(rest, self.table)}

    def sections(self) -> list[Section]:
        """The form in the order of its controls."""
        first = [Section(fields=[self["code"]])] if self.new else []
        inner = [section for control in self.controls for section in control.sections(self)]
        return [*first, *inner, Section(fields=[self["rest"]])]

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        row: dict[str, Any] = {}
        for key in ("family",) if self.table == HEAD_TABLE else ("code", "kind"):
            if key in self.original:
                row[key] = self.original[key]
        if self.new:
            row["code"] = said.get("code", "")
        for control in self.controls:
            try:
                value = read_kept(control, said, self.mark, self.original.get(control.key))
            except Unreadable as trouble:
                self.add_error(trouble.name if trouble.name in self.fields else None, trouble.message)
                continue
            if value is not None:
                row[control.key] = value
        row |= self._rest(said.get("rest", ""), row)
        self.row = row
        return said

    def _rest(self, text: str, row: Mapping[str, Any]) -> dict[str, Any]:
        text = text.replace("\r\n", "\n")
        if self.table == DRAWING:
            text = f"[drawing]\n{text}"
        try:
            typed = drafts.parse_keys(text)
        except ValueError as trouble:
            self.add_error("rest", str(trouble))
            return {}
        if self.table == DRAWING:
            inner = typed.pop("drawing")
            if typed:
                self.add_error("rest", f"Only the drawing is written here, not {', '.join(sorted(typed))}.")
            return dict(inner)
        own = {"code", "kind" if self.kind else "", *(one.key for one in self.controls)}
        if twice := sorted(own & {*typed}):
            self.add_error("rest", f"{', '.join(twice)}: write it in its own field above.")
        return {key: value for key, value in typed.items() if key not in own}

    # --- what others say of the entry

    def take_refusal(self, trouble: Refusal) -> None:
        """Put what the rule says beside the fields of the keys that it names."""
        for key, message in trouble.errors.items():
            self.say(key, message)

    def take_problems(self, problems: Sequence[Problem]) -> None:
        """Put what the checker says of this entry beside its fields; the form has to be bound."""
        for one in problems:
            self.say(one.key.rpartition(".")[2], one.message)

    def say(self, key: str, message: str) -> None:
        own = key in self.fields
        self.add_error(key if own else self._first_of(key, message), message)

    def _first_of(self, key: str, message: str) -> str | None:
        """The field of a key that is typed in rows; for limits the figure of the size that is spoken of."""
        names = [name for name in self.fields if key and name.startswith(f"{key}__")]
        if key == "limit":
            sizes = [one.get("size", STANDARD) for one in self.row.get("limit", ())]
            place = next((at for at, size in enumerate(sizes) if message.startswith(f"{size}: ")), 0)
            names = [one for one in names if one == f"limit__{place}__new__low"] or names
        return names[0] if names else None


def bound_as_it_stands(
    document: Mapping[str, Any], table: str, original: Mapping[str, Any], *, mark: str, version: int
) -> EntryForm:
    """The form as if the entry had just been typed: the checker's words can stand beside its fields."""
    blank = EntryForm(document, table, original, mark=mark)
    data = {**blank.initial, "version": version}
    form = EntryForm(document, table, original, mark=mark, data=_as_sent(data))
    form.is_valid()
    return form


def _as_sent(data: Mapping[str, Any]) -> QueryDict:
    sent = QueryDict(mutable=True)
    for name, value in data.items():
        if isinstance(value, list):
            sent.setlist(name, value)
        elif value is not False and value is not None:
            sent[name] = str(value)
    return sent


class NewCheckForm(forms.Form):
    """What kind of question a new check asks; the rest of its form follows from it."""

    kind = forms.ChoiceField(
        label="Kind of check",
        choices=[(one, one) for one in CHECK_KINDS],
        error_messages={"invalid_choice": "Choose the kind from the list."},
    )


class UploadForm(forms.Form):
    """A guide's TOML file to begin a draft from."""

    file = forms.FileField(
        label="TOML file",
        help_text="Comments are left out: a draft keeps what a guide says.",
        allow_empty_file=True,
        error_messages={
            "required": "Choose the TOML file.",
            "invalid": "Choose the TOML file and send it again.",
        },
    )

    def clean_file(self) -> str:
        upload = self.cleaned_data["file"]
        if (upload.size or 0) > 4_000_000:
            raise forms.ValidationError("A guide's file has at most 4 MB.")
        try:
            return str(upload.read().decode("utf-8"))
        except UnicodeDecodeError:
            raise forms.ValidationError("The file is not UTF-8 text. Save it as UTF-8.") from None
