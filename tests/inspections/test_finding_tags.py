"""Scanned tags lead to their ticket, piece, bin or part; the worker's door; kept pages carry every check."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from inspections.donors.stripping import strip_donor
from inspections.models import Examination
from inventory.donors import buy_donor
from inventory.models import Bin, Part, Piece
from shop.tags import address_of
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import open_ticket, read, strip_unit, tag_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


def to(client: Client, tag: str) -> str:
    answer = client.get("/find", {"tag": tag})
    return str(answer.headers.get("Location", answer.status_code))


def test_a_tickets_tag_opens_what_the_person_works_on(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    assert bench.ticket is not None
    technician, desk = signed_in(cast.technician), signed_in(cast.front_desk)
    for tag in (address_of(bench.ticket), "2401", "T2401", "t-2401", " 2401 ", "ticket 2401"):
        assert to(technician, tag) == "/bench/2401", tag
        assert to(desk, tag) == "/counter/tickets/2401", tag
    open_ticket(2402)  # not stripped: its papers
    assert to(technician, "2402") == "/counter/tickets/2402"


def test_another_hosts_address_is_read_for_its_number_only(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(cast.technician)
    assert to(client, "https://elsewhere.example/counter/tickets/2401") == "/bench/2401"
    # A scanner set for another keyboard types other signs.
    assert to(client, "httpÖ--localhostÖ8765-counter-tickets-2401") == "/bench/2401"
    for tag in ("https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)", "/office/"):
        assert client.get("/find", {"tag": tag}).status_code == 404, tag


def test_a_piece_is_opened_where_it_lies(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    tag = tag_in(bench, "CASE")
    number = tag.removeprefix("P-")
    for said in (tag, tag.lower(), f"p {number}", f"P{number}"):
        assert to(signed_in(cast.technician), said) == f"/bench/2401/CASE?piece={tag}", said
    assert to(signed_in(cast.stores), tag) == f"/stores/pieces/{tag}"
    shelf = Bin.objects.create(code="C4")
    Piece.objects.filter(tag=tag).update(state="bin", bin=shelf)
    assert to(signed_in(cast.technician), tag) == f"/stores/pieces/{tag}"


def test_a_donor_and_its_piece(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    assert bench.ticket is not None
    donor = buy_donor(
        family=bench.ticket.family,
        variant=bench.ticket.variant,
        cost_minor=9000,
        bought_of="an invented dealer",
        by=cast.actor("stores"),
    )
    strip_donor(donor=donor, by=cast.actor("stores"))
    tag = Piece.objects.get(from_unit=donor.unit, position__code="CASE").tag
    client = signed_in(cast.technician)
    assert to(client, f"D{donor.number}") == f"/bench/donors/{donor.number}"
    assert to(client, tag) == f"/bench/donors/{donor.number}/CASE?piece={tag}"


def test_a_bin_and_a_part(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    Bin.objects.create(code="C4 top")
    Part.objects.create(number="TW-215", search_key="TW215", name="Thrust washer")
    assert to(signed_in(cast.stores), "c4 TOP") == "/stores/?bin=C4+top"
    assert to(signed_in(cast.stores), "tw-215") == "/stores/parts/TW-215"


@pytest.mark.parametrize("tag", ["P-9999", "99999", "4" * 60, "x" * 500, "<script>", "a\x00b", "%", "²"])
def test_an_unknown_tag_says_so_and_keeps_what_was_typed(
    bench: Examination, cast: Cast, signed_in: SignedIn, tag: str
) -> None:
    answer = signed_in(cast.technician).get("/find", {"tag": tag})
    text = answer.content.decode()
    assert answer.status_code == 404
    assert "Nothing here is tagged" in text
    assert "<script>alert" not in text
    assert "<strong><script>" not in text


def test_without_a_tag_it_asks_for_one(cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.technician).get("/find")
    assert (answer.status_code, b"Scan a tag" in answer.content) == (200, True)


MATRIX = {"supplier": 404, "other_supplier": 404, "stranger": 404, "technician": 302, "stores": 302}


@pytest.mark.parametrize("name", MATRIX)
def test_who_may_find(bench: Examination, cast: Cast, signed_in: SignedIn, name: str) -> None:
    assert signed_in(getattr(cast, name)).get("/find", {"tag": "2401"}).status_code == MATRIX[name]
    assert Client().get("/find", {"tag": "2401"}).headers["Location"].startswith("/sign-in")


def test_every_page_has_the_form_for_those_who_may(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    for path in ("/bench/", "/bench/2401", "/counter/"):
        assert 'id="find-tag"' in signed_in(cast.technician).get(path).content.decode()
    assert 'id="find-tag"' not in Client().get("/sign-in").content.decode()


# the worker and the kept pages


def test_the_worker_stands_at_the_root_with_its_version_and_files(client: Client) -> None:
    answer = client.get("/bench-worker.js")
    text = answer.content.decode()
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert answer.headers["Service-Worker-Allowed"] == "/bench/"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert re.match(r'const VERSION = "[0-9a-f]{12}";', text)
    for name in ("inspections/bench.js", "inspections/outbox.js", "shop/css/tokens.css", "htmx"):
        assert name in text.splitlines()[1], name


def test_a_kept_page_carries_every_check_of_its_position(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(cast.technician)
    kept = client.get("/bench/2401/CASE", {"keep": "1"}).content.decode()
    assert re.findall(r'<template data-check="(\w+)"', kept) == ["ID", "LOOK", "THREAD", "BORE", "WIDTH"]
    assert "<template data-check" not in client.get("/bench/2401/CASE").content.decode()
    assert "csrfmiddlewaretoken" in kept


def test_a_kept_page_is_blind_as_the_page_is(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.0731 mm")

    def kept(user: Any) -> str:
        return str(signed_in(user).get("/bench/2401/CASE", {"keep": "1"}).content.decode())

    assert "26.0731" in kept(cast.technician)
    assert "26.0731" not in kept(cast.second_technician)
