"""When a gauge was last set to its master, by whom and on what. Readings name the zeroing they stand on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from django.db import IntegrityError, transaction
from django.db.models import Max, Q

from inspections.gauge_models import Gauge, Zeroing
from inspections.gauging.kinds import CHAIN, FIXED, WRENCH
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.handbook.quantities import Refused, parse
from shop.refusals import Conflict, Refusal

SHIFT = timedelta(hours=8)  # a zeroing holds for a shift; common practice, no source
MASTERS = ("setting master", *FIXED)
MOST_OFF_UM = 1000.0


def zero_gauge(
    *,
    gauge: Gauge,
    master: str,
    by: Actor,
    key: str,
    off: str = "",
    note: str = "",
    at: datetime | None = None,
) -> Zeroing:
    """Write down that the gauge was set. ``master``: a code of the register, or words for one that is not in
    it. ``off``: how far it was off before, as typed; nothing: not said. The same key again is the same line.
    """
    by.need("record_readings")
    at = at or clock.now()
    if not 1 <= len(key) <= 120:
        raise Refusal(key="A key has 1 to 120 characters.")
    if gauge.retired_at is not None:
        raise Conflict(f"{gauge.code} is out of use.")
    if gauge.kind in {*FIXED, WRENCH}:
        raise Refusal(f"{gauge.code} is a {gauge.kind}: it has nothing to zero.")
    words = " ".join(master.split())
    if not words:
        raise Refusal(master="Say what it was set on: a ring, a block, its own setting rod.")
    row = _master(words, gauge, at)
    off_um = _off(off, by.person.decimal_mark)
    note = " ".join(note.split())
    if len(note) > 200 or len(words) > 80:
        raise Refusal(**{"note" if len(note) > 200 else "master": "That is too long. Write it shorter."})
    try:
        with transaction.atomic():
            made = Zeroing.objects.create(
                gauge=gauge,
                master=row,
                master_words="" if row else words,
                off_um=off_um,
                person=by.person,
                at=at,
                note=note,
                key=key,
            )
            write_line(by=by, deed="zeroed", thing=made, at=at, gauge=gauge.code)
    except IntegrityError:
        found = Zeroing.objects.filter(key=key, gauge=gauge, person=by.person).first()
        if found is None:
            raise Refusal(key="This key was used before. Open the page again.") from None
        return found
    return made


def _master(words: str, gauge: Gauge, at: datetime) -> Gauge | None:
    """The master in the register, if that is a code there; one past due or out of use sets nothing."""
    found = Gauge.objects.filter(code=words).first()
    if found is None:
        return None
    if found.pk == gauge.pk or found.kind not in MASTERS:
        raise Refusal(master=f"{found.code} is no setting master, plug or ring. Set it on one of those.")
    if found.retired_at is not None:
        raise Refusal(master=f"{found.code} is out of use.")
    if found.due_on is not None and found.due_on < clock.today(at):
        raise Refusal(
            master=f"{found.code} was due for calibration on {found.due_on:%d %B %Y}. Set the gauge on "
            "another master."
        )
    return found


def _off(text: str, mark: str) -> float | None:
    if not text.strip():
        return None
    try:
        found = parse(text, "length", "µm", mark)
    except Refused as refused:
        raise Refusal(off=f"{str(refused).removesuffix('.')}.") from None
    off_um = found.canonical * 1000
    if abs(off_um) > MOST_OFF_UM:
        raise Refusal(off="More than a millimetre off is no zero. Have the gauge looked at.")
    return off_um


class Zeroable(Protocol):
    """What is asked of a gauge's row about its zero."""

    @property
    def pk(self) -> int: ...
    @property
    def code(self) -> str: ...
    @property
    def needs_zeroing(self) -> bool: ...
    @property
    def second_id(self) -> int | None: ...


def last_zeroings(gauges: Iterable[Zeroable]) -> dict[int, Zeroing]:
    """The newest zeroing by gauge id, in one query; a chain goes by what it is read with as well."""
    rows = list(gauges)
    wanted = {one.pk for one in rows} | {one.second_id for one in rows if one.second_id}
    newest = Zeroing.objects.filter(gauge__in=wanted).order_by().values("gauge").annotate(newest=Max("id"))
    found = {
        one.gauge_id: one
        for one in Zeroing.objects.filter(pk__in=newest.values("newest")).select_related("master", "person")
    }
    for one in rows:
        read_with = found.get(one.second_id) if one.second_id else None
        own = found.get(one.pk)
        if read_with is not None and (own is None or own.pk < read_with.pk):
            found[one.pk] = read_with
    return found


@dataclass(frozen=True, slots=True)
class ZeroLine:
    """What the bench says of a gauge's zero, quietly."""

    code: str
    words: str
    stale: bool
    brief: str = "not written down"


def zero_line(gauge: Zeroable, last: Zeroing | None, at: datetime) -> ZeroLine:
    if last is None:
        return ZeroLine(gauge.code, "nobody has written down that it was zeroed", True)
    when = clock.local(last.at)
    day = "today" if when.date() == clock.today(at) else f"on {when:%d %B}"
    stale = at - last.at > SHIFT
    tail = "; that is more than a shift ago" if stale else ""
    who = last.person.display_name or last.person.username
    words = f"zeroed on {last.master_told} at {when:%H:%M} {day} by {who}{tail}"
    return ZeroLine(gauge.code, words, stale, f"{when:%d %b, %H:%M}")


def zero_lines(gauges: Sequence[Zeroable], at: datetime | None = None) -> list[ZeroLine]:
    """One line for each gauge that needs zeroing."""
    at = at or clock.now()
    asked = [one for one in gauges if one.needs_zeroing]
    last = last_zeroings(asked) if asked else {}
    return [zero_line(one, last.get(one.pk), at) for one in asked]


def zeroings_of(gauge: Gauge) -> list[Zeroing]:
    """The newest hundred of the gauge; of a chain, those of what it is read with too."""
    own = Q(gauge=gauge) | (Q(gauge=gauge.second_id) if gauge.kind == CHAIN else Q(pk__in=[]))
    return list(Zeroing.objects.filter(own).select_related("master", "person", "gauge").order_by("-id")[:100])
