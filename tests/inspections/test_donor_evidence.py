"""A donor's photographs and report: the same pages, below the donor's own addresses."""

from __future__ import annotations

from uuid import uuid4

import pytest

from inspections.donors.stripping import strip_donor
from inspections.evidence.photographs import mark_zone
from inspections.guiding.guides import publish_guide
from inspections.models import Examination, ExaminationReport, Photograph
from inventory.donors import buy_donor
from inventory.models import Donor
from shop import outbox
from shop.access import PROGRAM
from shop.models import Variant
from tests.conftest import Cast, SignedIn
from tests.inspections.evidence import upload
from tests.inspections.shop import make_gauges
from tests.inspections.small import SMALL

pytestmark = pytest.mark.django_db


@pytest.fixture
def donor(cast: Cast) -> Donor:
    revision = publish_guide(text=SMALL, by=PROGRAM)
    make_gauges()
    variant = Variant.objects.get(family=revision.family, code="FC")
    made: Donor = buy_donor(
        family=revision.family,
        variant=variant,
        bought_of="A farm sale (invented)",
        cost_minor=12_000,
        by=cast.actor("stores"),
    )
    return made


@pytest.fixture
def held(donor: Donor, cast: Cast) -> Examination:
    return strip_donor(donor=donor, by=cast.actor("technician"))


def test_before_it_is_stripped_there_is_nothing(donor: Donor, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    for path in (f"/bench/donors/{donor.number}/photographs", f"/bench/donors/{donor.number}/report"):
        assert client.get(path).status_code == 404, path


def test_a_photograph_is_kept_marked_and_printed(
    held: Examination, donor: Donor, cast: Cast, signed_in: SignedIn
) -> None:
    client, base = signed_in(cast.technician), f"/bench/donors/{donor.number}"
    unit = client.get(base).content.decode()
    assert f'href="{base}/photographs"' in unit
    assert f'href="{base}/report"' in unit
    position = client.get(f"{base}/CASE?check=LOOK").content.decode()
    assert f'action="{base}/photographs"' in position
    sent = {"id": str(uuid4()), "check": "LOOK", "note": "lug", "file": upload()}
    kept = client.post(f"{base}/photographs", sent)
    assert (kept.status_code, kept.headers["Location"].split("?")[0]) == (302, f"{base}/CASE")
    row = Photograph.objects.get()
    assert row.document.ticket is None
    mark_zone(photograph=row, id=uuid4(), zone="B6", words="crack", by=cast.actor("technician"))
    page = client.get(f"/bench/photographs/{row.pk}").content.decode()
    assert f'href="{base}/CASE?check=LOOK' in page
    assert client.post(f"{base}/report").headers["Location"] == f"{base}/report"
    outbox.run_due()
    report = ExaminationReport.objects.get(examination=held)
    assert report.document["unit"] == f"donor D{donor.number}"
    assert f'href="/bench/reports/{report.pk}"' in client.get(f"{base}/report").content.decode()
    for path in (f"/bench/reports/{report.pk}", f"/bench/photographs/{row.pk}/small"):
        answer = client.get(path)
        assert b"".join(answer.streaming_content)[:2] in {b"%P", b"\xff\xd8"}  # type: ignore[attr-defined]


@pytest.mark.parametrize(("name", "status"), [("stores", 200), ("supplier", 404), ("stranger", 403)])
def test_who_may_look(
    held: Examination, donor: Donor, cast: Cast, signed_in: SignedIn, name: str, status: int
) -> None:
    client = signed_in(getattr(cast, name))
    for tail in ("photographs", "report"):
        assert client.get(f"/bench/donors/{donor.number}/{tail}").status_code == status
