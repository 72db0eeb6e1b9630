"""A guide of published repair standards, inches as printed: what follows from them, and the misprint.

Source of every row: TM 9-2520-246-34 (US Army, May 1978), tables 4-6, 4-7 and 5-1; the rows stand in
``tests/handbook/data/repair_standards.csv`` as well, where the misprinted end is put right.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from inspections.checking import check_document
from inspections.document import GuideIndex, Limit, read
from inspections.judgement.judging import Finding, PieceRecord, ReadingRecord, judge
from tests.handbook.checks import table

GUIDE = Path(__file__).parent / "guides" / "published_fits.toml"
ROWS = {f"R{number:02d}": row for number, row in enumerate(table("repair_standards.csv"), 1)}
MISPRINTED = "R05"
HAIR_MM = 0.0001
ENDS = {"H": "hole", "S": "shaft"}


@pytest.fixture(scope="module")
def guide() -> GuideIndex:
    document, problems = check_document(GUIDE.read_text(encoding="utf-8"))
    assert [one for one in problems if one.severity == "refused"] == []
    return GuideIndex(read(document))


def mm(inches: str) -> float:
    """Exact by definition: 1 in = 25.4 mm."""
    return float(inches) * 25.4


def test_every_published_row_is_in_the_guide(guide: GuideIndex) -> None:
    stacks = {one.code: one for one in guide.guide.checks if one.kind == "stack"}
    assert stacks.keys() == ROWS.keys()
    for code, row in ROWS.items():
        assert row["source"] == stacks[code].source
        for end, name in ENDS.items():
            limit = guide.feature[f"{code}{end}.D"].limits[0]
            stated = (limit.new_min_mm, limit.new_max_mm)
            assert stated == pytest.approx((mm(row[f"{name}_new_min_in"]), mm(row[f"{name}_new_max_in"])))
            worn = row[f"{name}_wear_limit_in"]
            assert (limit.wear_mm is None) == (worn == "")
            if worn:
                assert limit.wear_mm == pytest.approx(mm(worn))


def test_the_fits_are_those_published_but_for_the_misprint(guide: GuideIndex) -> None:
    for code, row in ROWS.items():
        check = guide.check[code]
        assert check.fit is not None
        assert check.fit[0] == pytest.approx(mm(row["fit_tightest_in"]))
        assert check.wear_mm == pytest.approx(mm(row["fit_wear_limit_in"]))
        same = check.fit[1] == pytest.approx(mm(row["fit_loosest_in"]))
        assert same == (code != MISPRINTED)


def test_only_the_misprinted_fit_does_not_follow_from_its_sizes() -> None:
    _, problems = check_document(GUIDE.read_text(encoding="utf-8"))
    (found,) = problems
    assert (found.severity, found.key) == ("warning", f"check {MISPRINTED}.fit")
    # Printed 0.0024T, the sizes give 1.2496 − 1.2540 = 0.0044T: 0.0020 in = 0.0508 mm off.
    assert "the loosest end by 0.0508 mm off" in found.message
    assert "tightest" not in found.message
    assert GUIDE.read_text(encoding="utf-8").splitlines()[found.line - 1] == 'fit = "0.0100T-0.0024T"'


def finding(guide: GuideIndex, code: str, check: str, **sizes_mm: float) -> Finding:
    pieces = [PieceRecord(f"P{end}", f"{code}{end}") for end in ENDS]
    readings = [
        ReadingRecord(f"R{end}", f"{code}{end}", ((f"P{end}", 1),), "Ann", number, value_mm=sizes_mm[name])
        for number, (end, name) in enumerate(ENDS.items(), 1)
        if name in sizes_mm
    ]
    (found,) = judge(guide, "ALL", pieces, readings).of_check(check)
    return found


def worn_ends() -> Iterator[Any]:
    """Every end that has a wear limit, and which way it wears: holes grow, shafts shrink."""
    for code, row in ROWS.items():
        for end, name in ENDS.items():
            if row[f"{name}_wear_limit_in"]:
                yield pytest.param(code, end, 1 if end == "H" else -1, id=f"{code}-{name}")


@pytest.mark.parametrize(("code", "end", "way"), list(worn_ends()))
def test_a_part_at_its_wear_limit_is_within_and_a_hair_beyond_outside(
    guide: GuideIndex, code: str, end: str, way: int
) -> None:
    worn = mm(ROWS[code][f"{ENDS[end]}_wear_limit_in"])
    for value, state in (
        (worn, "within"),
        (worn - way * HAIR_MM, "within"),
        (worn + way * HAIR_MM, "outside"),
    ):
        found = finding(guide, code, f"{code}{end}", **{ENDS[end]: value})
        assert found.state == state


@pytest.mark.parametrize("code", ROWS)
def test_a_fit_at_its_wear_limit_is_within_and_a_hair_looser_outside(guide: GuideIndex, code: str) -> None:
    shaft = mm(ROWS[code]["shaft_new_max_in"])
    limit = mm(ROWS[code]["fit_wear_limit_in"])
    for clearance, state in ((limit, "within"), (limit - HAIR_MM, "within"), (limit + HAIR_MM, "outside")):
        found = finding(guide, code, code, hole=shaft + clearance, shaft=shaft)
        assert found.state == state


@pytest.mark.parametrize("code", [code for code in ROWS if code != MISPRINTED])
@pytest.mark.parametrize("loose", [False, True])
def test_any_new_parts_go_together(guide: GuideIndex, code: str, loose: bool) -> None:
    def ends(end: str) -> Limit:
        return guide.feature[f"{code}{end}.D"].limits[0]

    hole, shaft = ends("H"), ends("S")
    sizes = (hole.new_max_mm, shaft.new_min_mm) if loose else (hole.new_min_mm, shaft.new_max_mm)
    assert finding(guide, code, code, hole=sizes[0], shaft=sizes[1]).state == "within"
