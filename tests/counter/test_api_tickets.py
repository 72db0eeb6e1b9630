"""Tickets through the API: once a key, versions, pages, and problems for whatever cannot be used."""

from typing import Any

import pytest
from django.test import Client

from shop.access import make_token
from shop.models import Customer, Ticket, User
from tests.conftest import Cast
from tests.counter.making import Box, make_box, make_customer, make_ticket

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/tickets"


class Caller:
    """A caller with a token, as a program beside the shop would be."""

    def __init__(self, user: User) -> None:
        self.client = Client(headers={"Authorization": f"Bearer {make_token(user=user, label='test')}"})

    def post(self, body: Any, **headers: str) -> Any:
        return self.client.post(ADDRESS, body, content_type="application/json", headers=headers or None)

    def patch(self, number: int, body: Any, **headers: str) -> Any:
        return self.client.patch(
            f"{ADDRESS}/{number}", body, content_type="application/json", headers=headers or None
        )

    def get(self, path: str = "", **asked: Any) -> Any:
        return self.client.get(f"{ADDRESS}{path}", asked)


@pytest.fixture
def box(db: None) -> Box:
    return make_box()


@pytest.fixture
def desk(cast: Cast) -> Caller:
    return Caller(cast.front_desk)


def body(**other: Any) -> dict[str, Any]:
    return {
        "family": "H4",
        "variant": "FC",
        "customer": {"name": "A. Harrow (invented)", "email": "harrow@example.org"},
        "complaints": ["leaks"],
        "declared_value": "450.00 EUR",
        "examination_fee": "95",
        "agreed_by": "A. Harrow",
        "sources": [{"kind": "box of parts", "words": "layshaft"}],
    } | other


def test_a_ticket_is_opened_and_read(desk: Caller, box: Box) -> None:
    answer = desk.post(body())
    assert answer.status_code == 201
    assert answer.headers["Location"] == "/api/v1/tickets/2401"
    read = desk.get("/2401")
    assert read.json() == answer.json()
    assert read.headers["ETag"] == '"1"'
    said = read.json()
    assert (said["declared_value"], said["examination_fee"]) == ("450.00 EUR", "95.00 EUR")
    assert said["complaints"] == ["leaks"]
    assert [one["kind"] for one in said["sources"]] == ["unit", "box of parts"]
    assert said["customer"]["number"] == Customer.objects.get().pk


def test_the_same_key_is_one_ticket_and_another_body_is_refused(desk: Caller, box: Box) -> None:
    key = {"Idempotency-Key": "a-key-of-the-caller"}
    first, again = desk.post(body(), **key), desk.post(body(), **key)
    assert (again.status_code, again.json()) == (201, first.json())
    assert again.headers["ETag"] == '"1"'
    other = desk.post(body(vehicle="tractor"), **key)
    assert (other.status_code, other.json()["errors"][0]["field"]) == (422, "key")
    assert Ticket.objects.count() == 1


def test_a_refused_call_keeps_no_key(desk: Caller, box: Box) -> None:
    key = {"Idempotency-Key": "a-key-of-the-caller"}
    assert desk.post(body(variant="XX"), **key).status_code == 422
    assert not Customer.objects.exists()
    assert desk.post(body(), **key).status_code == 201


def test_no_customer_is_for_the_shelf_and_a_known_one_goes_by_number(desk: Caller, box: Box) -> None:
    shelf = desk.post(body(customer=None))
    assert shelf.json()["customer"] is None
    known = make_customer()
    assert desk.post(body(customer={"number": known.pk})).json()["customer"]["name"] == known.name
    assert Customer.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"family": "H9"}, "family"),
        ({"variant": "XX"}, "variant"),
        ({"complaints": ["hums"]}, "complaints"),
        ({"customer": {"number": 99}}, "customer"),
        ({"customer": {"name": " "}}, "new_name"),
        ({"declared_value": "12 GBP"}, "declared_value"),
        ({"deposit": "1,000.00"}, "deposit"),
        ({"deposit": "-5"}, "deposit"),
        ({"promised_on": "2001-02-03"}, "promised_on"),
        ({"agreed_by": ""}, "agreed_by"),
        ({"vehicle": "x" * 121}, "said.vehicle"),
        ({"vehicle": "a\x00b"}, "said.vehicle"),
        ({"vehicle": "\ud800"}, "said.vehicle"),
        ({"stage": "tested"}, "said.stage"),
        ({"sources": [{"kind": "lorry", "words": "x"}]}, "said.sources.0.kind"),
        ({"customer": {"number": 10**30}}, "said.customer.number"),
        ({"oil_in": "perhaps"}, "said.oil_in"),
    ],
)
def test_what_cannot_be_used_is_a_problem_with_its_field(
    desk: Caller, box: Box, wrong: dict[str, Any], field: str
) -> None:
    answer = desk.post(body() | wrong)
    assert answer.status_code == 422
    assert answer.headers["Content-Type"] == "application/problem+json"
    fields = [one["field"] for one in answer.json()["errors"]]
    assert field in fields or field.removeprefix("said.") in fields
    assert not Ticket.objects.exists()


@pytest.mark.parametrize("raw", ["", "{", "[]", "null", '"x"', '{"family": NaN}', "\xff"])
def test_a_body_that_is_none_is_never_a_fault_of_ours(desk: Caller, box: Box, raw: str) -> None:
    answer = desk.client.post(ADDRESS, raw.encode("latin-1"), content_type="application/json")
    assert answer.status_code in {400, 422}
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_a_change_names_its_version(desk: Caller, box: Box) -> None:
    """RFC 9110, 13.1.1 and RFC 6585, 3: If-Match, 412 when stale, 428 when missing."""
    desk.post(body())
    missing = desk.patch(2401, {"vehicle": "lorry"})
    assert (missing.status_code, missing.json()["status"]) == (428, 428)
    done = desk.patch(2401, {"vehicle": "lorry"}, **{"If-Match": '"1"'})
    assert (done.status_code, done.json()["vehicle"], done.headers["ETag"]) == (200, "lorry", '"2"')
    assert done.json()["complaint_words"] == ""
    for stale in ('"1"', "2", 'W/"2"', '"x"', "*", f'"{"9" * 40}"'):
        assert desk.patch(2401, {"vehicle": "tractor"}, **{"If-Match": stale}).status_code == 412
    assert desk.patch(2401, {"stage": "tested"}, **{"If-Match": '"2"'}).status_code == 422
    assert desk.get("/2401").json()["vehicle"] == "lorry"


def test_the_list_comes_in_pages(desk: Caller, box: Box) -> None:
    made = [make_ticket(box, None).number for _ in range(5)]
    seen: list[int] = []
    cursor = ""
    for _ in range(10):
        page = desk.get(limit=2, cursor=cursor).json()
        seen += [one["number"] for one in page["items"]]
        if page["next"] is None:
            break
        cursor = page["next"]
    assert seen == made[::-1]
    assert [one["number"] for one in desk.get(stage="received").json()["items"]] == made[::-1]
    assert desk.get(stage="closed").json() == {"items": [], "next": None}
    for asked in ({"limit": 0}, {"limit": 10**40}, {"cursor": "x"}, {"cursor": "9" * 30}, {"stage": "lost"}):
        answer = desk.get(**asked)
        assert (answer.status_code, answer.headers["Content-Type"]) == (422, "application/problem+json")


@pytest.mark.parametrize("number", ["0", "-1", "2401x", "9" * 30, "1.5"])
def test_numbers_that_are_none(desk: Caller, number: str) -> None:
    assert desk.get(f"/{number}").status_code in {404, 422}


def test_who_may(cast: Cast, box: Box) -> None:
    """Strangers and suppliers get 404, colleagues without the right 403, nobody 401."""
    make_ticket(box, None)
    expected = {
        "front_desk": (201, 200, 200, 428),
        "manager": (201, 200, 200, 428),
        "owner": (201, 200, 200, 428),
        "technician": (403, 200, 200, 403),
        "lead": (403, 200, 200, 403),
        "stores": (403, 200, 200, 403),
        "stranger": (403, 403, 403, 403),
        "supplier": (404, 404, 404, 404),
        "other_supplier": (404, 404, 404, 404),
    }
    for name, codes in expected.items():
        caller = Caller(getattr(cast, name))
        answers = (
            caller.post(body()),
            caller.get(),
            caller.get("/2401"),
            caller.patch(2401, {"vehicle": "lorry"}),
        )
        assert tuple(one.status_code for one in answers) == codes, name
    nobody = Client()
    for answer in (nobody.get(ADDRESS), nobody.get(f"{ADDRESS}/2401"), nobody.get(f"{ADDRESS}/9999")):
        assert answer.status_code == 401
    assert nobody.post(ADDRESS, "{}", content_type="application/json").status_code == 401
