"""Young's modulus and Poisson's ratio of the materials a gearbox is made of, each with its source."""

from dataclasses import dataclass

from shop.handbook.materials import expansion
from shop.handbook.tables.reading import rows
from shop.handbook.working import FROM_MEMORY, Step, within


@dataclass(frozen=True, slots=True)
class Elastic:
    """Young's modulus [MPa] and Poisson's ratio of one material."""

    material: str
    youngs_mpa: float
    poisson: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def elastic(material: str) -> Elastic:
    """Elastic constants of a material, by one of its names in the table of expansion.

    :param material: a name such as "steel" or "aluminium"; capitals do not matter

    Reference: handbook tables of material properties, each named in its row.

    >>> elastic("Cast iron").youngs_mpa
    69000.0
    """
    name = expansion(material).material
    row = next(row for row in rows("elastic.csv") if row["material"] == name)
    memory = row["status"] == "memory"
    source = f"{row['source']} ({FROM_MEMORY})" if memory else row["source"]
    inputs = (("E", f"{row['youngs_gpa']} GPa"), ("ν", row["poisson"]))
    cautions = [row["caution"]] if row["caution"] else []
    if memory:
        cautions.append(f"Elastic constants of {name}: {FROM_MEMORY}")
    step = Step(f"E and ν of {name}", inputs, source)
    return Elastic(name, 1000 * float(row["youngs_gpa"]), float(row["poisson"]), (step,), tuple(cautions))


def stated_elastic(youngs_mpa: float, poisson: float) -> Elastic:
    """Elastic constants that somebody states, for a material that is not in the table.

    :param youngs_mpa: Young's modulus [MPa], 1 000 to 500 000
    :param poisson: Poisson's ratio, 0 to 0.49

    Reference: whoever states them.

    >>> stated_elastic(210e3, 0.3).material
    'stated'
    """
    within("youngs_mpa", youngs_mpa, 1e3, 5e5, "MPa")
    within("poisson", poisson, 0.0, 0.49, "")
    step = Step("E and ν as given", (("E", f"{youngs_mpa / 1000:g} GPa"), ("ν", f"{poisson:g}")), "given")
    return Elastic("stated", youngs_mpa, poisson, (step,), ())
