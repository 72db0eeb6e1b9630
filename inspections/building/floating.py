"""Floats and fits of the pieces that really go in. Pure: no database, no Django. Lengths mm, fits also µm.

A piece counts by its newest reading. A remedy predicts and a plan hopes: a feature that nobody has read
since is *to be measured first*, and nothing is chosen from it. A new part counts by its stated limits.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Any

from inspections.document import BuildStep, Check, GuideIndex
from inspections.judgement.weighing import decide
from shop.handbook.endfloat import EndFloat, end_float
from shop.handbook.packs import Washer
from shop.handbook.quantities import Refused
from shop.handbook.working import OutOfRange, Step

CONFIDENCE = 0.95  # the washers that were planned stay if they are at least as likely as this


@dataclass(frozen=True, slots=True)
class Measured:
    """A length with its expanded uncertainty (k = 2), and where it comes from, in words."""

    value_mm: float
    expanded_um: float
    of: str


@dataclass(frozen=True, slots=True)
class Chosen:
    """What goes into a position. ``measured``: feature -> newest value; ``reworked`` since it was planned."""

    position: str
    way: str
    label: str
    tag: str = ""  # of a piece; a part from a lot has none
    part: str = ""
    size: str = "standard"
    remedies: tuple[str, ...] = ()
    reworked: tuple[str, ...] = ()
    measured: Mapping[str, Measured] = field(default_factory=dict)
    stated: Mapping[str, tuple[float, float]] = field(default_factory=dict)  # limits of a new part

    @property
    def name(self) -> str:
        return self.tag or self.part or self.label


@dataclass(frozen=True, slots=True)
class Offer:
    """Washers of one thickness that can be had: ``position`` where they fit, "" for any."""

    code: str
    thickness_mm: float
    tolerance_mm: float
    count: int
    position: str = ""
    price: float = 0.0
    planned: bool = False
    where: str = ""


def measure_of(guide: GuideIndex, feature: str, chosen: Mapping[str, Chosen]) -> Measured | None:
    """The length of a feature of what goes in, or None when it has to be measured first."""
    one = chosen.get(guide.feature[feature].position)
    if one is None:
        return None
    if feature in one.measured:
        return one.measured[feature]
    if one.tag:
        return None
    low, high = one.stated.get(feature, (None, None))
    words = "as stated for the part"
    if low is None or high is None:
        limit = guide.feature[feature].limit(one.size) or guide.feature[feature].limits[0]
        low, high, words = limit.new_min_mm, limit.new_max_mm, "as new by the guide"
    # Even between its ends: u = half / √3, U = 2 u.
    return Measured((low + high) / 2, (high - low) / sqrt(3) * 1000, f"{one.name}, {words}")


def unmeasured(
    guide: GuideIndex, features: Iterable[str], chosen: Mapping[str, Chosen]
) -> list[dict[str, Any]]:
    """The features that have to be measured first, with their piece and why."""
    found = []
    for code in features:
        feature = guide.feature[code]
        one = chosen.get(feature.position)
        if measure_of(guide, code, chosen) is not None:
            continue
        why = "nothing is chosen for its position"
        if one is not None:
            why = (
                "it was reworked: a remedy only predicts" if one.reworked else "it has no reading that counts"
            )
        found.append(
            {
                "feature": code,
                "name": feature.name,
                "position": guide.position[feature.position].name,
                "position_code": feature.position,
                "piece": one.tag if one else "",
                "reworked": bool(one and one.reworked),
                "why": why,
            }
        )
    return found


def fit_of(guide: GuideIndex, check: Check, chosen: Mapping[str, Chosen]) -> dict[str, Any]:
    """The fit of a mate as the chosen pieces make it, µm; negative is interference."""
    said: dict[str, Any] = {"check": check.code, "title": check.title}
    first = unmeasured(guide, [one.feature for one in check.terms], chosen)
    if first:
        return said | {"measure_first": first}
    check = check.in_sizes(chosen[guide.feature[one.feature].position].size for one in check.terms)
    rows = [(term, measure_of(guide, term.feature, chosen)) for term in check.terms]
    value = sum(term.factor * one.value_mm for term, one in rows if one)
    spread = sqrt(sum((term.factor * one.expanded_um) ** 2 for term, one in rows if one))
    held = decide(value, spread, check.lower_mm, check.upper_mm, check.rule)
    low, high = value * 1000 - spread, value * 1000 + spread
    sure = _wholly_inside(low, high, check)
    # The plain value may stand inside while a good part of what may be true does not.
    guarded = held if sure else decide(value, spread, check.lower_mm, check.upper_mm, "guarded")
    inputs = {
        f"{term.factor:+d} × {guide.feature[term.feature].name}".replace("-", "−"): _shown(one)
        for term, one in rows
        if one
    }
    total = Step(
        f"Σ factor × length = {_um(value * 1000)}; U = √Σ(factor × U)² = {spread:.1f} µm",
        (),
        "JCGM 100:2008 (GUM), 5.1.2, terms not correlated",
    ).as_dict()
    return said | {
        "measure_first": [],
        "clearance_mm": value,
        "expanded_um": spread,
        "low_um": low,
        "high_um": high,
        "words": _fit_words(low, high),
        "of": list(dict.fromkeys(one.of for _, one in rows if one)),
        "state": guarded.state,
        "sure": sure,
        "probability": guarded.probability,
        "cautions": list(dict.fromkeys((*held.cautions, *guarded.cautions))),
        "lower_mm": check.lower_mm,
        "upper_mm": check.upper_mm,
        "limits": _limits(check),
        "working": [total | {"inputs": inputs}, *(one.as_dict() for one in guarded.steps)],
    }


def _wholly_inside(low_um: float, high_um: float, check: Check) -> bool:
    """Is the whole interval value ± U inside the limits? A side without a limit holds anything."""
    above = check.lower_mm is None or low_um >= check.lower_mm * 1000 - 1e-6
    return above and (check.upper_mm is None or high_um <= check.upper_mm * 1000 + 1e-6)


def _um(value: float) -> str:
    return f"{value:.1f} µm".replace("-", "−")


def _shown(one: Measured) -> str:
    return f"{one.value_mm:.4f} mm ± {one.expanded_um:.1f} µm, {one.of}"


def _fit_words(low: float, high: float) -> str:
    """The fit with its uncertainty, as a bench says it.

    >>> _fit_words(-14.2, -5.8)
    'interference 6 to 14 µm'
    >>> _fit_words(-3, 5)
    'between 3 µm interference and 5 µm clearance'
    """
    if high <= 0:
        return f"interference {abs(high):.0f} to {abs(low):.0f} µm"
    if low >= 0:
        return f"clearance {low:.0f} to {high:.0f} µm"
    return f"between {abs(low):.0f} µm interference and {high:.0f} µm clearance"


def _limits(check: Check) -> str:
    if check.lower_mm is not None and check.upper_mm is not None:
        return _fit_words(check.lower_mm * 1000, check.upper_mm * 1000)
    one = check.lower_mm if check.lower_mm is not None else check.upper_mm
    if one is None:
        return "no limits stated"
    return f"at {'least' if check.lower_mm is not None else 'most'} {one * 1000:.0f} µm".replace("-", "−")


def float_of(
    guide: GuideIndex, step: BuildStep, chosen: Mapping[str, Chosen], offers: Sequence[Offer]
) -> dict[str, Any]:
    """The washers for the measured pieces, the float they leave, and the next best."""
    check = guide.check[step.float_check]
    terms = [one for one in check.terms if guide.feature[one.feature].position not in step.washers]
    said: dict[str, Any] = {
        "check": check.code,
        "title": check.title,
        "target_min_mm": check.lower_mm,
        "target_max_mm": check.upper_mm,
        "places": [[code, guide.position[code].name] for code in step.washers],
        "planned": {code: chosen[code].name for code in step.washers if code in chosen},
    }
    first = unmeasured(guide, [one.feature for one in terms], chosen)
    if first:
        return said | {"measure_first": first, "choice": []}
    lengths = [
        (one.factor * of.value_mm, abs(one.factor) * of.expanded_um / 1000, of, one.feature)
        for one in terms
        if (of := measure_of(guide, one.feature, chosen))
    ]
    if check.lower_mm is None or check.upper_mm is None:
        return said | {
            "measure_first": [],
            "choice": [],
            "words": "The guide states no limits for this float.",
        }
    gap = lengths[0]
    try:
        found = end_float(
            gap=gap[0],
            gap_uncertainty=gap[1],
            stack=[(-value, spread) for value, spread, _, _ in lengths[1:]],
            target_min=check.lower_mm,
            target_max=check.upper_mm,
            places=list(step.washers),
            washers=[
                Washer(
                    one.code, one.thickness_mm, one.tolerance_mm, one.count, one.price, one.position or None
                )
                for one in offers
            ],
            prefer="cost",
            threshold=CONFIDENCE,
        )
    except (Refused, OutOfRange) as trouble:
        return said | {"measure_first": [], "choice": [], "words": f"{trouble}."}
    return (
        said
        | _float_said(guide, step, found, offers)
        | {
            "measure_first": [],
            "faces_mm": gap[0],
            "lengths": [
                {
                    "feature": code,
                    "name": guide.feature[code].name,
                    "position": guide.position[guide.feature[code].position].name,
                    "length_mm": abs(value),
                    "expanded_um": spread * 1000,
                    "of": one.of,
                }
                for value, spread, one, code in lengths
            ],
        }
    )


def _float_said(
    guide: GuideIndex, step: BuildStep, found: EndFloat, offers: Sequence[Offer]
) -> dict[str, Any]:
    by_code = {one.code: one for one in offers}
    choice = [
        {
            "place": place,
            "place_name": guide.position[place].name,
            "code": code,
            "thickness_mm": by_code[code].thickness_mm,
            "where": by_code[code].where,
            "planned": by_code[code].planned,
        }
        for place, code in zip(step.washers, found.choice, strict=False)
    ]
    return {
        "choice": choice,
        "float_mm": found.float_mm,
        "float_min_mm": found.float_min_mm,
        "float_max_mm": found.float_max_mm,
        "probability": found.probability,
        "shim_change_mm": found.shim_change_mm,
        "as_planned": all(one["planned"] for one in choice),
        "others": [
            {
                "codes": list(one.choice),
                "thicknesses_mm": [by_code[code].thickness_mm for code in one.choice],
                "float_mm": one.float_mm,
                "probability": one.probability,
            }
            for one in found.others[:2]
        ],
        "words": "" if choice else "No washers at hand reach the limits.",
        "cautions": list(found.cautions),
        "working": [one.as_dict() for one in found.working],
    }
