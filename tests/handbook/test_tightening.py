"""Tightening: grades, torque and stripping against published values; what must never be computed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.bolts import bolt_grade, bolt_thread, grades
from shop.handbook.friction import assembly_preload, long_form
from shop.handbook.quantities import Refused
from shop.handbook.stripping import (
    engagement_needed,
    external_shear_area,
    internal_shear_area,
    least_metal,
    tapped_hole,
    tapped_materials,
)
from shop.handbook.threads import sizes, thread
from shop.handbook.tightening import (
    STRIPPING_FRACTION,
    TaperThread,
    conditions,
    pattern,
    short_form,
    tightening,
)
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks

CHECKS = {one.id: one for one in checks("tightening.csv")}
KSI = 6.894757
LBF = 4.4482216
LBF_FT = 1.3558179
INCH = 25.4
BOLTS = [name for name in sizes() if thread(name).stress_area_mm2 is not None]
UNIFIED = {"3/8-16": "UNC", "1/2-13": "UNC", "3/4-16": "UNF", "7/8-14": "UNF", "1/4-20": "UNC"}


def _of(start: str) -> list[Check]:
    found = [one for one in CHECKS.values() if one.quantity.startswith(start)]
    assert found, start
    return found


def _unified(name: str) -> str:
    return f"{name} {UNIFIED[name]}"


@pytest.mark.parametrize("check", _of("SAE J429"), ids=str)
def test_sae_grades_change_with_size(check: Check) -> None:
    # Just inside the band: "1/4-3/4" or "over 3/4 to 1-1/2".
    over = check.inputs["size_in"].startswith("over")
    first = {"2": 0.75, "5": 1.0, "8": 1.5}[check.inputs["grade"]]
    for size in (first + 0.001, 1.5) if over else (0.25, first):
        found = bolt_grade(f"SAE {check.inputs['grade']}", size * INCH)
        values = [found.proof_mpa / KSI, found.yield_mpa / KSI, found.tensile_mpa / KSI]
        assert values == pytest.approx(check.expected, abs=1e-6)


@pytest.mark.parametrize("check", _of("ISO 898-1 proof load"), ids=str)
def test_iso_proof_loads(check: Check) -> None:
    size = float(check.inputs["thread"].removeprefix("M").removesuffix(" coarse"))
    load = bolt_grade(check.inputs["cls"], size).proof_mpa * check.inputs["As_mm2"]
    assert load == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", _of("ISO 898-1 minimum ultimate"), ids=str)
def test_iso_ultimate_loads(check: Check) -> None:
    load = bolt_grade(check.inputs["cls"], 20).tensile_mpa * check.inputs["As_mm2"]
    assert load == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", _of("clamp load"), ids=str)
def test_clamp_loads_of_the_torque_guide(check: Check) -> None:
    found = tightening(_unified(check.inputs["thread"]), f"SAE {check.inputs['grade']}", condition="dry")
    assert found.preload_n / LBF == pytest.approx(check.expected, abs=check.tolerance)
    assert found.limited_by == "bolt"
    assert found.stripping_load_n is None


@pytest.mark.parametrize("check", _of("tightening torque T=K*D*F"), ids=str)
def test_torques_of_the_torque_guide(check: Check) -> None:
    torques = [
        short_form(_unified(check.inputs["thread"]), check.inputs["F_lbf"] * LBF, factor).torque_nm / LBF_FT
        for factor in check.inputs["K"]
    ]
    assert torques == pytest.approx(check.expected, abs=check.tolerance)


def test_textbook_bolt_by_short_and_long_form() -> None:
    short, long = CHECKS["03-225"], CHECKS["03-226"]
    force = short.inputs["F_lbf"] * LBF
    torque = short_form("3/4-16 UNF", force, short.inputs["K"]).torque_nm * 12 / LBF_FT
    assert torque == pytest.approx(short.expected, abs=short.tolerance)
    # The collar's mean diameter, 1.25 d, is that of a 1.55 d face on a 0.95 d hole.
    found = long_form(
        "3/4-16 UNF",
        force,
        thread_friction=long.inputs["f"],
        head_friction=long.inputs["fc"],
        head_mm=1.55 * 0.75 * INCH,
        hole_mm=0.95 * 0.75 * INCH,
    )
    assert found.torque_nm * 12 / LBF_FT == pytest.approx(long.expected, abs=long.tolerance)
    assert found.thread_nm + found.head_nm == pytest.approx(found.torque_nm)


@pytest.mark.parametrize("check", _of("max assembly preload"), ids=str)
def test_assembly_preload(check: Check) -> None:
    found = assembly_preload(check.inputs["thread"], check.inputs["Rp02"], thread_friction=check.inputs["mu"])
    assert found.preload_n / 1000 == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", _of("tightening torque MA"), ids=str)
def test_long_form_against_the_printed_torques(check: Check) -> None:
    given_ = check.inputs
    strength = {"8.8": 640, "10.9": 940}[given_["cls"]]
    preload = assembly_preload(given_["thread"], strength, thread_friction=given_["mu"]).preload_n
    found = long_form(
        given_["thread"],
        preload,
        thread_friction=given_["mu"],
        head_friction=given_["mu"],
        head_mm=given_["dw_mm"],
        hole_mm=given_["dh_mm"],
    )
    assert found.torque_nm == pytest.approx(check.expected, abs=check.tolerance)


@pytest.mark.parametrize("check", _of("internal thread shear"), ids=str)
def test_internal_shear_area(check: Check) -> None:
    bolt = thread(_unified(check.inputs["thread"]))
    stated = internal_shear_area(
        bolt,
        INCH,
        major_min_mm=check.inputs["d_min"] * INCH,
        pitch_diameter_max_mm=check.inputs["D2_max"] * INCH,
    )
    assert stated.area_mm2 / INCH**2 == pytest.approx(check.expected, abs=check.tolerance)
    # The class of fit, from its own formulas, comes to the tabulated limits.
    least = least_metal(bolt)
    assert least.major_min_mm / INCH == pytest.approx(check.inputs["d_min"], abs=1.5e-4)
    assert least.pitch_diameter_max_mm / INCH == pytest.approx(check.inputs["D2_max"], abs=1.5e-4)
    assert internal_shear_area(bolt, INCH).area_mm2 == pytest.approx(stated.area_mm2, rel=0.005)


@pytest.mark.parametrize("check", _of("external thread shear"), ids=str)
def test_external_shear_area(check: Check) -> None:
    found = external_shear_area(
        thread(_unified(check.inputs["thread"])),
        INCH,
        pitch_diameter_min_mm=check.inputs["d2_min"] * INCH,
        minor_max_mm=check.inputs["D1_max"] * INCH,
    )
    assert found.area_mm2 / INCH**2 == pytest.approx(check.expected, abs=check.tolerance)


def test_engagement_at_which_the_bolt_breaks_first() -> None:
    check = CHECKS["03-253"]
    # 1.12349 in² for an inch is the library's own figure, named in verified_by.
    found = engagement_needed(
        thread("1/2-13 UNC"),
        check.inputs["UTS_bolt_ksi"] * KSI,
        check.inputs["UTS_casting_ksi"] * KSI,
        shear_area_per_mm=1.12349 * INCH,
    )
    assert found.engagement_mm / INCH == pytest.approx(check.expected, abs=check.tolerance)
    by_class = engagement_needed(thread("1/2-13 UNC"), 120 * KSI, 30 * KSI)
    assert by_class.engagement_mm / INCH == pytest.approx(check.expected, rel=0.005)


def test_usual_engagement_is_asked_for() -> None:
    steel, iron, aluminium = CHECKS["03-255"].expected
    for metal, times in (("steel", steel), ("grey iron", iron), ("aluminium", aluminium)):
        short = tapped_hole(thread("M10"), metal, times * 10 - 0.1).cautions
        long = tapped_hole(thread("M10"), metal, times * 10).cautions
        assert any("short hold" in text for text in short)
        assert not any("short hold" in text for text in long)


def test_every_check_value_is_used() -> None:
    used = (
        "SAE J429",
        "ISO 898-1 proof load",
        "ISO 898-1 minimum ultimate",
        "clamp load",
        "tightening torque",
        "max assembly preload",
        "internal thread shear",
        "external thread shear",
        "engagement",
    )
    assert len(CHECKS) == 43
    assert all(one.quantity.startswith(used) for one in CHECKS.values())


# ISO 898-1:2013, Table 3, as on a stored page: nfgab.se, mechanical properties to EN ISO 898-1.
@pytest.mark.parametrize(
    ("grade", "size", "proof", "tensile"),
    [
        ("4.6", 12, 225, 400),
        ("5.8", 12, 380, 520),
        ("8.8", 16, 580, 800),
        ("8.8", 18, 600, 830),
        ("10.9", 12, 830, 1040),
        ("12.9", 12, 970, 1220),
    ],
)
def test_iso_classes(grade: str, size: float, proof: float, tensile: float) -> None:
    found = bolt_grade(grade, size)
    assert (found.proof_mpa, found.tensile_mpa) == (proof, tensile)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("SAE 5", "SAE 5"),
        ("sae j429 grade 5", "SAE 5"),
        ("Grade 8", "SAE 8"),
        ("5", "SAE 5"),
        ("class 8.8", "8.8"),
        ("8.8", "8.8"),
        ("ISO 898-1 10.9", "10.9"),
    ],
)
def test_grades_as_they_are_written(typed: str, meant: str) -> None:
    assert bolt_grade(typed, 10).grade == meant


@pytest.mark.parametrize("typed", ["9", "SAE 3", "8.9", "hard", "88"])
def test_an_unknown_grade_is_refused_with_the_list(typed: str) -> None:
    with pytest.raises(Refused, match=r"SAE 8.*10\.9.*unmarked"):
        bolt_grade(typed, 10)


@pytest.mark.parametrize("name", BOLTS)
@pytest.mark.parametrize("mark", ["unmarked", ""])
def test_an_unmarked_bolt_is_never_taken_for_a_better_one(name: str, mark: str) -> None:
    unmarked = tightening(name, mark, condition="dry")
    assert any("unmarked" in text for text in unmarked.cautions)
    for grade in grades():
        assert unmarked.torque_nm <= tightening(name, grade, condition="dry").torque_nm * 1.02


@pytest.mark.parametrize("name", ["1/2-14 NPT", "R 1/2", "Rc 3/8", "R 1/8 LH"])
def test_a_taper_thread_has_no_torque(name: str) -> None:
    for attempt in (
        lambda: tightening(name, "unmarked"),
        lambda: short_form(name, 1000, 0.2),
        lambda: assembly_preload(name, 640, thread_friction=0.12),
        lambda: bolt_thread(thread(name)),
    ):
        with pytest.raises(TaperThread, match="past hand-tight"):
            attempt()


def test_a_parallel_pipe_thread_carries_no_bolt_load() -> None:
    with pytest.raises(Refused, match="washer"):
        tightening("G 1/2", "8.8")


@given(
    st.tuples(st.sampled_from(BOLTS), st.sampled_from(grades()), st.sampled_from(conditions())),
    st.floats(0.1, 0.9),
    st.sampled_from(tapped_materials()),
    st.floats(2, 40),
)
def test_the_hole_is_never_asked_for_more_than_its_share(
    bolt: tuple[str, str, str], share: float, metal: str, engagement: float
) -> None:
    name, grade, condition = bolt
    free = tightening(name, grade, condition=condition, clamp_fraction=share)
    held = tightening(
        name,
        grade,
        condition=condition,
        clamp_fraction=share,
        tapped_material=metal,
        engagement_mm=engagement,
    )
    assert held.stripping_load_n is not None
    ceiling = STRIPPING_FRACTION * held.stripping_load_n
    assert held.preload_n == pytest.approx(min(free.preload_n, ceiling))
    assert (held.limited_by == "tapped thread") == (ceiling < free.preload_n)
    assert held.preload_max_n < held.stripping_load_n
    assert held.torque_min_nm < held.torque_nm < held.torque_max_nm
    assert held.preload_min_n < held.preload_n < held.preload_max_n
    assert held.torque_nm == pytest.approx(held.nut_factor * held.preload_n * thread(name).major_mm / 1000)
    assert "fallback" in held.cautions[0]


@given(st.sampled_from(BOLTS), st.floats(0.1, 0.88), st.floats(0.08, 0.33), st.floats(1, 39))
def test_more_never_gives_less(name: str, share: float, factor: float, engagement: float) -> None:
    least = tightening(name, "unmarked", nut_factor=factor, clamp_fraction=share)
    assert (
        tightening(name, "unmarked", nut_factor=factor + 0.01, clamp_fraction=share).torque_nm
        > least.torque_nm
    )
    assert (
        tightening(name, "unmarked", nut_factor=factor, clamp_fraction=share + 0.01).torque_nm
        > least.torque_nm
    )
    bolt = thread(name)
    short = internal_shear_area(bolt, engagement).area_mm2
    assert internal_shear_area(bolt, engagement + 1).area_mm2 > short > 0
    # Not more metal than a plain cylinder of the bolt's diameter.
    assert short < math.pi * bolt.major_mm * engagement


def test_an_oily_bolt_gets_less_and_the_state_is_asked_for() -> None:
    dry, oiled = (tightening("M12", "8.8", condition=state).torque_nm for state in ("dry", "oiled"))
    assert oiled == pytest.approx(dry * 0.15 / 0.20)
    unstated = tightening("M12", "8.8")
    assert unstated.torque_nm == oiled
    assert any("not given" in text for text in unstated.cautions)


def test_at_three_quarters_of_proof_no_scatter_passes_the_proof_load() -> None:
    found = tightening("M10", "8.8", condition="dry")
    assert found.preload_max_n == pytest.approx(580 * (thread("M10").stress_area_mm2 or 0))
    assert not any("beyond" in text for text in found.cautions)
    assert any("beyond" in text for text in tightening("M10", "8.8", clamp_fraction=0.8).cautions)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"condition": "greasy"}, "anti-seize"),
        ({"condition": "dry", "nut_factor": 0.2}, "not both"),
        ({"tapped_material": "aluminium"}, "how much thread"),
        ({"engagement_mm": 12.0}, "tapped in"),
        ({"tapped_material": "cheese", "engagement_mm": 12.0}, "grey iron"),
        ({"nut_factor": 0.5}, "0.08 to 0.35"),
        ({"clamp_fraction": 1.0}, "0.1 to 0.9"),
        ({"nut_factor": math.nan}, "0.08 to 0.35"),
    ],
)
def test_bad_input_says_what_to_write(arguments: dict[str, object], says: str) -> None:
    with pytest.raises((Refused, OutOfRange), match=says):
        tightening("M10", "8.8", **arguments)  # type: ignore[arg-type]


def test_a_grade_that_is_foreign_to_the_thread_is_pointed_out() -> None:
    assert any("not a marking" in text for text in tightening("1/2 BSW", "8.8").cautions)
    assert not any("not a marking" in text for text in tightening("M12", "8.8").cautions)


def _ring(count: int) -> list[tuple[str, float, float]]:
    turn = 2 * math.pi / count
    return [(str(n), 60 * math.cos(n * turn), 60 * math.sin(n * turn)) for n in range(count)]


# Common practice, no source: opposite bolts in turn, each pair across the widest gap left.
@pytest.mark.parametrize(
    ("count", "order"),
    [(4, "0 2 1 3"), (6, "0 3 1 4 2 5"), (8, "0 4 2 6 1 5 3 7")],
)
def test_a_ring_is_tightened_across(count: int, order: str) -> None:
    assert pattern(_ring(count)).order == tuple(order.split())


def test_a_lid_of_two_rows_goes_from_the_middle_outward() -> None:
    lid = [(f"{side}{n}", 80.0 * n, 120.0 * row) for row, side in enumerate("AB") for n in range(5)]
    order = pattern(lid).order
    assert set(order[:2]) == {"A2", "B2"}
    assert set(order[2:6]) == {"A1", "B1", "A3", "B3"}
    assert {order[2], order[3]} in ({"A1", "B3"}, {"B1", "A3"})


@given(st.integers(2, 20), st.floats(0, 6), st.floats(-500, 500))
def test_every_bolt_once_wherever_the_lid_lies(count: int, turn: float, shift: float) -> None:
    ring = _ring(count)
    moved = [
        (
            name,
            x * math.cos(turn) - y * math.sin(turn) + shift,
            x * math.sin(turn) + y * math.cos(turn) - shift,
        )
        for name, x, y in ring
    ]
    found = pattern(moved)
    assert sorted(found.order) == sorted(name for name, _, _ in ring)
    assert found.order == pattern(ring).order
    assert found.passes == (0.5, 1.0)


@pytest.mark.parametrize(
    ("bolts", "fractions"),
    [
        ([("A", 0, 0)], (1.0,)),
        ([("A", 0, 0), ("A", 10, 0)], (1.0,)),
        ([("A", 0, 0), ("B", 0.1, 0)], (1.0,)),
        ([("A", 0, 0), ("B", math.nan, 0)], (1.0,)),
        ([("A", 0, 0), ("B", 10, 0)], (0.5, 0.9)),
        ([("A", 0, 0), ("B", 10, 0)], (0.5, 0.5, 1.0)),
        ([("A", 0, 0), ("B", 10, 0)], ()),
    ],
)
def test_a_bad_pattern_is_refused(
    bolts: list[tuple[str, float, float]], fractions: tuple[float, ...]
) -> None:
    with pytest.raises((Refused, OutOfRange)):
        pattern(bolts, fractions)
