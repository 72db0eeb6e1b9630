"""Amounts as they are typed: read, or refused with what is wrong and an example."""

import pytest

from shop.money import parse_minor
from shop.refusals import Refusal


@pytest.mark.parametrize(
    ("text", "currency", "minor"),
    [
        ("84", "EUR", 8400),
        ("84.5", "EUR", 8450),
        (" 84,50 ", "EUR", 8450),
        ("1200.50", "EUR", 120050),
        ("0", "EUR", 0),
        ("1.234", "KWD", 1234),  # ISO 4217: three places
        ("1500", "JPY", 1500),
    ],
)
def test_an_amount_is_read(text: str, currency: str, minor: int) -> None:
    assert parse_minor(text, currency) == minor


@pytest.mark.parametrize(
    ("text", "currency", "says"),
    [
        ("1,200.50", "EUR", "without the comma, point or space between the thousands, such as 1200.50."),
        ("1.200,5", "EUR", "such as 1200.50."),
        ("12,345,678", "EUR", "such as 12345678.00."),
        ("1 200", "EUR", "such as 1200.00."),
        ("1,200", "EUR", "such as 1200.00."),  # not guessed at: it is 1.20 to some
        ("1,200", "JPY", "such as 1200."),
        ("-5", "EUR", "without the minus, such as 84.50."),
        ("−5", "EUR", "without the minus"),
        ("1234567890", "EUR", "too large: at most nine digits before the point"),
        ("1234567890.00", "EUR", "too large"),
        ("€ 5", "EUR", "without a currency sign"),
        ("four", "EUR", "Write an amount such as 84.50"),
        ("84.505", "EUR", "such as 84505.00. There are 2 digits after the point."),
        ("0.505", "EUR", "EUR has 2 digits after the point"),
        ("84.5055", "EUR", "EUR has 2 digits after the point"),
    ],
)
def test_what_is_no_amount_is_said_with_an_example(text: str, currency: str, says: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_minor(text, currency)
    assert says in refused.value.message
