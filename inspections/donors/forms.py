"""Forms of donors: buying one, sharing its cost, putting its pieces away."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from inventory.donors import MOST_SHARE
from inventory.forms import BinField, Keyed, ShortField, choose
from inventory.models import Bin, Donor, Piece
from shop.forms import MoneyField
from shop.models import Variant

NO_SHARE = "A share is a whole number, 0 or more, not an amount: 3 carries three times what 1 does."


class VariantField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.family.code} {obj.family.name}, {obj.name}"


class DonorForm(Keyed):
    """A unit bought to be stripped. The variant says the family."""

    variant = VariantField(
        queryset=Variant.objects.select_related("family").order_by("family__code", "code"),
        label="Family and variant",
        empty_label="Choose what it is",
        error_messages=choose("what it is"),
    )
    cost = MoneyField(
        label="What it cost",
        required=True,
        help_text="In the shop's currency, with what it cost to fetch; 0 if nothing.",
        error_messages={"required": "Write what it cost, 0 if nothing."},
    )
    bought_of = ShortField(
        label="Bought of",
        max_length=200,
        help_text="Of whom, where, and which paper says so.",
        ask="Say of whom it was bought, and which paper says so.",
    )
    serial = ShortField(label="Serial number", max_length=60, required=False)
    casting_numbers = ShortField(label="Casting numbers", max_length=120, required=False)


class SharesForm(forms.Form):
    """A share for each piece that is there; one that is left empty carries nothing."""

    def __init__(self, donor: Donor, pieces: Sequence[Piece], data: Any = None) -> None:
        super().__init__(data)
        for one in pieces:
            self.fields[f"share_{one.tag}"] = forms.IntegerField(
                label=f"Share of {one.tag}",
                min_value=0,
                max_value=MOST_SHARE,
                required=False,
                initial=donor.shares.get(one.tag),
                widget=forms.TextInput(attrs={"inputmode": "numeric", "size": "6"}),
                error_messages={
                    "invalid": NO_SHARE,
                    "min_value": NO_SHARE,
                    "max_value": "Write at most %(limit_value)s.",
                },
            )

    def shares(self) -> dict[str, int]:
        return {name.removeprefix("share_"): value or 0 for name, value in self.cleaned_data.items()}


class AwayForm(Keyed):
    """A bin for each piece that is to leave its tray."""

    def __init__(self, pieces: Sequence[Piece], data: Any = None) -> None:
        super().__init__(data)
        bins = list(Bin.objects.all())
        for one in pieces:
            field = BinField(label=f"Bin for {one.tag}", required=False, empty_label="stays in its tray")
            # One list of bins for all of them, fetched once.
            field.choices = [
                ("", "stays in its tray"),
                *((row.pk, f"{row.code}  {row.name}") for row in bins),
            ]
            self.fields[f"bin_{one.tag}"] = field

    def bins(self) -> dict[str, Bin]:
        return {
            name.removeprefix("bin_"): value
            for name, value in self.cleaned_data.items()
            if name.startswith("bin_") and value is not None
        }
