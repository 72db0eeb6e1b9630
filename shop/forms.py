"""Forms of the Counter: they read what was typed and say beside the field what cannot be used."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from uuid import uuid4

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import QueryDict

from shop import clock
from shop.models import STAGES, Complaint, Customer, Family, Ticket, Variant
from shop.money import parse_minor
from shop.opening import check_agreed, check_promise
from shop.refusals import Refusal
from shop.taking_in import NewCustomer, Shot, check_customer, find_customer
from shop.timesheets import WORKS

MOST_PHOTOGRAPHS = 20


def new_key() -> str:
    """A key for a form that is about to be shown: sending it twice is one deed."""
    return str(uuid4())


def add_refusal(form: forms.Form, trouble: Refusal) -> None:
    """Put what a rule says beside the fields that it names; the rest stands above the form."""
    for name, message in trouble.errors.items():
        form.add_error(name if name in form.fields else None, message)


class MoneyField(forms.CharField):
    """An amount as typed; cleaned to minor units of the shop's currency."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"max_length": 20, "required": False} | options)
        self.widget.attrs["inputmode"] = "decimal"

    def clean(self, value: Any) -> int:
        typed = str(super().clean(value) or "").strip()
        if not typed:
            return 0
        try:
            return parse_minor(typed)
        except Refusal as trouble:
            raise forms.ValidationError(trouble.message) from None


class ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotographsField(forms.FileField):
    """Several uploads; cleaned to photographs that were decoded and written anew, outside any transaction."""

    widget = ManyFiles(attrs={"accept": "image/jpeg,image/png,image/webp,image/heic,.heic"})

    def clean(self, data: Any, initial: Any = None) -> list[Shot]:
        from shop.photographs import rewrite_photograph

        uploads = data if isinstance(data, list | tuple) else [data] if data else []
        if self.required and not uploads:
            raise forms.ValidationError("Choose at least one photograph.")
        if len(uploads) > MOST_PHOTOGRAPHS:
            raise forms.ValidationError(
                f"At most {MOST_PHOTOGRAPHS} photographs at a time. Send the rest after."
            )
        try:
            return [Shot(_title(one), rewrite_photograph(one)) for one in uploads]
        except Refusal as trouble:
            raise forms.ValidationError(trouble.message) from None


def _title(upload: UploadedFile[bytes]) -> str:
    return (upload.name or "photograph").rpartition(".")[0][:100] or "photograph"


class Keyed(forms.Form):
    """A form whose deed happens once however often it is sent."""

    key = forms.CharField(widget=forms.HiddenInput, min_length=8, max_length=80)

    def take_new_key(self) -> None:
        """After a key was used for something else: the next sending is a deed of its own."""
        assert isinstance(self.data, QueryDict)
        data = self.data.copy()
        data["key"] = new_key()
        self.data = data

    def body(self) -> dict[str, Any]:
        """What was sent, without what differs from one sending to the next."""
        sent = {
            name: self.data.getlist(name) if hasattr(self.data, "getlist") else self.data[name]
            for name in self.data
            if name not in {"csrfmiddlewaretoken", "key"}
        }
        files = self.files.getlist("photographs") if hasattr(self.files, "getlist") else []
        return sent | {"photographs": [[one.name, one.size] for one in files]}


def _day(label: str, **options: Any) -> forms.DateField:
    return forms.DateField(
        label=label, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}), **options
    )


def _words(label: str, limit: int = 4000, **options: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=limit, widget=forms.Textarea, required=False, **options)


class OpeningForm(Keyed):
    """All that is said when a unit comes in. Variants and complaints are those of its family."""

    family = forms.ModelChoiceField(
        Family.objects.all(), to_field_name="code", widget=forms.HiddenInput, required=True
    )
    whose = forms.ChoiceField(
        label="Whose unit",
        choices=[("customer", "a customer's"), ("shelf", "the shop's own, rebuilt for the shelf")],
        widget=forms.RadioSelect,
        initial="customer",
    )
    customer = forms.CharField(
        label="Customer already known",
        required=False,
        max_length=200,
        help_text="Begin to type: name, mail address, or number such as #12.",
        widget=forms.TextInput(attrs={"list": "known-customers", "autocomplete": "off"}),
    )
    new_name = forms.CharField(label="New customer: name", required=False, max_length=120)
    new_email = forms.CharField(label="Mail address", required=False, max_length=254)
    new_phone = forms.CharField(label="Telephone", required=False, max_length=40)
    vehicle = forms.CharField(label="Vehicle", required=False, max_length=120)
    variant = forms.ModelChoiceField(Variant.objects.none(), label="Variant", empty_label="choose")
    serial = forms.CharField(label="Serial number", required=False, max_length=60)
    casting_numbers = forms.CharField(label="Casting numbers", required=False, max_length=120)
    oil_in = forms.BooleanField(label="It came with oil in", required=False)
    complaints = forms.ModelMultipleChoiceField(
        Complaint.objects.none(), label="Complaints", required=False, widget=forms.CheckboxSelectMultiple
    )
    complaint_words = _words("In the customer's words")
    missing_words = _words("What is missing", help_text="Said now, nobody is asked about it later.")
    second_unit = _words("A second unit came with it", help_text="What it is, and what of it is there.")
    box_of_parts = _words(
        "A box of loose parts came with it", help_text="List the parts: the list is signed."
    )
    photographs = PhotographsField(
        label="Photographs",
        required=False,
        help_text="From every side, as it came. JPEG, PNG, WebP or HEIC; at most 20 MB each.",
    )
    declared_value = MoneyField(label="Declared value")
    examination_fee = MoneyField(label="Fee to strip and examine")
    on_no = forms.ChoiceField(
        label="If the quote is declined",
        choices=[(word, word) for word in Ticket.ON_NO],
        widget=forms.RadioSelect,
        initial=Ticket.ON_NO[0],
    )
    storage_words = forms.CharField(
        label="Storage after a no", required=False, max_length=200, help_text="How long, and what it costs."
    )
    agreed_by = forms.CharField(
        label="Agreed by", required=False, max_length=120, help_text="Name of who agreed to the fee."
    )
    deposit = MoneyField(label="Deposit taken")
    promised_on = _day("Promised date", required=False, help_text="A day that the shop can keep.")

    parts = (
        ("The customer", ("whose", "customer", "new_name", "new_email", "new_phone")),
        ("The unit", ("vehicle", "variant", "serial", "casting_numbers", "oil_in")),
        ("What is wrong", ("complaints", "complaint_words", "missing_words")),
        ("What came beside it", ("second_unit", "box_of_parts", "photographs")),
        (
            "What was agreed",
            (
                "declared_value",
                "examination_fee",
                "on_no",
                "storage_words",
                "agreed_by",
                "deposit",
                "promised_on",
            ),
        ),
    )

    def __init__(self, family: Family, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.chosen = family
        variants = self.fields["variant"]
        complaints = self.fields["complaints"]
        assert isinstance(variants, forms.ModelChoiceField)
        assert isinstance(complaints, forms.ModelMultipleChoiceField)
        variants.queryset = family.variants.all()
        complaints.queryset = family.complaints.filter(retired_at__isnull=True)

    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(heading, [self[name] for name in names]) for heading, names in self.parts]

    def clean(self) -> dict[str, Any]:
        """Who it is for, and what the rule would refuse: all of it is said in one round."""
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("family") not in {None, self.chosen}:
            self.add_error(None, "The family was changed meanwhile. Choose it again above.")
        self._find_owner(cleaned)
        self._ask(check_promise, cleaned.get("promised_on"))
        if cleaned.get("whose") == "customer":
            self._ask(check_agreed, cleaned.get("examination_fee", 0), cleaned.get("agreed_by", ""))
        return cleaned

    def _find_owner(self, cleaned: dict[str, Any]) -> None:
        known, new = cleaned.get("customer", ""), cleaned.get("new_name", "")
        newcomer = NewCustomer(new, cleaned.get("new_email", ""), cleaned.get("new_phone", ""))
        if cleaned.get("whose") == "shelf":
            if known or new:
                self.add_error("whose", "A unit for the shelf has no customer. Leave the customer empty.")
            return
        if known and new:
            self.add_error("new_name", "Either a known customer or a new one, not both.")
        elif known:
            cleaned["owner"] = self._ask(find_customer, known)
        elif new:
            cleaned["owner"] = newcomer
        elif not {"customer", "new_name"} & {*self.errors}:
            self.add_error("customer", "Who brings it? Choose a known customer or write a new one.")
        if not known and newcomer.email:
            self._ask(check_customer, replace(newcomer, name=new or "not written yet"))

    def _ask(self, check: Callable[..., Any], *said: Any) -> Any:
        """What the check answers; a refusal is put beside its field."""
        try:
            return check(*said)
        except Refusal as trouble:
            add_refusal(self, trouble)
            return None

    def ticket_fields(self) -> dict[str, Any]:
        """Arguments of :func:`shop.taking_in.take_in_unit`."""
        said = self.cleaned_data
        beside = (("second unit", said["second_unit"]), ("box of parts", said["box_of_parts"]))
        same = (
            "vehicle",
            "variant",
            "serial",
            "casting_numbers",
            "oil_in",
            "complaint_words",
            "missing_words",
            "on_no",
            "storage_words",
            "agreed_by",
            "promised_on",
        )
        return {name: said[name] for name in same} | {
            "family": self.chosen,
            "customer": said.get("owner"),
            "complaints": list(said["complaints"]),
            "declared_value_minor": said["declared_value"],
            "examination_fee_minor": said["examination_fee"],
            "deposit_minor": said["deposit"],
            "more_sources": [(kind, words) for kind, words in beside if words.strip()],
            "shots": said["photographs"],
        }


def known_customers(limit: int = 200) -> list[str]:
    """The newest customers as the form offers them, each with its number."""
    rows = Customer.objects.filter(forgotten_at__isnull=True).order_by("-pk")[:limit]
    return [f"{one.name} #{one.pk}" for one in rows]


class MoveForm(forms.Form):
    """Where to, of the stages that are reached by hand. ``back``: the same, for going back."""

    seen = forms.CharField(widget=forms.HiddenInput, max_length=20)
    to = forms.ChoiceField(
        label="Move on to",
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "A ticket does not become this by hand now. Choose from the list."},
    )
    why = forms.CharField(label="Why", required=False, max_length=200)

    def __init__(self, choices: list[str], *args: Any, label: str = "Move on to", **options: Any) -> None:
        super().__init__(*args, **options)
        to = self.fields["to"]
        assert isinstance(to, forms.ChoiceField)
        to.label = label
        to.choices = [(one, one) for one in choices]


class EndForm(forms.Form):
    """The ticket is abandoned, and why."""

    seen = forms.CharField(widget=forms.HiddenInput, max_length=20)
    to = forms.CharField(widget=forms.HiddenInput, max_length=20)
    why = forms.CharField(
        label="Why it ends",
        max_length=200,
        error_messages={"required": "Say why it ends: it stands in the log."},
    )


class HoldForm(forms.Form):
    held_why = forms.CharField(label="Why it waits", max_length=200)
    held_until = _day("Until", required=False)

    def clean_held_until(self) -> Any:
        until = self.cleaned_data["held_until"]
        if until is not None and until < clock.today():
            raise forms.ValidationError("This day is past. Write a day that is still to come.")
        return until


class TimeForm(Keyed):
    minutes = forms.IntegerField(
        label="Minutes worked", help_text="Less than zero takes some back.", widget=forms.TextInput
    )
    work = forms.ChoiceField(label="At", choices=[(word, word) for word in WORKS])


class PhotographsForm(Keyed):
    photographs = PhotographsField(label="More photographs", required=True)


class HandOverForm(forms.Form):
    fitted_on = _day("Fitted on", help_text="The warranty runs from fitting, not from the invoice.")
    months = forms.IntegerField(label="Months", initial=12, widget=forms.TextInput)
    distance_km = forms.IntegerField(
        label="Or so many km", required=False, min_value=1, max_value=2_000_000, widget=forms.TextInput
    )
    hours = forms.IntegerField(
        label="Or so many hours of running",
        required=False,
        min_value=1,
        max_value=200_000,
        widget=forms.TextInput,
    )
    conditions = _words("Conditions", help_text="They stand on the warranty card.")


STAGE_FILTERS = [("", "all that are open"), *((stage, stage) for stage in STAGES[:-1]), ("closed", "closed")]


class FindForm(forms.Form):
    """What the list of tickets shows; an unknown stage shows all."""

    q = forms.CharField(label="Number, customer or serial", required=False, max_length=80)
    stage = forms.ChoiceField(label="Stage", choices=STAGE_FILTERS, required=False)

    def said(self) -> tuple[str, str]:
        self.is_valid()
        return self.cleaned_data.get("q", "").strip(), self.cleaned_data.get("stage", "")
