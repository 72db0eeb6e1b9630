"""Forms of the Office and of the customer's page. They parse; the rules decide."""

from typing import Any
from uuid import uuid4

from django import forms

from shop import clock
from shop.refusals import Refusal

STALE_FORM = "The form came without its key. Open the page again and answer from there."


def fresh_key() -> str:
    return str(uuid4())


class Refusable(forms.Form):
    """A form that shows what a rule refused beside the field, or above the form."""

    def show(self, trouble: Refusal) -> None:
        for field, message in trouble.errors.items():
            self.add_error(field if field in self.fields else None, message)


class AnswerForm(Refusable):
    """The customer's name, under a key so that a form sent twice is one answer."""

    name = forms.CharField(
        label="Your name",
        max_length=120,
        help_text="It stands under your answer.",
        error_messages={
            "required": "Write your name: it stands under your answer.",
            "max_length": "Write your name in at most %(limit_value)d characters.",
        },
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    key = forms.CharField(
        widget=forms.HiddenInput,
        max_length=80,
        initial=fresh_key,
        error_messages={"required": STALE_FORM, "max_length": STALE_FORM},
    )


class RateForm(Refusable):
    currency = forms.CharField(
        max_length=3,
        help_text="Three letters, such as GBP.",
        error_messages=dict.fromkeys(
            ("required", "max_length"), "Write the three letters of a currency, such as GBP."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    on = forms.DateField(
        label="Day",
        input_formats=["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y"],
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        error_messages={
            "required": "Write the day of the rate.",
            "invalid": "Write a day such as 2026-10-05.",
        },
    )
    rate = forms.CharField(
        max_length=20,
        error_messages=dict.fromkeys(("required", "max_length"), "Write a rate such as 1.1500."),
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    sure = forms.BooleanField(label="I looked twice: it is right", required=False)

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"on": clock.today()})
        super().__init__(*args, **kwargs)
        self.fields["rate"].help_text = f"So many {currency} for one of the other currency."
