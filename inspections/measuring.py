"""Findings of measured features and of stacks worked out from them. Pure. mm, µm.

Several places: out-of-round is the largest place less the smallest; beyond the feature's form limit the
finding is outside. The limits are held against the extreme place on each side, never against the mean.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt

from inspections.document import Check, Feature, GuideIndex
from inspections.fixedgauges import Limits, at_odds, prove
from inspections.judged import Finding, FindingState, PieceRecord, ReadingRecord
from inspections.weighing import Decision, Weighed, decide, weigh
from shop.handbook.working import COMMON_PRACTICE, Step

_WORST_FIRST: tuple[str, ...] = ("outside", "too close to call", "within")


def judge_measure(
    guide: GuideIndex, check: Check, piece: PieceRecord, readings: Sequence[ReadingRecord]
) -> Finding:
    """The feature against the limits of the piece's own size; if it fails, the sizes that it would suit."""
    held = _held(guide, check)
    zone = held.zone(piece.size)
    places = weigh(readings, guide.position[piece.position].material)
    if not places:
        if (fixed := _by_fixed_gauges(guide, check, piece, held, readings)) is not None:
            return fixed
        return replace(
            _finding(check, piece, "not examined", f"{check.title}: not examined yet."),
            lower_mm=zone.lower_mm,
            upper_mm=zone.upper_mm,
        )
    dispute = next((one.dispute for one in places if one.dispute and one.dispute.open), None)
    worst = _worst(held, zone, places)
    if dispute is not None:
        words = f"{check.title}: {dispute.words}"
        one = _finding(check, piece, "too close to call", words, worst)
        return replace(one, dispute=dispute, decided_by=dispute.words)
    settled = [one.dispute for one in places if one.dispute]
    found = _decided(check, held, piece, places, worst)
    return replace(
        found,
        dispute=settled[-1] if settled else None,
        decided_by=" ".join(one.words for one in settled),
        cautions=(*found.cautions, *at_odds(readings, places, guide.position[piece.position].material)),
    )


@dataclass(frozen=True, slots=True)
class _Zone:
    """Limits in one size, mm; a try may have one side only."""

    size: str
    lower_mm: float | None
    upper_mm: float | None

    @property
    def words(self) -> str:
        return _limits(self.lower_mm, self.upper_mm) + (f" ({self.size})" if self.size else "")


@dataclass(frozen=True, slots=True)
class _Held:
    """What the places of a check are held against: a feature's limits by size, or a try's own."""

    zones: tuple[_Zone, ...]
    rule: str
    form_mm: float | None = None

    def zone(self, size: str) -> _Zone:
        return next((one for one in self.zones if one.size == size), self.zones[0])


def _held(guide: GuideIndex, check: Check) -> _Held:
    if check.kind == "try":
        return _Held((_Zone("", check.lower_mm, check.upper_mm),), check.rule)
    feature = guide.feature[check.feature]
    zones = tuple(_Zone(one.size, one.lower_mm, one.upper_mm) for one in feature.limits)
    return _Held(zones, feature.rule, feature.form_mm)


def _by_fixed_gauges(
    guide: GuideIndex, check: Check, piece: PieceRecord, held: _Held, readings: Sequence[ReadingRecord]
) -> Finding | None:
    """What plug and ring gauges alone show; None if none was tried."""
    material = guide.position[piece.position].material
    zone = held.zone(piece.size)
    shown = {
        one.size: prove(readings, material, check.places, Limits(one.lower_mm, one.upper_mm, held.rule))
        for one in held.zones
    }
    own = shown[zone.size]
    if own is None:
        return None
    suits = tuple(size for size, one in shown.items() if size and one is not None and one.state == "within")
    outside = own.state == "outside"
    limits = "." if own.words.endswith(".") else f": limits {zone.words}."
    words = f"{check.title}: {own.words}{limits}"
    if outside and suits:
        words += f" It suits {' and '.join(suits)}."
    remedies = check.remedies if outside else ()
    return replace(
        _finding(check, piece, own.state, words),
        lower_mm=zone.lower_mm,
        upper_mm=zone.upper_mm,
        typed=max(readings, key=lambda one: one.sequence).text,
        probability=own.probability,
        suits=suits,
        remedies=remedies,
        condemns=outside and not (remedies or suits),
        dispute=own.dispute,
        decided_by=own.dispute.words if own.dispute else "",
        working=own.working,
        cautions=own.cautions,
    )


@dataclass(frozen=True, slots=True)
class _Worst:
    limit: _Zone
    place: Weighed
    decision: Decision


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit as far as it is judged: what stacks look up their terms in. ``found`` is by (check, piece)."""

    guide: GuideIndex
    variant: str
    in_position: Mapping[str, Sequence[PieceRecord]]
    found: Mapping[tuple[str, str], Finding]


def _worst(held: _Held, limit: _Zone, places: Sequence[Weighed]) -> _Worst:
    """The smallest or the largest place, whichever stands worse against its limit."""
    low = min(places, key=lambda one: one.value_mm)
    high = max(places, key=lambda one: one.value_mm)
    both = [_Worst(limit, one, _hold(one, held, limit)) for one in (low, high)]
    return min(
        both,
        key=lambda one: (_WORST_FIRST.index(one.decision.state), _room(one.place.value_mm, limit)),
    )


def _hold(place: Weighed, held: _Held, limit: _Zone) -> Decision:
    return decide(place.value_mm, place.expanded_um, limit.lower_mm, limit.upper_mm, held.rule)


def _room(value: float, limit: _Zone) -> float:
    """Distance to the nearest limit, mm; negative outside."""
    below = inf if limit.lower_mm is None else value - limit.lower_mm
    return min(below, inf if limit.upper_mm is None else limit.upper_mm - value)


def _decided(
    check: Check, held: _Held, piece: PieceRecord, places: Sequence[Weighed], worst: _Worst
) -> Finding:
    limit = worst.limit
    spread = max(one.value_mm for one in places) - min(one.value_mm for one in places)
    unread = [one for one in check.places if one not in {place.place for place in places}]
    state: FindingState = worst.decision.state
    tail = f"{state}: limits {limit.words}."
    out_of_form = held.form_mm is not None and spread > held.form_mm + 1e-9
    if out_of_form:
        state = "outside"
        tail = f"outside: {spread:.3f} mm out of round or taper, {held.form_mm:.3f} mm allowed."
    suits = () if out_of_form else _suits(held, places)
    if state != "outside" and unread:
        state = "not examined"
        tail = f"not all places are read; still to read: {', '.join(unread)}."
    words = f"{check.title}: {_figure(worst.place)}, {tail}"
    if state == "outside" and suits:
        words += f" It suits {' and '.join(suits)}."
    remedies = check.remedies if state == "outside" else ()
    one = _finding(check, piece, state, words, worst)
    return replace(
        one,
        suits=suits,
        remedies=remedies,
        condemns=state == "outside" and not (remedies or suits),
        working=(
            *(step for place in places for step in place.steps),
            *_form_steps(held, places, spread),
            *worst.decision.steps,
        ),
        cautions=(
            *(text for place in places for text in place.cautions),
            *_coarse(check, places),
            *worst.decision.cautions,
        ),
    )


def _coarse(check: Check, places: Sequence[Weighed]) -> tuple[str, ...]:
    largest = max(one.expanded_um for one in places)
    if check.gauge_um is None or largest <= check.gauge_um:
        return ()
    return (f"Read to ± {largest:.1f} µm; this check asks for ± {check.gauge_um:g} µm. Use a better gauge.",)


def _suits(held: _Held, places: Sequence[Weighed]) -> tuple[str, ...]:
    return tuple(
        zone.size
        for zone in held.zones
        if zone.size and all(_hold(place, held, zone).state == "within" for place in places)
    )


def _form_steps(held: _Held, places: Sequence[Weighed], spread: float) -> tuple[Step, ...]:
    if len(places) < 2:
        return ()
    mean = sum(one.value_mm for one in places) / len(places)
    allowed = f"{held.form_mm:.3f} mm" if held.form_mm is not None else "not stated"
    named = tuple((one.place or "anywhere", f"{one.value_mm:.4f} mm") for one in places)
    return (
        Step(
            f"largest − smallest place = {spread:.4f} mm; mean {mean:.4f} mm; the extreme place is judged",
            (*named, ("allowed", allowed)),
            COMMON_PRACTICE,
        ),
    )


def _figure(place: Weighed) -> str:
    where = f" at {place.place}" if place.place else ""
    return f"{place.value_mm:.4f} mm ± {place.expanded_um:.1f} µm{where}"


def _finding(
    check: Check, piece: PieceRecord, state: FindingState, words: str, worst: _Worst | None = None
) -> Finding:
    one = Finding(check.code, check.position, piece.key, state, words)
    if worst is None:
        return one
    return replace(
        one,
        value_mm=worst.place.value_mm,
        expanded_um=worst.place.expanded_um,
        lower_mm=worst.limit.lower_mm,
        upper_mm=worst.limit.upper_mm,
        typed=worst.place.typed,
        probability=worst.decision.probability,
    )


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
    terms = [
        (one.factor, unit.guide.feature[one.feature], _of_feature(unit, one.feature, piece))
        for one in check.terms
    ]
    lacking = [feature.name for _, feature, one in terms if one is None or one.value_mm is None]
    if lacking:
        return replace(base, words=f"{check.title}: still to measure: {', '.join(lacking)}.")
    rows = [(factor, feature, one) for factor, feature, one in terms if one is not None]
    value = sum(factor * (one.value_mm or 0.0) for factor, _, one in rows)
    expanded = sqrt(sum((factor * (one.expanded_um or 0.0)) ** 2 for factor, _, one in rows))
    decision = decide(value, expanded, check.lower_mm, check.upper_mm, check.rule)
    state: FindingState = decision.state
    limits = _limits(check.lower_mm, check.upper_mm)
    words = f"{check.title}: {value:.4f} mm ± {expanded:.1f} µm, {state}: limits {limits}."
    unsure = [feature.name for _, feature, one in rows if one.dispute and one.dispute.open]
    if unsure:
        state, words = "too close to call", f"{check.title}: readings in dispute: {', '.join(unsure)}."
    return replace(
        base,
        state=state,
        words=words,
        value_mm=value,
        expanded_um=expanded,
        probability=decision.probability,
        remedies=check.remedies if state == "outside" else (),
        readings=tuple(key for _, _, one in rows for key in one.readings),
        working=(_sum_step(rows, value, expanded), *decision.steps),
        cautions=decision.cautions,
    )


def _of_feature(unit: Unit, feature: str, piece: PieceRecord) -> Finding | None:
    """The finding of a term, on this piece or on the first piece that has one; a sound one first."""
    position = unit.guide.feature[feature].position
    candidates = [piece] if position == piece.position else unit.in_position.get(position, ())
    checks = [
        one.code
        for one in unit.guide.checks_of(unit.variant)
        if one.kind == "measure" and one.feature == feature
    ]
    places = [(code, one.key) for one in candidates for code in checks]
    findings = [unit.found[place] for place in places if place in unit.found]
    measured = [one for one in findings if one.value_mm is not None and one.state != "not examined"]
    return min(measured, key=lambda one: one.state == "outside", default=None)


def _limits(low: float | None, high: float | None) -> str:
    if low is None:
        return f"at most {high:.3f} mm"
    return f"{low:.3f} to {high:.3f} mm" if high is not None else f"at least {low:.3f} mm"


def _sum_step(rows: Sequence[tuple[int, Feature, Finding]], value: float, expanded: float) -> Step:
    formula = " ".join(f"{'+' if factor > 0 else '−'} {_times(factor)}{one.name}" for factor, one, _ in rows)
    named = tuple(
        (feature.name, f"{one.value_mm:.4f} mm ± {one.expanded_um:.1f} µm") for _, feature, one in rows
    )
    return Step(
        f"{formula.removeprefix('+ ')} = {value:.4f} mm; U = √Σ(factor × U)² = {expanded:.1f} µm",
        named,
        "JCGM 100:2008 (GUM), 5.1.2, terms not correlated",
    )


def _times(factor: int) -> str:
    return "" if abs(factor) == 1 else f"{abs(factor)} × "
