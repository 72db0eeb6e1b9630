"""Forms of photographs: they carry what was typed; the rules say what cannot be used."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django import forms

from inspections.bench.forms import Asked
from shop.refusals import Refusal

KINDS = "image/jpeg,image/png,image/webp,image/heic,image/heif"


class AskedFile(forms.FileField):
    """A file that has to be chosen; if none is, the rule says so, in the shop's words."""

    def validate(self, value: Any) -> None:
        """Nothing here."""

    def clean(self, data: Any, initial: Any = None) -> Any:
        return super().clean(data, initial) if data else None


class Told(forms.Form):
    """A form whose refusals the rule says."""

    use_required_attribute = False

    def take_refusal(self, trouble: Refusal) -> None:
        """Say beside each field what the rule refused; what has no field here is said at the top."""
        for field, message in trouble.errors.items():
            here = field in self.fields and not self.fields[field].widget.is_hidden
            self.add_error(field if here else None, message)


class PhotographForm(Told):
    """One photograph of one check."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    check = forms.CharField(max_length=40, widget=forms.HiddenInput)
    piece = forms.CharField(max_length=20, required=False, widget=forms.HiddenInput)
    file = AskedFile(
        allow_empty_file=True,
        label="Photograph",
        help_text="JPEG, PNG, WebP or HEIC. Where it was taken is not kept.",
        widget=forms.ClearableFileInput(attrs={"accept": KINDS}),
    )
    note = forms.CharField(
        max_length=200,
        required=False,
        label="What it shows",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("auto_id", "photograph_%s")
        super().__init__(*args, **options)


class MarkForm(Told):
    """A place on the picture: tapped, or named by its zone."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    across = forms.FloatField(required=False, widget=forms.HiddenInput)
    down = forms.FloatField(required=False, widget=forms.HiddenInput)
    words = Asked(
        max_length=200,
        label="What is there",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    zone = forms.CharField(
        max_length=4,
        required=False,
        label="Zone",
        help_text="As on the frame, such as C4. Not needed if you tap the picture.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("auto_id", "mark_%s")
        super().__init__(*args, **options)


def new_mark() -> MarkForm:
    return MarkForm(initial={"id": uuid4()})
