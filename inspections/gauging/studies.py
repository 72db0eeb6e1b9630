"""Gauge studies: blind, crossed repeats and nothing else. Ordinary repeats on jobs are a watch on bias.

1. Proposed: pieces of one feature, spread over the range that the shop has, at least two people.
2. Read: each person reads every piece so many times, in an order of their own, and sees no earlier value.
3. Worked out by the Handbook once every turn is read; a piece that was reworked meanwhile falls out.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from random import Random
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Count, F, Max, Min, QuerySet

from inspections.bench.refusing import No
from inspections.gauge_models import Gauge, Study, StudyPerson, StudyPiece, StudyReading
from inspections.gauging.desk import need_a_size, need_in_range
from inspections.gauging.kinds import FIXED, Asks, past_due, standing
from inspections.gauging.registering import need_gauges
from inspections.gauging.zeroing import last_zeroings
from inspections.guiding.guides import guide_of, newest_revision
from inventory.models import Measure, Piece
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.handbook.gaugestudy import GaugeStudy, Trial, gauge_study
from shop.handbook.quantities import Refused, parse
from shop.models import Family, User
from shop.refusals import Conflict, Refusal

LEAST, MOST_PIECES, MOST_PEOPLE = 2, 30, 8
USUAL_PIECES, REPEATS = 10, (2, 3, 4, 5)  # ten pieces, common practice, no source
AT_HAND = ("tray", "bin")  # a piece that is fitted or gone cannot be read again


@dataclass(frozen=True, slots=True)
class Offer:
    """A feature that has pieces to study: how many there are, and how far they spread, mm."""

    family: Family
    feature: str
    name: str
    dimension: str
    pieces: int
    low_mm: float
    high_mm: float
    tolerance_mm: float


def offers() -> list[Offer]:
    """Features with at least two measured pieces in the house, the most pieces first."""
    rows = (
        _at_hand()
        .values("piece__family", "feature")
        .annotate(pieces=Count("piece"), low=Min("value_um"), high=Max("value_um"))
        .filter(pieces__gte=LEAST)
        .order_by("-pieces", "feature")
    )
    families = {one.pk: one for one in Family.objects.all()}
    found = []
    for row in rows[:200]:
        family = families[row["piece__family"]]
        known = _feature(family, row["feature"])
        if known is None:
            continue
        name, dimension, tolerance = known
        found.append(
            Offer(
                family,
                row["feature"],
                name,
                dimension,
                row["pieces"],
                row["low"] / 1000,
                row["high"] / 1000,
                tolerance,
            )
        )
    return found


def _at_hand() -> QuerySet[Measure]:
    return Measure.objects.filter(
        piece__state__in=AT_HAND, piece__missing=False, condition=F("piece__condition")
    ).order_by()


def _feature(family: Family, code: str) -> tuple[str, str, float] | None:
    """Name with its part, kind of dimension and zone [mm] in the newest guide; None if it has none there."""
    try:
        guide = guide_of(newest_revision(family))
    except Refusal:
        return None
    feature = guide.feature.get(code)
    if feature is None or not feature.limits:
        return None
    limit = feature.limits[0]
    return (
        f"{guide.position[feature.position].name}: {feature.name}",
        feature.dimension,
        limit.upper_mm - limit.lower_mm,
    )


def spread_pieces(values: Sequence[tuple[str, float]], count: int) -> list[str]:
    """So many of the pieces, spread over the range from the smallest to the largest.

    >>> spread_pieces([("a", 1.0), ("b", 1.1), ("c", 2.0), ("d", 2.9), ("e", 3.0)], 3)
    ['a', 'c', 'e']
    """
    left = sorted(values, key=lambda one: (one[1], one[0]))
    if count >= len(left):
        return [tag for tag, _ in left]
    low, high = left[0][1], left[-1][1]
    chosen = []
    for n in range(count):
        target = low + (high - low) * n / max(1, count - 1)
        best = min(left, key=lambda one: (abs(one[1] - target), one[0]))
        left.remove(best)
        chosen.append(best)
    return [tag for tag, _ in sorted(chosen, key=lambda one: (one[1], one[0]))]


def proposed_pieces(family: Family, feature: str, count: int = USUAL_PIECES) -> list[tuple[str, float]]:
    """Tag and measured value [mm] of the pieces that a study would read."""
    rows = _at_hand().filter(piece__family=family, feature=feature).values_list("piece__tag", "value_um")
    values = {tag: value / 1000 for tag, value in rows}
    return [(tag, values[tag]) for tag in spread_pieces(list(values.items()), count)]


def readers() -> list[User]:
    """People who take readings."""
    rows = User.objects.filter(is_active=True, supplier__isnull=True).order_by("display_name", "username")
    return [one for one in rows if one.may("record_readings")]


def open_study(
    *,
    gauge: Gauge,
    family: Family,
    feature: str,
    tags: Sequence[str],
    people: Sequence[User],
    repeats: int,
    key: str,
    by: Actor,
    at: datetime | None = None,
) -> Study:
    """Lay out a study. The same key again is the same study. Refusal by field for what cannot be studied."""
    need_gauges(by)
    at = at or clock.now()
    known = _feature(family, feature)
    if known is None:
        raise Refusal(feature="The newest guide has no such feature.")
    name, dimension, tolerance = known
    if not 1 <= len(key) <= 120:
        raise Refusal(key="A key has 1 to 120 characters.")
    stands = standing(gauge, Asks(name, dimension), clock.today(at))
    if stands.refused or gauge.kind in FIXED or gauge.retired_at is not None:
        words = stands.words or f"{gauge.code} gives no size, or is out of use."
        raise Refusal(gauge=f"{words} Choose another gauge.")
    if repeats not in REPEATS:
        raise Refusal(repeats=f"Each piece is read {REPEATS[0]} to {REPEATS[-1]} times.")
    chosen = {one.pk: one for one in people}
    if not LEAST <= len(chosen) <= MOST_PEOPLE:
        raise Refusal(people=f"Choose {LEAST} to {MOST_PEOPLE} people: with one nobody can be compared.")
    wrong = [one.username for one in chosen.values() if not one.may("record_readings")]
    if wrong:
        raise Refusal(people="Choose people who take readings.")
    asked = list(dict.fromkeys(tags))
    there = {one.tag: one for one in Piece.objects.filter(tag__in=asked, family=family, state__in=AT_HAND)}
    if lost := [tag for tag in asked if tag not in there]:
        raise Refusal(pieces=f"Not in the house: {', '.join(lost[:5])}.")
    if not LEAST <= len(asked) <= MOST_PIECES:
        raise Refusal(pieces=f"Choose {LEAST} to {MOST_PIECES} pieces that spread over the range.")
    with transaction.atomic():
        study, made = Study.objects.get_or_create(
            key=key,
            defaults={
                "gauge": gauge,
                "family": family,
                "feature": feature,
                "feature_name": name,
                "tolerance_mm": tolerance,
                "repeats": repeats,
                "opened_at": at,
                "opened_by": by.key,
            },
        )
        if made:
            StudyPiece.objects.bulk_create(
                StudyPiece(study=study, piece=there[tag], condition=there[tag].condition) for tag in asked
            )
            StudyPerson.objects.bulk_create(StudyPerson(study=study, person=one) for one in chosen.values())
            write_line(by=by, deed="opened", thing=study, at=at, gauge=gauge.code, pieces=len(asked))
    return study


def close_study(*, study: Study, by: Actor, at: datetime | None = None) -> Study:
    """No more readings: what is there is shown, as far as it can be worked out. Closing twice is once."""
    need_gauges(by)
    at = at or clock.now()
    with transaction.atomic():
        if Study.objects.filter(pk=study.pk, closed_at__isnull=True).update(closed_at=at):
            write_line(by=by, deed="closed", thing=study, at=at, gauge=study.gauge.code)
    study.refresh_from_db()
    return study


# --- whose turn it is


@dataclass(frozen=True, slots=True)
class Turn:
    """What a person reads next."""

    piece: Piece
    repeat: int
    done: int
    of: int


@dataclass(frozen=True, slots=True)
class Standing:
    """A study as it stands: its pieces that still count, its people, what counts of what was read."""

    study: Study
    pieces: tuple[Piece, ...]
    fallen: tuple[Piece, ...]  # reworked, gone or fitted since the study was laid out
    people: tuple[User, ...]
    readings: tuple[StudyReading, ...]

    @property
    def wanted(self) -> int:
        return len(self.pieces) * len(self.people) * self.study.repeats

    @property
    def complete(self) -> bool:
        return bool(self.wanted) and len(self.readings) == self.wanted

    @property
    def shown(self) -> bool:
        """May values be seen? Not while anybody still reads."""
        return self.complete or self.study.closed_at is not None

    def read_by(self, person: User) -> int:
        return sum(one.person_id == person.pk for one in self.readings)


def standing_of(study: Study) -> Standing:
    """Four queries. Of each piece, person and repeat the newest take counts."""
    rows = list(study.pieces.select_related("piece"))
    closed = study.closed_at is not None
    good = {
        one.piece_id
        for one in rows
        if one.piece.condition == one.condition and (closed or one.piece.state in AT_HAND)
    }
    newest: dict[tuple[int, int, int], StudyReading] = {}
    for one in study.readings.select_related("piece", "person", "zeroing__master").order_by("take"):
        if one.piece_id in good:
            newest[one.piece_id, one.person_id, one.repeat] = one
    return Standing(
        study,
        tuple(one.piece for one in rows if one.piece_id in good),
        tuple(one.piece for one in rows if one.piece_id not in good),
        tuple(one.person for one in study.people.select_related("person")),
        tuple(sorted(newest.values(), key=lambda one: (one.received_at, str(one.pk)))),
    )


def turns_of(study: Study, person: User, pieces: Iterable[Piece]) -> list[tuple[Piece, int]]:
    """Every piece once for each repeat, each round in an order of its own: nobody reads from memory."""
    rows = sorted(pieces, key=lambda one: one.tag)
    order: list[tuple[Piece, int]] = []
    for repeat in range(1, study.repeats + 1):
        mixed = list(rows)
        Random(f"{study.pk}:{person.pk}:{repeat}").shuffle(mixed)
        order.extend((one, repeat) for one in mixed)
    return order


def next_turn(stands: Standing, person: User) -> Turn | None:
    """The person's next turn; None when all is read, the study closed, or the person not in it."""
    if stands.study.closed_at is not None or person.pk not in {one.pk for one in stands.people}:
        return None
    done = {(one.piece_id, one.repeat) for one in stands.readings if one.person_id == person.pk}
    order = turns_of(stands.study, person, stands.pieces)
    for piece, repeat in order:
        if (piece.pk, repeat) not in done:
            return Turn(piece, repeat, len(done), len(order))
    return None


def last_of(stands: Standing, person: User) -> StudyReading | None:
    """The person's own newest reading: a slip in it can be read again, without being shown."""
    own = [one for one in stands.readings if one.person_id == person.pk]
    return own[-1] if own else None


def record_turn(
    *,
    study: Study,
    pk: UUID,
    tag: str,
    repeat: int,
    text: str,
    by: Actor,
    reason: str = "",
    at: datetime | None = None,
) -> StudyReading:
    """Record one blind reading: of the person's next turn, or with a reason once more of the last one.

    The same id with the same text is the same reading.
    """
    by.need("record_readings")
    at = at or clock.now()
    known = StudyReading.objects.filter(pk=pk).first()
    if known is not None:
        if (known.study_id, known.person_id, known.text) == (study.pk, by.person.pk, text):
            return known
        raise Refusal(text="This reading was sent before with another value. Open the page again.")
    with transaction.atomic():
        study = Study.objects.select_for_update(of=("self",)).select_related("gauge").get(pk=study.pk)
        stands = standing_of(study)
        if study.closed_at is not None:
            raise Conflict("The study is closed.")
        if by.person.pk not in {one.pk for one in stands.people}:
            raise Refusal("You are not one of this study's people.")
        piece, take = _turn_asked(stands, by.person, tag, repeat, reason)
        value, unit = _value(study.gauge, text, by.person.decimal_mark, at)
        try:
            with transaction.atomic():
                made = StudyReading.objects.create(
                    id=pk,
                    study=study,
                    piece=piece,
                    person=by.person,
                    repeat=repeat,
                    take=take,
                    text=text,
                    unit=unit,
                    value_mm=value,
                    zeroing=last_zeroings([study.gauge]).get(study.gauge.pk),
                    received_at=at,
                    reason=" ".join(reason.split()) if take > 1 else "",
                )
        except IntegrityError:
            raise Conflict("That turn was read already. Open the page again.") from None
    return made


def _turn_asked(stands: Standing, person: User, tag: str, repeat: int, reason: str) -> tuple[Piece, int]:
    last = last_of(stands, person)
    if last is not None and (last.piece.tag, last.repeat) == (tag, repeat):
        words = " ".join(reason.split())
        if not words:
            raise Refusal(reason="Say why it is read again: a slip of the hand, a wrong key.")
        if len(words) > 200:
            raise Refusal(reason="At most 200 characters.")
        return last.piece, last.take + 1
    turn = next_turn(stands, person)
    if turn is None or (turn.piece.tag, turn.repeat) != (tag, repeat):
        raise Conflict("That is not your next turn. Open the page again: it shows which piece is.")
    return turn.piece, 1


def _value(gauge: Gauge, text: str, mark: str, at: datetime) -> tuple[float, str]:
    if gauge.retired_at is not None or past_due(gauge, clock.today(at)):
        raise Refusal(text=f"{gauge.code} is past due or out of use. A study is not read with it.")
    if len(text) > 60 or any(unicodedata.category(one) in {"Cc", "Cs"} for one in text):
        raise Refusal(text="Write it in one line of at most 60 characters.")
    if not text.strip():
        raise Refusal(text="Write what the gauge shows.")
    try:
        need_a_size(text)
        found = parse(text, "length", "mm", mark)
        need_in_range(gauge, found.canonical)
    except Refused as refused:
        raise Refusal(text=f"{str(refused).removesuffix('.')}.") from None
    except No as no:
        raise Refusal(text=no.message) from None
    if found.canonical <= 0:
        raise Refusal(text="A size is above 0.")
    return found.canonical, found.unit


# --- what came of it


def name_of(person: User) -> str:
    return person.display_name or person.username


def result_of(stands: Standing) -> tuple[GaugeStudy | None, str]:
    """The study worked out by the Handbook, or why it cannot be."""
    trials = [Trial(one.piece.tag, f"{one.person_id}", one.value_mm) for one in stands.readings]
    try:
        return gauge_study(trials, stands.study.tolerance_mm or None), ""
    except ValueError as trouble:  # refused, or outside what the method holds for
        return None, f"{str(trouble).removesuffix('.')}."
