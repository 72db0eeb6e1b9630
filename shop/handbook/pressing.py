"""Press fits: pressure, force, torque and stresses of a hub on a shaft by Lamé, and the same fit when warm.

Interference is over the diameter, never to a side. Lengths mm, stresses MPa, forces N, torque N·m.
"""

from dataclasses import dataclass
from math import pi, sqrt

from shop.handbook.elastic import Elastic, elastic
from shop.handbook.materials import expansion
from shop.handbook.working import COMMON_PRACTICE, Danger, OutOfRange, Step, within

LAME = "Lamé's thick cylinders in plane stress; Shigley, Mechanical Engineering Design, press and shrink fits"
PRESSING = Danger(
    "Press through the ring that is being fitted, square and supported, behind a guard. Stand clear: parts "
    "under a press fly"
)
ROUGHNESS = "Rough or scored surfaces flatten and lose interference; dents and old fretting lose more"
FRICTION_HINT = f"Steel in steel: 0.12 oiled, 0.15 to 0.20 dry ({COMMON_PRACTICE})"
LIFTING = Danger(
    "Lift what is heavy with a hoist or with two people, and never reach under a part that hangs"
)
MAKER_FIRST = "The maker's fit and a competent person come before this figure"


@dataclass(frozen=True, slots=True)
class PressFit:
    """A hub pressed on a shaft. Stresses [MPa] are + in tension; growth and closing [mm] in diameter."""

    pressure_mpa: float
    press_force_n: float
    torque_held_nm: float
    hub_hoop_stress_mpa: float
    hub_radial_stress_mpa: float
    hub_outer_hoop_stress_mpa: float
    hub_equivalent_stress_mpa: float
    shaft_hoop_stress_mpa: float
    shaft_radial_stress_mpa: float
    shaft_bore_hoop_stress_mpa: float
    hub_growth_mm: float
    bore_closing_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WarmInterference:
    """Interference [mm] over the diameter that is left at a temperature; negative means a gap."""

    interference_mm: float
    loss_um: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def press_fit(
    diameter: float,
    interference: float,
    length: float,
    hub_outer: float,
    *,
    shaft_bore: float = 0.0,
    hub_material: str | Elastic = "steel",
    shaft_material: str | Elastic = "steel",
    friction: float = 0.12,
) -> PressFit:
    """Pressure, press force, torque held and stresses of a press fit, materials as they are.

    p = δ/(d ((Do² + d²)/(Do² − d²) + νh)/Eh + d ((d² + di²)/(d² − di²) − νs)/Es), F = μ p π d L, T = F d/2.
    Hoop stress at the hub's bore p (Do² + d²)/(Do² − d²), in the shaft −p (d² + di²)/(d² − di²); radial −p.

    :param diameter: of the fit [mm], 1 to 1000
    :param interference: over the diameter [mm], 0 to 0.01 of the diameter
    :param length: length of the fit [mm], above 0, to 1000
    :param hub_outer: outside diameter of the hub [mm]; of a gear, its root circle
    :param shaft_bore: bore of a hollow shaft [mm], 0 when solid
    :param hub_material: a name in the table, or elastic constants
    :param shaft_material: the same for the shaft
    :param friction: coefficient of friction, 0.02 to 0.6

    Reference: Lamé; Shigley, Mechanical Engineering Design, chapter 3 (chapter from memory).

    >>> found = press_fit(25, 0.02, 20, 50, hub_material="steel", shaft_material="steel", friction=0.1)
    >>> round(found.pressure_mpa, 1), round(found.hub_hoop_stress_mpa, 1)
    (62.1, 103.5)
    """
    _check(diameter, interference, length, hub_outer, shaft_bore, friction)
    hub = elastic(hub_material) if isinstance(hub_material, str) else hub_material
    shaft = elastic(shaft_material) if isinstance(shaft_material, str) else shaft_material
    hub_shape = (hub_outer**2 + diameter**2) / (hub_outer**2 - diameter**2)
    shaft_shape = (diameter**2 + shaft_bore**2) / (diameter**2 - shaft_bore**2)
    give = (hub_shape + hub.poisson) / hub.youngs_mpa + (shaft_shape - shaft.poisson) / shaft.youngs_mpa
    pressure = interference / (diameter * give)
    force = friction * pressure * pi * diameter * length
    hoop = pressure * hub_shape
    far_hoop = 2 * pressure * diameter**2 / (hub_outer**2 - diameter**2)
    bore_hoop = -2 * pressure * diameter**2 / (diameter**2 - shaft_bore**2) if shaft_bore else -pressure
    inputs = (
        ("d", f"{diameter:g} mm"),
        ("δ", f"{interference:g} mm over the diameter"),
        ("L", f"{length:g} mm"),
        ("Do", f"{hub_outer:g} mm"),
        ("di", f"{shaft_bore:g} mm"),
        ("μ", f"{friction:g}"),
    )
    steps = (
        *hub.working,
        *shaft.working,
        Step("p = δ/(d [(Do²+d²)/(Do²−d²) + νh]/Eh + d [(d²+di²)/(d²−di²) − νs]/Es)", inputs, LAME),
        Step("F = μ p π d L, T = F d/2", (("p", f"{pressure:.2f} MPa"),), LAME),
        Step("hub σ = p (Do²+d²)/(Do²−d²), shaft σ = −p (d²+di²)/(d²−di²), radial −p", (), LAME),
    )
    cautions = [PRESSING, LIFTING, MAKER_FIRST, ROUGHNESS, *hub.cautions, *shaft.cautions]
    return PressFit(
        pressure_mpa=pressure,
        press_force_n=force,
        torque_held_nm=force * diameter / 2000,
        hub_hoop_stress_mpa=hoop,
        hub_radial_stress_mpa=-pressure,
        hub_outer_hoop_stress_mpa=far_hoop,
        hub_equivalent_stress_mpa=sqrt(hoop**2 + hoop * pressure + pressure**2),
        shaft_hoop_stress_mpa=-pressure * shaft_shape,
        shaft_radial_stress_mpa=-pressure,
        shaft_bore_hoop_stress_mpa=bore_hoop,
        hub_growth_mm=far_hoop * hub_outer / hub.youngs_mpa,
        bore_closing_mm=-bore_hoop * shaft_bore / shaft.youngs_mpa,
        working=steps,
        cautions=tuple(dict.fromkeys(cautions)),
    )


def warm_interference(
    diameter: float, interference: float, hub_material: str, shaft_material: str, temperature: float
) -> WarmInterference:
    """Interference left when hub and shaft are at one temperature: δ − d (αh − αs)(T − 20).

    :param diameter: of the fit [mm], 1 to 1000
    :param interference: over the diameter at 20 °C [mm], −0.01 to 0.01 of the diameter
    :param hub_material: a name in the table of expansion; of a race in a housing, the housing
    :param shaft_material: the same for the part inside
    :param temperature: of both parts [°C], −60 to 250

    Reference: differential expansion; coefficients from the table.

    >>> round(warm_interference(72, 0.05, "aluminium", "steel", 90).loss_um, 2)
    49.39
    """
    within("diameter", diameter, 1.0, 1_000.0, "mm")
    within("interference", interference, -0.01 * diameter, 0.01 * diameter, "mm for this diameter")
    within("temperature", temperature, -60.0, 250.0, "°C")
    outer, inner = expansion(hub_material), expansion(shaft_material)
    loss = diameter * (outer.per_kelvin - inner.per_kelvin) * (temperature - 20)
    inputs = (
        ("d", f"{diameter:g} mm"),
        ("αh", f"{outer.per_kelvin * 1e6:g} × 10⁻⁶/K ({outer.material})"),
        ("αs", f"{inner.per_kelvin * 1e6:g} × 10⁻⁶/K ({inner.material})"),
        ("T", f"{temperature:g} °C"),
    )
    step = Step("δ(T) = δ − d (αh − αs)(T − 20)", inputs, "differential expansion")
    cautions = [*outer.cautions, *inner.cautions]
    if loss > interference:
        cautions.append("Nothing is left of the interference at this temperature: the part is loose")
    steps = (*outer.working, *inner.working, step)
    return WarmInterference(interference - loss, 1000 * loss, steps, tuple(dict.fromkeys(cautions)))


def _check(
    diameter: float, interference: float, length: float, outer: float, bore: float, friction: float
) -> None:
    within("diameter", diameter, 1.0, 1_000.0, "mm")
    within("interference", interference, 0.0, 0.01 * diameter, "mm for this diameter")
    if not 0 < length <= 1_000:
        raise OutOfRange("length", length, "above 0, to 1000 mm")
    within("hub_outer", outer, 1.02 * diameter, 100 * diameter, "mm for this diameter")
    within("shaft_bore", bore, 0.0, 0.98 * diameter, "mm for this diameter")
    within("friction", friction, 0.02, 0.6, "")
