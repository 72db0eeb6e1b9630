"""A donor on the bench and in the Stores: stripped, examined, its pieces in bins with their readings."""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from inspections.donors.stripping import donors_on_bench, strip_donor
from inspections.guiding.adopting import adopt_revision
from inspections.guiding.guides import publish_guide
from inspections.guiding.varying import change_donor_variant
from inspections.models import Examination, Reading
from inspections.readings.findings import judgement_of
from inventory.donors import buy_donor, put_away, share_cost
from inventory.models import Bin, Donor, Movement, Piece
from shop.access import PROGRAM, Denied, NotThere, actor_for
from shop.models import Family, Variant
from shop.refusals import Conflict, Refusal
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import make_gauges, read, say
from tests.inspections.small import SMALL
from tests.inspections.test_varying import BOTH

pytestmark = pytest.mark.django_db
STORES = "/stores/donors/"
BENCH = "/bench/donors/1"


@pytest.fixture
def donor(cast: Cast) -> Donor:
    publish_guide(text=BOTH, by=PROGRAM)
    make_gauges()
    family = Family.objects.get(code="X1")
    return buy_donor(
        family=family,
        variant=Variant.objects.get(family=family, code="FC"),
        cost_minor=24000,
        bought_of="A breaker (invented), receipt 7",
        by=cast.actor("stores"),
    )


@pytest.fixture
def held(donor: Donor, cast: Cast) -> Examination:
    """Stripped and read in part: the bore by one person."""
    found = strip_donor(donor=donor, missing=["SEAL"], by=cast.actor("technician"))
    read(found, cast.actor("technician"), "BORE", "26.010 mm")
    say(found, cast.actor("technician"), "LOOK", "CRACK")
    return found


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def tag_of(code: str) -> str:
    tag: str = Piece.objects.get(position__code=code).tag
    return tag


# --- rules


def test_it_is_examined_with_the_guide_of_its_family(held: Examination, donor: Donor) -> None:
    assert (held.ticket_id, held.donor_id, held.revision.number) == (None, donor.unit_id, 1)
    judgement = judgement_of(held)
    assert judgement.of_check("BORE")[0].state == "within"
    assert judgement.status["SEAL"] == "replaced"
    assert judgement.verdict[tag_of("CASE")].verdict == "open"
    assert {one.from_unit_id for one in Piece.objects.all()} == {donor.unit_id}
    assert donors_on_bench()[0][1:3] == (1, 4)


def test_stripping_twice_is_once(held: Examination, donor: Donor, cast: Cast) -> None:
    assert strip_donor(donor=donor, by=cast.actor("stores")) == held
    assert Piece.objects.count() == 4
    with pytest.raises(Denied):
        strip_donor(donor=donor, by=cast.actor("front_desk"))
    with pytest.raises(NotThere):
        strip_donor(donor=donor, by=actor_for(cast.supplier))


def test_a_position_that_it_does_not_have_cannot_be_empty(donor: Donor, cast: Cast) -> None:
    with pytest.raises(Refusal) as refused:
        strip_donor(donor=donor, missing=["LID"], by=cast.actor("technician"))
    assert "LID" in refused.value.errors["missing"]
    assert not Examination.objects.exists()


def test_readings_go_with_the_pieces_to_their_bins(held: Examination, donor: Donor, cast: Cast) -> None:
    stores, technician = cast.actor("stores"), cast.actor("technician")
    case, shaft, cover = (Piece.objects.get(position__code=code) for code in ("CASE", "SHAFT", "COVER"))
    share_cost(donor=donor, shares={case.tag: 2, shaft.tag: 1, cover.tag: 0}, by=stores)
    bin_ = Bin.objects.create(code="D4")
    put_away(donor=donor, bins={case.tag: bin_, shaft.tag: bin_}, key="k", by=stores)
    assert case.readings.count() == 2
    assert case.measures.get().value_um == pytest.approx(26010)
    assert donors_on_bench() == []
    # In a bin it can still be measured; once it is scrapped nothing more is read of it.
    assert read(held, technician, "DIAMETER", "25.985 mm").status == "recorded"
    assert judgement_of(held).of_check("MATE")[0].state == "within"
    Piece.objects.filter(pk=shaft.pk).update(state="scrapped")
    refused = read(held, technician, "DIAMETER", "25.986 mm")
    assert (refused.status, refused.field) == ("refused", "piece")
    assert "scrapped" in refused.problem


def test_a_donor_turns_out_to_be_the_other_variant(held: Examination, donor: Donor, cast: Cast) -> None:
    remote = Variant.objects.get(code="RC")
    cover = tag_of("COVER")
    with pytest.raises(Refusal):
        change_donor_variant(donor=donor, variant=remote, why=" ", by=cast.actor("stores"))
    change_donor_variant(donor=donor, variant=remote, why="It has the cover.", by=cast.actor("stores"))
    held.refresh_from_db()
    judgement = judgement_of(held)
    assert judgement.variant == "RC"
    assert judgement.of_check("BORE")[0].state == "within"
    assert cover not in judgement.verdict
    assert Piece.objects.get(position__code="LID").from_unit_id == donor.unit_id
    shares = {one.tag: 1 for one in Piece.objects.filter(missing=False)}
    share_cost(donor=donor, shares=shares, by=cast.actor("stores"))
    with pytest.raises(Conflict, match="shared"):
        change_donor_variant(
            donor=donor, variant=Variant.objects.get(code="FC"), why="No.", by=cast.actor("stores")
        )


def test_a_donor_takes_up_a_newer_revision(held: Examination, cast: Cast) -> None:
    publish_guide(text=BOTH.replace("[26.000, 26.021]", "[26.000, 26.009]"), by=PROGRAM)
    adopt_revision(examination=held, number=2, by=cast.actor("lead"))
    held.refresh_from_db()
    assert judgement_of(held).of_check("BORE")[0].state != "within"


# --- pages


@pytest.mark.parametrize(
    ("who", "stores", "bench"),
    [
        ("front_desk", 200, 200),
        ("technician", 200, 200),
        ("lead", 200, 200),
        ("stores", 200, 200),
        ("manager", 200, 200),
        ("owner", 200, 200),
        ("supplier", 404, 404),
        ("stranger", 403, 403),
    ],
)
def test_who_may_look(
    who: str, stores: int, bench: int, held: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(getattr(cast, who))
    assert client.get(STORES).status_code == stores
    assert client.get(f"{STORES}1").status_code == stores
    assert client.get(BENCH).status_code == bench
    assert client.get(f"{BENCH}/CASE").status_code == bench


@pytest.mark.parametrize(
    ("who", "buys", "strips", "reads"),
    [
        ("front_desk", 403, 403, 403),
        ("technician", 403, 302, 302),
        ("stores", 422, 302, 403),
        ("manager", 422, 302, 403),
        ("owner", 422, 302, 302),
        ("supplier", 404, 404, 404),
        ("stranger", 403, 403, 403),
    ],
)
def test_who_may_do_what(
    who: str, buys: int, strips: int, reads: int, donor: Donor, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(getattr(cast, who))
    assert client.post(STORES, {}).status_code == buys
    assert client.post(BENCH, {"deed": "strip"}).status_code == strips
    strip_donor(donor=donor, by=PROGRAM)
    sent = {
        "deed": "record",
        "id": str(uuid4()),
        "check": "LOOK",
        "piece": tag_of("CASE"),
        "outcome": "sound",
    }
    assert client.post(f"{BENCH}/CASE", sent).status_code == reads
    assert client.post(f"{STORES}1", {"deed": "share"}).status_code == (buys if buys != 422 else 422)


def test_from_buying_to_the_bins(cast: Cast, signed_in: SignedIn) -> None:
    """The whole way as the Stores and a technician walk it."""
    publish_guide(text=SMALL, by=PROGRAM)
    make_gauges()
    bin_ = Bin.objects.create(code="D4")
    stores, technician = signed_in(cast.stores), signed_in(cast.technician)
    variant = Variant.objects.get(code="FC")
    sent = {
        "key": "0b6e8f0a-3d5c-4f5b-9a55-2f5f1f6f0a01",
        "variant": variant.pk,
        "cost": "240.00",
        "bought_of": "A breaker (invented), receipt 7",
    }
    assert stores.post(STORES, sent).headers["Location"] == f"{STORES}1"
    assert stores.post(STORES, sent).headers["Location"] == f"{STORES}1"
    assert Donor.objects.count() == 1
    assert "not stripped yet" in text_of(stores.get(f"{STORES}1"))
    assert "D1" in text_of(technician.get("/bench/"))
    technician.post(BENCH, {"deed": "strip", "missing": ["SEAL"]})
    case, shaft = tag_of("CASE"), tag_of("SHAFT")
    reading = {
        "deed": "record",
        "id": str(uuid4()),
        "check": "BORE",
        "piece": case,
        "gauge": "B1",
        "text": "26.010 mm",
    }
    answer = technician.post(f"{BENCH}/CASE", reading)
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/bench/donors/1/")
    assert Reading.objects.get().value_mm == pytest.approx(26.010)
    page = text_of(technician.get(f"{BENCH}/CASE?check=BORE"))
    assert "26.010 mm" in page
    # Shares, then bins.
    answer = stores.post(f"{STORES}1", {"deed": "share", f"share_{case}": "3", f"share_{shaft}": "many"})
    assert answer.status_code == 422
    page = text_of(answer)
    assert "A share is a whole number" in page
    assert 'value="many"' in page
    assert 'value="3"' in page
    answer = stores.post(f"{STORES}1", {"deed": "share", f"share_{case}": "3", f"share_{shaft}": "1"})
    assert answer.status_code == 302
    answer = stores.post(
        f"{STORES}1", {"deed": "put", "key": "form-key-1", f"bin_{case}": bin_.pk}, follow=True
    )
    assert "1 piece lies in its bin" in text_of(answer)
    line = Movement.objects.get()
    assert (line.kind, line.quantity, line.cost_minor) == ("received", 1, 18000)
    # The piece's page has the readings.
    page = text_of(stores.get(f"/stores/pieces/{case}"))
    for words in ("Readings", "26.010 mm", "Rune Okafor", "B1", "within", "Donor 1"):
        assert words in page


def test_on_the_pieces_page_who_has_still_to_read_is_blind(
    held: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    url = f"/stores/pieces/{tag_of('CASE')}"
    assert "26.010" in text_of(signed_in(cast.technician).get(url)).split("readings-caption")[2]
    page = text_of(signed_in(cast.second_technician).get(url))
    assert "2 readings by others are" in page
    assert "26.010" not in page.split('id="readings-caption"')[1].split("</table>")[0]


def test_the_api_records_readings_of_a_donor(held: Examination, cast: Cast, signed_in: SignedIn) -> None:
    sent = {"readings": [{"id": str(uuid4()), "check": "DIAMETER", "text": "25.985 mm", "gauge": "B1"}]}
    url = f"/api/v1/examinations/{held.pk}/readings"
    answer = signed_in(cast.technician).post(url, json.dumps(sent), content_type="application/json")
    assert answer.json()["results"][0]["status"] == "recorded"
    assert (
        signed_in(cast.stores).post(url, json.dumps(sent), content_type="application/json").status_code == 403
    )


def test_what_is_not_there(donor: Donor, cast: Cast, signed_in: SignedIn) -> None:
    client: Client = signed_in(cast.stores)
    assert client.get(f"{STORES}99").status_code == 404
    assert client.get("/bench/donors/99").status_code == 404
    assert client.get(f"{BENCH}/CASE").status_code == 404
    assert client.post(BENCH, {"deed": "dance"}).status_code == 404
