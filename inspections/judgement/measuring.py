"""Findings of what is measured: a feature, or pieces as assembled. Pure. mm, µm.

1. The readings of each place give one value; a place counts once it has all its repeats.
2. The limits are held against the extreme place on each side, never against the mean.
3. Mean, out-of-round, taper and the spread of a set each have a limit of their own, where the guide has one.
"""

from collections.abc import Sequence
from dataclasses import replace

from inspections.document import Check, GuideIndex
from inspections.gauging.fixed import Limits, at_odds, prove
from inspections.judgement.forming import form_of
from inspections.judgement.holding import Held, Worst, held_of, suits, worst_of
from inspections.judgement.judged import Finding, FindingState, PieceRecord, ReadingRecord
from inspections.judgement.too_close import Candidates, settle_measure
from inspections.judgement.weighing import Weighed, weigh


def judge_measure(
    guide: GuideIndex,
    check: Check,
    piece: PieceRecord,
    readings: Sequence[ReadingRecord],
    candidates: Candidates | None = None,
) -> Finding:
    """Against the limits of the piece's own size; if it fails, the sizes that it would suit."""
    held = held_of(guide, check)
    zone = held.zone(piece.size)
    material = guide.position[piece.position].material
    places = weigh(readings, material)
    if not places:
        if (fixed := _by_fixed_gauges(guide, check, piece, held, readings)) is not None:
            return fixed
        return replace(
            _finding(check, piece, "not examined", f"{check.title}: not examined yet."),
            lower_mm=zone.lower_mm,
            upper_mm=zone.upper_mm,
        )
    cautions = (*_warmth(guide, check, readings), *at_odds(readings, places, material))
    dispute = next((one.dispute for one in places if one.dispute and one.dispute.open), None)
    if dispute is not None:
        words = f"{check.title}: {dispute.words}"
        worst = worst_of(held.rule, zone, places)
        one = _finding(check, piece, "too close to call", words, worst)
        return replace(one, dispute=dispute, decided_by=dispute.words)
    found = _decided(guide, check, held, piece, places, candidates, cautions)
    if not any(one.dispute for one in places):
        return found
    settled = [one.dispute for one in places if one.dispute]
    return replace(found, dispute=settled[-1], decided_by=" ".join(one.words for one in settled))


def _by_fixed_gauges(
    guide: GuideIndex, check: Check, piece: PieceRecord, held: Held, readings: Sequence[ReadingRecord]
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
    fitting = tuple(size for size, one in shown.items() if size and one is not None and one.state == "within")
    outside = own.state == "outside"
    limits = "." if own.words.endswith(".") else f": limits {zone.words}."
    words = f"{check.title}: {own.words}{limits}"
    if outside and fitting:
        words += f" It suits {' and '.join(fitting)}."
    remedies = check.remedies if outside else ()
    return replace(
        _finding(check, piece, own.state, words),
        lower_mm=zone.lower_mm,
        upper_mm=zone.upper_mm,
        typed=max(readings, key=lambda one: one.sequence).text,
        probability=own.probability,
        suits=fitting,
        remedies=remedies,
        condemns=outside and not (remedies or fitting),
        dispute=own.dispute,
        decided_by=own.dispute.words if own.dispute else "",
        working=own.working,
        cautions=own.cautions,
    )


def _decided(
    guide: GuideIndex,
    check: Check,
    held: Held,
    piece: PieceRecord,
    places: Sequence[Weighed],
    candidates: Candidates | None,
    cautions: Sequence[str],
) -> Finding:
    zone = held.zone(piece.size)
    whole = [one for one in places if one.count >= check.repeats]
    judged = whole or places
    worst = worst_of(held.rule, zone, judged)
    form = form_of(held, zone, judged)
    state: FindingState = worst.decision.state if whole else "not examined"
    fitting = () if form.faults or state in {"within", "not examined"} else suits(held, judged)
    settle = ""
    if form.faults and whole and state != "outside":
        state, tail = "outside", f"outside: {'; '.join(form.faults)}."
    elif state != "outside" and (unread := _unread(check, places)):
        state, tail = "not examined", f"not all places are read; still to read: {', '.join(unread)}."
    else:
        tail = f"{state}: limits {zone.words}."
    if state == "outside" and fitting:
        tail += f" It suits {' and '.join(_with_mates(guide, check, fitting))}."
    elif state == "too close to call":
        gauges = candidates(check, piece.size) if candidates else ()
        settle = settle_measure(gauges, worst.place, zone.lower_mm, zone.upper_mm)
        tail = f"{tail} {settle}".rstrip()
    remedies = check.remedies if state == "outside" else ()
    return Finding(
        check.code,
        check.position,
        piece.key,
        state,
        f"{check.title}: {_figure(worst.place)}, {tail}",
        value_mm=worst.place.value_mm,
        expanded_um=worst.place.expanded_um,
        lower_mm=zone.lower_mm,
        upper_mm=zone.upper_mm,
        typed=worst.place.typed,
        probability=worst.decision.probability,
        mean_mm=form.mean_mm,
        out_of_round_mm=form.out_of_round_mm,
        taper_mm=form.taper_mm,
        settle=settle,
        suits=fitting,
        remedies=remedies,
        # Only a feature that suits no size and has no remedy condemns the piece.
        condemns=state == "outside" and not (remedies or fitting),
        working=(*(step for place in places for step in place.steps), *form.steps, *worst.decision.steps),
        cautions=(
            *dict.fromkeys(text for place in places for text in place.cautions),
            *_coarse(check, places),
            *worst.decision.cautions,
            *cautions,
        ),
    )


def _unread(check: Check, places: Sequence[Weighed]) -> list[str]:
    """Places that want more readings, with how many there are of how many."""
    count = {one.place: one.count for one in places}
    lacking = [one for one in check.places or ("",) if count.get(one, 0) < check.repeats]
    if check.repeats == 1:
        return [one for one in lacking if one]
    return [f"{one} ({count.get(one, 0)} of {check.repeats})".strip() for one in lacking]


def _with_mates(guide: GuideIndex, check: Check, sizes: Sequence[str]) -> list[str]:
    """Each size with the parts that come in it and go with the feature."""
    mates = guide.mated_with.get(check.feature, ())
    named = []
    for size in sizes:
        parts = [guide.position[mate.position].name for mate in mates if mate.limit(size) is not None]
        with_parts = f" ({', '.join(dict.fromkeys(parts))} in that size)" if parts else ""
        named.append(f"{size}{with_parts}")
    return named


def _coarse(check: Check, places: Sequence[Weighed]) -> tuple[str, ...]:
    largest = max(one.own_um for one in places)
    if check.gauge_um is None or largest <= check.gauge_um:
        return ()
    return (f"Read to ± {largest:.1f} µm; this check asks for ± {check.gauge_um:g} µm. Use a better gauge.",)


def _warmth(guide: GuideIndex, check: Check, readings: Sequence[ReadingRecord]) -> tuple[str, ...]:
    """A sensitive check that was read without the part's temperature says what that may hide."""
    shift = guide.shift_um.get(check.code)
    if shift is None or all(one.part_temperature_c is not None for one in readings):
        return ()
    return (f"The part's temperature is not stated: 10 °C off 20 °C would shift it by {shift:.1f} µm.",)


def _figure(place: Weighed) -> str:
    where = f" at {place.place}" if place.place else ""
    return f"{place.value_mm:.4f} mm ± {place.expanded_um:.1f} µm{where}"


def _finding(
    check: Check, piece: PieceRecord, state: FindingState, words: str, worst: Worst | None = None
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
