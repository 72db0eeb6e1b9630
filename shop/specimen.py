"""The specimen: every part of the interface on one page, for the eye and for the tests. All invented."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.context import PLACES
from shop.handbook.working import INVENTED, Step

STAGES = (
    "received",
    "stripped",
    "examined",
    "quoted",
    "agreed",
    "parts complete",
    "reworked",
    "built",
    "tested",
    "handed over",
)
LINES: tuple[dict[str, Any], ...] = (
    {
        "number": 11,
        "position": "First and reverse wheel, mainshaft",
        "key": "scrap",
        "found": "Two teeth broken at the engaging end",
        "way": "Used piece P-0412, bin C4",
        "minor": 8400,
    },
    {
        "number": 2,
        "position": "Mainshaft",
        "key": "rework",
        "found": "Seal land grooved, catches a nail",
        "way": "Wear sleeve, 20 min",
        "minor": 1840,
    },
    {
        "number": 9,
        "position": "Second, mainshaft",
        "key": "close",
        "found": "Bush bore 38.142 mm, limit 38.150 mm",
        "under": "gauge ±0.012 mm, 1.5017 in",
        "way": "Measure first, with the bore gauge",
        "minor": None,
        "current": True,
    },
    {
        "number": 8,
        "position": "Baulk ring, second",
        "key": "missing",
        "found": "Not in the box",
        "way": "New, 3 days",
        "minor": 2250,
    },
    {
        "number": 7,
        "position": "Third, mainshaft",
        "key": "wrong",
        "found": "Wheel of another variant",
        "way": "Used piece P-0398",
        "minor": 6150,
    },
    {
        "number": 3,
        "position": "Front bearing",
        "key": "replaced",
        "found": "Always replaced",
        "way": "New",
        "minor": 3120,
    },
)


class SpecimenForm(forms.Form):
    """One control of each kind, some of them left wrong."""

    customer = forms.CharField(label="Customer", help_text="Name as it should stand on the quote.")
    family = forms.ChoiceField(label="Family", choices=[("", "choose"), ("H4", "Hexworth H4 (invented)")])
    pitch = forms.CharField(label="Bore", help_text="Number and unit: 38.142 mm, 1.5017 in.", max_length=40)
    promised = forms.DateField(
        label="Promised date", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    source = forms.ChoiceField(
        label="Came as",
        choices=[("unit", "a whole unit"), ("box", "a box of loose parts")],
        widget=forms.RadioSelect,
    )
    words = forms.CharField(label="In the customer's words", required=False, widget=forms.Textarea)
    agreed = forms.BooleanField(label="The examination fee is agreed by name")

    def clean_pitch(self) -> str:
        raise forms.ValidationError("38,142 can be read in two ways. Write 38.142 mm.")


def specimen_context() -> dict[str, Any]:
    form = SpecimenForm(
        {"customer": "A. Harrow", "family": "H4", "pitch": "38,142", "words": "Jumps out of second."}
    )
    here = STAGES.index("examined")
    return {
        "form": form,
        "place": "bench",
        "places": [
            {"key": key, "label": label, "url": reverse(key), "current": False}
            for key, label, _right in PLACES
        ],
        "stages": [
            {"word": word, "past": at < here, "current": at == here} for at, word in enumerate(STAGES)
        ],
        "lines": LINES,
        "total": sum(line["minor"] or 0 for line in LINES),
        "page": Paginator(range(70), 10).page(2),
        "steps": [
            Step(
                "p = Φ((38.150 − 38.142) / u) = 0.909",
                (("u", "0.012 mm / 2 = 0.006 mm"), ("limit", "38.150 mm")),
                "JCGM 106:2012, 7.2",
            ),
            Step("38.100 ≤ d ≤ 38.150", (("d", "38.142 mm, 38 142 µm"),), INVENTED),
        ],
    }


def specimen(request: HttpRequest) -> HttpResponse:
    """The page itself; two notes are put on it as a deed would leave them."""
    messages.success(request, "Reading recorded at 10:42.")
    messages.error(request, "Piece P-0412 is promised to ticket 2409. Choose another.")
    return render(request, "shop/specimen.html", specimen_context())
