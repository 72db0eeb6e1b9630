"""How bad is a reject: said and shown beside each defect at the bench."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from django.contrib.staticfiles import finders

from inspections.checking import check_document
from inspections.checking.remedies import PICTURES
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import strip_unit
from tests.inspections.small import SMALL

CRACK = 'name = "lug cracked"'
SHOWN = f'{CRACK}\nreject = "a crack that a penetrant shows"\npicture = "cracked-lug.svg"'


@pytest.mark.django_db
def test_the_bench_says_and_shows_how_bad_is_a_reject(cast: Cast, signed_in: SignedIn) -> None:
    strip_unit(cast.actor("technician"), text=SMALL.replace(CRACK, SHOWN, 1))
    page = signed_in(cast.technician).get("/bench/2401/CASE?check=LOOK").content.decode()
    assert "how bad: a crack that a penetrant shows" in page  # it is reworked, not scrapped
    assert page.count('class="reject"') == 1
    assert "inspections/rejects/cracked-lug" in page


def test_a_picture_that_is_not_there_is_refused_and_those_that_are_named() -> None:
    _, problems = check_document(SMALL.replace(CRACK, SHOWN.replace("cracked-lug", "no-such"), 1))
    (found,) = problems
    assert (found.severity, found.key) == ("refused", "defect CRACK.picture")
    assert "There is no picture no-such.svg. There are: " in found.message
    assert "cracked-lug.svg" in found.message


@pytest.mark.parametrize("name", sorted(file.name for file in PICTURES.iterdir()))
def test_each_picture_is_served_and_says_what_it_shows(name: str) -> None:
    file = finders.find(f"inspections/rejects/{name}")
    assert isinstance(file, str)
    root = ElementTree.parse(file).getroot()
    title = root.findtext("{http://www.w3.org/2000/svg}title")
    assert title
    assert root.find(".//{http://www.w3.org/2000/svg}script") is None
