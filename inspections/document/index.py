"""A guide with its entries by code."""

from functools import cached_property

from inspections.document.records import Check, Defect, Feature, Guide, Position, Remedy


class GuideIndex:
    """A guide with its entries by code; built once per use."""

    def __init__(self, guide: Guide) -> None:
        self.guide = guide
        self._checks: dict[str, tuple[Check, ...]] = {}

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
        """Checks that exist for the variant, in the guide's order."""
        if variant not in self._checks:
            self._checks[variant] = self._find_checks(variant)
        return self._checks[variant]

    def _find_checks(self, variant: str) -> tuple[Check, ...]:
        return tuple(
            one
            for one in self.guide.checks
            if one.exists_in(variant) and self.position[one.position].exists_in(variant)
        )
