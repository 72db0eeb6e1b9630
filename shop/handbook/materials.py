"""Linear expansion of the materials a gearbox is made of, each figure with its source."""

from dataclasses import dataclass
from functools import cache

from shop.handbook.quantities import Refused
from shop.handbook.tables.reading import rows
from shop.handbook.working import FROM_MEMORY, Step


@dataclass(frozen=True, slots=True)
class Expansion:
    """Coefficient of linear expansion near room temperature [1/K] of one material."""

    material: str
    per_kelvin: float
    source: str
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def expansion(material: str) -> Expansion:
    """Coefficient of linear expansion of a material, by one of its names.

    :param material: a name in the table, such as "steel" or "aluminium"; capitals do not matter

    Reference: the source stands beside each row of tables/expansion.csv.

    >>> expansion("Aluminium").per_kelvin
    2.15e-05
    """
    found = _named().get(material.strip().lower()) if isinstance(material, str) else None
    if found is None:
        raise Refused(f"This material is not in the table. Choose one of: {', '.join(materials())}")
    return found


def materials() -> tuple[str, ...]:
    """The names of the materials in the table, for pages.

    >>> "grey cast iron" in materials()
    True
    """
    return tuple(row["material"] for row in rows("expansion.csv"))


@cache
def _named() -> dict[str, Expansion]:
    known = {}
    for row in rows("expansion.csv"):
        per_kelvin = float(row["per_kelvin_e6"]) / 1e6
        memory = row["status"] == "memory"
        source = f"{row['source']} ({FROM_MEMORY})" if memory else row["source"]
        step = Step("α, linear expansion", ((row["material"], f"{row['per_kelvin_e6']} × 10⁻⁶/K"),), source)
        cautions = (f"Expansion of {row['material']}: {FROM_MEMORY}",) if memory else ()
        one = Expansion(row["material"], per_kelvin, source, (step,), cautions)
        known.update(dict.fromkeys([row["material"], *row["also"].split("|")], one))
    return known
