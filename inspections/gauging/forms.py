"""Forms of the register of gauges: quantities as typed, with their units; only what its kind has."""

from __future__ import annotations

from typing import Any

from django import forms

from inspections.document import DIMENSIONS
from inspections.gauge_models import Gauge
from inspections.gauging.kinds import CHAIN, FIXED, NOT_FOR_LENGTHS, WRENCH, kinds_of, usual_measures
from shop.forms import new_key
from shop.handbook.quantities import Refused, parse

CERTIFICATE = ("certificate", "calibrated_on", "due_on", "whereabouts")
UNCERTAIN = ("expanded_um", "calibration_um")


class QuantityField(forms.CharField):
    """A quantity as typed; cleaned to the canonical number times ``scale``, or None if left empty."""

    def __init__(
        self, quantity: str, unit: str, *, scale: float = 1.0, example: str = "", **options: Any
    ) -> None:
        said: dict[str, Any] = {
            "max_length": 40,
            "error_messages": {"required": f"Write it with its unit, such as {example}."},
        }
        super().__init__(**(said | options))
        self.quantity, self.unit, self.scale = quantity, unit, scale
        self.mark = "."
        self.widget.attrs |= {"autocomplete": "off"}

    def clean(self, value: Any) -> float | None:
        text = str(super().clean(value) or "").strip()
        if not text:
            return None
        try:
            return parse(text, self.quantity, self.unit, self.mark).canonical * self.scale
        except Refused as refused:
            raise forms.ValidationError(f"{str(refused).removesuffix('.')}.") from None


class PercentField(forms.CharField):
    """A share in percent, such as 4 or 2.5."""

    def clean(self, value: Any) -> float | None:
        text = str(super().clean(value) or "").strip().removesuffix("%").strip().replace(",", ".")
        if not text:
            return None
        whole, _, part = text.partition(".")
        if not (
            whole.isascii()
            and whole.isdigit()
            and len(whole) < 4
            and (not part or part.isdigit())
            and len(part) < 6
        ):
            raise forms.ValidationError("Write a number of percent, such as 4.")
        return float(text)


def _day(label: str, **options: Any) -> forms.DateField:
    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    return forms.DateField(
        label=label,
        widget=widget,
        required=False,
        error_messages={"invalid": "Write a day, such as 2026-11-25."},
        **options,
    )


class PartField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """One of the two gauges of a chain."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**({"queryset": Gauge.objects.none(), "empty_label": "Choose a gauge"} | options))


class GaugeForm(forms.Form):
    """One gauge of a kind: add it, or say it differently. The rule says what does not go together."""

    use_required_attribute = False

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    code = forms.CharField(
        label="Code", max_length=20, error_messages={"required": "Write the code that is on the gauge."}
    )
    name = forms.CharField(
        label="What it is", max_length=80, error_messages={"required": "Write what it is."}
    )
    first = PartField(
        label="It feels the part with",
        help_text="A telescopic gauge, say.",
        error_messages={"required": "Choose the gauge that feels the part."},
    )
    second = PartField(
        label="It is read with",
        help_text="The micrometer that is closed over it.",
        error_messages={"required": "Choose the gauge that it is read with."},
    )
    measures = forms.MultipleChoiceField(
        label="It measures",
        choices=[(one, one) for one in DIMENSIONS],
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="None ticked: anything.",
    )
    size_mm = QuantityField(
        "length",
        "mm",
        label="Its size",
        example="26.000 mm",
        help_text="As its certificate says, in mm if no unit is typed.",
    )
    from_mm = QuantityField(
        "length", "mm", label="Range from", required=False, help_text="In mm if no unit is typed."
    )
    to_mm = QuantityField("length", "mm", label="Range to", required=False)
    from_nm = QuantityField(
        "torque", "N·m", label="Range from", example="5 N·m", help_text="In N·m if no unit is typed."
    )
    to_nm = QuantityField("torque", "N·m", label="Range to", example="60 N·m")
    resolution_um = QuantityField(
        "length",
        "µm",
        scale=1000.0,
        label="Smallest step",
        example="1 µm",
        help_text="In µm if no unit is typed.",
    )
    expanded_um = QuantityField(
        "length",
        "µm",
        scale=1000.0,
        label="Expanded uncertainty",
        example="3 µm",
        help_text="Of one reading at this bench, k = 2, everything in it. In µm if no unit is typed.",
    )
    calibration_um = QuantityField(
        "length",
        "µm",
        scale=1000.0,
        label="Of that, by the calibration",
        example="1.5 µm",
        help_text="On the certificate, k = 2: what every reading with this gauge shares.",
    )
    torque_percent = PercentField(
        label="Expanded uncertainty, % of the torque",
        max_length=12,
        help_text="k = 2, on its certificate.",
        error_messages={"required": "Write the percentage on its certificate, such as 4."},
    )
    needs_zeroing = forms.BooleanField(
        label="It is set to a master before use",
        required=False,
        help_text="The bench then says when it was last set.",
    )
    certificate = forms.CharField(
        label="Certificate",
        max_length=200,
        required=False,
        help_text="Number, who made it, what it says of note.",
    )
    calibrated_on = _day("Calibrated on")
    due_on = _day("Due again on", help_text="Past this day it is refused for measuring.")
    whereabouts = forms.CharField(label="Where it is kept", max_length=80, required=False)

    def __init__(
        self, kind: str, *args: Any, mark: str = ".", gauge: Gauge | None = None, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.kind = kind
        wanted = {"version", "name", *fields_of(kind)} | ({"code"} if gauge is None else set())
        if gauge is not None:
            wanted -= {"first", "second"}
        for name in [one for one in self.fields if one not in wanted]:
            del self.fields[name]
        for field in self.fields.values():
            if isinstance(field, QuantityField):
                field.mark = mark
        if kind == "setting master":
            self.fields["size_mm"].required = False
        if "first" in self.fields:
            rows = Gauge.objects.filter(retired_at__isnull=True).exclude(
                kind__in=(CHAIN, *FIXED, *NOT_FOR_LENGTHS)
            )
            for name in ("first", "second"):
                field = self.fields[name]
                assert isinstance(field, PartField)
                field.queryset = rows

    def figures(self) -> dict[str, Any]:
        """What was said, as the rule takes it."""
        row = {key: value for key, value in self.cleaned_data.items() if key != "version"}
        if "measures" in row:
            row["measures"] = ", ".join(row["measures"]) or "any"
        return row


def fields_of(kind: str) -> tuple[str, ...]:
    """The fields that a gauge of this kind has, beside code and name."""
    if kind == CHAIN:
        return ("first", "second", "whereabouts")
    if kind == WRENCH:
        return ("from_nm", "to_nm", "torque_percent", *CERTIFICATE)
    if kind in {*FIXED, "setting master"}:
        return ("size_mm", *UNCERTAIN, *CERTIFICATE)
    if kind == "thread gauge":
        return (*UNCERTAIN, *CERTIFICATE)
    return ("measures", "from_mm", "to_mm", "resolution_um", *UNCERTAIN, "needs_zeroing", *CERTIFICATE)


def initial_of(kind: str) -> dict[str, Any]:
    return {"measures": [one for one in kinds_of(usual_measures(kind)) if one != "any"]}


def said_of(gauge: Gauge) -> dict[str, Any]:
    """What a form shows of a gauge that is there."""
    said: dict[str, Any] = {
        "version": gauge.version,
        "name": gauge.name,
        "measures": [one for one in kinds_of(gauge.measures) if one != "any"],
        "needs_zeroing": gauge.needs_zeroing,
        "certificate": gauge.certificate,
        "calibrated_on": gauge.calibrated_on,
        "due_on": gauge.due_on,
        "whereabouts": gauge.whereabouts,
        "torque_percent": None if gauge.torque_percent is None else f"{gauge.torque_percent:g}",
    }
    for names, unit in (
        (("from_mm", "to_mm", "size_mm"), "mm"),
        (("from_nm", "to_nm"), "N·m"),
        (("resolution_um", "expanded_um", "calibration_um"), "µm"),
    ):
        for name in names:
            value = getattr(gauge, name)
            said[name] = "" if value is None else f"{value:.10g} {unit}"
    return said


class ZeroForm(forms.Form):
    """I have set it: on what, and how far it was off."""

    use_required_attribute = False

    key = forms.CharField(widget=forms.HiddenInput, max_length=80, initial=new_key)
    master = forms.CharField(
        label="Set on",
        max_length=80,
        required=False,
        help_text="The code of a ring or master, or what it was.",
    )
    off = forms.CharField(
        label="It was off by", max_length=40, required=False, help_text="In µm if no unit is typed."
    )
    note = forms.CharField(label="Note", max_length=200, required=False)


class RetireForm(forms.Form):
    use_required_attribute = False

    why = forms.CharField(
        label="Why it goes out of use",
        max_length=200,
        error_messages={"required": "Say why it goes out of use."},
    )
