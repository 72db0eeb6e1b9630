"""Signed links: one purpose, one value, so long and no longer (OWASP ASVS 5.0, 9.1.1, 9.2.1, 9.2.2)."""

from datetime import timedelta

import pytest

from shop.access import NotThere
from shop.clock import shifted
from shop.links import sign, unsign

WEEK = timedelta(days=7)


@pytest.mark.parametrize("value", ["17", "Müller: 4/2 ~ [x]", ""])
def test_a_token_brings_its_value_back(value: str) -> None:
    token = sign("quote", value)
    assert unsign("quote", token, WEEK) == value
    assert set(token) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_~")


def test_another_purpose_is_refused() -> None:
    with pytest.raises(NotThere):
        unsign("ticket", sign("quote", "17"), WEEK)


def test_every_altered_character_is_refused() -> None:
    token = sign("quote", "17")
    for at, letter in enumerate(token[:-1]):  # the last one of base64 may carry unused bits
        with pytest.raises(NotThere):
            unsign("quote", token[:at] + ("A" if letter != "A" else "B") + token[at + 1 :], WEEK)


@pytest.mark.parametrize("token", ["", "~", "a" * 5000, "17", "é~ü", "\x00"])
def test_nonsense_is_refused(token: str) -> None:
    with pytest.raises(NotThere):
        unsign("quote", token, WEEK)


def test_it_ends_by_the_shops_clock() -> None:
    token = sign("quote", "17")
    with shifted(WEEK - timedelta(minutes=1)):
        assert unsign("quote", token, WEEK) == "17"
    with shifted(WEEK + timedelta(minutes=1)), pytest.raises(NotThere):
        unsign("quote", token, WEEK)
