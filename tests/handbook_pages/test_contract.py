"""The contract of the Handbook by name: what each topic takes and what it replies, as clients rely on it.

Names once given are kept. What is new may stand beside them; what is here may not go.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from shop.access import make_token
from shop.topics.all import TOPICS
from tests.conftest import Cast
from tests.handbook_pages.cases import GOOD

# topic -> what it takes ("rows.column" for the keys of an object in a list), what it replies
CONTRACT: dict[str, tuple[str, str]] = {
    "limits": ("diameter zone", "lower_um upper_um"),
    "fit": (
        "diameter hole shaft hole_material shaft_material temperature",
        "hole.lower_um hole.upper_um shaft.lower_um shaft.upper_um clearance_min_um clearance_max_um "
        "character",
    ),
    "conformity": (
        "value expanded_uncertainty coverage_factor lower upper confidence",
        "probability decision acceptance_lower_mm acceptance_upper_mm",
    ),
    "temperature": (
        "length temperature material gauge_temperature gauge_material",
        "length_at_20_mm correction_um",
    ),
    "thread": (
        "designation",
        "form taper major_mm pitch_mm pitch_diameter_mm stress_area_mm2 not_to_be_confused_with",
    ),
    "tightening": (
        "thread grade condition nut_factor clamp_fraction tapped_material engagement",
        "torque_nm torque_min_nm torque_max_nm preload_n limited_by stripping_load_n",
    ),
    "press-fit": (
        "diameter interference length hub_outer shaft_bore hub_material shaft_material friction",
        "pressure_mpa press_force_n hub_hoop_stress_mpa",
    ),
    "shrink-fit": ("diameter interference working_clearance material ambient", "temperature_c too_hot"),
    "end-float": (
        "setting gap gap_uncertainty stack trial_float target_min target_max places washers washers.code "
        "washers.thickness washers.tolerance washers.count washers.price washers.place",
        "choice float_mm float_min_mm float_max_mm probability shim_change_mm others",
    ),
    "gear-train": (
        "stages stages.driving stages.driven module diametral_pitch",
        "ratio stage_ratios centre_distances_mm",
    ),
    "span": ("teeth module pressure_angle_deg spanned", "span_mm"),
    "bearing-life": (
        "dynamic_rating radial axial x y kind speed",
        "equivalent_load_n l10_million_rev l10_hours",
    ),
    "survival": (
        "durations observed",
        "times survival lower upper weibull_shape weibull_scale",
    ),
    "gauge-study": (
        "readings readings.piece readings.person readings.value tolerance",
        "repeatability reproducibility part_variation gauge_rr gauge_rr_percent percent_of_tolerance "
        "distinct_categories",
    ),
    "reorder": ("mean_demand sd_demand lead_time service_level model", "reorder_point safety_stock"),
    "quantity": ("text kind default_unit decimal_mark", "canonical unit resolution"),
    "form": ("readings", "mean_mm out_of_round_mm taper_mm"),
    "pattern": ("bolts passes", "order"),
    "backlash": ("teeth module", "backlash_mm"),
    "bending": ("torque teeth module face_width", "stress_mpa"),
    "intermittent": ("history smoothing variant", "demand_per_period"),
    "forecast": ("stages history jobs start levels", "finishes"),
    "order-quantity": ("annual_demand order_cost unit_cost holding_rate", "quantity"),
}
# Optional by the contract: a body without it is answered.
OPTIONAL = {
    "conformity": ("coverage_factor", "confidence"),
    "press-fit": ("shaft_bore",),
    "tightening": ("clamp_fraction", "tapped_material", "engagement", "nut_factor"),
    "end-float": ("setting", "gap_uncertainty", "places"),
    "gear-train": ("module", "diametral_pitch"),
    "quantity": ("default_unit", "decimal_mark"),
}
# What a word in a reply may be.
WORDS = {
    ("fit", "character"): {"clearance", "transition", "interference"},
    ("conformity", "decision"): {"within", "outside", "too close to call"},
    ("tightening", "limited_by"): {"bolt", "tapped thread"},
}
KINDS = ("length", "torque", "temperature", "mass", "force", "pressure", "angle", "time", "count")


@pytest.fixture
def ask(cast: Cast) -> Any:
    bearer = {"Authorization": f"Bearer {make_token(user=cast.technician, label='test')}"}

    def post(topic: str, body: dict[str, Any]) -> dict[str, Any]:
        path = f"/api/v1/handbook/{topic}"
        answer = Client().post(path, json.dumps(body), content_type="application/json", headers=bearer)
        assert answer.status_code == 200, answer.content
        said: dict[str, Any] = answer.json()
        return said

    return post


@pytest.mark.parametrize("topic", sorted(CONTRACT))
def test_it_takes_every_name_of_the_contract(topic: str) -> None:
    known = set()
    for one in TOPICS[topic].arguments:
        known |= {one.name, *(f"{one.name}.{column.name}" for column in one.columns)}
    assert set(CONTRACT[topic][0].split()) - known == set()


@pytest.mark.django_db
@pytest.mark.parametrize("topic", sorted(CONTRACT))
def test_it_replies_every_name_of_the_contract(ask: Any, topic: str) -> None:
    said = ask(topic, GOOD[topic][0])
    for path in (*CONTRACT[topic][1].split(), "working", "cautions"):
        found: Any = said
        for name in path.split("."):
            assert name in found, path
            found = found[name]
    for (name, key), words in WORDS.items():
        if name == topic:
            assert said[key] in words


@pytest.mark.django_db
@pytest.mark.parametrize("topic", sorted(OPTIONAL))
def test_what_may_be_left_out_may_be_left_out(ask: Any, topic: str) -> None:
    body = {name: value for name, value in GOOD[topic][0].items() if name not in OPTIONAL[topic]}
    assert ask(topic, body)["working"]


@pytest.mark.django_db
def test_a_pipe_thread_has_no_stress_area(ask: Any) -> None:
    said = ask("thread", {"designation": "1/2-14 NPT"})
    assert said["stress_area_mm2"] is None
    assert said["taper"] is True


@pytest.mark.django_db
@pytest.mark.parametrize("kind", KINDS)
def test_a_quantity_of_every_kind_of_the_contract_is_read(ask: Any, kind: str) -> None:
    texts = {
        "length": "1 mm",
        "torque": "1 N·m",
        "temperature": "1 °C",
        "mass": "1 kg",
        "force": "1 N",
        "pressure": "1 MPa",
        "angle": "1°",
        "time": "1 s",
        "count": "1",
    }
    assert ask("quantity", {"text": texts[kind], "kind": kind})["canonical"] == 1.0
