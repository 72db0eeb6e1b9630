"""Typed text to number and back. Factors: NIST SP 811, Appendix B (from memory) or exact definitions."""

import math
import string

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from shop.handbook.kinds import KINDS
from shop.handbook.quantities import (
    Quantity,
    Refused,
    both,
    canonical_unit,
    convert,
    parse,
    show_length,
    units,
)
from tests.handbook.checks import table

INCH = 25.4  # exact since 1959


@pytest.mark.parametrize("row", table("typed.csv"), ids=lambda row: f"{row['kind']} {row['text']}")
def test_texts_that_are_read(row: dict[str, str]) -> None:
    found = parse(row["text"], row["kind"], row["default_unit"] or None, row["decimal_mark"] or ".")
    assert found.canonical == pytest.approx(float(row["canonical"]), rel=1e-12, abs=1e-12)
    assert found.resolution == pytest.approx(float(row["resolution"]), rel=1e-12)
    assert found.unit == row["unit"]
    assert (found.text, found.kind) == (row["text"], row["kind"])
    assert found.working[0].formula


@pytest.mark.parametrize("row", table("refused.csv"), ids=lambda row: f"{row['kind']} {row['text']}")
def test_texts_that_are_refused(row: dict[str, str]) -> None:
    text = row["text"].encode().decode("unicode_escape") if "\\" in row["text"] else row["text"]
    with pytest.raises(Refused, match=row["says"]) as caught:
        parse(text, row["kind"], row["default_unit"] or None, row["decimal_mark"] or ".")
    message = str(caught.value)
    assert "Write" in message  # every refusal shows how to write it
    assert message.isprintable()


def test_inches_are_exact() -> None:
    assert parse("1.1235 in", "length").canonical == 28.5369
    assert parse("1-1/8 in", "length").canonical == 28.575
    assert parse("113 °F", "temperature").canonical == 45.0
    assert parse("32 °F", "temperature").canonical == 0.0
    assert parse("-40 °F", "temperature").canonical == -40.0


def test_a_default_unit_is_the_unit() -> None:
    found = parse("28.54", "length", "mm")
    assert (found.canonical, found.unit) == (28.54, "mm")
    assert parse("28.54 in", "length", "mm").unit == "in"
    with pytest.raises(Refused, match='"furlong" is not a unit of length'):
        parse("28.54", "length", "furlong")


def test_pound_as_a_force_says_so() -> None:
    assert parse("40 lb", "force").cautions == ("lb was read as pound-force",)
    assert parse("40 lbf", "force").cautions == ()


def test_length_of_the_text_is_bounded() -> None:
    assert parse("1.5" + " " * 35 + "mm", "length").canonical == 1.5
    with pytest.raises(Refused, match="longer than 40"):
        parse("1.5" + " " * 36 + "mm", "length")


def test_arguments_that_no_page_offers() -> None:
    for kind in ("lenght", "", None, 3):
        with pytest.raises(Refused, match="The kind is one of length"):
            parse("1 mm", kind)  # type: ignore[arg-type]
    with pytest.raises(Refused, match="decimal mark"):
        parse("1 mm", "length", decimal_mark=";")
    for text in (None, 28.54, b"1 mm"):
        with pytest.raises(Refused, match="typed as text"):
            parse(text, "length")  # type: ignore[arg-type]


def test_every_spelling_is_read_and_every_kind_has_a_canonical_unit() -> None:
    for kind, rule in KINDS.items():
        assert canonical_unit(kind) in units(kind)
        assert parse(f"3 {rule.canonical}", kind).canonical == 3
        for unit in rule.units:
            first = parse(f"3 {unit.name}", kind).canonical
            for spelling in unit.also:
                assert parse(f"3 {spelling}", kind).canonical == first, spelling
                assert parse(f"3{spelling}", kind).canonical == first, spelling
            assert convert(first, kind, unit.name) == pytest.approx(3, rel=1e-12)
        spellings = [name for unit in rule.units for name in (unit.name, *unit.also)]
        assert len(spellings) == len(set(spellings)), kind


def test_examples_in_messages_are_themselves_read() -> None:
    for kind, rule in KINDS.items():
        for text in rule.example.replace(" or ", ", ").split(", "):
            assert math.isfinite(parse(text, kind).canonical), text


@pytest.mark.parametrize(
    ("mm", "unit", "resolution", "shown"),
    [
        (28.54, "mm", 0.01, "28.54 mm"),
        (28.546, "mm", 0.01, "28.55 mm"),
        (28.545, "mm", 0.01, "28.54 mm"),  # half to even, on the number as written
        (28.54, "mm", 1.0, "29 mm"),
        (28.54, "in", 0.001, "1.1236 in"),
        (28.54, "in", 0.01, "1.124 in"),
        (28.5369, "in", 0.00254, "1.1235 in"),
        (28.5369, "in", 0.0127, "1.1235 in"),
        (28.5343, "in", 0.0127, "1.1235 in"),  # 1.12340 on a gauge that steps by 0.0005 in
        (28.5369, "mm", 0.0127, "28.54 mm"),
        (28.53, "mm", 0.02, "28.52 mm"),
        (25.4 * 17 / 16, "in", 25.4 / 16, "1.0625 in"),
        (25.4 * 65 / 64, "in", 25.4 / 64, "1.0156 in"),
        (0.0127, "thou", 0.00254, "0.5 thou"),
        (0.012, "µm", 0.001, "12 µm"),
        (-0.05, "mm", 0.01, "−0.05 mm"),
        (-0.001, "mm", 0.01, "0.00 mm"),
        (28.54, '"', 0.01, "1.124 in"),
    ],
)
def test_lengths_shown(mm: float, unit: str, resolution: float, shown: str) -> None:
    assert show_length(mm, unit, resolution) == shown


def test_both_systems() -> None:
    assert both(28.54, 0.001) == "28.540 mm (1.1236 in)"
    assert both(-0.05, 0.01) == "−0.05 mm (−0.002 in)"


@pytest.mark.parametrize("resolution", [0, -1, math.nan, math.inf])
def test_a_resolution_is_above_nought(resolution: float) -> None:
    with pytest.raises(Refused, match="resolution"):
        show_length(1.0, "mm", resolution)


def test_only_numbers_are_converted() -> None:
    for value in (math.nan, math.inf):
        with pytest.raises(Refused, match="plain number"):
            convert(value, "length", "in")
    with pytest.raises(Refused, match="not a unit of torque"):
        convert(1.0, "torque", "mm")


LENGTH_UNITS = st.sampled_from(units("length"))
MICRONS = st.integers(-9_999_999, 9_999_999)


@settings(deadline=None)  # no clock in tests: the first conversion imports pint
@given(MICRONS, st.sampled_from([0.001, 0.01, 0.02, 0.0127, 0.00254, 0.0254, 0.1, 1.0]), LENGTH_UNITS)
def test_what_is_shown_is_read_back(microns: int, resolution: float, unit: str) -> None:
    """Round trip: shown text is a text that is read, within the rounding, and shows the same again."""
    mm = microns / 1000
    shown = show_length(mm, unit, resolution)
    if any(len(part) == 3 for part in shown.split(" ")[0].split(".")[1:]):
        comma = parse(shown.replace(".", ","), "length", decimal_mark=",")
        assert comma.canonical == parse(shown, "length").canonical
    again = parse(shown, "length")
    assert again.canonical == pytest.approx(mm, abs=1.6 * resolution)
    assert show_length(again.canonical, unit, resolution) == shown


@settings(deadline=None)  # no clock in tests: the first conversion imports pint
@given(st.integers(0, 15_000), st.integers(0, 4), LENGTH_UNITS, st.booleans())
def test_no_decimal_is_altered(number: int, places: int, unit: str, comma: bool) -> None:
    """A decimal in any unit comes back as the decimal that was typed."""
    typed = f"{number / 10**places:.{places}f}"
    text = f"{typed.replace('.', ',') if comma else typed} {unit}"
    value = number / 10**places
    limit = {"m": 20, "cm": 2000, "in": 787}.get(unit, 20_000)
    if value > limit:
        return
    found = parse(text, "length", decimal_mark="," if comma else ".")
    assert convert(found.canonical, "length", unit) == pytest.approx(value, rel=1e-13, abs=1e-13)
    assert convert(found.resolution, "length", unit) == pytest.approx(10**-places, rel=1e-12)


@settings(deadline=None)  # no clock in tests: the first conversion imports pint
@given(st.integers(0, 500), st.integers(1, 7), st.data(), st.sampled_from([" ", "-", "  "]))
def test_fractions_are_exact(whole: int, power: int, data: st.DataObject, joint: str) -> None:
    under = 2**power
    over = data.draw(st.integers(0, under - 1))
    found = parse(f"{whole}{joint}{over}/{under} in", "length")
    assert found.canonical == pytest.approx((whole + over / under) * INCH, rel=1e-14)
    assert found.resolution == pytest.approx(INCH / under)


SIGNS = [".", ",", "-", "−", "+", "/", " ", "\u00a0", "e", "_", "'", '"', "(", "*", "\n", "\0", "٣", "½", "²"]
WORDS = [
    "nan",
    "inf",
    "0x1F",
    "mm",
    "in",
    "µm",
    "μm",
    "Nm",
    "N·m",
    "lbf ft",
    "°F",
    "psi",
    "kg",
    "1e400",
    "mil",
]
PIECES = st.sampled_from([*string.digits, *SIGNS, *WORDS])
TEXTS = st.one_of(st.text(max_size=60), st.lists(PIECES, max_size=14).map("".join))


def _read(text: str, kind: str, default: str | None, mark: str) -> Quantity | str:
    try:
        return parse(text, kind, default, mark)
    except Refused as refusal:
        return str(refusal)


@settings(deadline=None)  # no clock in tests: the first conversion imports pint
@given(
    TEXTS,
    st.sampled_from([*KINDS, "nonsense"]),
    st.sampled_from([None, "mm", "N·m", "°F", "in"]),
    st.sampled_from(".,"),
)
@example("9" * 40, "length", "mm", ".")
@example("1/" + "0" * 38, "length", "in", ".")
@example("9" * 36 + ".1 K", "temperature", None, ".")
@example("\ud800 mm", "length", None, ".")
def test_nothing_but_refused_is_ever_raised(text: str, kind: str, default: str | None, mark: str) -> None:
    found = _read(text, kind, default, mark)
    if isinstance(found, str):
        assert found.encode()  # a message can always be sent
        return
    rule = KINDS[kind]
    assert len(text) <= 40
    assert rule.low <= found.canonical <= rule.high
    assert found.resolution > 0
    assert math.isfinite(found.resolution)
