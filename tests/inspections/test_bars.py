"""The limit bar never fails and says what it shows; the pictures of the build sheet say what they hold."""

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from inspections.drawings.bars import bolt_picture, float_picture, limit_bar, plug_picture

anything = st.floats(allow_nan=True, allow_infinity=True)
length = st.floats(-1e4, 1e4)


def said(text: str) -> str:
    title = ElementTree.fromstring(text).find("title")
    assert title is not None
    return title.text or ""


def bar(value: float | None, lower: float | None, upper: float | None, **changes: object) -> str:
    settings: dict[str, object] = {"expanded_mm": 0.012, "guard_mm": 0.012, "unit": "mm", **changes}
    return limit_bar(value_mm=value, lower_mm=lower, upper_mm=upper, **settings)  # type: ignore[arg-type]


@given(st.none() | anything, anything, st.none() | anything, st.none() | anything, anything)
@example(0.0, 0.0, 0.0, 0.0, 0.0)
@example(1e308, 1.0, -1e308, 1e308, 0.0)
def test_never_fails_and_never_draws_what_is_not_a_number(
    value: float | None, expanded: float, lower: float | None, upper: float | None, guard: float
) -> None:
    text = limit_bar(
        value_mm=value, expanded_mm=expanded, lower_mm=lower, upper_mm=upper, guard_mm=guard, unit="mm"
    )
    root = ElementTree.fromstring(text)
    drawn = " ".join(one.attrib.get("d", "") + one.attrib.get("x", "") for one in root.iter())
    assert not re.search(r"nan|inf|e[+-]?\d", drawn, re.IGNORECASE)


@given(length, length, st.floats(0.001, 10), st.floats(0, 1), st.floats(0, 1))
def test_everything_stays_on_the_bar(
    value: float, lower: float, span: float, expanded: float, guard: float
) -> None:
    text = bar(value, lower, lower + span, expanded_mm=expanded, guard_mm=guard)
    for x in re.findall(r"M(-?[\d.]+) ", text):
        assert -0.05 <= float(x) <= 480


def test_the_needle_stands_where_the_value_lies() -> None:
    """By hand: the zone is 110 to 370, 38.142 lies at 0.84 of it: 110 + 0.84 × 260 = 328.4."""
    assert 'class="needle" d="M328.4 14' in bar(38.142, 38.1, 38.15)
    # The whisker: ±0.012 of 0.050 is ±62.4.
    assert 'class="whisker" d="M266 40H390.8' in bar(38.142, 38.1, 38.15)


def test_the_guard_bands_are_drawn_to_scale() -> None:
    """By hand: 0.012 of 0.050 of 260 is 62.4."""
    assert 'class="guard" d="M110 30H172.4V50H110ZM307.6 30H370V50H307.6Z"' in bar(38.142, 38.1, 38.15)
    assert 'class="guard"' not in bar(38.142, 38.1, 38.15, guard_mm=0.0)


def test_lettered_in_the_unit_that_was_typed() -> None:
    assert said(bar(38.142, 38.1, 38.15)) == "38.142 mm, plus or minus 0.012; limits 38.100 to 38.150 mm"
    assert ">1.5000<" in bar(38.142, 38.1, 38.15, unit="in")
    assert said(bar(0.508, None, 0.4, unit="thou")).startswith("20.0 thou")


@pytest.mark.parametrize(
    ("lower", "upper", "words"),
    [(0.1, None, "not below 0.100 mm"), (None, 0.4, "not above 0.400 mm"), (None, None, "no limits stated")],
)
def test_one_limit_or_none(lower: float | None, upper: float | None, words: str) -> None:
    text = bar(0.25, lower, upper)
    assert words in said(text)
    assert text.count('class="limit"') == (lower is not None) + (upper is not None)


def test_far_outside_breaks_the_scale_and_says_so() -> None:
    assert "broken-scale" in bar(39.5, 38.1, 38.15)
    assert "above the upper limit" in said(bar(39.5, 38.1, 38.15))
    assert "below the lower limit" in said(bar(35.0, 38.1, None))
    assert "broken-scale" not in bar(38.12, 38.1, 38.15)


@pytest.mark.parametrize(
    ("value", "lower", "upper"), [(0.05, None, 0.4), (0.4, None, 0.4), (90.0, 18.98, None)]
)
def test_a_value_inside_is_never_off_the_bar(value: float, lower: float | None, upper: float | None) -> None:
    assert "broken-scale" not in bar(value, lower, upper, guard_mm=0.0)


def test_no_reading_yet() -> None:
    assert said(bar(None, 38.1, 38.15)).startswith("No reading yet")
    assert "needle" not in bar(math.nan, 38.1, 38.15)


def test_no_style_and_no_script() -> None:
    pictures = [bar(38.142, 38.1, 38.15), plug_picture(), bolt_picture([("1", 0, 0, 1)])]
    assert not any(re.search(r"style=|<script|stroke=|fill=", one) for one in pictures)


def test_the_float_is_drawn_with_its_stack() -> None:
    washers = [("TW-155", 1.55), ("TW-180", 1.80)]
    text = float_picture(182.25, [("cluster <b>", 178.62)], washers, "float 0.28")
    words = [one.text for one in ElementTree.fromstring(text).iter("text")]
    assert words == [
        "TW-155 1.55", "cluster <b> 178.62", "TW-180 1.80", "float 0.28", "between faces 182.25",
    ]  # fmt: skip


def test_bolts_stand_where_they_sit() -> None:
    bolts = [("1", -70.0, 70.0, 1), ("2", 70.0, -70.0, 2), ("dowel", 70.0, 70.0, 3)]
    root = ElementTree.fromstring(bolt_picture(bolts))
    at = [(float(c.attrib["cx"]), float(c.attrib["cy"])) for c in root.iter("circle")]
    assert at[0][0] < at[1][0] == at[2][0]
    assert at[0][1] == at[2][1] < at[1][1], "y is upward on the joint"
    assert "dowel" in [one.text for one in root.iter("text")]
    assert bolt_picture([]) == ""


def test_one_bolt_and_bolts_on_a_line() -> None:
    for bolts in ([("1", 5.0, 5.0, 1)], [("1", 0.0, 0.0, 1), ("2", 0.0, 90.0, 2)]):
        assert ElementTree.fromstring(bolt_picture(bolts)).tag == "svg"


def test_the_plug_names_its_taper() -> None:
    assert "taper 1 : 16" in [one.text for one in ElementTree.fromstring(plug_picture()).iter("text")]


def test_readings_that_disagree_are_drawn_one_by_one() -> None:
    """By hand: 38.11 and 38.142 lie at 0.20 and 0.84 of the zone: 110 + 0.20 × 260 = 162, and 328.4."""
    text = bar(None, 38.1, 38.15, needles=[(38.11, 0.004), (38.142, 0.004)], disputed=True)
    assert re.findall(r'class="needle" d="M([\d.]+) 14', text) == ["162", "328.4"]
    assert said(text).startswith("Readings disagree: 38.110 mm and 38.142 mm; limits")
    nothing = bar(None, 38.1, 38.15, disputed=True)
    assert "needle" not in nothing
    assert said(nothing).startswith("Two readings disagree; limits")


@given(anything, anything, anything, st.none() | anything, st.none() | anything)
def test_needles_that_are_not_numbers_are_not_drawn(
    one: float, other: float, width: float, lower: float | None, upper: float | None
) -> None:
    text = bar(None, lower, upper, needles=[(one, width), (other, width)], disputed=True)
    drawn = " ".join(each.attrib.get("d", "") for each in ElementTree.fromstring(text).iter())
    assert not re.search(r"nan|inf|e[+-]?\d", drawn, re.IGNORECASE)
