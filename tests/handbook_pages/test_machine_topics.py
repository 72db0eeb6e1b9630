"""Topics of gears, press and shrink fits and bearings, beyond their first case: each way of asking them."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.refusals import Refusal
from shop.topics import bearing, gearing, pressing
from shop.topics.all import TOPICS
from shop.topics.table import Answer, Argument, answer
from tests.handbook_pages.cases import GOOD
from tests.handbook_pages.cases.bearing import DUTY, WITH_DUTY


def ask(topic: str, **more: Any) -> Answer:
    return answer(TOPICS[topic], {key: value for key, value in more.items() if value is not None})


def row(found: Answer, label: str) -> str:
    return dict(found.rows)[label]


def test_the_least_interference_holds_the_torque_and_the_largest_sets_the_force() -> None:
    body = GOOD["press-fit"][0] | {"least_interference": "0.01 mm"}
    found = ask("press-fit", **body)
    assert found.reply["press_force_n"] == pytest.approx(9754.6, rel=1e-4)
    assert found.reply["torque_held_nm"] == pytest.approx(121.93 / 2, rel=1e-4)
    assert found.reply["holds"] is False
    assert "slips" in found.cautions[0]


def test_an_aluminium_hub_lets_go_when_warm() -> None:
    """72 × 9.8e-6 × 70 = 49.4 µm (Callister B.6, the same as a check value of the handbook)."""
    found = ask(
        "press-fit",
        diameter="72 mm",
        interference="0.03 mm",
        length="20 mm",
        hub_outer="120 mm",
        hub_material="aluminium",
        temperature="90 °C",
    )
    assert found.reply["warm_interference_mm"] == pytest.approx(0.03 - 0.049392)
    assert any("loose" in one for one in found.cautions)


def test_a_hollow_shaft_says_how_far_its_bore_closes() -> None:
    body = GOOD["press-fit"][0]
    assert "Shaft bore closes by" in dict(ask("press-fit", **body, shaft_bore="15 mm").rows)
    assert "Shaft bore closes by" not in dict(ask("press-fit", **body).rows)


def test_too_hot_for_a_sealed_bearing_but_not_for_a_hub() -> None:
    body = GOOD["shrink-fit"][0]
    sealed, hub = (ask("shrink-fit", **body, part=part) for part in ("sealed bearing", "plain steel or iron"))
    assert (sealed.reply["too_hot"], hub.reply["too_hot"]) == (True, False)
    assert row(sealed, "Too hot") == "yes: do not"
    assert "stored cop" in sealed.working[1].source


def test_chilling_the_inner_part() -> None:
    """0.05 over 50 mm of steel is 85.5 K, down from 20 °C."""
    found = ask("shrink-fit", **GOOD["shrink-fit"][0], method="chill the inner part", part="open bearing")
    assert found.reply["temperature_c"] == pytest.approx(20 - 85.47, abs=0.01)
    assert (found.reply["too_hot"], found.reply["too_cold"]) == (False, True)
    assert any("liquid nitrogen" in one for one in found.cautions)


def test_gears_that_do_not_run_together_say_why() -> None:
    found = ask("gear-pair", gears="20; 2.5 mm\n30; ; ; ; ; ; ; 10")
    assert found.reply["runs"] is False
    assert "modules differ" in found.reply["reasons"][0]
    helical = "20; 3 mm; 0; full depth; 20; 23; left\n40; 3 mm; 0; full depth; 20; 23; left"
    assert "Both are left hand" in ask("gear-pair", gears=helical).reply["reasons"][0]
    good = ask("gear-pair", gears=helical.removesuffix("left") + "right").reply
    assert good["centre_mm"] == pytest.approx(90 / math.cos(math.radians(23)))


def test_a_module_or_a_diametral_pitch() -> None:
    for topic, more in (("span", {"spanned": 4}), ("over-pins", {}), ("chordal-thickness", {})):
        by_module = ask(topic, teeth=32, module="6.35 mm", **more).reply
        by_pitch = ask(topic, teeth="32", diametral_pitch="4", **more).reply
        assert by_module == pytest.approx(by_pitch)


def test_span_proposes_its_teeth_and_tells_the_wear() -> None:
    """Δs = (W − measured)/cos 20°."""
    full = ask("span", teeth=24, module=3).reply
    assert full["spanned"] == 3
    worn = ask("span", teeth=24, module=3, measured=f"{full['span_mm'] - 0.1:.6f} mm").reply
    assert worn["thinning_mm"] == pytest.approx(0.1 / math.cos(math.radians(20)), abs=1e-5)


def test_backlash_from_two_spans() -> None:
    """At the standard centre distance jn is what both spans lack: 0.10 + 0.05."""
    spans = [ask("span", teeth=teeth, module=2).reply for teeth in (40, 60)]
    found = ask(
        "backlash",
        teeth=40,
        module=2,
        measured=f"{spans[0]['span_mm'] - 0.10:.6f} mm",
        mate_teeth=60,
        mate_measured=f"{spans[1]['span_mm'] - 0.05:.6f} mm",
        centre="100 mm",
    )
    assert found.reply["normal_backlash_mm"] == pytest.approx(0.15, abs=1e-5)
    alone = ask(
        "backlash", teeth=40, module=2, measured=f"{spans[0]['span_mm'] - 0.10:.6f} mm", mate_teeth=60
    )
    assert alone.reply["normal_backlash_mm"] == pytest.approx(0.10, abs=1e-5)
    assert any("mate was not measured" in one for one in alone.cautions)


def test_stub_teeth_and_speed_in_bending() -> None:
    body = GOOD["bending"][0]
    full, stub = (
        ask("bending", **body, form=form, speed="1450 rpm").reply for form in ("full depth", "stub")
    )
    assert stub["stress_mpa"] < full["stress_mpa"]
    # Barth, cut teeth: 1 + v/6.096, v = π 0.060 × 1450/60.
    assert full["velocity_factor"] == pytest.approx(1 + math.pi * 0.060 * 1450 / 60 / 6.096, rel=1e-6)
    assert any("from memory" in one for one in ask("bending", **body, form="stub").cautions)


def test_a_duty_of_gears_on_page_and_api() -> None:
    """By hand: (Σ q n P³/Σ q n)^(1/3) of 60 × 9³ and 1350 × 2³ over 1410 is 3.382 kN."""
    by_rows = ask("bearing-life", dynamic_rating="30 kN", duty=DUTY)
    by_lines = ask(
        "bearing-life", dynamic_rating="30 kN", duty="first; 0.1; 600 rpm; 9 kN\ntop; 0.9; 1500; 2 kN; 0 N"
    )
    assert by_rows.reply == by_lines.reply
    assert by_rows.reply["equivalent_load_n"] == pytest.approx(3382, abs=1)
    assert by_rows.reply["mean_speed_rpm"] == pytest.approx(1410)
    wear = {one["name"]: one["share"] for one in by_rows.reply["damage"]}
    assert wear["first"] == pytest.approx(60 * 9**3 / (60 * 9**3 + 1350 * 2**3))
    assert by_rows.ledger is not None
    assert [line[0] for line in by_rows.ledger.rows] == ["first", "top"]


def test_factors_of_a_deep_groove_bearing_from_the_table() -> None:
    """Fr 3 kN, Fa 1.5 kN, f0 14, C0 42 kN: 4.47576 kN (ISO 281, table 3, from memory; linear)."""
    found = ask(
        "bearing-life",
        dynamic_rating="60 kN",
        radial="3 kN",
        axial="1.5 kN",
        f0=14,
        static_rating="42 kN",
        speed=1000,
        hours=5000,
    )
    assert found.reply["equivalent_load_n"] == pytest.approx(4475.76, abs=0.02)
    needed = found.reply["needed_rating_n"]
    again = ask("bearing-life", dynamic_rating=f"{needed:.3f} N", radial="4475.756 N", speed=1000).reply
    assert again["l10_hours"] == pytest.approx(5000, rel=1e-4)


def test_a_speed_is_a_number_of_rpm_or_a_text() -> None:
    body = GOOD["bearing-life"][0]
    hours = [
        ask("bearing-life", **(body | {"speed": speed})).reply["l10_hours"]
        for speed in (1800, 1800.0, "1800", "1800 rpm", "30 rev/s")
    ]
    assert hours == pytest.approx([hours[0]] * 5)
    assert ask("bearing-life", **(body | {"speed": None})).reply["l10_hours"] is None


def test_every_figure_is_said_in_both_systems() -> None:
    assert "in)" in row(ask("span", teeth=24, module=3), "Span")
    assert "lbf)" in row(ask("press-fit", **GOOD["press-fit"][0]), "Press force")
    assert "°F)" in row(ask("shrink-fit", **GOOD["shrink-fit"][0]), "Heat the outer part to")


def test_a_stress_below_nothing_has_the_typographic_minus() -> None:
    assert row(ask("press-fit", **GOOD["press-fit"][0]), "Shaft, hoop stress").startswith("−62.1 MPa (−")


def test_a_direct_drive_needs_no_stage_here() -> None:
    with pytest.raises(Refusal) as trouble:
        ask("gear-train", stages=[])
    assert "stages" in trouble.value.errors


ROOMS = (*pressing.TOPICS, *gearing.TOPICS, *bearing.TOPICS)
LENGTHS = ["0 mm", "−1 mm", "0.001 mm", "1 µm", "3 mm", "61.7 mm", "19 m", "1 1/8 in"]
NUMBERS: list[Any] = [-1, 0, 1e-9, 0.5, 1, 3, 14.5, 20, 44.9, 500, 1e8]
ODD: dict[str, list[Any]] = {
    "length": LENGTHS,
    "number": NUMBERS,
    "count": [0, 1, 2, 5, 6, 7, 13, 40, 499, 500, 1e9],
    "temperature": ["−273 °C", "−40 °C", "20 °C", "250 °C", "1999 °C"],
    "force": ["0 N", "1 N", "9 kN", "10000 kN", "−1 N"],
    "torque": ["0 N·m", "1 N·m", "100000 N·m", "−1 N·m"],
    "pressure": ["0 MPa", "1 Pa", "9999 MPa", "−1 MPa"],
    "speed": [0, 1e-6, 1450, 1e6],
    "text": ["", "steel", "brass", "stub", "6/8", "½", "x" * 60],
}


def odd_values(one: Argument) -> st.SearchStrategy[Any]:
    if one.kind == "rows":
        row = st.fixed_dictionaries({}, optional={each.name: odd_values(each) for each in one.columns})
        return st.lists(row, max_size=3)
    known: list[Any] = [*one.choices()] if one.choices else []
    single = st.sampled_from([*known, *ODD.get(one.kind, [])])
    return st.lists(single, max_size=2) if one.many else single


SPANS = {"reading": None, "radius": None, "spanned": 5, "measured": "27.60 mm", "mate_teeth": 60}
OTHER_WAYS: list[tuple[str, dict[str, Any]]] = [
    ("backlash", SPANS | {"mate_spanned": 7, "mate_measured": "39.9 mm", "centre": "100 mm"}),
    ("backlash", {"way": "square to the flank", "helix_deg": 20}),
    ("bearing-life", WITH_DUTY | {"duty": DUTY}),
    ("bearing-life", WITH_DUTY | {"duty": DUTY, "f0": 14, "static_rating": "30 kN"}),
    ("shrink-fit", {"method": "chill the inner part"}),
    ("shrink-fit", {"inner_material": "steel", "inner_temperature": "−40 °C"}),
    ("span", {"helix_deg": 25, "measured": "32.7 mm"}),
]
BODIES = [
    *((topic.name, GOOD[topic.name][0]) for topic in ROOMS),
    *((name, GOOD[name][0] | more) for name, more in OTHER_WAYS),
]


@pytest.mark.parametrize(("name", "body"), BODIES)
def test_each_way_has_an_answer(name: str, body: dict[str, Any]) -> None:
    assert ask(name, **body).reply


def outcome(name: str, body: dict[str, Any]) -> Answer | Refusal:
    try:
        return ask(name, **body)
    except Refusal as trouble:
        return trouble


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_nothing_breaks_it_and_what_is_wrong_has_its_field(data: st.DataObject) -> None:
    """One to three values of a good body are made odd: an answer in plain numbers, or a named field."""
    name, body = data.draw(st.sampled_from(BODIES))
    arguments = TOPICS[name].arguments
    changed = data.draw(st.lists(st.sampled_from(arguments), min_size=1, max_size=3, unique_by=str))
    found = outcome(name, body | {one.name: data.draw(odd_values(one)) for one in changed})
    if isinstance(found, Refusal):
        assert found.errors
        assert set(found.errors) <= {one.name for one in arguments}, found.errors
        assert all(found.errors.values())
    else:
        json.dumps(found.as_reply(), allow_nan=False)
        assert found.working
