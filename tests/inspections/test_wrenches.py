"""Torque wrenches at the build sheet: one whose range holds the torque of the joint, and is not past due."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest

from inspections.building.building import record_box
from inspections.gauge_models import Gauge
from inspections.gauging.registering import add_gauge
from inspections.gauging.wrenches import BOX, torque_of, wrenches_for_step
from inspections.models import AsBuilt, BuildSheet
from shop import clock
from shop.access import PROGRAM
from shop.refusals import Refusal
from tests.conftest import SignedIn
from tests.inspections.job import Job
from tests.inspections.test_building import a_sheet, job  # noqa: F401  the unit that is ready to be built

pytestmark = pytest.mark.django_db


def wrench(code: str, low: float, high: float, **more: Any) -> Gauge:
    figures: dict[str, Any] = {"name": "torque wrench", "kind": "torque wrench", "torque_percent": 4.0}
    return add_gauge(code=code, from_nm=low, to_nm=high, by=PROGRAM, **(figures | more))


def torqued(sheet: BuildSheet) -> tuple[dict[str, Any], float]:
    """The first step with a torque, and the torque."""
    step = next(one for one in sheet.document["steps"] if torque_of(one) is not None)
    torque_nm = torque_of(step)
    assert torque_nm is not None
    return step, torque_nm


def fill(sheet: BuildSheet, job: Job, text: str) -> AsBuilt:  # noqa: F811
    step, _ = torqued(sheet)
    return record_box(sheet=sheet, step_code=step["code"], box=BOX, text=text, by=job.actor("technician"))


def test_a_shop_without_a_registered_wrench_writes_what_it_used(job: Job) -> None:  # noqa: F811
    row = fill(a_sheet(job), job, "the long one")
    assert (row.text, row.gauge) == ("the long one", None)


def test_the_wrench_whose_range_holds_the_torque_is_kept(job: Job) -> None:  # noqa: F811
    sheet = a_sheet(job)
    step, torque_nm = torqued(sheet)
    good = wrench("TW-1", torque_nm, torque_nm * 2)  # the torque itself is inside its range
    row = fill(sheet, job, "tw-1")
    assert (row.text, row.gauge) == ("TW-1", good)
    assert wrenches_for_step(step) == [good]


def test_others_are_refused_and_the_right_ones_named(job: Job) -> None:  # noqa: F811
    sheet = a_sheet(job)
    _, torque_nm = torqued(sheet)
    wrench("GOOD", 1.0, 500.0)
    wrench("SMALL", 1.0, torque_nm * 0.99)
    wrench("LATE", 1.0, 500.0, due_on=clock.today() - timedelta(days=1))
    for text, words in (
        ("mine", "There is no torque wrench mine in use"),
        ("SMALL", "the joint asks for"),
        ("LATE", "was due for calibration on"),
    ):
        with pytest.raises(Refusal) as caught:
            fill(sheet, job, text)
        assert words in caught.value.errors["text"]
        assert "GOOD" in caught.value.errors["text"]
    assert AsBuilt.objects.count() == 0


def test_the_page_offers_the_wrenches_that_can(job: Job, signed_in: SignedIn) -> None:  # noqa: F811
    sheet = a_sheet(job)
    step, torque_nm = torqued(sheet)
    wrench("GOOD", 1.0, 500.0)
    wrench("SMALL", 1.0, torque_nm * 0.99)
    client = signed_in(job.cast.technician)
    path = f"/bench/{job.ticket.number}/sheet"
    text = client.get(path).content.decode()
    form = text[text.index(f'action="#{step["code"]}"') :]
    form = form[: form.index("</form>")]
    assert re.findall(r'<option value="([^"]+)"', form) == ["GOOD"]
    place = step["boxes"].index(BOX)
    body = {"deed": "boxes", "step": step["code"], "revision": str(sheet.revision), f"box-{place}": "SMALL"}
    refused = client.post(path, body)
    assert refused.status_code == 422
    assert "the joint asks for" in refused.content.decode()
    assert client.post(path, body | {f"box-{place}": "GOOD"}).status_code == 302
    assert AsBuilt.objects.get().gauge == Gauge.objects.get(code="GOOD")
