"""The three guides of the demonstration: deep enough for a shop, drawn whole, right by their own sizes.

Everything in them is invented; what is held here follows from the guides' own figures, or is common practice
with no published source.
"""

import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from itertools import combinations
from math import cos, gcd, radians
from pathlib import Path
from xml.etree import ElementTree

import pytest

from inspections.building.sheeting import compute
from inspections.document import CHECK_KINDS, Check, GuideIndex, read
from inspections.drawings.drawing import check_drawing, unit_drawing
from inspections.drawings.lettering import RADIUS
from inspections.drawings.outlines import figure_of
from inspections.guiding.guides import problems_of
from inspections.judgement.judging import PieceRecord, ReadingRecord, judge

FOLDER = Path(__file__).parents[2] / "fixtures" / "guides"
# file -> positions and checks that each variant of it has at least
LEAST = {"hexworth_h4": (45, 140), "calderby_dropbox": (25, 70), "wenfold_tractor": (35, 100)}
TEXTS = {name: (FOLDER / f"{name}.toml").read_text(encoding="utf-8") for name in LEAST}


@cache
def guide(name: str) -> GuideIndex:
    return GuideIndex(read(tomllib.loads(TEXTS[name])))


def variants() -> Iterator[tuple[str, str]]:
    for name in LEAST:
        for variant in tomllib.loads(TEXTS[name])["variant"]:
            yield name, variant["code"]


every_guide = pytest.mark.parametrize("name", LEAST)
every_variant = pytest.mark.parametrize(("name", "variant"), [*variants()])


def drawn(name: str, variant: str) -> str:
    one = guide(name).guide
    links = {position.code: f"#{position.code}" for position in one.positions}
    return unit_drawing(one.drawing, one.positions, {}, links, variant=variant)


@every_guide
def test_the_checker_has_nothing_to_say(name: str) -> None:
    assert problems_of(TEXTS[name]) == []


@every_variant
def test_each_variant_has_enough_positions_and_checks(name: str, variant: str) -> None:
    positions, checks = LEAST[name]
    assert len(guide(name).positions_of(variant)) >= positions
    assert len(guide(name).checks_of(variant)) >= checks


@every_variant
def test_every_kind_of_check_is_there(name: str, variant: str) -> None:
    kinds = Counter(one.kind for one in guide(name).checks_of(variant))
    assert set(kinds) == {*CHECK_KINDS}
    assert any(one.takes_quantity for one in guide(name).checks_of(variant) if one.kind == "try")


@every_variant
def test_every_position_is_examined_and_built_in(name: str, variant: str) -> None:
    here = {one.code for one in guide(name).positions_of(variant)}
    assert {one.position for one in guide(name).checks_of(variant)} == here
    steps = [one for one in guide(name).guide.steps if one.exists_in(variant)]
    assert here <= {code for one in steps for code in (*one.positions, *one.washers)}


@every_guide
def test_every_position_has_a_name_on_both_sides_of_the_ocean(name: str) -> None:
    positions = guide(name).guide.positions
    assert all(one.us_name for one in positions)
    assert sum(one.us_name.lower() != one.name.lower() for one in positions) >= 15


@every_guide
def test_it_says_that_it_is_invented_and_whose_word_goes_first(name: str) -> None:
    one = guide(name).guide
    assert "(invented)" in one.maker
    assert "Invented for the demonstration" in one.note
    assert "invented" in one.oil
    assert any("competent person" in words for words in one.cautions)
    sources = {row.source for row in one.features} | {row.source for row in one.checks}
    sources |= {row.source for row in one.remedies}
    assert sources == {"invented for the demonstration", "common practice, no source"}


@every_guide
def test_a_limit_in_a_text_says_that_it_is_invented(name: str) -> None:
    """A figure with a unit in the words of a defect or a build step is a limit that no table marks."""
    one = guide(name).guide
    texts = [row.reject for row in one.defects]
    texts += [row.text for row in one.steps if re.search(r"[\d.]+ N·m", row.text)]
    figures = [words for words in texts if re.search(r"\d+(\.\d+)? (mm|N·m)", words)]
    assert all("invented" in words for words in figures), figures


@every_guide
def test_mates_follow_from_the_sizes_of_new_parts(name: str) -> None:
    """Tightest and loosest fit by hand: the sum of the terms' smallest and largest."""
    mates = [one for one in guide(name).guide.checks if one.kind == "stack" and one.fit]
    assert len(mates) >= 10
    for one in mates:
        ends = [0.0, 0.0]
        for term in one.terms:
            limit = guide(name).feature[term.feature].limits[0]
            both = sorted(term.factor * size for size in (limit.new_min_mm, limit.new_max_mm))
            ends = [ends[0] + both[0], ends[1] + both[1]]
        assert one.fit == pytest.approx(tuple(ends), abs=0.0006), one.code


@every_guide
def test_mates_are_stated_as_zones_and_as_limits(name: str) -> None:
    rows = [one for one in tomllib.loads(TEXTS[name])["check"] if one["kind"] == "stack"]
    assert any("zones" in one for one in rows)
    assert any(isinstance(one.get("fit"), list) for one in rows)


def test_the_tractor_box_states_fits_as_manuals_print_them() -> None:
    rows = [
        one for one in tomllib.loads(TEXTS["wenfold_tractor"])["check"] if isinstance(one.get("fit"), str)
    ]
    assert len(rows) >= 5
    check = guide("wenfold_tractor").check["MT-RVB"]  # 0.0015L to 0.0037L
    assert check.fit == pytest.approx((0.0015 * 25.4, 0.0037 * 25.4))
    assert check.wear_mm == pytest.approx(0.0060 * 25.4)


@every_guide
def test_some_parts_come_in_sizes(name: str) -> None:
    sizes = {limit.size for one in guide(name).guide.features for limit in one.limits}
    assert sizes >= {"standard", "oversize" if name != "wenfold_tractor" else "undersize"}


@every_guide
def test_dangers_carry_their_caution(name: str) -> None:
    """Common practice, no source: springs, presses, heat, air, welding and leak tests."""
    one = guide(name).guide
    for row in one.remedies:
        if re.match(r"Braze|Build up", row.name):
            assert "phosgene" in row.caution, row.code
        if row.name.startswith("Straighten the") and "shaft" in row.name:
            assert "press" in row.caution, row.code
    for step in one.steps:
        if re.search(r"\bheated\b|^Heat ", step.text):
            assert "never flame" in step.caution, step.code
        if step.title == "Leak test":
            assert "0.2 bar" in step.caution
    bearings = [
        row
        for row in one.checks
        if row.kind == "look" and "bearing" in row.title.lower() and "Rinse" in row.how
    ]
    assert bearings
    assert all("air" in row.caution for row in bearings)
    springs = [row for row in one.checks if row.kind == "look" and row.title.startswith("Detent")]
    assert springs
    assert all("goggles" in row.caution for row in springs)


@every_guide
def test_what_is_pressed_in_carries_its_caution(name: str) -> None:
    """Common practice, no source."""
    rows = [one for one in guide(name).guide.remedies if one.name.startswith("Press")]
    assert rows
    assert all("press" in one.caution for one in rows), [one.code for one in rows if not one.caution]


@every_guide
def test_nothing_is_sealed_after_the_leak_test(name: str) -> None:
    """A joint that is made later is never tested (common practice, no source)."""
    steps = {one.code: one for one in guide(name).guide.steps}
    test = next(one for one in steps.values() if one.title == "Leak test")
    before, ahead = set[str](), [*test.after]
    while ahead:
        code = ahead.pop()
        before.add(code)
        ahead.extend(one for one in steps[code].after if one not in before)
    late = {code for code, one in steps.items() if one.sealing} - before
    assert not late


@every_guide
def test_chosen_shims_are_not_judged_by_their_number(name: str) -> None:
    """A pack is what its thickness is: two, three or five shims make it alike."""
    one = guide(name).guide
    packs = {row.code for row in one.positions if "shims" in row.name.lower()}
    assert packs or name == "hexworth_h4"
    assert not [row.code for row in one.checks if row.kind == "count" and row.position in packs]


def test_brake_power_take_off_and_splitting_are_said_as_dangers() -> None:
    drop, tractor = guide("calderby_dropbox"), guide("wenfold_tractor")
    linings = drop.check["LK-BRSH"]
    assert "asbestos" in linings.caution
    assert drop.defect["BRSH-OIL"].condemns
    brake = next(one for one in drop.guide.steps if "BRSH" in one.positions)
    assert "proved in the vehicle" in brake.caution
    assert "competent person" in brake.caution
    assert tractor.defect["PTGD-GONE"].condemns
    guard = next(one for one in tractor.guide.steps if "PTGD" in one.positions)
    assert "guard" in guard.caution
    assert "stands made for it" in tractor.guide.steps[0].caution


@every_variant
def test_every_position_is_a_link_of_the_drawing(name: str, variant: str) -> None:
    assert check_drawing(guide(name).guide.drawing, guide(name).guide.positions) == []
    links = ElementTree.fromstring(drawn(name, variant)).findall(".//a")
    wanted = [one.code for one in guide(name).positions_of(variant)]
    assert sorted(link.attrib["href"] for link in links) == sorted(f"#{code}" for code in wanted)


@every_variant
def test_balloons_have_room_and_leaders_keep_apart(name: str, variant: str) -> None:
    text = drawn(name, variant)
    width = float(ElementTree.fromstring(text).attrib["viewBox"].split()[2])
    found = re.findall(r'<g class="balloon"><circle cx="([\d.]+)" cy="([\d.]+)"', text)
    centres = [(float(x), float(y)) for x, y in found]
    assert all(RADIUS <= x <= width - RADIUS for x, _ in centres)
    for (x1, y1), (x2, y2) in combinations(centres, 2):
        assert ((x1 - x2) ** 2 + (y1 - y2) ** 2) ** 0.5 >= 2 * RADIUS
    uprights = []
    for path in re.findall(r'<path class="leader" d="M([^"]+)"', text):
        points = [(float(x), float(y)) for x, y in (pair.split() for pair in path.split("L"))]
        uprights.append((points[1][0], sorted((points[1][1], points[2][1]))))
    for (x1, span1), (x2, span2) in combinations(uprights, 2):
        apart = span1[1] < span2[0] or span2[1] < span1[0]
        assert apart or abs(x1 - x2) >= 3, f"two leaders run on one another at {x1:.0f}"


@every_variant
def test_the_drawings_wheels_have_the_teeth_that_are_counted(name: str, variant: str) -> None:
    here = {one.code for one in guide(name).positions_of(variant)}
    parts = [one for one in guide(name).guide.drawing["part"] if one["position"] in here]
    wheels = [
        (one["position"], row) for one in parts for row in (one, *one.get("wheels", ())) if "teeth" in row
    ]
    counted: dict[str, list[int]] = {}
    for check in guide(name).checks_of(variant):
        if check.kind == "count" and check.identifies:
            counted.setdefault(check.position, []).append(int(check.expects(variant)))
    assert len(wheels) >= 5
    for position, row in wheels:
        assert row["teeth"] in counted[position], position


def test_the_drop_boxes_ratios_and_centre_distances() -> None:
    """a = m (z1 + z2) / 2 (ISO 21771, from memory): 3 × 60 / 2 = 90, 3 × 62 / 2 = 93; the cluster's large
    wheel is an idler in high: 30 / 28; low is 32 / 28 × 42 / 20."""
    teeth = {code: int(guide("calderby_dropbox").check[f"CT-{code}"].expects("TB"))
             for code in ("INWH", "IMCL-A", "IMCL-B", "HIWH", "LOWH")}  # fmt: skip
    lines = guide("calderby_dropbox").guide.drawing["lines"]
    assert 3.0 * (teeth["INWH"] + teeth["IMCL-A"]) / 2 == lines["inter"] - lines["input"] == 90.0
    assert 3.0 * (teeth["IMCL-A"] + teeth["HIWH"]) / 2 == lines["out"] - lines["inter"] == 93.0
    assert teeth["IMCL-B"] + teeth["LOWH"] == teeth["IMCL-A"] + teeth["HIWH"]
    high = teeth["HIWH"] / teeth["INWH"]
    low = teeth["IMCL-A"] / teeth["INWH"] * teeth["LOWH"] / teeth["IMCL-B"]
    assert (round(high, 4), round(low, 4)) == (1.0714, 2.4)


def test_the_tractors_ratios_fall() -> None:
    one = guide("wenfold_tractor")
    codes = ["INSH", "LCL-C", "LCL-1", "LCL-2", "LCL-3", "W1", "W23-2", "W23-3", "PNSH", "CRWN"]
    teeth = {code: int(one.check[f"CT-{code}"].expects("NP")) for code in codes}
    constant = teeth["LCL-C"] / teeth["INSH"]
    pairs = (("W1", "LCL-1"), ("W23-2", "LCL-2"), ("W23-3", "LCL-3"))
    assert [teeth[a] + teeth[b] for a, b in pairs] == [48, 48, 48]  # 4 × 48 / 2 = 96
    ratios = [constant * teeth[a] / teeth[b] for a, b in pairs]
    assert [round(one, 3) for one in ratios] == [4.048, 2.544, 1.41]
    # The bevel pair's teeth have no common divisor: every tooth meets every other (common practice).
    assert gcd(teeth["CRWN"], teeth["PNSH"]) == 1


def test_a_cone_a_taper_bearing_and_a_crown_wheel_are_drawn() -> None:
    drawing = {"lines": {"a": 10.0}, "module_mm": 2.0, "centre_mm": 40.0}
    cone = figure_of(
        drawing, {"position": "P", "kind": "shaft", "on": "a", "steps": [[0, 5, 3], [5, 9, 6, 2]]}
    )
    assert (5.0, 4.0) in cone.shapes[0].points
    assert (9.0, 8.0) in cone.shapes[0].points
    row = {
        "position": "T",
        "kind": "taper",
        "on": "a",
        "x": 0,
        "width": 10,
        "bore": 2,
        "top": 8,
        "wide": "rear",
    }
    rear, front = figure_of(drawing, row), figure_of(drawing, {**row, "wide": "front"})
    height = {at: abs(rear.lines[1][at][1] - rear.lines[1][at + 1][1]) for at in (0, 2)}
    assert height[0] < height[2]  # the large end is at the rear
    assert sorted(10 - x for x, _ in rear.lines[0]) == pytest.approx(sorted(x for x, _ in front.lines[0]))
    with pytest.raises(ValueError, match="front or rear"):
        figure_of(drawing, {**row, "wide": "left"})
    crown = figure_of(
        drawing, {"position": "C", "kind": "crown", "on": "a", "x": 50, "r": 30, "inner": 20, "spread": 60}
    )
    xs = [x for x, _ in crown.shapes[0].points]
    assert min(xs) == pytest.approx(20.0)  # 50 − 30, the tooth that faces the pinion
    assert max(xs) == pytest.approx(50 - 20 * cos(radians(60)))


# Washers and shims are chosen: 150.05 − 145.65 − 2 × 2.05 = 0.30; 160.0 − 29.65 − 124.6 − 5.775 = −0.025 mm.
CHOSEN_MM = {"ME-THWF-T": 2.05, "ME-THWR-T": 2.05, "ME-SHIM-T": 5.775}


def new_size(one: GuideIndex, check: Check) -> float | None:
    """The middle of the new limits [mm], of a check that takes a quantity."""
    if check.kind == "measure":
        limit = one.feature[check.feature].limits[0]
        return CHOSEN_MM.get(check.code, (limit.new_min_mm + limit.new_max_mm) / 2)
    if check.min_mm is None or check.max_mm is None:
        return None
    return (check.min_mm + check.max_mm) / 2


def new_unit(name: str, variant: str) -> tuple[list[PieceRecord], list[ReadingRecord]]:
    """Every check of a variant read as a new unit would read."""
    one = guide(name)
    here = {position.code for position in one.positions_of(variant)}
    readings: list[ReadingRecord] = []
    for check in one.checks_of(variant):
        if check.kind in {"stack", "replaced"}:
            continue
        size = new_size(one, check)
        company = [check.position, *(code for code in check.of if code in here)]
        for place in check.places or ("",):
            number = len(readings)
            readings.append(
                ReadingRecord(
                    key=f"R{number}",
                    check=check.code,
                    pieces=tuple((f"P-{code}", 1) for code in company),
                    person="Ann",
                    sequence=number,
                    gauge="G1",
                    gauge_expanded_um=0.5,
                    value_mm=size,
                    outcome="" if size is not None else check.expects(variant) or "sound",
                    place=place,
                    part_temperature_c=None if size is None else 20.0,
                )
            )
    return [PieceRecord(f"P-{code}", code) for code in sorted(here)], readings


@every_variant
def test_a_new_unit_is_serviceable_in_every_position(name: str, variant: str) -> None:
    pieces, readings = new_unit(name, variant)
    judged = judge(guide(name), variant, pieces, readings)
    replaced = {one.position for one in guide(name).checks_of(variant) if one.kind == "replaced"}
    bad = [(one.check, one.state, one.words) for one in judged.findings
           if one.state not in {"within", "sound", "replaced"}]  # fmt: skip
    assert bad == []
    found = {code for code, status in judged.status.items() if status != "serviceable"}
    assert found == replaced


@every_guide
def test_every_complaint_can_be_explained(name: str) -> None:
    complaints = guide(name).guide.complaints
    assert len(complaints) >= 10
    for one in complaints:
        assert one.explained_by
        for code in one.explained_by:
            assert guide(name).check[code].kind not in {"identify", "replaced"}


@every_guide
def test_the_remedies_have_their_price_and_their_end(name: str) -> None:
    remedies = guide(name).guide.remedies
    assert len(remedies) >= 50
    assert all(one.minutes > 0 for one in remedies)
    assert any(one.outside_minor and one.lead_days and one.not_when for one in remedies)
    assert any(one.skill == "lead" for one in remedies)
    assert any(one.rules_out for one in remedies) or name == "wenfold_tractor"
    assert sum(bool(one.leaves) for one in remedies) >= 15
    assert sum(bool(one.reject) for one in guide(name).guide.defects) >= 25


@every_variant
def test_the_build_sheet_says_how_each_joint_is_tightened(name: str, variant: str) -> None:
    sheet = compute(guide(name), variant, [], {})
    joints = [step["torque"] for step in sheet["steps"] if step["torque"]]
    assert len(joints) >= 5
    assert {one["kind"] for one in joints} <= {"guide", "computed", "taper"}
    assert any(one["kind"] == "computed" for one in joints)


WORDS_OF_THE_TRADE = re.compile(
    r"\b(layshaft|drop box|power take-off|end float|backlash|washer)\b", re.IGNORECASE
)


@every_guide
def test_it_speaks_the_shops_words_and_no_others(name: str) -> None:
    assert WORDS_OF_THE_TRADE.search(TEXTS[name])
    assert "!" not in TEXTS[name]
    makers = set(re.findall(r"\b(?:Hexworth|Calderby|Wenfold)\b", TEXTS[name]))
    assert len(makers) == 1  # its own, which is invented
    numbers = re.findall(r'"((?:H4|D2|T3)-[A-Z0-9-]+)"', TEXTS[name])
    assert {one[:2] for one in numbers} == {guide(name).guide.family}


@every_guide
def test_no_two_checks_of_a_position_look_alike(name: str) -> None:
    titles = Counter((one.position, one.title) for one in guide(name).guide.checks)
    assert max(titles.values()) == 1, titles.most_common(3)
