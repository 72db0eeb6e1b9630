"""The unit drawing of the demonstration guide, and drawings made to be awkward."""

import re
import tomllib
from dataclasses import replace
from itertools import combinations, pairwise
from math import hypot
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.document import Guide, Position, read
from inspections.drawings.drawing import check_drawing, legend, unit_drawing
from inspections.drawings.lettering import FOUND, PITCH, PLANNED, RADIUS, balloons, mark_of, spread
from inspections.drawings.outlines import pitch_radius

GUIDE = Path(__file__).parents[2] / "fixtures" / "guides" / "hexworth_h4.toml"
HREF, LABEL = "href", "aria-label"


@pytest.fixture(scope="module")
def guide() -> Guide:
    return read(tomllib.loads(GUIDE.read_text(encoding="utf-8")))


def draw(guide: Guide, variant: str, **changes: Any) -> str:
    links = {one.code: f"#{one.code}" for one in guide.positions}
    settings: dict[str, Any] = {"verdicts": {}, "links": links, **changes}
    return unit_drawing(
        guide.drawing, settings.pop("positions", guide.positions), variant=variant, **settings
    )


def parsed(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)


def circles(text: str) -> list[tuple[float, float]]:
    found = re.findall(r'<g class="balloon"><circle cx="([\d.]+)" cy="([\d.]+)"', text)
    return [(float(x), float(y)) for x, y in found]


def leaders(text: str) -> list[list[tuple[float, float]]]:
    found = []
    for path in re.findall(r'<path class="leader" d="M([^"]+)"', text):
        found.append([(float(x), float(y)) for x, y in (pair.split() for pair in path.split("L"))])
    return found


def test_the_demonstration_guide_can_be_drawn(guide: Guide) -> None:
    assert check_drawing(guide.drawing, guide.positions) == []


def test_pitch_radii_divide_the_centre_distance() -> None:
    """r = m z / 2 with m = 3.5: ISO 21771, from memory. 17, 31, 22, 26, 29, 19, 34, 14 teeth by hand."""
    by_hand = {
        (17, 31): 29.75, (31, 17): 54.25, (22, 26): 38.5, (26, 22): 45.5,
        (29, 19): 50.75, (19, 29): 33.25, (34, 14): 59.5, (14, 34): 24.5,
    }  # fmt: skip
    for (teeth, mates), radius in by_hand.items():
        assert pitch_radius(centre_mm=84.0, teeth=teeth, mates=mates) == pytest.approx(radius)
    with pytest.raises(ValueError, match="do not make a pair"):
        pitch_radius(centre_mm=84.0, teeth=0, mates=14)


@pytest.mark.parametrize("variant", ["FC", "RC"])
def test_every_position_of_the_variant_is_linked_once(guide: Guide, variant: str) -> None:
    links = parsed(draw(guide, variant)).findall(".//a")
    wanted = [f"#{one.code}" for one in guide.positions if one.exists_in(variant)]
    assert sorted(link.attrib[HREF] for link in links) == sorted(wanted)
    numbers = [int(link.attrib[LABEL].split()[0]) for link in links]
    assert numbers == sorted(numbers), "the keyboard goes by balloon number"


def distance(point: tuple[float, float], one: tuple[float, float], other: tuple[float, float]) -> float:
    """From a point to a straight line between two others."""
    (x, y), (x1, y1), (x2, y2) = point, one, other
    square = (x2 - x1) ** 2 + (y2 - y1) ** 2
    along = max(0.0, min(1.0, ((x - x1) * (x2 - x1) + (y - y1) * (y2 - y1)) / square))
    return hypot(x - x1 - along * (x2 - x1), y - y1 - along * (y2 - y1))


@pytest.mark.parametrize("variant", ["FC", "RC"])
def test_balloons_stand_apart_and_leaders_do_not_cross(guide: Guide, variant: str) -> None:
    text = draw(guide, variant)
    width, height = (float(one) for one in parsed(text).attrib["viewBox"].split()[2:])
    centres = circles(text)
    assert len(centres) == sum(one.exists_in(variant) for one in guide.positions)
    for (x1, y1), (x2, y2) in combinations(centres, 2):
        assert ((x1 - x2) ** 2 + (y1 - y2) ** 2) ** 0.5 >= 2 * RADIUS
    for x, y in centres:
        assert RADIUS <= x <= width - RADIUS
        assert RADIUS <= y <= height - RADIUS
    for path in leaders(text):
        near = [centre for centre in centres if distance(centre, path[0], path[1]) < RADIUS - 0.2]
        assert not near, f"a leader runs through the balloon at {near}"
    upright = [(path[1][0], sorted((path[1][1], path[2][1]))) for path in leaders(text)]
    for (x1, span1), (x2, span2) in combinations(upright, 2):
        apart = span1[1] < span2[0] or span2[1] < span1[0]
        assert apart or abs(x1 - x2) >= 3, f"two leaders run on one another at {x1:.0f}"


@pytest.mark.parametrize("key", [*FOUND, *PLANNED])
def test_a_verdict_is_drawn_and_said(guide: Guide, key: str) -> None:
    word, css = mark_of(key)[2], mark_of(key)[1]
    text = draw(guide, "FC", verdicts={"W3M": key})
    link = next(one for one in parsed(text).iter("a") if one.attrib[HREF] == "#W3M")
    assert link.attrib[LABEL] == f"9 Third wheel, mainshaft: {word}"
    assert any(f"part {css}" == one.attrib.get("class") for one in link.iter("path"))
    letters = [one.text for one in link.iter("text")]
    assert letters == {"missing": ["9", "M"], "wrong": ["9", "W"]}.get(key, ["9"])


def test_scrap_has_a_corner_cut(guide: Guide) -> None:
    def corners(verdict: str) -> int:
        text = draw(guide, "FC", verdicts={"SPIG": verdict})
        link = next(one for one in parsed(text).iter("a") if one.attrib[HREF] == "#SPIG")
        return next(one for one in link.iter("path")).attrib["d"].count("L")

    assert corners("scrap") == corners("rework") + 1


def test_no_verdict_means_open_and_an_unknown_one_is_refused(guide: Guide) -> None:
    assert parsed(draw(guide, "FC")).find(".//a").attrib[LABEL].endswith(": open")  # type: ignore[union-attr]
    with pytest.raises(ValueError, match="neither found nor planned"):
        draw(guide, "FC", verdicts={"W3M": "splendid"})


def test_current_and_unlinked_positions(guide: Guide) -> None:
    root = parsed(draw(guide, "FC", links={"W2M": "#w2"}, current="W2M"))
    assert [one.attrib.get("aria-current") for one in root.iter("a")] == ["true"]
    images = [one for one in root.iter("g") if one.attrib.get("role") == "img"]
    assert len(images) == sum(one.exists_in("FC") for one in guide.positions) - 1


def test_the_text_carries_no_style_script_or_colour(guide: Guide) -> None:
    text = draw(guide, "RC", verdicts={"CLUS": "scrap"}) + legend([*FOUND])
    assert not re.search(r"style=|<script|<style|\son\w+=|stroke=|#[0-9a-f]{6}\b|rgb\(", text)
    assert set(re.findall(r'fill="([^"]*)"', text)) == {"none"}


def test_hostile_names_and_links_are_escaped(guide: Guide) -> None:
    name = """<script>alert('x')</script>" onload="x & y"""
    positions = [replace(one, name=name) for one in guide.positions]
    text = draw(guide, "FC", positions=positions, links={"CLUS": '"><b>'}, dimensions={"FL-LAY": "<i>"})
    assert "<script" not in text
    assert "<b>" not in text
    labels = {one.attrib[LABEL] for one in parsed(text).iter("a")}
    assert labels == {f"16 {name}: open"}


def test_a_dimension_is_drawn_when_it_has_words(guide: Guide) -> None:
    assert "84.000 centres" in draw(guide, "FC")
    assert "end float" not in draw(guide, "FC")
    assert "end float 0.43 mm" in draw(guide, "FC", dimensions={"FL-LAY": "end float 0.43 mm"})


def test_a_variant_that_has_nothing_drawn_gives_nothing(guide: Guide) -> None:
    assert draw(guide, "FC", positions=[Position("NOWHERE", 1, "Not drawn")]) == ""


def test_check_names_what_is_wrong(guide: Guide) -> None:
    part = {
        "position": "A",
        "kind": "gear",
        "on": "main",
        "x": 0,
        "width": 9,
        "teeth": 20,
        "mates": 30,
        "bore": 5,
    }
    mate = {**part, "position": "B", "on": "lay", "teeth": 30, "mates": 20}
    good = {"centre_mm": 50.0, "module_mm": 2.0, "lines": {"main": 0.0, "lay": 50.0}, "part": [part, mate]}
    both = [Position("A", 1, "a"), Position("B", 2, "b")]
    assert check_drawing(good, both) == []
    assert check_drawing({}, both)[0] == "drawing: centre_mm is missing."
    assert check_drawing(good, both[:1]) == ["drawing part 2: position 'B' is not in this guide."]
    assert "C: never drawn." in check_drawing(good, [*both, Position("C", 3, "c")])
    odd = {**good, "module_mm": 2.5}
    assert check_drawing(odd, both)[0] == (
        "A: pitch radii 25.000 and 37.500 mm make 62.500 mm, not the centre distance 50.000 mm."
    )
    shifted = {**good, "lines": {"main": 0.0, "lay": 51.0}}
    assert "not 50.0 mm apart" in check_drawing(shifted, both)[0]
    alone = {**good, "part": [part, {**mate, "teeth": 31}]}
    assert check_drawing(alone, both)[0] == "A: 20 teeth run with 30, which no wheel has."
    unknown = {**good, "part": [{**part, "kind": "cloud"}, mate]}
    assert "cannot be drawn" in check_drawing(unknown, both)[0]


def test_the_legend_names_every_mark() -> None:
    text = legend([*FOUND, *PLANNED])
    words = [one.text for one in parsed(text).iter("text")]
    assert set(FOUND.values()) | set(PLANNED.values()) <= set(words)


@given(st.lists(st.floats(0, 800), min_size=1, max_size=16))
def test_spread_keeps_order_distance_and_room(wanted: list[float]) -> None:
    places = spread(sorted(wanted), pitch=PITCH, low=0, high=800)
    assert all(b - a >= PITCH - 1e-6 for a, b in pairwise(places))
    assert places[0] >= -1e-6
    assert places[-1] <= 800 + 1e-6


@given(
    st.lists(
        st.tuples(st.integers(0, 800), st.integers(200, 600)),
        min_size=2,
        max_size=16,
        unique_by=lambda p: p[0],
    )
)
def test_slanting_parts_of_leaders_keep_their_order(points: list[tuple[int, int]]) -> None:
    targets = {str(n): (float(x), float(y)) for n, (x, y) in enumerate(points)}
    row = balloons(targets, row_y=0, bend_y=80, low=0, high=800)
    assert [one.leader[1][0] for one in row] == sorted(one.leader[1][0] for one in row)
    assert [one.x for one in row] == sorted(one.x for one in row)
