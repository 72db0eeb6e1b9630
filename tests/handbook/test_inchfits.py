"""Inch fits against published rows, and against what must hold of the tables.

Published: rows of data/fits.csv, and the clearance columns of data/inch_clearances.csv, source beside each.
"""

import math
from itertools import pairwise

import pytest

from shop.handbook.inchfits import MM_PER_INCH, fit_classes, inch_fit
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks, table

FITS = [one for one in checks("fits.csv") if "hole_limits_thou" in one.inputs]
PRINTED = table("inch_clearances.csv")


@pytest.mark.parametrize("check", FITS, ids=str)
def test_published_row(check: Check) -> None:
    given = check.inputs
    size = float(given["size_range_in"].split("-")[1]) * MM_PER_INCH
    found = inch_fit(size, given["fit"])
    assert [0, found.hole_max_thou] == given["hole_limits_thou"], check.source
    assert [found.shaft_min_thou, found.shaft_max_thou] == given["shaft_limits_thou"]
    assert [found.clearance_min_thou, found.clearance_max_thou] == pytest.approx(check.expected)


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"{row['class']} to {row['up_to_in']}")
def test_clearance_as_printed(row: dict[str, str]) -> None:
    size = float(row["up_to_in"]) * MM_PER_INCH
    if not row["least"]:
        with pytest.raises(OutOfRange, match=row["class"]):
            inch_fit(size, row["class"])
        return
    found = inch_fit(size, row["class"])
    printed = float(row["least"]), float(row["most"])
    assert (found.clearance_min_thou, found.clearance_max_thou) == pytest.approx(printed), row["source"]


def test_the_table_hangs_together() -> None:
    """Shafts are never upside down, bands follow one another, widths never shrink as sizes grow."""
    for name in fit_classes():
        mine = [row for row in rows("fits_inch.csv") if row["class"] == name]
        assert all(float(row["shaft_min"]) < float(row["shaft_max"]) for row in mine)
        assert all(a["up_to_in"] == b["over_in"] for a, b in pairwise(mine))
        holes = [float(row["hole_max"]) for row in mine]
        assert holes == sorted(holes)
        assert float(mine[-1]["up_to_in"]) >= 5.0


def test_bands_and_characters() -> None:
    assert inch_fit(1.97 * MM_PER_INCH, "RC4").hole_max_thou == 1.6
    assert inch_fit(1.9701 * MM_PER_INCH, "rc 4").hole_max_thou == 1.8
    assert inch_fit(25.4, "LT3").character == "transition"
    assert inch_fit(25.4, "LC1").character == "clearance"
    assert inch_fit(25.4, "RC1").clearance_max_um == pytest.approx(0.95 * 25.4)


def test_what_is_refused() -> None:
    for size in (0.0, -1.0, 127.1, math.nan, math.inf):
        with pytest.raises(OutOfRange, match="5 in"):
            inch_fit(size, "RC4")
    for name in ("", "RC10", "FN6", "H7"):
        with pytest.raises(Refused, match="class of inch fit"):
            inch_fit(25.4, name)
    with pytest.raises(OutOfRange, match="LT3"):
        inch_fit(0.1 * MM_PER_INCH, "LT3")
