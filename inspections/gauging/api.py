"""The API of the gauges: the register, one gauge, adding and changing one."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from ninja import Header, Query, Router, Schema, Status
from pydantic import ConfigDict, Field

from inspections.gauge_models import KINDS, Gauge
from inspections.gauging.kinds import CHAIN, past_due
from inspections.gauging.registering import add_gauge, change_gauge, need_gauges
from inspections.gauging.zeroing import last_zeroings
from inventory.paging import Cursor, Limit, make_cursor, read_cursor
from shop import clock
from shop.access import Actor, NotThere, asker
from shop.handbook.quantities import Refused, parse
from shop.once import once
from shop.refusals import Refusal

gauges = Router(tags=["gauges"])
Text = Annotated[str, Field(max_length=40)]
# argument -> kind of quantity, default unit, the figure that it becomes, and the factor to it
_QUANTITIES: dict[str, tuple[str, str, str, float]] = {
    "expanded_uncertainty": ("length", "µm", "expanded_um", 1000.0),
    "calibration_uncertainty": ("length", "µm", "calibration_um", 1000.0),
    "resolution": ("length", "µm", "resolution_um", 1000.0),
    "range_from": ("length", "mm", "from_mm", 1.0),
    "range_to": ("length", "mm", "to_mm", 1.0),
    "size": ("length", "mm", "size_mm", 1.0),
    "torque_from": ("torque", "N·m", "from_nm", 1.0),
    "torque_to": ("torque", "N·m", "to_nm", 1.0),
}


class GaugeFigures(Schema):
    """Quantities are text with a unit; a bare number is µm for uncertainties, mm or N·m for the rest."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(max_length=80)] | None = None
    measures: Annotated[list[str], Field(max_length=8)] | None = None
    expanded_uncertainty: Text | None = None
    calibration_uncertainty: Text | None = None
    resolution: Text | None = None
    range_from: Text | None = None
    range_to: Text | None = None
    size: Text | None = None
    torque_from: Text | None = None
    torque_to: Text | None = None
    torque_percent: Annotated[float, Field(gt=0, le=30)] | None = None
    certificate: Annotated[str, Field(max_length=200)] | None = None
    calibrated_on: date | None = None
    due_on: date | None = None
    needs_zeroing: bool | None = None
    whereabouts: Annotated[str, Field(max_length=80)] | None = None


class GaugeIn(GaugeFigures):
    code: Annotated[str, Field(max_length=20)]
    kind: Annotated[str, Field(max_length=20, description=", ".join(KINDS))]
    first: Annotated[str, Field(max_length=20)] | None = None
    second: Annotated[str, Field(max_length=20)] | None = None


class ZeroedOut(Schema):
    on: str
    by: str
    at: str


class GaugeOut(Schema):
    code: str
    name: str
    kind: str
    measures: list[str]
    expanded_uncertainty_um: float | None
    calibration_uncertainty_um: float | None
    resolution_um: float | None
    from_mm: float | None
    to_mm: float | None
    size_mm: float | None
    torque_percent: float | None
    from_nm: float | None
    to_nm: float | None
    chain: list[str]
    certificate: str
    calibrated_on: str | None
    due_on: str | None
    past_due: bool
    needs_zeroing: bool
    zeroed: ZeroedOut | None
    whereabouts: str
    retired: bool
    version: int


class GaugePage(Schema):
    items: list[GaugeOut]
    next: str | None


def _out(one: Gauge, last: dict[int, Any]) -> GaugeOut:
    zero = last.get(one.pk)
    length = one.kind != "torque wrench"
    return GaugeOut(
        code=one.code,
        name=one.name,
        kind=one.kind,
        measures=[part.strip() for part in one.measures.split(",")],
        expanded_uncertainty_um=one.expanded_um if length else None,
        calibration_uncertainty_um=one.calibration_um if length else None,
        resolution_um=one.resolution_um or None,
        from_mm=one.from_mm,
        to_mm=one.to_mm,
        size_mm=one.size_mm,
        torque_percent=one.torque_percent,
        from_nm=one.from_nm,
        to_nm=one.to_nm,
        chain=[part.code for part in (one.first, one.second) if part is not None],
        certificate=one.certificate,
        calibrated_on=one.calibrated_on.isoformat() if one.calibrated_on else None,
        due_on=one.due_on.isoformat() if one.due_on else None,
        past_due=past_due(one, clock.today()),
        needs_zeroing=one.needs_zeroing,
        zeroed=None
        if zero is None
        else ZeroedOut(
            on=zero.master_told,
            by=zero.person.display_name or zero.person.username,
            at=zero.at.isoformat(),
        ),
        whereabouts=one.whereabouts,
        retired=one.retired_at is not None,
        version=one.version,
    )


def _whole(one: Gauge) -> GaugeOut:
    return _out(one, last_zeroings([one]))


def _of_code(by: Actor, code: str) -> Gauge:
    by.need("see_tickets")
    found = Gauge.objects.select_related("first", "second").filter(code=code).first()
    if found is None:
        raise NotThere
    return found


@gauges.get("", response=GaugePage)
def list_gauges(
    request: HttpRequest,
    cursor: Cursor = "",
    limit: Limit = 50,
    retired: Annotated[bool, Query(description="those out of use")] = False,
) -> GaugePage:
    """The register, by code."""
    asker(request).need("see_tickets")
    _, after = read_cursor(cursor, ("gauge",))
    rows = Gauge.objects.select_related("first", "second").filter(retired_at__isnull=not retired)
    found = list(rows.filter(code__gt=after).order_by("code")[: limit + 1])
    page = found[:limit]
    last = last_zeroings(page)
    more = len(found) > limit
    return GaugePage(
        items=[_out(one, last) for one in page], next=make_cursor("gauge", page[-1].code) if more else None
    )


@gauges.get("/{code}", response=GaugeOut)
def read_gauge(request: HttpRequest, response: HttpResponse, code: str) -> GaugeOut:
    """One gauge; its ETag is what a change is made from."""
    one = _of_code(asker(request), code)
    response.headers["ETag"] = f'"{one.version}"'
    return _whole(one)


def _figures(said: dict[str, Any], by: Actor) -> dict[str, Any]:
    """The rule's figures from what was sent; a Refusal names every quantity that cannot be read."""
    wrong: dict[str, str] = {}
    figures: dict[str, Any] = {}
    for name, value in said.items():
        if name in _QUANTITIES and value is not None:
            kind, unit, key, factor = _QUANTITIES[name]
            try:
                figures[key] = parse(value, kind, unit, by.person.decimal_mark).canonical * factor
            except Refused as refused:
                wrong[name] = f"{str(refused).removesuffix('.')}."
        elif name in _QUANTITIES:
            figures[_QUANTITIES[name][2]] = None
        elif name == "measures":
            figures[name] = ", ".join(value or ()) or "any"
        else:
            figures[name] = value
    if wrong:
        raise Refusal(**wrong)
    return figures


@gauges.post("", response={201: GaugeOut})
def create_gauge(
    request: HttpRequest,
    response: HttpResponse,
    said: GaugeIn,
    idempotency_key: Annotated[str | None, Header(alias="Idempotency-Key")] = None,
) -> Status[Any]:
    """Put a gauge on the list. With an ``Idempotency-Key`` a repeat gets the first answer."""
    by = asker(request)
    need_gauges(by)
    answer = once(
        by=by,
        operation="POST gauges",
        key=str(uuid4()) if idempotency_key is None else idempotency_key,
        body=said.model_dump(mode="json"),
        rule=lambda: _whole(_made(said, by)).model_dump(mode="json"),
    )
    response.headers["Location"] = f"{request.path}/{answer['code']}"
    response.headers["ETag"] = f'"{answer["version"]}"'
    return Status(201, answer)


def _made(said: GaugeIn, by: Actor) -> Gauge:
    sent = {key: value for key, value in said.model_dump(exclude_unset=True).items() if value is not None}
    links: dict[str, Any] = {}
    for name in ("first", "second"):
        code = sent.pop(name, None)
        if code is not None:
            links[name] = Gauge.objects.filter(code=code).first()
            if links[name] is None:
                raise Refusal(**{name: f"There is no gauge {code}."})
    if links and said.kind != CHAIN:
        raise Refusal(kind="Only a chain is made of two gauges.")
    figures = _figures(sent, by)
    if "name" not in figures:
        raise Refusal(name="Write what it is.")
    return add_gauge(by=by, **figures, **links)


@gauges.patch("/{code}", response=GaugeOut)
def patch_gauge(
    request: HttpRequest,
    response: HttpResponse,
    code: str,
    said: GaugeFigures,
    if_match: Annotated[str | None, Header(alias="If-Match")] = None,
) -> GaugeOut:
    """Say some things differently. Missing If-Match is 428, one that is not the newest 412."""
    by = asker(request)
    one = _of_code(by, code)
    need_gauges(by)
    sent = said.model_dump(exclude_unset=True)
    if nothing := [
        name for name in ("name", "certificate", "whereabouts", "needs_zeroing") if sent.get(name, "") is None
    ]:
        raise Refusal(**{nothing[0]: "Leave it out, or say something."})
    found = re.fullmatch(r'\s*"([0-9]{1,9})"\s*', if_match or "")
    version = None if if_match is None else int(found[1]) if found else 0
    changed = change_gauge(gauge=one, version=version, by=by, **_figures(sent, by))
    response.headers["ETag"] = f'"{changed.version}"'
    return _whole(changed)
