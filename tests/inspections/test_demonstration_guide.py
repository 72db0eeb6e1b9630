"""The invented four-speed box: enough to examine, right by the checker, and consistent in itself."""

import json
from collections import Counter
from functools import cache
from math import asin, pi
from pathlib import Path

import pytest

from inspections.document import Check, GuideIndex, Position, read
from inspections.guiding.guides import check_document
from inspections.judgement.judging import PieceRecord, ReadingRecord, judge
from shop.handbook.materials import expansion

PATH = Path(__file__).parents[2] / "fixtures" / "guides" / "hexworth_h4.toml"


@cache
def guide() -> GuideIndex:
    document, problems = check_document(PATH.read_text(encoding="utf-8"))
    assert problems == []
    return GuideIndex(read(document))


def teeth(check: str) -> int:
    return int(guide().check[check].expects("FC"))


def test_a_revision_kept_as_json_reads_back_the_same() -> None:
    document, _ = check_document(PATH.read_text(encoding="utf-8"))
    assert read(json.loads(json.dumps(document))) == guide().guide


def test_there_is_enough_of_every_kind() -> None:
    kinds = Counter(one.kind for one in guide().checks_of("FC"))
    assert len(guide().positions_of("FC")) >= 45
    assert sum(kinds.values()) >= 140
    assert (
        min(kinds[one] for one in ("identify", "look", "measure", "stack", "thread", "try", "replaced")) >= 4
    )
    assert len(guide().guide.steps) >= 24


def test_every_pair_shares_the_centre_distance() -> None:
    sums = {
        teeth("CT-INSH") + teeth("CT-CLUS-4"),
        teeth("CT-W3M") + teeth("CT-CLUS-3"),
        teeth("CT-W2M") + teeth("CT-CLUS-2"),
        teeth("CT-W1M") + teeth("CT-CLUS-1"),
    }
    assert sums == {48}
    # a = m (z1 + z2) / 2 = 3.5 × 48 / 2 (ISO 21771, spur gears without shift)
    assert 3.5 * 48 / 2 == 84.0


def test_the_ratios_fall_from_first_to_third() -> None:
    constant = teeth("CT-CLUS-4") / teeth("CT-INSH")
    ratios = [constant * teeth(f"CT-W{n}M") / teeth(f"CT-CLUS-{n}") for n in (1, 2, 3)]
    assert [round(one, 3) for one in ratios] == [4.487, 2.778, 1.533]


def test_the_rollers_fill_their_circle_with_less_than_one_roller_to_spare() -> None:
    # Rollers of 3.0 mm on a circle of 25 + 3 mm: n = π / asin(3/28) = 29.26
    assert int(pi / asin(3.0 / 28.0)) == teeth("CT-NDLF") == teeth("CT-NDLR")


def test_every_position_is_examined_or_replaced() -> None:
    for variant in ("FC", "RC"):
        examined = {one.position for one in guide().checks_of(variant)}
        assert {one.code for one in guide().positions_of(variant)} == examined


def test_identity_comes_before_everything_else() -> None:
    seen: set[str] = set()
    for one in guide().guide.checks:
        if one.kind == "identify" or one.identifies:
            assert one.position not in seen - identified(), one.code
        seen.add(one.position)


def identified() -> set[str]:
    return {one.position for one in guide().guide.checks if one.kind == "identify" or one.identifies}


@pytest.mark.parametrize("material", ["grey iron", "bronze", "steel"])
def test_every_material_has_an_expansion(material: str) -> None:
    assert material in {one.material for one in guide().guide.positions}
    assert expansion(material).per_kelvin > 0


def test_every_limit_says_that_it_is_invented_or_common_practice() -> None:
    sources = {one.source for one in guide().guide.features} | {one.source for one in guide().guide.checks}
    assert sources == {"invented for the demonstration", "common practice, no source"}


def test_the_washers_on_the_shelf_can_always_set_the_float() -> None:
    """Thinnest pair in the tightest new box and thickest pair in the most worn one reach 0.15 to 0.40 mm."""
    check = guide().check["FL-LAY"]
    face, length, front, rear = (guide().feature[term.feature].limits[0] for term in check.terms)
    tightest = face.lower_mm - length.upper_mm - front.new_min_mm - rear.new_min_mm
    loosest = face.upper_mm - length.lower_mm - front.new_max_mm - rear.new_max_mm
    # 150.0 − 145.7 − 2 × 1.95 = 0.40; 150.4 − 145.5 − 2 × 2.35 = 0.20
    assert (round(tightest, 6), round(loosest, 6)) == (0.40, 0.20)
    assert (check.lower_mm, check.upper_mm) == (0.15, 0.40)


def test_the_layshaft_goes_in_from_the_rear_small_end_first() -> None:
    step = next(one for one in guide().guide.steps if "LAYSH" in one.positions)
    assert step.stamp == "SMALL END FIRST"
    front = guide().feature["LAYSH.FE"].limits[0].new_max_mm
    rear = guide().feature["CASE.LSR"].limits[0].new_min_mm
    assert front < rear


def test_the_top_cover_has_eight_bolts_at_eight_places() -> None:
    covers = [one.bolts for one in guide().guide.steps if {"LID", "LIDR"} & {*one.positions}]
    assert len(covers) == 2
    for bolts in covers:
        assert bolts is not None
        assert (bolts.thread, bolts.grade, bolts.engagement_mm) == ("3/8-16 UNC", "5", 14.0)
        assert len({(x, y) for _, x, y in bolts.at}) == len({name for name, _, _ in bolts.at}) == 8


def test_a_taper_plug_has_turns_and_no_torque() -> None:
    plug = next(one.bolts for one in guide().guide.steps if "DRAIN" in one.positions)
    assert plug is not None
    assert plug.turns
    assert plug.torque_nm is None


def new_value(check: Check) -> float:
    """The middle of the new limits; for the chosen washers 2.05 mm: 150.05 − 145.65 − 2 × 2.05 = 0.30."""
    if check.kind == "try":
        assert check.min_mm is not None
        assert check.max_mm is not None
        return (check.min_mm + check.max_mm) / 2
    limit = guide().feature[check.feature].limits[0]
    factor = 0.25 if check.position in {"THWF", "THWR"} else 0.5
    return limit.new_min_mm + factor * (limit.new_max_mm - limit.new_min_mm)


def reading(check: Check, number: int, place: str, outcome: str, value_mm: float | None) -> ReadingRecord:
    return ReadingRecord(
        key=f"R{number}",
        check=check.code,
        pieces=tuple((f"P-{code}", 1) for code in (check.position, *check.of)),
        person="Ann",
        sequence=number,
        gauge="G1",
        gauge_expanded_um=1.0,
        value_mm=value_mm,
        outcome=outcome,
        place=place,
    )


def new_box(variant: str) -> tuple[list[PieceRecord], list[ReadingRecord]]:
    """Every check of a variant read as a new box would read."""
    positions: list[Position] = list(guide().positions_of(variant))
    readings: list[ReadingRecord] = []
    for check in guide().checks_of(variant):
        if check.kind in {"stack", "replaced"}:
            continue
        for place in check.places or ("",):
            value = new_value(check) if check.takes_quantity else None
            said = "" if check.takes_quantity else check.expects(variant) or "sound"
            readings.append(reading(check, len(readings), place, said, value))
    return [PieceRecord(f"P-{one.code}", one.code) for one in positions], readings


@pytest.mark.parametrize("variant", ["FC", "RC"])
def test_a_new_box_is_serviceable_in_every_position(variant: str) -> None:
    pieces, readings = new_box(variant)
    judged = judge(guide(), variant, pieces, readings)
    replaced = {"SEALF", "SEALR", "GASK", "CIRC"}
    wrong = {code: status for code, status in judged.status.items() if status != "serviceable"}
    assert wrong == dict.fromkeys(replaced, "replaced")
    assert {one.state for one in judged.findings} == {"within", "sound", "replaced"}


def test_every_defect_leads_somewhere() -> None:
    pieces, readings = new_box("FC")
    for defect in guide().guide.defects:
        check = guide().check[defect.check]
        if check not in guide().checks_of("FC"):
            continue
        rows = [one for one in readings if one.check != check.code]
        judged = judge(guide(), "FC", pieces, [*rows, reading(check, 999, "", defect.code, None)])
        verdict = judged.verdict[f"P-{check.position}"].verdict
        expected = "scrap" if defect.condemns else "serviceable" if defect.harmless else "rework"
        assert verdict == expected, defect.code


def test_every_complaint_can_be_explained() -> None:
    for one in guide().guide.complaints:
        for code in one.explained_by:
            assert guide().check[code].kind not in {"identify", "replaced"}


def test_the_wheels_are_drawn_with_the_teeth_that_the_checks_count() -> None:
    drawn = next(one for one in guide().guide.drawing["part"] if one["position"] == "CLUS")["wheels"]
    counted = {
        (teeth("CT-CLUS-4"), teeth("CT-INSH")),
        (teeth("CT-CLUS-3"), teeth("CT-W3M")),
        (teeth("CT-CLUS-2"), teeth("CT-W2M")),
        (teeth("CT-CLUS-1"), teeth("CT-W1M")),
    }
    assert {(one["teeth"], one["mates"]) for one in drawn} == counted
