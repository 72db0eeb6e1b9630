"""Tags and filters of the templates, and the pages that need no context."""

import re

import pytest
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.utils.safestring import mark_safe

from shop.handbook.working import COMMON_PRACTICE, Step
from shop.specimen import SpecimenForm
from shop.templatetags import layshaft


@pytest.mark.parametrize(
    ("minor", "currency", "text"),
    [
        (8400, "EUR", "84.00"),
        (5, "EUR", "0.05"),
        (0, "GBP", "0.00"),
        (-1250, "EUR", "−12.50"),
        (-5, "GBP", "−0.05"),
        (123456789, "EUR", "1234567.89"),
        (1500, "JPY", "1500"),  # ISO 4217: no minor unit
        (1500, "KWD", "1.500"),  # ISO 4217: three places
        (None, "EUR", "—"),
    ],
)
def test_money_is_text_with_the_places_of_its_currency(minor: int | None, currency: str, text: str) -> None:
    assert layshaft.money(minor, currency) == text


@pytest.mark.parametrize("key", layshaft.WORDS)
def test_a_verdict_is_drawn_and_said(key: str) -> None:
    html = Template("{% load layshaft %}{% verdict key %}").render(Context({"key": key}))
    assert "<svg" in html
    assert layshaft.WORDS[key] in html
    assert 'aria-hidden="true"' in html


def test_no_two_verdicts_as_found_are_drawn_alike() -> None:
    page = Template("{% load layshaft %}{% swatch key %}")
    drawn = {key: page.render(Context({"key": key})) for key in layshaft.AS_FOUND}
    assert len(set(drawn.values())) == len(drawn)
    planned = {key: page.render(Context({"key": key})) for key in layshaft.AS_PLANNED}
    assert len(set(planned.values())) == len(planned)


def test_an_unknown_verdict_is_a_mistake_not_a_blank() -> None:
    with pytest.raises(KeyError):
        layshaft.verdict("fine")


def test_working_takes_steps_and_frozen_dictionaries_alike() -> None:
    step = Step("F = T / (K d)", (("T", "24 N·m"), ("K", "0.15")), COMMON_PRACTICE)
    assert layshaft.working([step])["steps"] == layshaft.working([step.as_dict()])["steps"]
    html = Template("{% load layshaft %}{% working step %}").render(Context({"step": step}))
    for text in ("F = T / (K d)", "24 N·m", COMMON_PRACTICE, "<summary>"):
        assert text in html
    assert layshaft.working(None)["steps"] == []


def test_a_length_is_shown_in_both_systems() -> None:
    assert layshaft.both_lengths(28.54, 0.001) == "28.540 mm (1.1236 in)"


@pytest.mark.parametrize(
    ("cookie", "scheme"), [("paper", "paper"), ("blueprint", "blueprint"), ('"><b>', ""), (None, "")]
)
def test_only_a_known_scheme_reaches_the_page(cookie: str | None, scheme: str) -> None:
    request = RequestFactory().get("/")
    if cookie is not None:
        request.COOKIES[layshaft.SCHEME_COOKIE] = cookie
    assert layshaft.scheme_choice(Context({"request": request})) == scheme
    assert layshaft.scheme_choice(Context({})) == ""


def test_a_drawing_for_paper_carries_its_own_rules_and_ids() -> None:
    drawing = mark_safe(
        '<svg viewBox="0 0 9 9"><path class="part v-scrap" fill="url(#hatch-scrap)" d="M0 0"/></svg>'
    )
    other = mark_safe('<svg viewBox="0 0 8 8"><path class="part v-scrap" d="M0 0"/></svg>')
    one, two = layshaft.for_paper(drawing), layshaft.for_paper(other)
    assert ".v-scrap" in one
    ids = [set(re.findall(r'\bid="([^"]+)"', text)) for text in (one, two)]
    assert set(re.findall(r"url\(#([^)]+)\)", one)) <= ids[0]
    assert not ids[0] & ids[1]


def test_typed_text_is_never_taken_for_a_drawing() -> None:
    with pytest.raises(TypeError, match="typed text"):
        layshaft.for_paper('<svg><script href="x"/></svg>')
    with pytest.raises(ValueError, match="no drawing"):
        layshaft.for_paper(mark_safe("<p>none</p>"))


def test_a_mistake_stands_beside_its_field_and_leads_to_it() -> None:
    form = SpecimenForm({"pitch": "38,142"})
    html = render_to_string("shop/parts/form.html", {"form": form})
    control = re.search(r'<input[^>]*id="id_pitch"[^>]*>', html)
    assert control is not None
    described = re.search(r'aria-describedby="([^"]+)"', control[0])
    assert described is not None
    for name in described[1].split():
        assert f'id="{name}"' in html
    assert 'aria-invalid="true"' in control[0]
    assert 'value="38,142"' in control[0]
    assert '<a href="#id_pitch">' in html
    for name in re.findall(r'<a href="#([^"]+)">', html):
        assert f'id="{name}"' in html


@pytest.mark.parametrize("code", [400, 403, 404, 429, 500])
def test_the_pages_of_trouble_need_no_context(code: int) -> None:
    html = render_to_string(f"{code}.html")
    assert f">{code}<" in html
    assert "!" not in re.sub(r"<!doctype html>", "", html)


def test_the_summary_is_headed_by_the_number_of_its_lines() -> None:
    form = SpecimenForm({})
    form.is_valid()
    name = next(iter(form.fields))
    form.add_error(name, "A second thing about the same field.")
    form.add_error(None, "Something about the whole.")
    html = render_to_string("shop/parts/summary.html", {"form": form})
    lines = html.count("<li>")
    assert lines > len(form.errors)
    assert f"{lines} things are not right yet" in html
