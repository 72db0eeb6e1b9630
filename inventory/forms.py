"""Forms of the Stores: they read what was typed and say beside the field what cannot be used."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from inventory.feeds import MAX_BYTES
from inventory.models import Bin, Lot, Part, Supplier
from shop.forms import MoneyField, new_key
from shop.models import Position

QUANTITY = {
    "required": "Write how many.",
    "invalid": "Write a whole number, such as 3.",
    "min_value": "Write %(limit_value)s or more.",
    "max_value": "Write at most %(limit_value)s.",
}


class ShortField(forms.CharField):
    """Words of a limited length. ``ask``: what to do when nothing is written."""

    def __init__(self, *, ask: str = "", **options: Any) -> None:
        super().__init__(
            error_messages={
                "required": ask,
                "max_length": "Write at most %(limit_value)d characters: these are %(show_value)d.",
            },
            **options,
        )


class FindForm(forms.Form):
    """The one search of the Stores. Nothing typed is ever wrong; it only finds less."""

    text = forms.CharField(label="Number, name or tag", max_length=80, required=False)
    position = forms.CharField(label="Position", max_length=20, required=False)
    bin = forms.CharField(label="Bin", max_length=20, required=False)


class Keyed(forms.Form):
    """A form whose deed is done once, however often it is sent."""

    key = ShortField(
        widget=forms.HiddenInput,
        max_length=80,
        initial=new_key,
        ask="The form came without its key. Open the page again and send it from there.",
    )


def choose(thing: str) -> dict[str, str]:
    """Messages of a list to choose from; ``thing`` with its article."""
    return {
        "required": f"Choose {thing}.",
        "invalid_choice": f"Choose {thing} from the list: this one is not in it.",
    }


class BinField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def __init__(self, **options: Any) -> None:
        super().__init__(
            **{
                "queryset": Bin.objects.all(),
                "empty_label": "Choose a bin",
                "label": "Bin",
                "error_messages": choose("the bin"),
            }
            | options
        )

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.code}  {obj.name}".strip()


class ReceiveForm(Keyed):
    quantity = forms.IntegerField(label="Quantity", min_value=1, max_value=1_000_000, error_messages=QUANTITY)
    cost = MoneyField(
        label="Cost of one",
        help_text="In the shop's currency; 0 if it cost nothing.",
        required=True,
        error_messages={"required": "Write what one cost, 0 if nothing."},
    )
    bin = BinField()
    why = ShortField(
        label="From", max_length=120, required=False, help_text="Delivery note, or where it came from."
    )


class LotField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.bin.code}: {obj.balance.on_hand} on hand, {obj.balance.reserved} promised"


class AdjustForm(Keyed):
    lot = LotField(
        queryset=Lot.objects.none(), empty_label="Choose a lot", label="Lot", error_messages=choose("the lot")
    )
    quantity = forms.IntegerField(
        label="More or fewer",
        min_value=-1_000_000,
        max_value=1_000_000,
        help_text="3 if three more were counted, -3 if three fewer.",
        error_messages=QUANTITY,
    )
    why = ShortField(label="Why", max_length=160, ask="Write why the count changes.")

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["lot"]
        assert isinstance(field, LotField)
        field.queryset = Lot.objects.filter(part=part).select_related("bin", "balance")


class CorrectForm(Keyed):
    why = ShortField(label="What was wrong", max_length=160, ask="Write what was wrong.")


class PutForm(Keyed):
    bin = BinField(label="Put into bin")


class ScrapForm(Keyed):
    why = ShortField(label="Why it is scrapped", max_length=160, ask="Write why it is scrapped.")


class PositionField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.family.code}  {obj.code}  {obj.name}"


class TakeInForm(Keyed):
    position = PositionField(
        label="Position",
        empty_label="Choose a position",
        queryset=Position.objects.filter(retired_at__isnull=True).select_related("family"),
        error_messages=choose("the position"),
    )
    size = ShortField(
        label="Size",
        max_length=30,
        initial="standard",
        help_text="standard, oversize or undersize.",
        ask="Write the size: standard, oversize or undersize.",
    )
    bin = BinField()
    cost = MoneyField(label="What it cost the shop", help_text="In the shop's currency.")
    ran_in = ShortField(
        label="Ran in",
        max_length=40,
        required=False,
        help_text="The unit or donor that it came out of. Pieces with the same words ran together.",
    )
    words = ShortField(label="In words", max_length=200, required=False)


class UploadForm(Keyed):
    supplier = forms.ModelChoiceField(
        queryset=Supplier.objects.all(),
        label="Supplier",
        empty_label="Choose a supplier",
        error_messages=choose("the supplier"),
    )
    file = forms.FileField(
        label="Price file",
        help_text="CSV in the supplier's manner, at most 200 MB.",
        allow_empty_file=True,
        error_messages={
            "required": "Choose the price file.",
            "invalid": "Choose the price file and send it again.",
        },
    )

    def clean_file(self) -> UploadedFile[bytes]:
        upload: UploadedFile[bytes] = self.cleaned_data["file"]
        if (upload.size or 0) > MAX_BYTES:
            raise forms.ValidationError("A price file has at most 200 MB. Send it in parts.")
        if not upload.size:
            raise forms.ValidationError("The file is empty.")
        return upload


class ReceivePurchaseForm(Keyed):
    bin = BinField()
