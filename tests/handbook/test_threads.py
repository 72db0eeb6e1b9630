"""Threads: sizes against published tables, designations as they are written, look-alikes in words."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.quantities import Refused
from shop.handbook.threads import UnknownThread, sizes, thread
from tests.handbook.checks import Check, checks, table

CHECKS = checks("threads.csv")
MM2_PER_IN2 = 25.4**2


def _unified(name: str) -> str:
    """ "1/4-20" with the series that has it."""
    size, tpi = name.split("-")
    found = [known for known in sizes() if known in {f"{size}-{tpi} UNC", f"{size}-{tpi} UNF"}]
    assert len(found) == 1, name
    return found[0]


@pytest.mark.parametrize("check", [one for one in CHECKS if one.quantity == "tensile stress area"], ids=str)
def test_stress_area_of_unified_threads(check: Check) -> None:
    area = thread(_unified(check.inputs["thread"])).stress_area_mm2
    assert area is not None
    assert area / MM2_PER_IN2 == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", [one for one in CHECKS if one.quantity.startswith("ISO nominal")], ids=str)
def test_stress_area_of_metric_threads(check: Check) -> None:
    found = thread(f"M{check.inputs['d_mm']}")
    assert found.pitch_mm == check.inputs["P_mm"]
    assert found.stress_area_mm2 == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", [one for one in CHECKS if one.quantity.startswith("NPT")], ids=str)
def test_american_taper_pipe_at_the_hand_tight_plane(check: Check) -> None:
    found = thread(f"{check.inputs['nps']}-{check.inputs['tpi']} NPT")
    assert found.taper
    assert found.major_mm == pytest.approx(check.inputs["OD_in"] * 25.4)
    small_end = found.pitch_diameter_mm / 25.4 - check.inputs["L1_in"] / 16
    assert [small_end, found.pitch_diameter_mm / 25.4] == pytest.approx(
        check.expected[:2], abs=check.tolerance
    )


@pytest.mark.parametrize("check", [one for one in CHECKS if one.quantity.startswith("BSP")], ids=str)
@pytest.mark.parametrize("kind", ["R", "Rc", "Rp", "G"])
def test_british_pipe_at_the_gauge_plane(check: Check, kind: str) -> None:
    found = thread(f"{kind} {check.inputs['size']}")
    assert found.tpi == check.inputs["tpi"]
    measured = [found.pitch_mm, found.pitch_diameter_mm, found.minor_mm]
    assert measured == pytest.approx(check.expected, abs=check.tolerance)


def test_every_check_value_is_used() -> None:
    kinds = ("tensile stress area", "ISO nominal", "NPT", "BSP")
    assert len(CHECKS) == 24
    assert all(one.quantity.startswith(kinds) for one in CHECKS)


@pytest.mark.parametrize(
    "row", table("thread_tables.csv"), ids=lambda row: f"{row['designation']} {row['quantity']}"
)
def test_whitworth_association_and_pipe_tables(row: dict[str, str]) -> None:
    found = thread(row["designation"])
    value = {
        "effective": found.pitch_diameter_mm,
        "minor": found.minor_mm,
        "major": found.major_mm,
    }[row["quantity"]]
    assert value / 25.4 == pytest.approx(float(row["expected_in"]), abs=float(row["tolerance_in"]))


# The rule of the BA series, from the stored pages named in the table: each pitch is 0.9 of the one before.
@pytest.mark.parametrize("number", range(11))
def test_association_rule(number: int) -> None:
    found = thread(f"{number} BA")
    assert found.pitch_mm == pytest.approx(0.9**number, abs=0.0051)
    assert found.major_mm == pytest.approx(6 * (0.9**number) ** 1.2, abs=0.06)
    assert found.angle_deg == 47.5


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("3/8-16 UNC", "3/8-16 UNC"),
        ("3/8 unc", "3/8-16 UNC"),
        ("0.375-24 UNF", "3/8-24 UNF"),
        ("3/8-16 UNC-2A", "3/8-16 UNC"),
        ("1/2 BSW", "1/2-12 BSW"),
        ('½" Whit', "1/2-12 BSW"),
        ("1/2 in BSW", "1/2-12 BSW"),
        ("3/8 BSF", "3/8-20 BSF"),
        ("2 BA", "2 BA"),
        ("2ba", "2 BA"),
        ("BA 2", "2 BA"),
        ("M10x1.5", "M10x1.5"),
        ("m10 × 1.25", "M10x1.25"),
        ("M10", "M10x1.5"),
        ("M8x1-6g", "M8x1"),
        ("1/2-14 NPT", "1/2-14 NPT"),
        ("1/2 npt", "1/2-14 NPT"),
        ("R 1/2", "R 1/2"),
        ("R1/2", "R 1/2"),
        ("1/2 BSPT", "R 1/2"),
        ("1/2 BSPP", "G 1/2"),
        ("Rc 1/2", "Rc 1/2"),
        ("G 1/2 A", "G 1/2"),
        ("10-24 UNC", "#10-24 UNC"),
        ("3/8-16 UNC LH", "3/8-16 UNC LH"),
        ("M16x1.5-LH", "M16x1.5 LH"),
        ("1 BSF left hand", "1-10 BSF LH"),
    ],
)
def test_designations_as_they_are_written(typed: str, meant: str) -> None:
    assert thread(typed).designation == meant


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "3/8-16 UNC"),
        ("bolt", "M10x1.5"),
        ("3/8-16", "3/8-16 BSW"),
        ("1/2 BSP", "G 1/2"),
        ("1/2-12 UNC", "1/2-13 UNC"),
        ("M10x2", "M10x1.25"),
        ("M9", "10, 12"),
        ("R 5/8", "3/4"),
        ("1/0 UNC", "1/4"),
        ("11 BA", "10"),
        ("x" * 41, "Write one"),
    ],
)
def test_what_is_not_known_is_refused_and_shows_how(typed: str, says: str) -> None:
    with pytest.raises(UnknownThread) as refused:
        thread(typed)
    assert says in str(refused.value)


@given(st.text(max_size=45))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        found = thread(text)
    except Refused:
        return
    assert thread(found.designation) == found


@pytest.mark.parametrize("designation", sizes())
def test_every_size_reads_back_and_is_in_proportion(designation: str) -> None:
    found = thread(designation)
    assert found.designation == designation
    assert 0 < found.minor_mm < found.pitch_diameter_mm < found.major_mm
    assert found.major_mm - found.minor_mm < 2 * found.pitch_mm
    assert (found.stress_area_mm2 is None) == (found.series in {"NPT", "NPTF", "R", "Rc", "Rp", "G"})
    if found.stress_area_mm2 is not None:
        root, across = found.minor_mm - 0.15 * found.pitch_mm, found.pitch_diameter_mm
        assert math.pi / 4 * root**2 < found.stress_area_mm2 < math.pi / 4 * across**2
    assert found.working
    assert found.cautions
    left = thread(f"{designation} LH")
    assert left.left_hand
    assert "right hand" in left.not_to_be_confused_with[0]


@pytest.mark.parametrize(
    ("one", "other", "words"),
    [
        ("1/2 NPT", "R 1/2", ("14 threads an inch", "55° against 60°", "do not seal")),
        ("3/4 NPT", "R 3/4", ("14 threads an inch", "55° against 60°")),
        ("R 1/2", "1/2-14 NPT", ("60° against 55°",)),
        ("R 1/8", "1/8-27 NPT", ("27 threads an inch against 28",)),
        ("G 1/2", "Rc 1/2", ("taper hole leaks", "splits the boss")),
        ("1/2 BSW", "1/2-13 UNC", ("13 threads an inch against 12", "60° against 55°")),
        ("3/8 BSW", "3/8-16 UNC", ("same 16 threads an inch", "60° against 55°", "strips")),
        ("3/8-16 UNC", "3/8-16 BSW", ("same 16 threads an inch", "55° against 60°")),
        ("0 BA", "M6x1", ("same 1 mm pitch", "60° against 47.5°")),
        ("M8", "5/16-18 UNC", ("18 threads an inch",)),
    ],
)
def test_look_alikes_in_words(one: str, other: str, words: tuple[str, ...]) -> None:
    found = [text for text in thread(one).not_to_be_confused_with if text.startswith(f"{other}: ")]
    assert len(found) == 1
    for word in words:
        assert word in found[0]


def test_a_taper_plug_and_its_hole_are_no_look_alikes() -> None:
    assert not any(text.startswith(("Rc", "Rp")) for text in thread("R 1/2").not_to_be_confused_with)
