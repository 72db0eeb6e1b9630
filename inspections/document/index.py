"""A guide with its entries by code."""

from functools import cached_property

from inspections.document.records import Check, Defect, Feature, Guide, Position, Remedy
from inspections.document.sensitivity import shifts_of


class GuideIndex:
    """A guide with its entries by code; built once per use."""

    def __init__(self, guide: Guide) -> None:
        self.guide = guide
        self._checks: dict[str, tuple[Check, ...]] = {}
        self._measures: dict[str, dict[str, tuple[str, ...]]] = {}

    @cached_property
    def position(self) -> dict[str, Position]:
        return {one.code: one for one in self.guide.positions}

    @cached_property
    def feature(self) -> dict[str, Feature]:
        return {one.code: one for one in self.guide.features}

    @cached_property
    def check(self) -> dict[str, Check]:
        return {one.code: one for one in self.guide.checks}

    @cached_property
    def defect(self) -> dict[str, Defect]:
        return {one.code: one for one in self.guide.defects}

    @cached_property
    def remedy(self) -> dict[str, Remedy]:
        return {one.code: one for one in self.guide.remedies}

    @cached_property
    def defects_of(self) -> dict[str, tuple[Defect, ...]]:
        found: dict[str, list[Defect]] = {}
        for one in self.guide.defects:
            found.setdefault(one.check, []).append(one)
        return {code: tuple(rows) for code, rows in found.items()}

    @cached_property
    def shift_um(self) -> dict[str, float]:
        """Checks that are sensitive to the part's temperature, with what 10 °C would shift them, µm."""
        materials = {one.code: one.material for one in self.guide.positions}
        return shifts_of(self.guide.checks, self.feature, materials)

    @cached_property
    def mated_with(self) -> dict[str, tuple[Feature, ...]]:
        """The other features that stand in a stack with a feature."""
        found: dict[str, dict[str, Feature]] = {}
        for check in self.guide.checks:
            codes = [term.feature for term in check.terms if term.feature in self.feature]
            for code in codes:
                others = {other: self.feature[other] for other in codes if other != code}
                found.setdefault(code, {}).update(others)
        return {code: tuple(rows.values()) for code, rows in found.items()}

    def measures_of(self, feature: str, variant: str) -> tuple[str, ...]:
        """Codes of the checks that measure a feature on a variant."""
        if variant not in self._measures:
            rows: dict[str, list[str]] = {}
            for one in self.checks_of(variant):
                if one.kind == "measure":
                    rows.setdefault(one.feature, []).append(one.code)
            self._measures[variant] = {code: tuple(checks) for code, checks in rows.items()}
        return self._measures[variant].get(feature, ())

    def positions_of(self, variant: str) -> tuple[Position, ...]:
        return tuple(one for one in self.guide.positions if one.exists_in(variant))

    def dimension_of(self, check: Check) -> str:
        """What a measure check's feature, or a measured try, asks of a gauge; empty if any will do."""
        feature = self.feature.get(check.feature)
        return feature.dimension if feature else check.dimension

    def company_of(self, check: Check, variant: str) -> tuple[Position, ...]:
        """The other positions that a try is assembled with, as far as the variant has them."""
        found = (self.position[code] for code in check.of)
        return tuple(one for one in found if one.exists_in(variant))

    def checks_of(self, variant: str) -> tuple[Check, ...]:
        """Checks that exist for the variant, in the guide's order; what a part is comes first of its
        position: nothing else is worth reading on a wrong one."""
        if variant not in self._checks:
            self._checks[variant] = self._find_checks(variant)
        return self._checks[variant]

    def _find_checks(self, variant: str) -> tuple[Check, ...]:
        here = [
            one
            for one in self.guide.checks
            if one.exists_in(variant) and self.position[one.position].exists_in(variant)
        ]
        places: dict[str, list[int]] = {}
        for place, one in enumerate(here):
            places.setdefault(one.position, []).append(place)
        ordered = list(here)
        for own in places.values():
            checks = sorted((here[place] for place in own), key=lambda one: not one.tells_apart)
            for place, one in zip(own, checks, strict=True):
                ordered[place] = one
        return tuple(ordered)


def is_sensitive(guide: GuideIndex, check: Check) -> bool:
    """Is the part's temperature asked for? So the guide says, or 10 °C would shift it by over a tenth."""
    return check.warm or check.code in guide.shift_um
