"""Private files and papers: kept below MEDIA_ROOT under names that the server makes, rendered without reach.

Nothing here is served by its address: a view gives a file out after its ticket's access check.
"""

from __future__ import annotations

import hashlib
import os
import threading
import uuid
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.request import url2pathname

from django.conf import settings
from django.core.files.base import File
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string

from shop import clock, outbox
from shop.access import PROGRAM, Actor, NotThere
from shop.audit import write_line
from shop.models import Document, Ticket
from shop.refusals import Refusal

OWN_FILES = Path(__file__).resolve().parent / "static" / "shop"
SUFFIXES = {".pdf", ".jpg", ".csv", ".svg", ".json", ".txt"}


def path_of(document: Document) -> Path:
    """Where the file lies; :class:`NotThere` for a path that would lead out of the folder."""
    folder = Path(settings.MEDIA_ROOT).resolve()
    path = (folder / document.path).resolve()
    if not path.is_relative_to(folder):
        raise NotThere
    return path


def _write(data: bytes, path: Path) -> None:
    """Write with mode 0600 under a temporary name, then rename: a reader sees the whole file or none."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_name(f".{path.name}.part")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.rename(path)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise


def keep_file(
    *,
    ticket: Ticket | None,
    kind: str,
    title: str,
    suffix: str,
    content_type: str,
    data: bytes,
    key: str,
    by: Actor = PROGRAM,
    at: datetime | None = None,
) -> Document:
    """Keep a file and its row; the same key gives the first one back.

    For rules only, which have checked the right already. ``suffix``: one of SUFFIXES. A transaction that is
    rolled back around this leaves an unreferenced file behind, never a row without its file.
    """
    if suffix not in SUFFIXES:
        raise ValueError(f"no file of the shop ends in {suffix}")
    if first := Document.objects.filter(key=key).first():
        return first
    at = at or clock.now()
    name = uuid.uuid4()
    path = f"{name.hex[:2]}/{name.hex}{suffix}"
    _write(data, Path(settings.MEDIA_ROOT) / path)
    try:
        with transaction.atomic():
            document = Document.objects.create(
                id=name,
                ticket=ticket,
                kind=kind,
                title=title[:120],
                path=path,
                content_type=content_type,
                size=len(data),
                sha256=hashlib.sha256(data).hexdigest(),
                key=key,
                made_at=at,
                made_by=by.key,
            )
            if kind in {"photograph", "bench photograph"}:
                row = {"document": str(name)}
                outbox.put(key=f"thumbnail:{name}", rule="make thumbnail", payload=row, at=at)
            write_line(
                by=by,
                deed="kept",
                thing=document,
                ticket_number=ticket.number if ticket else None,
                at=at,
                kind=kind,
                size=len(data),
            )
    except IntegrityError:
        (Path(settings.MEDIA_ROOT) / path).unlink(missing_ok=True)
        return Document.objects.get(key=key)
    return document


def keep_photograph(
    *,
    ticket: Ticket,
    upload: File[bytes],
    title: str,
    key: str,
    by: Actor = PROGRAM,
    at: datetime | None = None,
) -> Document:
    """Keep an upload as a photograph of the ticket: decoded, rewritten, renamed.

    Refusal beside ``photographs`` for what is no picture or too large.
    """
    from shop.photographs import rewrite_photograph

    by.need("open_tickets")
    if first := Document.objects.filter(key=key).first():
        return first
    data = rewrite_photograph(upload)
    return keep_file(
        ticket=ticket,
        kind="photograph",
        title=title,
        suffix=".jpg",
        content_type="image/jpeg",
        data=data,
        key=key,
        by=by,
        at=at,
    )


PICTURE = "picture:"


def _own_files_only(pictures: Mapping[str, bytes] | None = None) -> Any:
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    given = pictures or {}

    class OwnFilesOnly(URLFetcher):  # type: ignore[misc]
        """Gives the renderer the program's own static files, the photographs that were handed to this one
        paper, and refuses every other address."""

        def __init__(self) -> None:
            super().__init__(allowed_protocols={"file"}, allow_redirects=False)

        def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
            if url.startswith(PICTURE) and (data := given.get(url.removeprefix(PICTURE))) is not None:
                return URLFetcherResponse(url, data, {"Content-Type": "image/jpeg"})
            scheme, _, rest = url.partition(":")
            path = Path(url2pathname(rest.split("?")[0].split("#")[0].removeprefix("//"))).resolve()
            if scheme.lower() != "file" or not path.is_relative_to(OWN_FILES):
                raise ValueError(f"a paper may not fetch {url[:200]}")
            return super().fetch(url, headers)

    return OwnFilesOnly()


_thread = threading.local()


def _fonts() -> Any:
    """The fonts as the renderer unpacks them, once for each thread: half of the work on a short paper."""
    from weasyprint.text.fonts import FontConfiguration

    if not hasattr(_thread, "fonts"):
        _thread.fonts = FontConfiguration()
    return _thread.fonts


def render_paper(
    template: str, context: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """The PDF of a template that extends ``shop/paper_base.html``. Text in ``context`` is escaped.

    Addresses in the template are relative to ``static/shop/``; nothing outside that folder can be reached,
    but ``picture:NAME`` is the JPEG of that name in ``pictures``.
    """
    from weasyprint import HTML

    html = render_to_string(template, dict(context))
    fetcher = _own_files_only(pictures)
    paper = HTML(string=html, base_url=f"{OWN_FILES.as_uri()}/", url_fetcher=fetcher)
    data = paper.write_pdf(font_config=_fonts())
    if not isinstance(data, bytes) or not data.startswith(b"%PDF"):
        raise Refusal("The paper could not be made.")
    return data
