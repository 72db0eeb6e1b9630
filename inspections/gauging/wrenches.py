"""Torque wrenches at the build sheet: the box of a torqued joint names one whose range holds the torque.

A shop that has no torque wrench in the register writes down whatever it used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from inspections.gauge_models import Gauge
from inspections.gauging.kinds import WRENCH, past_due
from shop import clock
from shop.refusals import Refusal

BOX = "wrench"


def wrenches_in_use() -> list[Gauge]:
    return list(Gauge.objects.filter(kind=WRENCH, retired_at__isnull=True))


def holds_torque(wrench: Gauge, torque_nm: float) -> bool:
    """Is the torque inside the wrench's range? A range that is not stated holds any."""
    low = wrench.from_nm is None or torque_nm >= wrench.from_nm - 1e-9
    return low and (wrench.to_nm is None or torque_nm <= wrench.to_nm + 1e-9)


def told_wrench(wrench: Gauge) -> str:
    reach = f"{wrench.from_nm or 0:g} to {wrench.to_nm:g} N·m, " if wrench.to_nm is not None else ""
    return f"{wrench.code} {wrench.name}, {reach}± {wrench.torque_percent:g} %"


def torque_of(step: Mapping[str, Any]) -> float | None:
    """The torque [N·m] of the step's joint; None if it has none."""
    torque = step.get("torque") or {}
    found = torque.get("torque_nm")
    return float(found) if found is not None and torque.get("passes") else None


def wrenches_for(wrenches: Iterable[Gauge], torque_nm: float, today: date) -> list[Gauge]:
    """Those that can tighten this joint, the finest first."""
    good = [one for one in wrenches if holds_torque(one, torque_nm) and not past_due(one, today)]
    return sorted(good, key=lambda one: (one.torque_percent or 0.0, one.code))


def wrench_for_box(step: Mapping[str, Any], box: str, text: str, at: datetime) -> Gauge | None:
    """The wrench that the text names, for the wrench box of a torqued joint. Refusal for one that cannot."""
    torque_nm = torque_of(step)
    wrenches = wrenches_in_use() if box == BOX and torque_nm is not None else []
    if not wrenches or torque_nm is None:
        return None
    today = clock.today(at)
    good = ", ".join(one.code for one in wrenches_for(wrenches, torque_nm, today)) or "none in use"
    found = next((one for one in wrenches if one.code.lower() == text.lower()), None)
    if found is None:
        raise Refusal(text=f"There is no torque wrench {text} in use. For {torque_nm:.3g} N·m: {good}.")
    if not holds_torque(found, torque_nm):
        raise Refusal(
            text=f"{found.code} goes from {found.from_nm or 0:g} to {found.to_nm or 0:g} N·m; the joint asks "
            f"for {torque_nm:.3g} N·m. Take: {good}."
        )
    if past_due(found, today):
        raise Refusal(text=f"{found.code} was due for calibration on {found.due_on:%d %B %Y}. Take: {good}.")
    return found


def wrenches_for_step(step: Mapping[str, Any], at: datetime | None = None) -> list[Gauge]:
    """Those that can tighten the step's joint now; none for a step without a torque."""
    torque_nm = torque_of(step)
    return [] if torque_nm is None else wrenches_for(wrenches_in_use(), torque_nm, clock.today(at))


def wrench_choices(step: Mapping[str, Any], wrenches: Iterable[Gauge], today: date) -> list[tuple[str, str]]:
    """What the wrench box offers; empty where it takes text."""
    torque_nm = torque_of(step)
    if torque_nm is None:
        return []
    return [(one.code, told_wrench(one)) for one in wrenches_for(wrenches, torque_nm, today)]
