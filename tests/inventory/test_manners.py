"""Suppliers' manners and their prices, without a database."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.manners import Unreadable, manner_from, price_micro, price_pattern
from shop.refusals import Refusal

COMMA = {"delimiter": ";", "decimal_mark": ",", "thousands_mark": "."}


@pytest.mark.parametrize(
    ("text", "stated", "micro"),
    [
        ("12.50", {}, 12_500_000),
        ("7", {}, 7_000_000),
        ("0.000001", {}, 1),
        ("12,50", COMMA, 12_500_000),
        ("1.234,5", COMMA, 1_234_500_000),
        ("1234,5", COMMA, 1_234_500_000),
        ("1 234.56", {"thousands_mark": " "}, 1_234_560_000),
        ("999999999.999999", {}, 999_999_999_999_999),
    ],
)
def test_a_price_is_read_as_the_supplier_writes_it(text: str, stated: dict[str, str], micro: int) -> None:
    manner = manner_from(stated)
    assert price_micro(text, manner, price_pattern(manner)) == micro


@pytest.mark.parametrize(
    "text", ["", "12,50", "1,234.50", "12.", ".5", "€ 5", "5 EUR", "1e3", "٣", "0x5", "12.3.4", "1.2345678"]
)
def test_what_is_in_another_manner_is_never_guessed(text: str) -> None:
    manner = manner_from({})
    with pytest.raises(Unreadable, match=r"Write the price as 12\.50"):
        price_micro(text, manner, price_pattern(manner))


@pytest.mark.parametrize("text", ["1.23,5", "12.34", "1.2345", "12.345.6"])
def test_groups_of_digits_are_threes(text: str) -> None:
    manner = manner_from(COMMA)
    with pytest.raises(Unreadable, match="12,50"):
        price_micro(text, manner, price_pattern(manner))


@pytest.mark.parametrize(
    ("text", "told"), [("-3", "negative"), ("−3.00", "negative"), ("(3.00)", "negative"), ("0.00", "nothing")]
)
def test_no_negative_price_and_none_of_nothing(text: str, told: str) -> None:
    manner = manner_from({})
    with pytest.raises(Unreadable, match=told):
        price_micro(text, manner, price_pattern(manner))


@given(st.integers(min_value=1, max_value=10**14))
def test_every_price_comes_back_as_it_was_written(micro: int) -> None:
    manner = manner_from({})
    assert price_micro(f"{micro // 10**6}.{micro % 10**6:06d}", manner, price_pattern(manner)) == micro


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ({"delimiter": "#"}, "delimiter is one of"),
        ({"encoding": "utf-7"}, "encoding is one of"),
        ({"separator": ","}, "separator is not known"),
        ({"columns": {"price": 5}}, "a column is named by"),
        ({"columns": {"cost": "Netto"}}, "columns are"),
        ({"decimal_mark": ",", "thousands_mark": ","}, "cannot have the same mark"),
    ],
)
def test_a_manner_that_cannot_be_used_is_told(stated: dict[str, object], told: str) -> None:
    with pytest.raises(Refusal, match=told) as refusal:
        manner_from(stated)
    assert "manner" in refusal.value.errors
