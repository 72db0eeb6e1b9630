"""Press and shrink fits: published examples, a linear solve of the two cylinders, what must be refused."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.handbook.elastic import Elastic, elastic, stated_elastic
from shop.handbook.fits import fit
from shop.handbook.materials import expansion, materials
from shop.handbook.pressing import PRESSING, PressFit, press_fit, warm_interference
from shop.handbook.quantities import Refused
from shop.handbook.shrinking import chill_fit, heating_limit, parts, shrink_fit
from shop.handbook.tables.reading import rows
from shop.handbook.working import OutOfRange
from tests.handbook.checks import Check, checks

CHECKS = {one.id: one for one in checks("pressing.csv")}
DISC = CHECKS["04-266"].inputs
SMALL = CHECKS["04-270"].inputs


def _disc(radial_interference: float) -> PressFit:
    """The steel shaft and iron disc of the example; its a, b, c are radii, its interference to a side."""
    return press_fit(
        2 * DISC["b_mm"],
        2 * radial_interference,
        DISC["L_mm"],
        2 * DISC["c_mm"],
        shaft_bore=2 * DISC["a_mm"],
        hub_material=stated_elastic(1000 * DISC["Eh_GPa"], DISC["nu_h"]),
        shaft_material=stated_elastic(1000 * DISC["Es_GPa"], DISC["nu_s"]),
        friction=DISC["f"],
    )


def test_hollow_shaft_in_a_disc_of_another_material() -> None:
    pressure, interference, force, torque = (CHECKS[f"04-{n}"] for n in (266, 267, 268, 269))
    # The most that a hoop stress of 30 MPa allows: everything is in proportion to the interference.
    trial = _disc(0.01)
    allowed = 0.01 * DISC["max_hoop_MPa"] / trial.hub_hoop_stress_mpa
    assert allowed == pytest.approx(interference.expected, abs=interference.tolerance)
    found = _disc(allowed)
    assert found.hub_hoop_stress_mpa == pytest.approx(DISC["max_hoop_MPa"])
    assert found.pressure_mpa == pytest.approx(pressure.expected, abs=pressure.tolerance)
    assert found.press_force_n / 1000 == pytest.approx(force.expected, abs=force.tolerance)
    assert found.torque_held_nm == pytest.approx(torque.expected, abs=torque.tolerance)


def test_steel_in_steel_of_the_worked_example() -> None:
    steel = stated_elastic(1000 * SMALL["E_GPa"], 0.3)
    found = press_fit(
        SMALL["d_mm"],
        SMALL["delta_diam_mm"],
        SMALL["L_mm"],
        SMALL["Do_mm"],
        hub_material=steel,
        shaft_material=steel,
        friction=SMALL["mu"],
    )
    for name, value in (
        ("04-270", found.pressure_mpa),
        ("04-271", found.hub_hoop_stress_mpa),
        ("04-272", found.press_force_n),
    ):
        assert value == pytest.approx(CHECKS[name].expected, abs=CHECKS[name].tolerance)


def test_heating_limits_keep_their_source() -> None:
    check = CHECKS["04-275"]
    usual, _, sealed = check.expected
    assert [heating_limit(part).ceiling_c for part in ("open bearing", "sealed bearing")] == [usual, sealed]
    assert "125 °C" in heating_limit("open bearing").working[0].source
    for part in parts():
        assert heating_limit(part).working[0].source
        assert heating_limit(part).floor_c < 0 < heating_limit(part).ceiling_c
    for row in rows("heating_limits.csv"):
        told = any("from memory" in one for one in heating_limit(row["part"]).cautions)
        assert told == (row["status"] == "memory")


def test_a_race_in_an_aluminium_housing_when_warm() -> None:
    check: Check = CHECKS["04-278"]
    warm = 20 + check.inputs["dT"]
    found = warm_interference(check.inputs["D_mm"], 0.03, "aluminium", "steel", warm)
    assert found.loss_um == pytest.approx(check.expected, abs=check.tolerance)
    assert found.interference_mm == pytest.approx(0.03 - check.expected / 1000)
    assert any("part is loose" in one for one in found.cautions)
    # The same by the warm fit of ISO 286 zones: its clearance grows by the same amount.
    cold, hot = (
        fit(72, "P7", "h6", hole_material="aluminium", shaft_material="steel", temperature=at)
        for at in (20, warm)
    )
    assert hot.clearance_min_um - cold.clearance_min_um == pytest.approx(found.loss_um)
    assert not any("loose" in one for one in warm_interference(72, 0.06, "aluminium", "steel", 90).cautions)


def test_every_check_value_is_used() -> None:
    used = {f"04-{n}" for n in (266, 267, 268, 269, 270, 271, 272, 275, 278)}
    assert set(CHECKS) == used


# --- an independent route


def _solved(d: float, delta: float, outer: float, bore: float, hub: Elastic, shaft: Elastic) -> np.ndarray:
    """A, B of both cylinders (σr = A − B/r², σθ = A + B/r²) from the four conditions at their faces."""
    a, b, c = bore / 2, d / 2, outer / 2

    def moved(one: Elastic, r: float) -> tuple[float, float]:
        """u = r (σθ − ν σr)/E, as factors of A and B."""
        return r * (1 - one.poisson) / one.youngs_mpa, (1 + one.poisson) / (r * one.youngs_mpa)

    inner = [1, -1 / a**2, 0, 0] if a else [0, 1, 0, 0]  # free bore, or finite at the centre
    rows_ = [
        [0, 0, 1, -1 / c**2],  # free outside
        inner,
        [1, -1 / b**2, -1, 1 / b**2],  # one pressure
        [*(-one for one in moved(shaft, b)), *moved(hub, b)],  # the interference is taken up
    ]
    return np.linalg.solve(np.array(rows_, dtype=float), np.array([0.0, 0.0, 0.0, delta / 2]))


@given(
    st.floats(10, 200),
    st.floats(0.05, 1.0),
    st.floats(1.1, 5),
    st.one_of(st.just(0.0), st.floats(0.1, 0.9)),
    st.sampled_from(materials()),
    st.sampled_from(materials()),
)
def test_stresses_against_a_linear_solve(
    d: float, thousandths: float, outer: float, bore: float, hub: str, shaft: str
) -> None:
    delta = d * thousandths / 1000
    found = press_fit(d, delta, 20, outer * d, shaft_bore=bore * d, hub_material=hub, shaft_material=shaft)
    a1, b1, a2, b2 = _solved(d, delta, outer * d, bore * d, elastic(hub), elastic(shaft))
    r, c = d / 2, outer * d / 2
    wanted = [
        (found.hub_radial_stress_mpa, a2 - b2 / r**2),
        (found.hub_hoop_stress_mpa, a2 + b2 / r**2),
        (found.hub_outer_hoop_stress_mpa, a2 + b2 / c**2),
        (found.shaft_radial_stress_mpa, a1 - b1 / r**2),
        (found.shaft_hoop_stress_mpa, a1 + b1 / r**2),
        (found.shaft_bore_hoop_stress_mpa, a1 + b1 / (bore * r) ** 2 if bore else a1),
        (found.hub_growth_mm, 2 * c * (a2 + b2 / c**2) / elastic(hub).youngs_mpa),
    ]
    for value, solved in wanted:
        assert value == pytest.approx(solved, rel=1e-6, abs=1e-9)
    if bore:
        closing = -2 * bore * r * (a1 + b1 / (bore * r) ** 2) / elastic(shaft).youngs_mpa
        assert found.bore_closing_mm == pytest.approx(closing, rel=1e-6)
    else:
        assert found.bore_closing_mm == 0
    mises = math.sqrt(
        found.hub_hoop_stress_mpa**2
        - found.hub_hoop_stress_mpa * found.hub_radial_stress_mpa
        + found.hub_radial_stress_mpa**2
    )
    assert found.hub_equivalent_stress_mpa == pytest.approx(mises)


@given(st.floats(0.001, 0.1), st.floats(1.1, 5))
def test_force_goes_with_the_interference(delta: float, times: float) -> None:
    one, more = (press_fit(60, size, 30, 100) for size in (delta, times * delta))
    assert more.press_force_n == pytest.approx(times * one.press_force_n)
    assert more.torque_held_nm == pytest.approx(more.press_force_n * 0.030)


def test_every_material_has_elastic_constants() -> None:
    assert [row["material"] for row in rows("elastic.csv")] == list(materials())
    for row in rows("elastic.csv"):
        found = elastic(row["material"])
        assert 40_000 < found.youngs_mpa < 220_000
        assert 0.2 < found.poisson < 0.4
        assert ("from memory" in found.working[0].source) == (row["status"] == "memory")
    assert any("66 to 138" in one for one in elastic("grey iron").cautions)
    with pytest.raises(Refused):
        elastic("cheese")


def test_pressing_has_its_caution() -> None:
    found = press_fit(60, 0.03, 30, 100)
    assert found.cautions[0] == PRESSING
    assert any(one.startswith("Lift what is heavy") for one in found.cautions)
    assert all(word in PRESSING for word in ("through the ring that is being fitted", "guard", "Stand clear"))


@pytest.mark.parametrize(
    ("given_", "name"),
    [
        ({"diameter": 0}, "diameter"),
        ({"interference": 2}, "interference"),
        ({"interference": -0.01}, "interference"),
        ({"length": 0}, "length"),
        ({"hub_outer": 60}, "hub_outer"),
        ({"shaft_bore": 60}, "shaft_bore"),
        ({"friction": 0.9}, "friction"),
        ({"friction": math.nan}, "friction"),
    ],
)
def test_press_fits_out_of_range_are_named(given_: dict[str, float], name: str) -> None:
    good: dict[str, float] = {"diameter": 60, "interference": 0.03, "length": 30, "hub_outer": 100}
    with pytest.raises(OutOfRange) as trouble:
        press_fit(**(good | given_))  # type: ignore[arg-type]
    assert trouble.value.argument == name
    assert trouble.value.allowed


# --- heating and chilling


def test_heating_by_hand() -> None:
    """0.03 + 0.02 over 50 mm of steel, 11.7e-6: 85.5 K above 20 °C (Callister B.6 coefficient)."""
    found = shrink_fit(50, 0.03, 0.02, "steel", 20, part="open bearing")
    assert found.temperature_c == pytest.approx(20 + 0.05 / 50 / 11.7e-6)
    assert not found.too_hot
    sealed = shrink_fit(50, 0.03, 0.02, "steel", 20, part="sealed bearing")
    assert sealed.too_hot
    assert "80 °C" in sealed.cautions[0]
    assert "Too hot" in sealed.cautions[0]


@given(
    st.floats(10, 300),
    st.floats(0.05, 0.8),
    st.floats(0, 0.1),
    st.floats(-10, 40),
    st.sampled_from(materials()),
)
def test_heated_so_far_the_bore_is_open_by_the_clearance(
    d: float, thousandths: float, clearance: float, ambient: float, material: str
) -> None:
    """Checked by growing the bore: its size at the temperature is the shaft plus the clearance."""
    delta = d * thousandths / 1000
    found = shrink_fit(d, delta, clearance, material, ambient, part="plain steel or iron")
    grown = (d - delta) + d * expansion(material).per_kelvin * (found.temperature_c - ambient)
    assert grown == pytest.approx(d + clearance, abs=1e-9)
    assert found.too_hot == (found.temperature_c > 250)


def test_a_chilled_shaft_takes_its_share() -> None:
    alone = shrink_fit(80, 0.08, 0.03, "steel", 20, part="hardened gear")
    helped = shrink_fit(
        80, 0.08, 0.03, "steel", 20, part="hardened gear", inner_material="steel", inner_temperature=-40
    )
    assert alone.temperature_c - helped.temperature_c == pytest.approx(60)
    assert any("liquid nitrogen" in one for one in helped.cautions)
    none = shrink_fit(
        80, 0.01, 0, "steel", 20, part="hardened gear", inner_material="steel", inner_temperature=-70
    )
    assert none.temperature_c == 20
    with pytest.raises(Refused, match="material and its temperature"):
        shrink_fit(80, 0.08, 0.03, "steel", inner_temperature=-40)


def test_chilling_and_its_floor() -> None:
    found = chill_fit(50, 0.02, 0.02, "steel")
    assert found.temperature_c == pytest.approx(20 - 0.04 / 50 / 11.7e-6)
    assert not found.too_cold
    race = chill_fit(50, 0.03, 0.02, "bearing steel", part="open bearing")
    assert race.too_cold
    assert race.cautions[0].startswith("Too cold")


def test_what_is_not_said_is_taken_as_the_tender_part() -> None:
    found = shrink_fit(50, 0.06, 0.02, "steel")
    assert found.limit_c == 120
    assert found.too_hot
    assert any("was not said" in one for one in found.cautions)


def test_heating_has_its_cautions() -> None:
    text = " ".join(shrink_fit(50, 0.03, 0.02, "steel", part="hardened gear").cautions)
    for words in (
        "Lift what is heavy",
        "never a flame",
        "induction",
        "gloves",
        "maker's temperature comes first",
        "goes soft",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("given_", "name"),
    [
        ({"diameter": 0.5}, "diameter"),
        ({"interference": 1}, "interference"),
        ({"working_clearance": -0.01}, "working_clearance"),
        ({"ambient": 80}, "ambient"),
        ({"inner_material": "steel", "inner_temperature": 60}, "inner_temperature"),
    ],
)
def test_shrink_fits_out_of_range_are_named(given_: dict[str, object], name: str) -> None:
    good = {"diameter": 50, "interference": 0.03, "working_clearance": 0.02, "material": "steel"}
    with pytest.raises(OutOfRange) as trouble:
        shrink_fit(**(good | given_))  # type: ignore[arg-type]
    assert trouble.value.argument == name
    for part in ("", "sealed", 3):
        with pytest.raises(Refused, match="Choose one of"):
            heating_limit(part)  # type: ignore[arg-type]
