"""Shrink fits: how hot the outer part, or how cold the inner one, for a stated clearance while it goes on.

The interference is over the diameter and the *largest* that the two limits of size allow: a part that only
just goes on at the mean size sticks half way at the worst. Lengths mm, temperatures °C.
"""

from dataclasses import dataclass

from shop.handbook.materials import expansion
from shop.handbook.pressing import LIFTING
from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import FROM_MEMORY, Danger, OutOfRange, Step, within

EXPANSION = "linear expansion: ΔT = (δ + c)/(α d)"
UNSTATED_PART = "open bearing"
HEATING = (
    Danger(
        "Oven or induction heater with a thermometer, never a flame: it heats one side and ruins the temper"
    ),
    Danger("Hot parts burn: gloves, nothing that burns near by, and a seat to put the part down on"),
    "Have it go home at once, hold it against its shoulder until it grips, and do not quench it",
    LIFTING,
    "The maker's temperature comes first",
)
CHILLING = (
    Danger(
        "Dry ice and liquid nitrogen burn skin and drive the air out of a room: gloves, visor and open doors"
    ),
    Danger("Frost melts to water in the fit: oil the part, and never strike it while it is cold and brittle"),
    LIFTING,
    "The maker's temperature comes first",
)


@dataclass(frozen=True, slots=True)
class Limit:
    """How hot and how cold one kind of part may be made [°C]."""

    part: str
    ceiling_c: float
    floor_c: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShrinkFit:
    """The temperature [°C] to heat or chill to, and whether the part may be taken that far."""

    temperature_c: float
    rise_k: float
    limit_c: float
    too_hot: bool
    too_cold: bool
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def shrink_fit(
    diameter: float,
    interference: float,
    working_clearance: float,
    material: str,
    ambient: float = 20.0,
    *,
    part: str | None = None,
    inner_material: str | None = None,
    inner_temperature: float | None = None,
) -> ShrinkFit:
    """How hot to make the outer part: T = ambient + (δ + c − what the chilled inner part gives)/(α d).

    :param diameter: of the fit [mm], 1 to 1000
    :param interference: the largest, over the diameter [mm], 0 to 0.01 of the diameter
    :param working_clearance: over the diameter, while it goes on [mm], 0 to 1
    :param material: of the outer part, a name in the table of expansion
    :param ambient: temperature of both parts to begin with [°C], −20 to 50
    :param part: what is heated, see :func:`parts`; "open bearing" if not given
    :param inner_material: of the inner part, if that is chilled as well
    :param inner_temperature: of the chilled inner part [°C], −200 to ambient

    Reference: linear expansion; ceilings each with their source in the table.

    >>> found = shrink_fit(50, 0.03, 0.02, "steel", 20, part="open bearing")
    >>> round(found.temperature_c, 1), found.too_hot
    (105.5, False)
    """
    _check(diameter, interference, working_clearance, ambient)
    outer, limit = expansion(material), heating_limit(part or UNSTATED_PART)
    wanted = interference + working_clearance
    steps = [*outer.working, *limit.working]
    cautions = [*HEATING, *limit.cautions, *outer.cautions]
    if part is None:
        cautions.append(f"What is heated was not said: taken as an {UNSTATED_PART}")
    if (inner_material is None) != (inner_temperature is None):
        raise Refused("A chilled inner part needs its material and its temperature")
    if inner_material is not None and inner_temperature is not None:
        within("inner_temperature", inner_temperature, -200.0, ambient, "°C")
        inner = expansion(inner_material)
        given = inner.per_kelvin * diameter * (ambient - inner_temperature)
        wanted = max(0.0, wanted - given)
        chilled = (("α", f"{inner.per_kelvin * 1e6:g} × 10⁻⁶/K"), ("T", f"{inner_temperature:g} °C"))
        steps += [*inner.working, Step(f"the inner part shrinks by {given:.4f} mm", chilled, EXPANSION)]
        cautions += [*CHILLING[:2], *inner.cautions]
    rise = wanted / (outer.per_kelvin * diameter)
    steps.append(_step(diameter, interference, working_clearance, ambient, outer.per_kelvin))
    temperature = ambient + rise
    too_hot = temperature > limit.ceiling_c
    if too_hot:
        cautions.insert(
            0,
            f"Too hot: {temperature:.0f} °C is above {limit.ceiling_c:.0f} °C for this part ({limit.part}). "
            "Chill the inner part as well, press it, or ask for another fit",
        )
    return ShrinkFit(
        temperature, rise, limit.ceiling_c, too_hot, False, tuple(steps), tuple(dict.fromkeys(cautions))
    )


def chill_fit(
    diameter: float,
    interference: float,
    working_clearance: float,
    material: str,
    ambient: float = 20.0,
    *,
    part: str = "plain steel or iron",
) -> ShrinkFit:
    """How cold to make the inner part instead: T = ambient − (δ + c)/(α d).

    :param diameter: of the fit [mm], 1 to 1000
    :param interference: the largest, over the diameter [mm], 0 to 0.01 of the diameter
    :param working_clearance: over the diameter, while it goes in [mm], 0 to 1
    :param material: of the inner part, a name in the table of expansion
    :param ambient: temperature of both parts to begin with [°C], −20 to 50
    :param part: what is chilled, see :func:`parts`

    Reference: linear expansion; floors from memory, in the table.

    >>> round(chill_fit(50, 0.02, 0.02, "steel").temperature_c, 1)
    -48.4
    """
    _check(diameter, interference, working_clearance, ambient)
    inner, limit = expansion(material), heating_limit(part)
    fall = (interference + working_clearance) / (inner.per_kelvin * diameter)
    temperature = ambient - fall
    too_cold = temperature < limit.floor_c
    cautions = [*CHILLING, *inner.cautions, f"How cold a part may be made: {FROM_MEMORY}"]
    if too_cold:
        cautions.insert(
            0,
            f"Too cold: {temperature:.0f} °C is below {limit.floor_c:.0f} °C for this part ({limit.part}). "
            "Heat the outer part instead, or as well",
        )
    steps = (
        *inner.working,
        Step("floor", ((limit.part, f"{limit.floor_c:g} °C"),), FROM_MEMORY),
        _step(diameter, interference, working_clearance, ambient, inner.per_kelvin),
    )
    return ShrinkFit(
        temperature, -fall, limit.floor_c, False, too_cold, steps, tuple(dict.fromkeys(cautions))
    )


def heating_limit(part: str) -> Limit:
    """How hot and how cold one kind of part may be made, with the source of the ceiling.

    :param part: see :func:`parts`

    Reference: each ceiling with its own in its row; makers disagree, and the part's own maker comes first.

    >>> heating_limit("sealed bearing").ceiling_c
    80.0
    """
    for row in rows("heating_limits.csv"):
        if isinstance(part, str) and row["part"] == part.strip().lower():
            memory = row["status"] == "memory"
            source = f"{row['source']} ({FROM_MEMORY})" if memory else row["source"]
            step = Step("ceiling", ((row["part"], f"{row['ceiling_c']} °C"),), source)
            cautions = [row["note"]] if row["note"] else []
            if memory:
                cautions.append(f"Ceiling for {row['part']}: {FROM_MEMORY}")
            return Limit(
                row["part"], float(row["ceiling_c"]), float(row["floor_c"]), (step,), tuple(cautions)
            )
    raise Refused(f"This part is not in the table. Choose one of: {', '.join(parts())}")


def parts() -> tuple[str, ...]:
    """The kinds of part that have a ceiling, for pages.

    >>> parts()[:2]
    ('sealed bearing', 'open bearing')
    """
    return tuple(row["part"] for row in rows("heating_limits.csv"))


def _step(diameter: float, interference: float, clearance: float, ambient: float, alpha: float) -> Step:
    inputs = (
        ("δ, the largest", f"{interference:g} mm"),
        ("c", f"{clearance:g} mm"),
        ("α", f"{alpha * 1e6:g} × 10⁻⁶/K"),
        ("d", f"{diameter:g} mm"),
        ("ambient", f"{ambient:g} °C"),
    )
    return Step("T = ambient ± (δ + c)/(α d)", inputs, EXPANSION)


def _check(diameter: float, interference: float, clearance: float, ambient: float) -> None:
    if not 1 <= diameter <= 1_000:
        raise OutOfRange("diameter", diameter, "1 to 1000 mm")
    within("interference", interference, 0.0, 0.01 * diameter, "mm for this diameter")
    within("working_clearance", clearance, 0.0, 1.0, "mm")
    within("ambient", ambient, -20.0, 50.0, "°C")
