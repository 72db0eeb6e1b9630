"""Findings of stacks, worked out from the findings of their terms. Pure. mm, µm.

A mate is the shortest stack; needle rollers are bore − shaft − 2 × roller, with a gap round the circle; an
end float may have eight terms, a compressed gasket among them: stated, never read.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

from inspections.document import STANDARD, Check, Feature, GuideIndex, MateLimits
from inspections.judgement.holding import limits_in_words
from inspections.judgement.judged import Finding, FindingState, PieceRecord
from inspections.judgement.too_close import Candidates, Doubt, settle_stack
from inspections.judgement.weighing import decide
from shop.handbook.rollers import needle_rollers
from shop.handbook.working import OutOfRange, Step

__all__ = ["Unit", "judge_stack"]


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit as far as it is judged: what stacks look up their terms in. ``found`` is by (check, piece)."""

    guide: GuideIndex
    variant: str
    in_position: Mapping[str, Sequence[PieceRecord]]
    found: Mapping[tuple[str, str], Finding]
    candidates: Candidates | None = None


@dataclass(frozen=True, slots=True)
class _Part:
    """One term with the value that stands for it. ``finding`` is None for a stated feature."""

    factor: int
    feature: Feature
    value_mm: float
    expanded_um: float
    size: str
    finding: Finding | None = None


def judge_stack(unit: Unit, check: Check, piece: PieceRecord) -> Finding:
    """The signed sum of the judged values of its terms, with their joint uncertainty (k = 2)."""
    base = Finding(
        check.code,
        check.position,
        piece.key,
        "not examined",
        "",
        lower_mm=check.lower_mm,
        upper_mm=check.upper_mm,
    )
    if piece.missing:
        return replace(base, state="not applicable", words="The piece is missing.")
    parts: list[_Part] = []
    lacking: list[str] = []
    for term in check.terms:
        part = _part(unit, term.factor, unit.guide.feature[term.feature], piece)
        if part is None:
            lacking.append(unit.guide.feature[term.feature].name)
        else:
            parts.append(part)
    if lacking:
        return replace(base, words=f"{check.title}: still to measure: {', '.join(lacking)}.")
    return _judged(unit, check, base, parts)


def _judged(unit: Unit, check: Check, base: Finding, parts: Sequence[_Part]) -> Finding:
    limits = check.limits_for(part.size for part in parts)
    value = sum(part.factor * part.value_mm for part in parts)
    expanded = sqrt(sum((part.factor * part.expanded_um) ** 2 for part in parts))
    decision = decide(value, expanded, limits.lower_mm, limits.upper_mm, check.rule)
    state: FindingState = decision.state
    said = limits_in_words(limits.lower_mm, limits.upper_mm)
    sized = f" ({limits.size})" if limits.size != STANDARD else ""
    words = f"{check.title}: {value:.4f} mm ± {expanded:.1f} µm, {state}: limits {said}{sized}."
    gap = _gap(check, parts)
    if gap.fault:
        state, words = "outside", f"{check.title}: {gap.fault}."
    sizes = _sizes(check, parts, value) if decision.state == "outside" and not gap.fault else ()
    if sizes:
        words += f" It would be within with {' or '.join(f'{name} {size}' for name, size in sizes)}."
    settle = ""
    if unsure := [part.feature.name for part in parts if _in_dispute(part)]:
        state, words = "too close to call", f"{check.title}: readings in dispute: {', '.join(unsure)}."
    elif state == "too close to call":
        doubts = [_doubt(unit, part, part.finding) for part in parts if part.finding is not None]
        settle = settle_stack(unit.candidates, doubts, value, expanded, limits.lower_mm, limits.upper_mm)
    return replace(
        base,
        state=state,
        words=f"{words} {settle}".rstrip(),
        value_mm=value,
        expanded_um=expanded,
        lower_mm=limits.lower_mm,
        upper_mm=limits.upper_mm,
        probability=decision.probability,
        suits=tuple(dict.fromkeys(size for _, size in sizes)),
        remedies=check.remedies if state == "outside" else (),
        settle=settle,
        readings=tuple(key for part in parts if part.finding for key in part.finding.readings),
        working=(_sum_step(parts, value, expanded), *gap.steps, *decision.steps),
        cautions=(*gap.cautions, *decision.cautions),
    )


def _doubt(unit: Unit, part: _Part, finding: Finding) -> Doubt:
    check = unit.guide.check[finding.check]
    return Doubt(part.feature.name, check, part.size, part.factor, part.expanded_um)


def _in_dispute(part: _Part) -> bool:
    one = part.finding
    return one is not None and one.dispute is not None and one.dispute.open


def _part(unit: Unit, factor: int, feature: Feature, piece: PieceRecord) -> _Part | None:
    """The term of this piece, or of the first piece that has one; a sound one first."""
    if feature.stated:
        limit = feature.limits[0]
        half = (limit.new_max_mm - limit.new_min_mm) / 2
        # Even between its ends: u = half / √3, U = 2 u.
        return _Part(factor, feature, limit.new_min_mm + half, 2 * half / sqrt(3) * 1000, STANDARD)
    here = feature.position == piece.position
    candidates = [piece] if here else unit.in_position.get(feature.position, ())
    measured = [
        (one, found)
        for one in candidates
        for code in unit.guide.measures_of(feature.code, unit.variant)
        if (found := unit.found.get((code, one.key))) is not None and _is_measured(found)
    ]
    if not measured:
        return None
    chosen, found = min(measured, key=lambda row: row[1].state == "outside")
    return _Part(factor, feature, found.value_mm or 0.0, found.expanded_um or 0.0, chosen.size, found)


def _is_measured(one: Finding) -> bool:
    return one.value_mm is not None and one.state != "not examined"


@dataclass(frozen=True, slots=True)
class _Gap:
    fault: str = ""
    steps: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()


def _gap(check: Check, parts: Sequence[_Part]) -> _Gap:
    """The gap round the circle of a ring of needle rollers, against its own limits."""
    if not check.rollers:
        return _Gap()
    by_factor = {part.factor: part.value_mm for part in parts}
    try:
        found = needle_rollers(by_factor[1], by_factor[-1], by_factor[-2], check.rollers)
    except (OutOfRange, ValueError) as trouble:
        return _Gap(fault=f"{check.rollers} rollers do not go round: {trouble}")
    fault = ""
    if check.gap_mm is not None and not check.gap_mm[0] <= round(found.total_gap_mm, 7) <= check.gap_mm[1]:
        low, high = check.gap_mm
        fault = f"{found.total_gap_mm:.3f} mm gap round the circle, {low:.3f} to {high:.3f} mm allowed"
    return _Gap(fault, found.working, found.cautions)


def _sizes(check: Check, parts: Sequence[_Part], value: float) -> tuple[tuple[str, str], ...]:
    """The parts that would put it right in another size: whatever a new one measures, it is within."""
    found = []
    for part in parts:
        for limit in part.feature.limits:
            if limit.size == part.size:
                continue
            rest = value - part.factor * part.value_mm
            ends = sorted(rest + part.factor * new for new in (limit.new_min_mm, limit.new_max_mm))
            if _holds(check.limits_for([limit.size]), ends[0], ends[1]):
                found.append((part.feature.name, limit.size))
    return tuple(found)


def _holds(limits: MateLimits, low: float, high: float) -> bool:
    above = limits.lower_mm is None or round(low, 7) >= limits.lower_mm
    return above and (limits.upper_mm is None or round(high, 7) <= limits.upper_mm)


def _sum_step(parts: Sequence[_Part], value: float, expanded: float) -> Step:
    formula = " ".join(
        f"{'+' if part.factor > 0 else '−'} {_times(part.factor)}{part.feature.name}" for part in parts
    )
    named = tuple(
        (part.feature.name, f"{part.value_mm:.4f} mm ± {part.expanded_um:.1f} µm{_stated(part)}")
        for part in parts
    )
    return Step(
        f"{formula.removeprefix('+ ')} = {value:.4f} mm; U = √Σ(factor × U)² = {expanded:.1f} µm",
        named,
        "JCGM 100:2008 (GUM), 5.1.2, terms not correlated",
    )


def _stated(part: _Part) -> str:
    return "" if part.finding is not None else ", as stated"


def _times(factor: int) -> str:
    return "" if abs(factor) == 1 else f"{abs(factor)} × "
