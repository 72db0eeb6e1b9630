"""What an upload must be to become a photograph: a picture that decodes within bounds, written anew.

Only the pixels are kept, as sRGB: position, camera and whatever else was hidden in the file stay behind.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

import pillow_heif
from django.conf import settings
from django.core.files.base import File
from PIL import Image, ImageCms, ImageFile, ImageOps

from shop.refusals import Refusal

pillow_heif.register_heif_opener()
# The library warns at a size of its own; the bound below is asked before anything is decoded.
Image.MAX_IMAGE_PIXELS = None

FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
LONGEST_SIDE = 4000  # pixels: a stamped number can still be read
SMALL_SIDE = 480  # of a thumbnail
QUALITY = 88
MOST_PROFILE_BYTES = 4 * 1024 * 1024  # a printer's profile with tables is about 1 MB
PROFILED = {"RGB", "L", "CMYK"}  # modes that a profile can speak of

NO_PICTURE = "“{name}” is no picture that can be read. Send a JPEG, PNG, WebP or HEIC photograph."


@dataclass(frozen=True, slots=True)
class Picture:
    """A rewritten photograph: the bytes of a JPEG, and its sides in pixels."""

    data: bytes
    width: int
    height: int


def _bounded(name: str, data: bytes, field: str) -> Image.Image:
    try:
        picture: Image.Image = Image.open(BytesIO(data), formats=FORMATS)
    except Exception:  # a decoder that reads hostile bytes may raise anything
        raise Refusal(**{field: NO_PICTURE.format(name=name)}) from None
    width, height = picture.size
    if width * height > settings.PHOTOGRAPH_MAX_PIXELS:
        most = settings.PHOTOGRAPH_MAX_PIXELS // 1_000_000
        raise Refusal(
            **{
                field: f"“{name}” has {width} × {height} pixels; at most {most} million are taken. "
                "Send it smaller."
            }
        )
    return picture


def _in_srgb(picture: Image.Image) -> Image.Image:
    """The picture's colours as sRGB, where it carries a profile that can be read; without one it is sRGB
    already (common practice, no source)."""
    profile = picture.info.get("icc_profile")
    if not isinstance(profile, bytes) or not 0 < len(profile) <= MOST_PROFILE_BYTES:
        return picture
    if picture.mode not in PROFILED:
        return picture
    try:
        changed = ImageCms.profileToProfile(
            picture,
            ImageCms.ImageCmsProfile(BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, OSError, ValueError):  # a damaged profile, or one of another kind of colour
        return picture
    return changed if changed is not None else picture


def _pixels(picture: Image.Image) -> Image.Image:
    """Upright, three channels, white where it was clear, and with nothing but pixels."""
    # WeasyPrint sets this to True for the whole process when it is imported: half a picture would pass.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(picture)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    sheet = Image.new("RGB", upright.size, "white")
    if upright.mode in {"RGBA", "LA", "PA"} or "transparency" in upright.info:
        clear = upright.convert("RGBA")
        opaque = clear.convert("RGB")
        opaque.info["icc_profile"] = upright.info.get("icc_profile")
        sheet.paste(_in_srgb(opaque), mask=clear.getchannel("A"))
        return sheet
    if upright.mode not in PROFILED:
        profile = upright.info.get("icc_profile")
        upright = upright.convert("RGB")
        upright.info["icc_profile"] = profile
    sheet.paste(_in_srgb(upright).convert("RGB"))
    return sheet


def rewrite(upload: File[bytes], field: str = "photographs") -> Picture:
    """The upload as a new JPEG with its sides. Refusal beside ``field`` with what is wrong and what to do."""
    name = (upload.name or "upload")[:60]
    if (upload.size or 0) > settings.PHOTOGRAPH_MAX_BYTES:
        most = settings.PHOTOGRAPH_MAX_BYTES // 1024 // 1024
        raise Refusal(**{field: f"“{name}” is larger than {most} MB. Send it smaller."})
    upload.seek(0)
    picture = _bounded(name, upload.read(), field)
    try:
        sheet = _pixels(picture)
    except Exception:  # cut off or damaged: found out only while decoding
        raise Refusal(**{field: NO_PICTURE.format(name=name)}) from None
    return Picture(_as_jpeg(sheet), *sheet.size)


def rewrite_photograph(upload: File[bytes]) -> bytes:
    """The bytes of a new JPEG. Refusal beside ``photographs`` with what is wrong and what to do."""
    return rewrite(upload).data


def _as_jpeg(sheet: Image.Image) -> bytes:
    out = BytesIO()
    sheet.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


def reduced(data: bytes, longest_px: int) -> bytes:
    """One of the shop's own photographs made smaller, for a list or a paper."""
    with Image.open(BytesIO(data), formats=("JPEG",)) as picture:
        picture.draft("RGB", (longest_px, longest_px))
        small = picture.convert("RGB")
    small.thumbnail((longest_px, longest_px))
    return _as_jpeg(small)


def make_thumbnail(key: str, document: str) -> None:
    """Outbox rule: the small picture of a photograph. Running twice keeps one."""
    from shop.documents import keep_file, path_of
    from shop.models import Document

    row = Document.objects.select_related("ticket").get(pk=document)
    if Document.objects.filter(key=thumbnail_key(str(row.pk))).exists():
        return
    keep_file(
        ticket=row.ticket,
        kind=row.kind.replace("photograph", "thumbnail"),
        title=row.title,
        suffix=".jpg",
        content_type="image/jpeg",
        data=reduced(path_of(row).read_bytes(), SMALL_SIDE),
        key=thumbnail_key(str(row.pk)),
    )


def thumbnail_key(document: str) -> str:
    return f"thumbnail:{document}"
