"""The checker: what a guide may state since it holds printed fits, ISO zones, sizes of mates and form."""

from contextlib import nullcontext
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inspections.checking import check_document
from inspections.checking.limits import place_of
from inspections.document import GuideIndex, is_sensitive, read
from inspections.guiding.shape import Problem
from tests.inspections.small import SMALL, index

MATE = (
    'terms = [{ feature = "CASE.B", factor = 1 }, { feature = "SHAFT.D", factor = -1 }]\nfit = [0.007, 0.041]'
)
BORE = 'limit = [{ new = [26.000, 26.021] }, { size = "oversize", new = [26.100, 26.121] }]'


SHAFT_TERM = '{ feature = "SHAFT.D", factor = -1 }]'
LID_TERM = (SHAFT_TERM, SHAFT_TERM.replace("]", ', { feature = "LID.T", factor = 1 }]'))
LID_T = '[[feature]]\ncode = "LID.T"\nposition = "LID"\nname = "lid"\nlimit = [{ new = [1.0, 2.0] }]'


def changed(*pairs: tuple[str, str]) -> str:
    text = SMALL
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    return text


def problems(*pairs: tuple[str, str]) -> list[Problem]:
    return check_document(changed(*pairs))[1]


def one(key: str, *pairs: tuple[str, str]) -> Problem:
    (found,) = [row for row in problems(*pairs) if row.key == key]
    return found


def mate(text: str) -> Any:
    return index(text).check["MATE"]


# ISO 286-1:2010: 26 H7 is 0/+21, 26 g6 is −7/−20 µm; so H7/g6 is 7 to 41 µm (tables 1, 4 and 5).
def test_a_mate_by_iso_zones_has_the_fit_that_the_standard_gives() -> None:
    found = mate(changed((MATE, MATE.replace("fit = [0.007, 0.041]", 'zones = "26 H7/g6"'))))
    assert found.fit == (0.007, 0.041)
    assert (found.lower_mm, found.upper_mm) == (0.007, 0.060)


def test_zones_that_the_sizes_do_not_give_are_warned_of_by_how_much() -> None:
    found = one("check MATE.zones", (MATE, MATE.replace("fit = [0.007, 0.041]", 'zones = "26 H7/k6"')))
    # H7/k6: 0 − 15 = −15 to 21 − 2 = 19 µm; the sizes give 7 to 41: 22 µm off at both ends.
    assert found.severity == "warning"
    assert "stated as -0.0150 to 0.0190 mm" in found.message
    assert "tightest end by 0.0220 mm and the loosest end by 0.0220 mm off" in found.message


def test_a_feature_by_zone_has_the_limits_that_the_standard_gives() -> None:
    text = changed(("{ new = [26.000, 26.021] }", '{ zone = "26 H7" }'))
    limit = index(text).feature["CASE.B"].limits[0]
    assert (limit.new_min_mm, limit.new_max_mm) == (26.0, 26.021)


@pytest.mark.parametrize(
    ("fit", "unit", "expected"),
    [
        ("0.0005L-0.0025L", "", (0.0127, 0.0635)),
        ("0.0005T-0.0010L", "", (-0.0127, 0.0254)),
        ("0.0030T-0.0010T", "in", (-0.0762, -0.0254)),
        ("0.007L-0.041L", "mm", (0.007, 0.041)),
    ],
)
def test_a_fit_as_manuals_print_it(fit: str, unit: str, expected: tuple[float, float]) -> None:
    unit_line = f'\nunit = "{unit}"' if unit else ""
    text = changed(
        (MATE, MATE.replace("fit = [0.007, 0.041]", f'fit = "{fit}"{unit_line}')), ("wear = 0.060", "")
    )
    document, found = check_document(text)
    assert [row for row in found if row.severity == "refused"] == []
    assert GuideIndex(read(document)).check["MATE"].fit == pytest.approx(expected, abs=1e-9)


def test_a_wear_limit_as_manuals_print_it() -> None:
    text = changed(
        (MATE, MATE.replace("fit = [0.007, 0.041]", 'fit = "0.0003L-0.0016L"')),
        ("wear = 0.060", 'wear = "0.0024L"'),
    )
    assert mate(text).upper_mm == pytest.approx(0.06096)


def test_lengths_in_inches_are_read_as_such() -> None:
    text = changed(
        (
            'name = "casing width"\nrule = "simple"\nlimit = [{ new = [100.0, 100.1], wear = 100.3 }]',
            'name = "casing width"\nunit = "in"\nlimit = [{ new = [4.0, 4.1], wear = 4.2 }]',
        ),
        ('leaves = [{ feature = "CASE.W", to = [100.05, 100.25] }]', ""),
    )
    limit = index(text).feature["CASE.W"].limits[0]
    assert (limit.new_min_mm, limit.new_max_mm, limit.wear_mm) == pytest.approx((101.6, 104.14, 106.68))


SIZED = 'sizes = [{ size = "oversize", fit = [0.007, 0.041], wear = 0.055 }]'


def test_a_mate_has_limits_of_its_own_for_a_size() -> None:
    found = mate(changed(("wear = 0.060", f"wear = 0.060\n{SIZED}")))
    assert found.limits_for(["oversize"]).upper_mm == 0.055
    assert found.limits_for(["standard"]).upper_mm == 0.060


@pytest.mark.parametrize(
    ("pairs", "key", "words"),
    [
        (
            [(BORE, 'limit = [{ new = [26.0, 26.021], zone = "26 H7" }]')],
            "feature CASE.B.limit",
            "each with new",
        ),
        ([("{ new = [26.000, 26.021] }", '{ zone = "26 J3" }')], "feature CASE.B.limit", "readable"),
        ([(MATE, MATE + '\nzones = "26 H7/g6"')], "check MATE.zones", "take one of the two away"),
        ([("fit = [0.007, 0.041]", 'fit = "loose"')], "check MATE.fit", "is no stated fit"),
        ([("fit = [0.007, 0.041]", 'zones = "H7/g6"')], "check MATE.zones", "no basic size"),
        ([("fit = [0.007, 0.041]", 'zones = "26 g6/H7"')], "check MATE.zones", "capital letters"),
        (
            [("wear = 0.060", 'sizes = [{ size = "odd", fit = [0.0, 0.1] }]')],
            "check MATE.sizes",
            "has size odd",
        ),
        ([("wear = 0.060", 'sizes = [{ size = "oversize" }]')], "check MATE.sizes", "needs min, max"),
        (
            [("wear = 0.060", 'sizes = [{ size = "oversize", fit = [0.2, 0.1] }]')],
            "check MATE.sizes",
            "upside down",
        ),
        ([("wear = 0.060", "rollers = 24")], "check MATE.terms", "factors 1, -1 and -2"),
        ([("wear = 0.060", "gap = [0.1, 0.2]")], "check MATE.gap", "needs the number of rollers"),
        ([("form = 0.012", "form = 0.012\ntaper = 0.01")], "feature CASE.B.taper", "two depths"),
        ([("form = 0.012", "spread = 0.012")], "feature CASE.B.spread", "several places"),
        ([("form = 0.012", "form = 0.012\nspread = 0.01")], "feature CASE.B.spread", "of one part"),
        ([("form = 0.012", "form = -1.0")], "feature CASE.B.form", "above 0"),
        ([("form = 0.012", "stated = true")], "feature CASE.B.stated", "no check measures it"),
        (
            [("{ new = [26.000, 26.021] }", "{ new = [26.0, 26.021], mean = [26.03, 26.04] }")],
            "feature CASE.B.limit",
            "lie beyond",
        ),
        (
            [("{ new = [26.000, 26.021] }", "{ new = [26.0, 26.021], mean = [26.02, 26.01] }")],
            "feature CASE.B.limit",
            "mean are upside down",
        ),
        (
            [('size = "oversize", new = [26.100, 26.121]', 'size = "second", new = [26.1, 26.121]')],
            "feature CASE.B.limit",
            "No part has size second",
        ),
        ([('feature = "CASE.B"\n', 'feature = "CASE.B"\nrepeats = 0\n')], "check BORE.repeats", "1 or more"),
        ([('places = ["left", "right"]', 'places = ["left", "left"]')], "check WIDTH.places", "stands twice"),
        (
            [('designation = "3/8-16 UNC"', 'designation = "3/8-16 UNC"\ntaper = true')],
            "check THREAD.taper",
            "is a parallel thread",
        ),
        ([('kind = "look"', 'kind = "look"\nchase = true')], "check LOOK.chase", "says nothing"),
        (
            [('name = "rust"', 'name = "rust"\npicture = "../rust.svg"')],
            "defect RUST.picture",
            "name of a picture",
        ),
        ([("minutes = 60", 'minutes = 60\nrules_out = ["FACE"]')], "remedy FACE.rules_out", "itself"),
        (
            [('variants = ["RC"]', 'variants = ["RC"]\n' + LID_T), LID_TERM],
            "check MATE.terms",
            "which variant FC does not have",
        ),
    ],
)
def test_what_cannot_work_is_refused_with_its_key(pairs: list[tuple[str, str]], key: str, words: str) -> None:
    found = [row for row in problems(*pairs) if row.key == key and words in row.message]
    assert found
    assert {row.severity for row in found} == {"refused"}
    assert all(row.line > 0 for row in found)


def test_entries_in_one_line_have_no_header_to_count_and_are_refused() -> None:
    text = SMALL[: SMALL.index("[[complaint]]")] + SMALL[SMALL.index("[[step]]") :]
    text = text.replace(
        "\n[guide]", 'complaint = [{ code = "A", name = "a", explained_by = ["LOOK"] }]\n[guide]', 1
    )
    (found,) = check_document(text)[1]
    assert (found.key, found.message) == ("complaint", "Write each entry as [[complaint]].")


def test_a_thread_that_no_table_has_is_warned_of() -> None:
    found = one("check THREAD.designation", ('"3/8-16 UNC"', '"7/16-15 ODD"'))
    assert found.severity == "warning"


GASKET = """
[[feature]]
code = "SEAL.T"
position = "SEAL"
name = "gasket as compressed"
stated = true
limit = [{ new = [0.35, 0.45] }]
"""


def test_a_compressed_gasket_needs_no_reading_only_where_it_is_always_replaced() -> None:
    used = (
        '{ feature = "SHAFT.D", factor = -1 }]',
        '{ feature = "SHAFT.D", factor = -1 }, { feature = "SEAL.T", factor = 1 }]',
    )
    text = changed(used, ("[[remedy]]", GASKET + "\n[[remedy]]"))
    assert [row for row in check_document(text)[1] if row.severity == "refused"] == []
    kept = text.replace('kind = "replaced"', 'kind = "look"', 1)
    assert [row.key for row in check_document(kept)[1] if row.severity == "refused"] == [
        "feature SEAL.T.stated"
    ]
    unread = text.replace("stated = true", "", 1)
    refused = [row.message for row in check_document(unread)[1] if row.severity == "refused"]
    assert refused == [
        f"No reading can give SEAL.T on variant {code}: no check measures it." for code in ("FC", "RC")
    ]


# Grey iron 11.4e-6/K (Callister, table B.6): 26.121 mm × 11.4e-6 × 10 = 2.98 µm, over a tenth of 21 µm;
# 100.3 mm × 11.4e-6 × 10 = 11.4 µm, under a tenth of 300 µm. Steel: 26.093 × 11.5e-6 × 10 = 3.0 of 33 µm.
def test_a_check_is_sensitive_when_ten_degrees_shift_it_by_over_a_tenth_of_its_zone() -> None:
    guide = index()
    assert guide.shift_um["BORE"] == pytest.approx(2.98, abs=0.01)
    assert {one.code: is_sensitive(guide, one) for one in guide.guide.checks if one.kind == "measure"} == {
        "BORE": True,
        "WIDTH": False,
        "DIAMETER": False,
    }
    warm = index(changed(('feature = "CASE.W"\n', 'feature = "CASE.W"\nwarm = true\n')))
    assert is_sensitive(warm, warm.check["WIDTH"])


def test_what_a_part_is_comes_first_of_its_position() -> None:
    text = SMALL.replace('code = "ID"', 'code = "LAST"', 1)
    start, end = text.index('[[check]]\ncode = "LAST"'), text.index('[[check]]\ncode = "TEETH"')
    moved = (
        text[:start]
        + text[end : text.index("[[defect]]")]
        + text[start:end]
        + text[text.index("[[defect]]") :]
    )
    codes = [one.code for one in index(moved).checks_of("FC") if one.position == "CASE"]
    assert codes == ["LAST", "LOOK", "THREAD", "BORE", "WIDTH"]


@pytest.mark.parametrize(
    ("place", "expected"), [("front, upright", ("front", "upright")), ("upright", ("", "upright"))]
)
def test_a_place_names_a_depth_and_a_direction(place: str, expected: tuple[str, str]) -> None:
    assert place_of(place) == expected


@pytest.mark.parametrize(
    ("pair", "told", "refused"),
    [
        (("wear = 0.060", "wear = 0.060"), "", ""),
        (("fit = [0.007, 0.041]", "fit = [0.007, 0.045]"), "warning: check MATE.fit", ""),
        (("fit = [0.007, 0.041]", "fit = [0.041, 0.007]"), "refused: check MATE.fit", "1 refused"),
    ],
)
def test_the_command_only_checks(
    pair: tuple[str, str], told: str, refused: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No database is at hand in this test: a check that asked it would fail."""
    file = tmp_path / "guide.toml"
    file.write_text(changed(pair), encoding="utf-8")
    caught = pytest.raises(CommandError, match=refused) if refused else nullcontext()
    with caught:
        call_command("guide", str(file), "--check")
    said = capsys.readouterr()
    assert ("Can be published" in said.out) == (not refused)
    assert told in said.err
    assert bool(said.err) == bool(told)
