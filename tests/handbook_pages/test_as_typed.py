"""A person's own decimal mark, inches in front for who typed inches, and messages that say what to do."""

from __future__ import annotations

import html
import re
from typing import Any
from urllib.parse import urlencode

import pytest

from shop.handbook.working import OutOfRange, Step
from shop.refusals import Refusal
from shop.topics.all import TOPICS
from shop.topics.reading import example_inputs
from shop.topics.shown import in_inches, inch_first
from shop.topics.table import answer, outside
from tests.conftest import Cast, SignedIn

ONE = TOPICS["tightening"].example


@pytest.mark.parametrize("topic", sorted(TOPICS))
@pytest.mark.parametrize("mark", [".", ","])
def test_the_example_is_read_by_either_mark_alike(topic: str, mark: str) -> None:
    found = TOPICS[topic]
    with_mark = answer(found, example_inputs(found, mark), mark)
    assert with_mark.reply == answer(found, found.example).reply


def test_a_plain_number_and_an_amount_are_read_by_the_persons_own_mark() -> None:
    comma = answer(TOPICS["tightening"], ONE | {"clamp_fraction": "0,75"}, ",")
    assert comma.reply == answer(TOPICS["tightening"], ONE | {"clamp_fraction": "0.75"}).reply
    amounts = TOPICS["order-plan"].example
    asked = answer(TOPICS["order-plan"], amounts | {"holding_cost": "2,5 EUR"}, ",")
    assert asked.reply == answer(TOPICS["order-plan"], amounts | {"holding_cost": "2.5 EUR"}).reply


@pytest.mark.parametrize(
    ("typed", "mark", "words"),
    [
        ("0,75", ".", "Write a plain number, such as 0.75."),
        ("1.250", ",", '"1.250" could be two numbers. Write 1,250 or 1250.'),
        ("1e-3", ".", "Write a plain number, such as 0.75."),
        ("nan", ".", "Write a plain number, such as 0.75."),
    ],
)
def test_a_number_that_is_not_plain_is_refused(typed: str, mark: str, words: str) -> None:
    with pytest.raises(Refusal) as refused:
        answer(TOPICS["tightening"], ONE | {"clamp_fraction": typed}, mark)
    assert refused.value.errors == {"clamp_fraction": words}


@pytest.mark.parametrize(
    ("trouble", "name", "words"),
    [
        (
            OutOfRange("temperature_c", 2000.0, "-30 to 150 °C"),
            "temperature",
            "Allowed: −30 to 150 °C. This is 2000.",
        ),
        (OutOfRange("term", -5.0, "1e-09 to 1e+07"), "term", "Allowed: above 0, to 10000000. This is −5."),
        (OutOfRange("thickness", 0.0, "0.02 to 10 mm"), "gasket", "Thickness is 0; allowed: 0.02 to 10 mm."),
    ],
)
def test_what_is_outside_says_what_is_allowed(trouble: OutOfRange, name: str, words: str) -> None:
    assert outside(trouble, name) == words


def test_no_message_shows_a_name_of_the_program() -> None:
    """Odd values of every argument: no underscore, power or bare float in what a person reads."""
    seen = 0
    for topic in TOPICS.values():
        for one in topic.arguments:
            for odd in ("rubbish", "-5", "0", "999999999", "-5 mm", "0.00001 mm", "2000 °C"):
                try:
                    answer(topic, topic.example | {one.name: odd})
                except Refusal as refused:
                    for field, message in refused.errors.items():
                        seen += 1
                        assert field in topic.names, (topic.name, one.name, odd, message)
                        assert not re.search(r"[a-z]_[a-z]|[0-9]e[+-]|[0-9]\.0\b(?! mm)", message), message
    assert seen > 500


@pytest.mark.parametrize(
    ("typed", "inches"),
    [
        (["1.5 in", "RC4"], True),
        (['1 1/8"'], True),
        (["TW; 2.05 in; 0.1 thou"], True),
        (["22 lbf ft"], True),
        (["25 mm", "1 in"], False),
        (["25 mm"], False),
        (["24", "H7"], False),
    ],
)
def test_who_typed_inches_is_known(typed: list[str], inches: bool) -> None:
    assert in_inches(typed) is inches


def test_inches_stand_in_front_for_who_typed_inches() -> None:
    assert inch_first("0 to +40.6 µm (+1.60 thou)") == "0 to +1.60 thou (+40.6 µm)"
    assert inch_first("TW-2: 0.246 mm (0.0097 in), over 99 %") == "TW-2: 0.0097 in (0.246 mm), over 99 %"
    assert inch_first("29.0 N·m (21.4 lbf ft)") == "21.4 lbf ft (29.0 N·m)"
    assert inch_first("no figure") == "no figure"


def test_a_working_has_the_typographic_minus_and_no_other_dash_changes() -> None:
    inputs = (("a", "-0.02 mm"), ("b", "-2 to -1 thou"), ("c", "2026-11-25, T-12, 3/8-16 UNC"))
    assert Step("f", inputs, "s").inputs == (
        ("a", "−0.02 mm"),
        ("b", "−2 to −1 thou"),
        ("c", "2026-11-25, T-12, 3/8-16 UNC"),
    )


@pytest.mark.django_db
def test_a_page_speaks_the_mark_and_the_system_of_who_asks(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    inch = html.unescape(client.get("/handbook/inch-fit?diameter=1.5+in&fit_class=RC4").content.decode())
    assert "clearance 1.00 thou (25.4 µm)" in inch
    cast.technician.decimal_mark = ","
    cast.technician.save(update_fields=["decimal_mark"])
    empty = html.unescape(client.get("/handbook/conformity").content.decode())
    assert "Such as 25,019 mm." in empty
    link = re.search(r'href="([^"]+)">Fill in an example', empty)
    assert link is not None
    assert urlencode({"value": "25,019 mm"}) in link[1]
    assert client.get(link[1]).status_code == 200


@pytest.mark.django_db
def test_a_page_jumps_to_what_came_of_it(cast: Cast, signed_in: SignedIn) -> None:
    """One place with the id that the form's address names: the answer, or what is not right yet."""
    client = signed_in(cast.technician)
    for query, inside in (("25+mm", "Answer"), ("25", "One thing is not right yet")):
        text = client.get(f"/handbook/limits?diameter={query}&zone=H7").content.decode()
        assert 'action="#answer"' in text
        assert text.count('id="answer"') == 1
        assert inside in text.split('id="answer"')[1][:400]


@pytest.mark.django_db
def test_a_warm_fit_says_which_figure_is_warm(cast: Cast, signed_in: SignedIn) -> None:
    query: dict[str, Any] = TOPICS["fit"].example
    text = signed_in(cast.technician).get(f"/handbook/fit?{urlencode(query)}").content.decode()
    assert "Tightest at 80 °C" in text
    # ISO 286-2, tables 6 and 27: H7 0/+21 with p6 +22/+35 gives −35 to −1 when cold.
    assert "interference 35.0 µm (1.38 thou) to interference 1.0 µm (0.04 thou)" in text
