"""Keeping the register of gauges: adding one, saying it differently, taking it out of use. The only writer.

A chain (a telescopic gauge read over with a micrometer, say) has no figures of its own: they follow from its
two gauges, uncertainties by root-sum-square (JCGM 100:2008, 5.1.2), and it is due when either is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from math import hypot, isfinite
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Q

from inspections.document import DIMENSIONS
from inspections.gauge_models import KINDS, Gauge
from inspections.gauging.kinds import (
    CHAIN,
    FIXED,
    NOT_FOR_LENGTHS,
    WRENCH,
    kinds_of,
    unknown_dimensions,
    usual_measures,
)
from shop import clock
from shop.access import Actor, Denied
from shop.audit import write_line
from shop.refusals import Conflict, Refusal, Stale, Unversioned

MOST_UM, MOST_MM, MOST_NM, MOST_PERCENT = 10_000.0, 20_000.0, 20_000.0, 30.0
CHANGEABLE = (
    "name", "kind", "expanded_um", "calibration_um", "resolution_um", "measures", "from_mm", "to_mm",
    "size_mm", "torque_percent", "from_nm", "to_nm", "certificate", "calibrated_on", "due_on",
    "needs_zeroing", "whereabouts",
)  # fmt: skip
DERIVED = (
    "expanded_um", "calibration_um", "resolution_um", "measures", "from_mm", "to_mm", "calibrated_on",
    "due_on", "needs_zeroing",
)  # fmt: skip
_NO_STEP = (*FIXED, "setting master", "thread gauge")
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+-]*")
_WORDS = {"code": 20, "name": 80, "certificate": 200, "whereabouts": 80}
_NUMBERS = {
    "expanded_um": (MOST_UM, "µm"), "calibration_um": (MOST_UM, "µm"), "resolution_um": (MOST_UM, "µm"),
    "from_mm": (MOST_MM, "mm"), "to_mm": (MOST_MM, "mm"), "size_mm": (MOST_MM, "mm"),
    "from_nm": (MOST_NM, "N·m"), "to_nm": (MOST_NM, "N·m"), "torque_percent": (MOST_PERCENT, "%"),
}  # fmt: skip


def may_keep_gauges(by: Actor) -> bool:
    """A lead technician or the office keeps the register."""
    return by.may("settle_disputes") or by.may("keep_office")


def need_gauges(by: Actor) -> None:
    if not may_keep_gauges(by):
        by.need("see_tickets")
        raise Denied("keep_office")


def add_gauge(
    *,
    code: str,
    name: str,
    expanded_um: float = 0.0,
    calibration_um: float = 0.0,
    resolution_um: float = 0.0,
    by: Actor,
    calibrated_on: date | None = None,
    due_on: date | None = None,
    measures: str | None = None,
    kind: str = "other",
    first: Gauge | None = None,
    second: Gauge | None = None,
    at: datetime | None = None,
    **more: Any,
) -> Gauge:
    """Put a gauge on the list; the same code with the same figures again is the same gauge.

    ``more``: from_mm, to_mm, size_mm, torque_percent, from_nm, to_nm, certificate, needs_zeroing and
    whereabouts.
    """
    need_gauges(by)
    at = at or clock.now()
    figures: dict[str, Any] = {
        "name": name, "kind": kind, "expanded_um": expanded_um, "calibration_um": calibration_um,
        "resolution_um": resolution_um, "calibrated_on": calibrated_on, "due_on": due_on,
        "measures": measures,
    } | more  # fmt: skip
    with transaction.atomic():
        if kind == CHAIN:
            figures |= _links(first, second)
        figures = _checked({"code": code} | figures, clock.today(at))
        code = figures.pop("code")
        try:
            with transaction.atomic():
                gauge, made = Gauge.objects.get_or_create(code=code, defaults=figures)
        except IntegrityError:
            raise Refusal("These figures do not go together for a gauge of this kind.") from None
        if not made and any(getattr(gauge, key) != value for key, value in figures.items()):
            raise Refusal(code=f"There is another gauge {code}. Take a code of its own.")
        if made:
            write_line(by=by, deed="added", thing=gauge, at=at, code=code, expanded_um=gauge.expanded_um)
    return gauge


def change_gauge(
    *, gauge: Gauge, version: int | None, by: Actor, at: datetime | None = None, **changes: Any
) -> Gauge:
    """Say some of CHANGEABLE differently, made from that version. Readings keep their figures.

    Raises Unversioned if no version is said, Stale if the gauge was changed since, Conflict if it is retired.
    """
    need_gauges(by)
    at = at or clock.now()
    if version is None:
        raise Unversioned("Say which version this change was made from: send its ETag as If-Match.")
    if strange := sorted({*changes} - {*CHANGEABLE}):
        raise Refusal(**{strange[0]: "This cannot be changed."})
    with transaction.atomic():
        gauge = Gauge.objects.select_for_update().get(pk=gauge.pk)
        if gauge.retired_at is not None:
            raise Conflict(f"{gauge.code} is out of use.")
        _right_change(gauge, changes)
        figures = _checked({key: getattr(gauge, key) for key in CHANGEABLE} | changes, clock.today(at))
        figures = {key: value for key, value in figures.items() if getattr(gauge, key) != value}
        if not Gauge.objects.filter(pk=gauge.pk, version=version).update(**figures, version=F("version") + 1):
            raise Stale(f"Somebody changed {gauge.code} meanwhile. Look at it again, then change it.")
        gauge.refresh_from_db()
        _renew_chains(gauge)
        facts = {key: str(value) for key, value in figures.items()}
        write_line(by=by, deed="changed", thing=gauge, at=at, code=gauge.code, figures=facts)
    return gauge


def retire_gauge(*, gauge: Gauge, why: str, by: Actor, at: datetime | None = None) -> Gauge:
    """Take it out of use, with the chains that it is part of. Its readings stay; retiring twice is once."""
    need_gauges(by)
    at = at or clock.now()
    why = " ".join(why.split())
    if not 1 <= len(why) <= 200:
        raise Refusal(why="Say why it goes out of use, in at most 200 characters.")
    with transaction.atomic():
        taken = [gauge, *Gauge.objects.filter(Q(first=gauge) | Q(second=gauge), retired_at__isnull=True)]
        for one in taken:
            words = why if one == gauge else f"{gauge.code} went out of use: {why}"[:200]
            won = Gauge.objects.filter(pk=one.pk, retired_at__isnull=True).update(
                retired_at=at, retired_why=words, version=F("version") + 1
            )
            if won:
                write_line(by=by, deed="retired", thing=one, at=at, code=one.code)
    gauge.refresh_from_db()
    return gauge


def _right_change(gauge: Gauge, changes: Mapping[str, Any]) -> None:
    kind = changes.get("kind", gauge.kind)
    if gauge.kind not in {kind, "other"}:
        raise Refusal(kind=f"{gauge.code} is a {gauge.kind}. Another instrument takes a code of its own.")
    if kind == CHAIN != gauge.kind:
        raise Refusal(kind="A chain names two gauges. Add it as one.")
    if gauge.kind == CHAIN and (fixed := sorted({*changes} & {*DERIVED})):
        same = all(changes[key] == getattr(gauge, key) for key in fixed)
        if not same:
            raise Refusal(**{fixed[0]: "A chain's figures follow from its two gauges. Change those."})


def _links(first: Gauge | None, second: Gauge | None) -> dict[str, Any]:
    """The two gauges of a chain, locked, and the figures that follow from them."""
    if first is None or second is None:
        raise Refusal(**{"first" if first is None else "second": "Choose the two gauges of the chain."})
    found = {one.pk: one for one in Gauge.objects.select_for_update().filter(pk__in=(first.pk, second.pk))}
    for field, one in (("first", found[first.pk]), ("second", found[second.pk])):
        if one.retired_at is not None:
            raise Refusal(**{field: f"{one.code} is out of use."})
        if one.kind in {CHAIN, *FIXED, *NOT_FOR_LENGTHS}:
            raise Refusal(**{field: f"{one.code} is a {one.kind}: no chain is made with it."})
    if first.pk == second.pk:
        raise Refusal(second="A chain is made of two gauges. Choose another one here.")
    made = {"first": found[first.pk], "second": found[second.pk]}
    return made | chain_figures(found[first.pk], found[second.pk])


def chain_figures(first: Gauge, second: Gauge) -> dict[str, Any]:
    """What a chain of two gauges reads: the first feels the part, the second is read.

    U = √(U₁² + U₂²), JCGM 100:2008, 5.1.2; range where both reach; due when either is.
    """
    lows = [one.from_mm for one in (first, second) if one.from_mm is not None]
    highs = [one.to_mm for one in (first, second) if one.to_mm is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    if low is not None and high is not None and low >= high:
        raise Refusal(
            second=f"{first.code} and {second.code} have no size in common: their ranges do not meet."
        )
    dues = [one.due_on for one in (first, second) if one.due_on is not None]
    days = [one.calibrated_on for one in (first, second) if one.calibrated_on is not None]
    return {
        "expanded_um": hypot(first.expanded_um, second.expanded_um),
        "calibration_um": hypot(first.calibration_um, second.calibration_um),
        "resolution_um": second.resolution_um,
        "measures": first.measures,
        "from_mm": low,
        "to_mm": high,
        "calibrated_on": min(days, default=None),
        "due_on": min(dues, default=None),
        "needs_zeroing": first.needs_zeroing or second.needs_zeroing,
    }


def _renew_chains(gauge: Gauge) -> None:
    rows = Gauge.objects.filter(Q(first=gauge) | Q(second=gauge), retired_at__isnull=True)
    for chain in rows.select_related("first", "second"):
        assert chain.first is not None
        assert chain.second is not None
        Gauge.objects.filter(pk=chain.pk).update(
            **chain_figures(chain.first, chain.second), version=F("version") + 1
        )


# --- what goes together


def _checked(figures: dict[str, Any], today: date) -> dict[str, Any]:
    """The figures as they are kept; a Refusal says everything that is wrong, by field."""
    wrong: dict[str, str] = {}
    kind = figures.get("kind", "other")
    if kind not in KINDS:
        raise Refusal(kind=f"Choose one of: {', '.join(KINDS)}.")
    for field in ("expanded_um", "calibration_um", "resolution_um"):
        figures[field] = figures.get(field) or 0.0
    for field, long in _WORDS.items():
        if field in figures:
            figures[field] = " ".join(str(figures[field]).split())
            if len(figures[field]) > long or not figures[field].isprintable():
                wrong[field] = f"At most {long} characters, in one line."
    for field in ("code", "name"):
        if field in figures and not figures[field]:
            wrong[field] = "Write the code that is on the gauge." if field == "code" else "Write what it is."
    if figures.get("code") and not _CODE.fullmatch(figures["code"]):
        wrong["code"] = "A code has letters, digits and - . + only, such as MIC-1."
    for field, (most, unit) in _NUMBERS.items():
        value = figures.get(field)
        if value is not None and not (isfinite(value) and 0 <= value <= most):
            wrong[field] = f"Between 0 and {most:g} {unit}."
    wrong |= _wrench(figures) if kind == WRENCH else _reads(figures)
    wrong = _ranges(figures) | wrong
    wrong |= _days(figures, today)
    if kind in FIXED and not figures.get("size_mm"):
        wrong["size_mm"] = f"A {kind} has a size. Write the one on its certificate."
    if wrong:
        raise Refusal(**wrong)
    if kind == WRENCH:
        figures["measures"] = "torque"
        return figures
    figures["measures"] = ", ".join(kinds_of(_measures(figures)))
    return figures


def _wrench(figures: Mapping[str, Any]) -> dict[str, str]:
    if not figures.get("torque_percent"):
        return {"torque_percent": "Write the expanded uncertainty of the torque, in %, from its certificate."}
    return {}


def _reads(figures: Mapping[str, Any]) -> dict[str, str]:
    expanded, calibration = figures["expanded_um"], figures["calibration_um"]
    wrong = {}
    if not (
        expanded > 0
        and 0 <= calibration <= expanded
        and (figures["resolution_um"] > 0 or figures["kind"] in _NO_STEP)
    ):
        wrong["expanded_um"] = (
            "A gauge has an uncertainty and a step above 0 µm; its calibration is a part of it."
        )
    measures = _measures(figures)
    if not kinds_of(measures) or unknown_dimensions(measures):
        wrong["measures"] = f"Say what it measures: any, or some of {', '.join(DIMENSIONS)}."
    return wrong


def _measures(figures: Mapping[str, Any]) -> str:
    said = figures.get("measures")
    return usual_measures(figures["kind"]) if said is None else str(said)


def _ranges(figures: Mapping[str, Any]) -> dict[str, str]:
    wrong = {}
    for low, high in (("from_mm", "to_mm"), ("from_nm", "to_nm")):
        one, other = figures.get(low), figures.get(high)
        if one is not None and other is not None and one >= other:
            wrong[high] = "The range ends above where it begins."
    return wrong


def _days(figures: Mapping[str, Any], today: date) -> dict[str, str]:
    done, due = figures.get("calibrated_on"), figures.get("due_on")
    if done is not None and done > today:
        return {"calibrated_on": "This day is still to come. Write the day on the certificate."}
    if done is not None and due is not None and due <= done:
        return {"due_on": "It is due after the day it was calibrated."}
    return {}
