"""Photographs in sRGB, small ones made by the worker, and pictures handed to a paper."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpRequest
from django.template import engines
from PIL import Image, ImageCms
from pypdf import PdfReader

from shop import documents, outbox
from shop.documents import keep_photograph, path_of, render_paper
from shop.models import Document, Outbox
from shop.photographs import SMALL_SIDE, make_thumbnail, rewrite, rewrite_photograph
from tests.conftest import Cast, SignedIn
from tests.counter.making import make_box, make_customer, make_ticket, picture, picture_bytes


def opened(data: bytes) -> Image.Image:
    return Image.open(BytesIO(data))


def with_profile(mode: str, colour: Any, profile: bytes, kind: str = "PNG") -> SimpleUploadedFile:
    out = BytesIO()
    Image.new(mode, (24, 16), colour).save(out, kind, icc_profile=profile)
    return SimpleUploadedFile(f"x.{kind.lower()}", out.getvalue())


def gamma_18() -> bytes:
    """A display's profile with sRGB's primaries and another tone curve, as the library writes it."""
    made = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    start, curves = made.find(b"para"), 0
    while start != -1:
        # ICC.1:2010, 10.16: a parametric curve's first number, g, is an s15Fixed16 after 12 bytes.
        made[start + 8 : start + 10] = (0).to_bytes(2, "big")  # type 0: Y = X^g
        made[start + 12 : start + 16] = int(1.0 * 65536).to_bytes(4, "big")
        start, curves = made.find(b"para", start + 4), curves + 1
    assert curves > 0
    return bytes(made)


def test_a_profile_is_turned_into_srgb() -> None:
    """Half of full light in a linear space is 188 of 255 in sRGB (IEC 61966-2-1: 1.055 x^(1/2.4) − 0.055)."""
    kept = opened(rewrite_photograph(with_profile("RGB", (128, 128, 128), gamma_18())))
    expected = round(255 * (1.055 * (128 / 255) ** (1 / 2.4) - 0.055))
    value = kept.getpixel((8, 8))
    assert isinstance(value, tuple)
    assert all(abs(one - expected) <= 2 for one in value)
    assert "icc_profile" not in kept.info


def test_a_clear_picture_with_a_profile_is_turned_too() -> None:
    kept = opened(rewrite_photograph(with_profile("RGBA", (128, 128, 128, 255), gamma_18())))
    value = kept.getpixel((8, 8))
    assert isinstance(value, tuple)
    assert 185 <= value[0] <= 191


def test_a_picture_without_a_profile_keeps_its_colours() -> None:
    plain = with_profile("RGB", (128, 128, 128), b"")
    assert opened(rewrite_photograph(plain)).getpixel((8, 8)) == (128, 128, 128)


@pytest.mark.parametrize("profile", [b"\0" * 200, b"acsp" * 60, b"x" * (5 * 1024 * 1024)])
def test_a_damaged_or_huge_profile_is_left_out(profile: bytes) -> None:
    kept = opened(rewrite_photograph(with_profile("RGB", (128, 128, 128), profile, "WEBP")))
    value = kept.getpixel((8, 8))
    assert isinstance(value, tuple)
    assert all(abs(one - 128) <= 3 for one in value)


def test_the_sides_are_told_as_kept() -> None:
    exif = Image.Exif()
    exif[0x0112] = 8
    made = rewrite(picture(size=(60, 40), exif=exif))
    assert (made.width, made.height) == opened(made.data).size == (40, 60)


@pytest.mark.django_db
def test_the_worker_makes_a_small_one_once(cast: Cast) -> None:
    ticket = make_ticket(make_box(), make_customer(), cast.actor("front_desk"))
    large = SimpleUploadedFile("x.jpg", picture_bytes(size=(1200, 900)))
    kept = keep_photograph(ticket=ticket, upload=large, title="front", key="p", by=cast.actor("front_desk"))
    row = Outbox.objects.get(rule="make thumbnail")
    assert row.key == f"thumbnail:{kept.pk}"
    outbox.run_due()
    make_thumbnail(row.key, **row.payload)  # a worker that was killed before the mark runs it again
    small = Document.objects.get(kind="thumbnail")
    assert small.ticket == ticket
    assert opened(path_of(small).read_bytes()).size == (SMALL_SIDE, SMALL_SIDE * 3 // 4)


@pytest.mark.django_db
def test_the_ticket_shows_the_small_one_and_opens_the_whole(cast: Cast, signed_in: SignedIn) -> None:
    ticket = make_ticket(make_box(), make_customer(), cast.actor("front_desk"))
    kept = keep_photograph(
        ticket=ticket, upload=picture(), title="front", key="p", by=cast.actor("front_desk")
    )
    page = signed_in(cast.stores).get(f"/counter/tickets/{ticket.number}").content.decode()
    assert f'src="/counter/documents/{kept.pk}"' in page  # until the worker has made the small one
    outbox.run_due()
    small = Document.objects.get(kind="thumbnail")
    page = signed_in(cast.stores).get(f"/counter/tickets/{ticket.number}").content.decode()
    assert f'src="/counter/documents/{small.pk}"' in page
    assert f'href="/counter/documents/{kept.pk}"' in page
    assert page.count("front") == 1  # the thumbnail is no paper of its own


def test_a_paper_reaches_the_pictures_that_it_was_given_and_no_other(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> None:
    words = '<img src="picture:one"><img src="picture:two"><img src="picture:../../etc/passwd">'
    page = engines["django"].from_string(
        '{% extends "shop/paper_base.html" %}{% block content %}{{ words|safe }}{% endblock %}'
    )
    monkeypatch.setattr(
        documents, "render_to_string", lambda _name, context: page.render(context, HttpRequest())
    )
    data = render_paper("loose", {"words": words}, {"one": picture_bytes(size=(40, 30))})
    images = [one for sheet in PdfReader(BytesIO(data)).pages for one in sheet.images]
    assert [one.image.size for one in images if one.image] == [(40, 30)]
