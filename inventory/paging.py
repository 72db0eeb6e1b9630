"""Lists of the API: a page and the cursor of the next one. A cursor is the last key shown, made opaque."""

from __future__ import annotations

import base64
import binascii
from typing import Annotated

from ninja import Query

from shop.refusals import Refusal

Limit = Annotated[int, Query(ge=1, le=200, description="lines in one answer")]
Cursor = Annotated[str, Query(max_length=200, description="`next` of the page before")]
Text = Annotated[str, Query(max_length=80)]


def make_cursor(kind: str, key: str) -> str:
    return base64.urlsafe_b64encode(f"{kind}\n{key}".encode()).decode().rstrip("=")


def read_cursor(cursor: str, kinds: tuple[str, ...]) -> tuple[str, str]:
    """Kind and key; the first kind and no key for an empty cursor. Refusal for what was never given out."""
    if not cursor:
        return kinds[0], ""
    try:
        kind, _, key = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode().partition("\n")
    except (binascii.Error, ValueError):
        kind, key = "", ""
    if kind not in kinds or not key.isprintable():
        raise Refusal(cursor="Send `next` of the page before, unchanged.")
    return kind, key
