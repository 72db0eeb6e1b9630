"""Gauges: which are in use, which are fine enough for a check, and putting one on the list. µm, k = 2."""

from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction

from inspections.document import DIMENSIONS, Check
from inspections.models import Gauge
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.refusals import Refusal


def gauges_in_use() -> list[Gauge]:
    """Gauges that may be read with, by code."""
    return list(Gauge.objects.filter(retired_at__isnull=True))


def is_fine_enough(check: Check, gauge: Gauge) -> bool:
    return check.gauge_um is None or gauge.expanded_um <= check.gauge_um


def kinds_of(measures: str) -> tuple[str, ...]:
    """The kinds of dimension that a gauge measures, from the list as it is kept."""
    return tuple(one.strip() for one in measures.split(",") if one.strip())


def fits(measures: str, dimension: str) -> bool:
    """Does a gauge that measures these kinds reach the dimension? Nothing asked, or any: yes."""
    kinds = kinds_of(measures)
    return not dimension or "any" in kinds or dimension in kinds


def fine_gauges(check: Check, gauges: Iterable[Gauge], dimension: str = "") -> list[Gauge]:
    """Those of the right kind whose expanded uncertainty the check accepts, the finest first."""
    return sorted(
        (one for one in gauges if is_fine_enough(check, one) and fits(one.measures, dimension)),
        key=lambda one: (one.expanded_um, one.code),
    )


def is_overdue(gauge: Gauge, at: datetime | None = None) -> bool:
    return gauge.due_on is not None and gauge.due_on < clock.today(at)


def add_gauge(
    *,
    code: str,
    name: str,
    expanded_um: float,
    calibration_um: float,
    resolution_um: float,
    by: Actor,
    calibrated_on: date | None = None,
    due_on: date | None = None,
    measures: str = "any",
    at: datetime | None = None,
) -> Gauge:
    """Put a gauge on the list; the same code with the same figures again is the same gauge."""
    by.need("keep_office")
    if not (expanded_um > 0 and 0 <= calibration_um <= expanded_um and resolution_um > 0):
        raise Refusal(
            expanded_um="A gauge has an uncertainty and a step above 0 µm; its calibration is a part of it."
        )
    kinds = kinds_of(measures)
    if not kinds or not set(kinds) <= {*DIMENSIONS, "any"}:
        raise Refusal(measures=f"Say what it measures: any, or some of {', '.join(DIMENSIONS)}.")
    figures = {
        "name": name,
        "expanded_um": expanded_um,
        "calibration_um": calibration_um,
        "resolution_um": resolution_um,
        "calibrated_on": calibrated_on,
        "due_on": due_on,
        "measures": ", ".join(kinds),
    }
    with transaction.atomic():
        gauge, made = Gauge.objects.get_or_create(code=code, defaults=figures)
        if not made and any(getattr(gauge, key) != value for key, value in figures.items()):
            raise Refusal(code=f"There is another gauge {code}. Take a code of its own.")
        if made:
            write_line(by=by, deed="added", thing=gauge, at=at, code=code, expanded_um=expanded_um)
    return gauge
