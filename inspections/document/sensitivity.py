"""Which measures ask for the part's temperature: those that a part off 20 °C would shift too much. Pure."""

from inspections.document.records import Check, Feature
from shop.handbook.materials import expansion
from shop.handbook.quantities import Refused

OFF_BY_K = 10.0  # a part from the wash is easily as warm as this over the shop; common practice, no source
SHARE = 0.1  # of the zone: the largest shift that may pass unnoticed; common practice, no source


def shift_um(feature: Feature, material: str) -> float:
    """How much a part that is 10 °C off shifts a reading of the feature, µm; 0 for an unknown material."""
    try:
        per_kelvin = expansion(material).per_kelvin
    except Refused:
        return 0.0
    return max(abs(one.upper_mm) for one in feature.limits) * per_kelvin * OFF_BY_K * 1000


def is_too_much(shift: float, feature: Feature) -> bool:
    """Is the shift [µm] more than a tenth of the narrowest zone of the feature?"""
    narrowest = min(one.upper_mm - one.lower_mm for one in feature.limits)
    return shift > SHARE * narrowest * 1000


def shifts_of(
    checks: tuple[Check, ...], features: dict[str, Feature], materials: dict[str, str]
) -> dict[str, float]:
    """Sensitive checks by code, each with its shift, µm."""
    found = {}
    for check in checks:
        feature = features.get(check.feature) if check.kind == "measure" else None
        if feature is not None and feature.limits:
            shift = shift_um(feature, materials.get(check.position, "steel"))
            if is_too_much(shift, feature):
                found[check.code] = shift
    return found
