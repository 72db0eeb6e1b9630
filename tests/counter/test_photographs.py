"""Photographs: bounded before decoding, rewritten without what was hidden in them, upright."""

from io import BytesIO
from typing import Any

import pillow_heif
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from shop.photographs import LONGEST_SIDE, rewrite_photograph
from shop.refusals import Refusal
from tests.counter.making import picture, picture_bytes


def opened(data: bytes) -> Image.Image:
    return Image.open(BytesIO(data))


def test_nothing_but_pixels_is_kept() -> None:
    """Exif 2.32: 0x0112 orientation, 0x8825 the place where it was taken, 0x010F the maker."""
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x010F] = "Hidden maker"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    data = rewrite_photograph(picture(exif=exif, comment=b"hidden words", size=(60, 40)))
    assert b"Hidden" not in data
    assert b"hidden" not in data
    kept = opened(data)
    assert kept.format == "JPEG"
    assert not kept.getexif()
    assert kept.size == (40, 60)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_become_jpeg(kind: str) -> None:
    assert opened(rewrite_photograph(picture(f"x.{kind}", kind=kind))).format == "JPEG"


def test_a_heic_photograph_becomes_jpeg() -> None:
    out = BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (64, 48), "navy")).save(out)
    kept = opened(rewrite_photograph(SimpleUploadedFile("shot.heic", out.getvalue())))
    assert (kept.format, kept.size) == ("JPEG", (64, 48))


def test_what_was_clear_becomes_white() -> None:
    out = BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(out, "PNG")
    kept = opened(rewrite_photograph(SimpleUploadedFile("clear.png", out.getvalue())))
    assert kept.getpixel((4, 4)) == (255, 255, 255)


def test_it_is_made_smaller_than_the_longest_side() -> None:
    kept = opened(rewrite_photograph(picture(kind="PNG", size=(LONGEST_SIDE + 600, 10))))
    assert kept.size[0] == LONGEST_SIDE


def test_too_many_pixels_are_refused_before_they_are_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A PNG of 100 million pixels is a hundred kilobytes; nothing of it may be unpacked."""
    out = BytesIO()
    Image.new("1", (10_000, 10_000)).save(out, "PNG")

    def never(*_: Any) -> None:
        raise AssertionError("decoded")

    monkeypatch.setattr("shop.photographs._pixels", never)
    with pytest.raises(Refusal, match="at most 60 million"):
        rewrite_photograph(SimpleUploadedFile("large.png", out.getvalue()))


def test_too_many_bytes_are_refused(settings: Any) -> None:
    settings.PHOTOGRAPH_MAX_BYTES = 1024 * 1024
    with pytest.raises(Refusal, match="larger than 1 MB"):
        rewrite_photograph(SimpleUploadedFile("x.jpg", b"\xff\xd8" + b"x" * (1024 * 1024)))


@pytest.mark.parametrize(
    "data",
    [b"", b"\xff\xd8\xff\xe0", b"GIF89a" + b"\0" * 40, b"%PDF-1.7", picture_bytes(size=(300, 300))[:200]],
)
def test_what_cannot_be_decoded_is_refused(data: bytes) -> None:
    with pytest.raises(Refusal) as trouble:
        rewrite_photograph(SimpleUploadedFile("odd.jpg", data))
    assert set(trouble.value.errors) == {"photographs"}
    assert "is no picture" in trouble.value.message
