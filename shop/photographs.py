"""What an upload must be to become a photograph: a picture that decodes within bounds, written anew.

Only the pixels are kept: position, camera and whatever else was hidden in the file are left behind.
"""

from __future__ import annotations

from io import BytesIO

import pillow_heif
from django.conf import settings
from django.core.files.base import File
from PIL import Image, ImageOps

from shop.refusals import Refusal

pillow_heif.register_heif_opener()
# The library warns at a size of its own; the bound below is asked before anything is decoded.
Image.MAX_IMAGE_PIXELS = None

FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
LONGEST_SIDE = 4000  # pixels: a stamped number can still be read
QUALITY = 88

NO_PICTURE = "“{name}” is no picture that can be read. Send a JPEG, PNG, WebP or HEIC photograph."


def _bounded(name: str, data: bytes) -> Image.Image:
    try:
        picture: Image.Image = Image.open(BytesIO(data), formats=FORMATS)
    except Exception:  # a decoder that reads hostile bytes may raise anything
        raise Refusal(photographs=NO_PICTURE.format(name=name)) from None
    width, height = picture.size
    if width * height > settings.PHOTOGRAPH_MAX_PIXELS:
        most = settings.PHOTOGRAPH_MAX_PIXELS // 1_000_000
        raise Refusal(
            photographs=f"“{name}” has {width} × {height} pixels; at most {most} million are taken. "
            "Send it smaller."
        )
    return picture


def _pixels(picture: Image.Image) -> Image.Image:
    """Upright, three channels, white where it was clear, and with nothing but pixels."""
    picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(picture)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    sheet = Image.new("RGB", upright.size, "white")
    if upright.mode in {"RGBA", "LA", "PA"} or "transparency" in upright.info:
        clear = upright.convert("RGBA")
        sheet.paste(clear, mask=clear.getchannel("A"))
    else:
        sheet.paste(upright.convert("RGB"))
    return sheet


def rewrite_photograph(upload: File[bytes]) -> bytes:
    """The bytes of a new JPEG. Refusal beside ``photographs`` with what is wrong and what to do."""
    name = (upload.name or "upload")[:60]
    if upload.size > settings.PHOTOGRAPH_MAX_BYTES:
        most = settings.PHOTOGRAPH_MAX_BYTES // 1024 // 1024
        raise Refusal(photographs=f"“{name}” is larger than {most} MB. Send it smaller.")
    upload.seek(0)
    picture = _bounded(name, upload.read())
    try:
        sheet = _pixels(picture)
    except Exception:  # cut off or damaged: found out only while decoding
        raise Refusal(photographs=NO_PICTURE.format(name=name)) from None
    out = BytesIO()
    sheet.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()
