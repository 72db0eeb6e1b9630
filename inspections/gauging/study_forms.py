"""Forms of a gauge study: laying it out, and one blind reading."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from inspections.bench.forms import Asked
from inspections.gauge_models import Gauge
from inspections.gauging.studies import LEAST, REPEATS, Offer, name_of, readers
from shop.forms import new_key
from shop.models import User


class StudyForm(forms.Form):
    """Which gauge, which pieces, who, how often."""

    use_required_attribute = False

    key = forms.CharField(widget=forms.HiddenInput, max_length=80, initial=new_key)
    gauge = forms.ChoiceField(
        label="Gauge",
        error_messages={
            "required": "Choose the gauge that is studied.",
            "invalid_choice": "Choose a gauge from the list.",
        },
    )
    pieces = forms.MultipleChoiceField(
        label="Pieces",
        widget=forms.CheckboxSelectMultiple,
        help_text="Proposed: spread over the range, from the small end to the large one.",
        error_messages={
            "required": f"Choose at least {LEAST} pieces.",
            "invalid_choice": "Choose pieces from the list.",
        },
    )
    people = forms.MultipleChoiceField(
        label="People",
        widget=forms.CheckboxSelectMultiple,
        help_text="At least two: each reads every piece.",
        error_messages={
            "required": "Choose at least two people.",
            "invalid_choice": "Choose people from the list.",
        },
    )
    repeats = forms.TypedChoiceField(
        label="Each piece is read", coerce=int, choices=[(one, f"{one} times") for one in REPEATS], initial=3
    )

    def __init__(
        self, offer: Offer, tags: Sequence[str], gauges: Sequence[Gauge], *args: Any, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.offer = offer
        self._people = {str(one.pk): one for one in readers()}
        self._gauges = {one.code: one for one in gauges}
        self._choose("gauge", [("", "Choose the gauge"), *((one.code, str(one)) for one in gauges)])
        self._choose("pieces", [(tag, tag) for tag in tags])
        self._choose("people", [(key, name_of(one)) for key, one in self._people.items()])
        self.fields["pieces"].initial = list(tags)

    def _choose(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def chosen_gauge(self) -> Gauge:
        return self._gauges[self.cleaned_data["gauge"]]

    def chosen_people(self) -> list[User]:
        return [self._people[one] for one in self.cleaned_data["people"]]


class TurnForm(forms.Form):
    """One blind reading; ``reason`` only where a slip is read again."""

    use_required_attribute = False

    id = forms.UUIDField(widget=forms.HiddenInput)
    piece = forms.CharField(widget=forms.HiddenInput, max_length=20)
    repeat = forms.IntegerField(widget=forms.HiddenInput)
    text = Asked(
        label="The gauge shows",
        max_length=60,
        strip=False,
        help_text="In mm if no unit is typed.",
    )
    reason = forms.CharField(label="Why it is read again", max_length=200, required=False)

    def __init__(self, *args: Any, again: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        if not again:
            del self.fields["reason"]
        self.fields["text"].widget.attrs |= {
            "class": "reading-input",
            "autocomplete": "off",
            "autofocus": not self.is_bound,
        }
