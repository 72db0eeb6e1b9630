"""Tapping and insert drills against printed charts; the sources stand in data/tapping_drills.csv."""

import pytest

from shop.handbook.drills import insert_hole, tapping_drill
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.threads import MM_PER_INCH, sizes, thread
from shop.handbook.working import OutOfRange
from tests.handbook.checks import table

CHARTS = table("tapping_drills.csv")


@pytest.mark.parametrize("row", CHARTS, ids=lambda row: row["designation"])
def test_the_charts_drill_cuts_about_three_quarters(row: dict[str, str]) -> None:
    """A chart's drill for 75 % leaves 60 to 86 % by the formula: charts round to drills that were at hand."""
    found = thread(row["designation"])
    size = float(row["drill_mm"]) if row["drill_mm"] else float(row["drill_in"]) * MM_PER_INCH
    # 1.299038 P is the height over both sides that such charts reckon with.
    share = (found.major_mm - size) / (1.299038 * found.pitch_mm)
    assert 0.60 <= share <= 0.86, row["source"]
    near = [drill.diameter_mm for drill in tapping_drill(found, share).drills]
    assert any(one == pytest.approx(size, abs=0.06) for one in near)


@pytest.mark.parametrize("row", table("drill_sizes.csv"), ids=lambda row: row["name"])
def test_sizes_of_number_and_letter_drills(row: dict[str, str]) -> None:
    ours = {one["name"]: float(one["diameter_in"]) for one in rows("drills.csv")}
    assert ours[row["name"]] == pytest.approx(float(row["diameter_in"]))


def test_numbers_fall_and_letters_rise() -> None:
    listed = [(one["name"], float(one["diameter_in"])) for one in rows("drills.csv")]
    numbers = [size for name, size in listed if name.isdigit()]
    letters = [size for name, size in listed if not name.isdigit()]
    assert len(numbers) == 60
    assert numbers == sorted(numbers, reverse=True)
    assert len(letters) == 26
    assert letters == sorted(letters)


def test_every_bolt_thread_has_a_drill_inside_it() -> None:
    for name in sizes():
        found = thread(name)
        try:
            drills = tapping_drill(found).drills
        except OutOfRange:
            assert found.series in {"NPT", "NPTF", "R", "Rc", "Rp", "G"}
            continue
        assert drills, name
        # A taper thread's own drill is for its small end.
        below = 1.2 if found.taper else 0.6
        for drill in drills:
            assert found.minor_mm - below * found.pitch_mm < drill.diameter_mm < found.major_mm, (name, drill)


@pytest.mark.parametrize(
    ("size", "low", "high"), [("M6", 6.217, 6.407), ("M8", 8.271, 8.483), ("M10", 10.324, 10.561)]
)
def test_insert_holes(size: str, low: float, high: float) -> None:
    """Minor diameter of the hole for a wire insert, DIN 8140-2, least and most; from memory."""
    found = insert_hole(size)
    assert found.minor_mm == pytest.approx(low, abs=0.002)
    assert found.drills
    assert all(found.minor_mm <= drill.diameter_mm <= high for drill in found.drills[:1])
    assert found.wall_mm == pytest.approx((found.major_mm - thread(size).major_mm) / 2)


def test_the_inserts_thread_is_one_height_out() -> None:
    """The insert's wire is a thread of the bolt's pitch: D2 of the hole less D2 of the bolt is 1.2990 P."""
    for name in ("3/8-16 UNC", "M12", "1/2-20 UNF"):
        cut, hole = thread(name), insert_hole(name)
        assert hole.pitch_diameter_mm - cut.pitch_diameter_mm == pytest.approx(
            1.299038 * cut.pitch_mm, rel=1e-5
        )


def test_what_has_no_drill_or_insert_here() -> None:
    with pytest.raises(Refused, match="no wire insert"):
        insert_hole("1/2 BSW")
    with pytest.raises(Refused, match="no wire insert"):
        insert_hole("1/2-14 NPT")
    with pytest.raises(OutOfRange, match="share"):
        tapping_drill("M8", 1.2)
    with pytest.raises(OutOfRange, match="pipe sizes"):
        tapping_drill("G 2")
    taper = tapping_drill("1/2-14 NPT")
    assert taper.drills[0].thread_share is None
    assert any("taper reamer" in one for one in taper.cautions)
