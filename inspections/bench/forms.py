"""Forms of the Bench: they carry what was typed; the rules say what cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID, uuid4

from django import forms

from inspections.bench.partners import Partner, with_chosen
from inspections.document import Check
from inspections.readings.device_clock import read_time
from inspections.readings.recording import Result, SentReading


class Asked(forms.CharField):
    """A field that has to be filled; if it is not, recording says so, and what would do."""

    def validate(self, value: Any) -> None:
        """Nothing here: an empty one goes to the rule."""


class Tags(forms.Field):
    """Tags of pieces, one from each of several controls of the same name; which fit is recording's to say."""

    widget = forms.SelectMultiple

    def to_python(self, value: Any) -> tuple[str, ...]:
        """The tags without the controls that were left empty."""
        return tuple(str(one) for one in value or () if one)


class ReadingForm(forms.Form):
    """One reading of one check; recording answers what cannot be used, in the shop's words."""

    use_required_attribute = False

    id = forms.UUIDField(widget=forms.HiddenInput)
    check = forms.CharField(max_length=40, widget=forms.HiddenInput)
    piece = forms.CharField(max_length=20, required=False, widget=forms.HiddenInput)
    # The tablet's clock; what it says is kept and never believed, so what cannot be read is left out.
    taken_at = forms.CharField(max_length=40, required=False, widget=forms.HiddenInput)
    pieces = Tags(
        required=False,
        label="Tried with",
        help_text="More than one piece lies there. Say which one was in.",
    )
    place = Asked(max_length=60, label="Place")
    gauge = Asked(max_length=20, label="Gauge")
    text = Asked(max_length=60, strip=False, label="Reading")
    part_temperature = forms.CharField(
        max_length=40,
        required=False,
        label="Temperature of the part",
        help_text="In °C if no unit is typed. A part warm from the wash reads large.",
    )
    override = forms.CharField(
        max_length=200,
        required=False,
        label="Why a gauge past due is used",
        help_text="For a gauge past its calibration date only. It stays with the reading.",
    )
    note = forms.CharField(max_length=200, required=False, label="Note")

    def __init__(
        self,
        check: Check,
        gauges: list[Any],
        *args: Any,
        overdue: bool = False,
        partners: Sequence[Partner] = (),
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.about = check
        self.partners = with_chosen(partners, self["pieces"].value() or ())
        if not partners:
            del self.fields["pieces"]
        if not (overdue and check.takes_quantity):
            del self.fields["override"]
        if not check.takes_quantity:
            del self.fields["part_temperature"], self.fields["gauge"], self.fields["place"]
        else:
            self._for_measure(check, gauges)
        if check.kind == "look" or (check.kind == "try" and not check.takes_quantity):
            del self.fields["text"]
        else:
            self._typed(check)

    def _for_measure(self, check: Check, gauges: list[Any]) -> None:
        self.fields["gauge"].widget = forms.Select(choices=gauges)
        if check.places:
            choices = [(one, one) for one in check.places]
            self.fields["place"].widget = forms.RadioSelect(choices=choices)
        else:
            del self.fields["place"]
        if not check.warm:
            del self.fields["part_temperature"]

    def _typed(self, check: Check) -> None:
        words = {
            "measure": ("Reading", "In mm if no unit is typed."),
            "try": ("Reading", "In mm if no unit is typed."),
            "count": ("Counted", ""),
            "identify": ("Read on the part", "As it is cast, stamped or etched."),
            "thread": ("Another thread than the guide's", "Its designation, such as M10x1.5."),
        }
        one = self.fields["text"]
        one.required = check.kind != "thread"
        one.label, one.help_text = words[check.kind]
        # After a refusal the summary takes the focus, so that it is read first.
        one.widget.attrs |= {"class": "reading-input", "autocomplete": "off", "autofocus": not self.is_bound}
        # A gauge that types writes numbers here, and a tag scanned here is no number.
        one.widget.attrs["data-number"] = check.takes_quantity or check.kind == "count"

    def take_refusal(self, result: Result) -> None:
        """Say beside the field what recording refused."""
        self.add_error(result.field if result.field in self.fields else None, result.problem)

    def sent(self, outcome: str = "") -> SentReading:
        """``outcome``: the button that was pressed, at a look check or a thread."""
        row = self.cleaned_data
        return SentReading(
            id=row["id"],
            check=row["check"],
            text=outcome or row.get("text", ""),
            piece=row["piece"],
            gauge=row.get("gauge", ""),
            part_temperature=row.get("part_temperature", ""),
            taken_at=read_time(row.get("taken_at", "")),
            place=row.get("place", ""),
            note=row["note"],
            override=row.get("override", ""),
            pieces=row.get("pieces", ()),
        )


class WithdrawForm(forms.Form):
    """Take a reading back, with the reason."""

    id = forms.UUIDField()
    withdraws = forms.UUIDField()
    check = forms.CharField(max_length=40)
    reason = forms.CharField(max_length=200, required=False)

    def sent(self) -> SentReading:
        row = self.cleaned_data
        return SentReading(
            id=row["id"], check=row["check"], text="", withdraws=row["withdraws"], reason=row["reason"]
        )


def new_id() -> UUID:
    return uuid4()
