"""Private files and papers: once a key, own mode, no reach outside the program's own files."""

import stat
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.http import HttpRequest
from django.template import engines
from pypdf import PdfReader

from shop import documents, outbox
from shop.access import NotThere
from shop.documents import keep_file, keep_photograph, path_of, render_paper
from shop.models import Document, Ticket
from tests.conftest import Cast
from tests.counter.making import make_box, make_customer, make_ticket, picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def ticket(cast: Cast) -> Ticket:
    return make_ticket(make_box(), make_customer(), cast.actor("front_desk"))


def keep(ticket: Ticket | None, key: str = "one", data: bytes = b"%PDF-x") -> Document:
    return keep_file(
        ticket=ticket,
        kind="tag",
        title="Tag",
        suffix=".pdf",
        content_type="application/pdf",
        data=data,
        key=key,
    )


def test_the_same_key_keeps_one_file(ticket: Ticket, private_files: Path) -> None:
    first, second = keep(ticket), keep(ticket, data=b"%PDF-other")
    assert first.pk == second.pk
    files = [path for path in (private_files / "files").rglob("*") if path.is_file()]
    assert files == [path_of(first)]
    assert files[0].read_bytes() == b"%PDF-x"
    assert stat.S_IMODE(files[0].stat().st_mode) == 0o600
    assert stat.S_IMODE(files[0].parent.stat().st_mode) == 0o700


def test_a_path_never_leads_out_of_the_folder(ticket: Ticket) -> None:
    document = keep(ticket)
    document.path = "../../../etc/passwd"
    with pytest.raises(NotThere):
        path_of(document)


def test_only_known_endings_are_kept() -> None:
    with pytest.raises(ValueError, match="ends in"):
        keep_file(ticket=None, kind="tag", title="", suffix=".html", content_type="", data=b"", key="x")


def test_a_photograph_is_kept_once_a_key(cast: Cast, ticket: Ticket) -> None:
    by = cast.actor("front_desk")
    first = keep_photograph(ticket=ticket, upload=picture(), title="front", key="p", by=by)
    again = keep_photograph(ticket=ticket, upload=picture(), title="front", key="p", by=by)
    assert first.pk == again.pk
    assert first.content_type == "image/jpeg"
    assert path_of(first).read_bytes().startswith(b"\xff\xd8")


HOSTILE = (
    '<img src="file:///etc/passwd"><img src="http://127.0.0.1:9/a.png"><link rel=stylesheet href=http://x/>'
    "<style>@import 'http://x/'; body { background: url(http://x/) }</style><object data=file:///etc/passwd>"
    "</object><a rel=attachment href='file:///etc/passwd'>x</a><svg><image href='http://x/'/></svg>"
)


def watch_fetches(monkeypatch: pytest.MonkeyPatch) -> tuple[list[str], list[str]]:
    """Addresses that were asked for, and those that were let through."""
    from weasyprint.urls import URLFetcher

    asked: list[str] = []
    through: list[str] = []
    own = documents._own_files_only()
    real_fetch = URLFetcher.fetch

    def let(self: Any, url: str, headers: Any = None) -> Any:
        through.append(url)
        return real_fetch(self, url, headers)

    ask = type(own).fetch

    def note(self: Any, url: str, headers: Any = None) -> Any:
        asked.append(url)
        return ask(self, url, headers)

    monkeypatch.setattr(URLFetcher, "fetch", let)
    monkeypatch.setattr(type(own), "fetch", note)
    monkeypatch.setattr(documents, "_own_files_only", lambda _pictures: own)
    return asked, through


def test_hostile_words_are_shown_as_text_and_fetch_nothing(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, through = watch_fetches(monkeypatch)
    make_ticket(
        make_box(), make_customer(name=HOSTILE[:110]), cast.actor("front_desk"), vehicle=HOSTILE[:120]
    )
    assert outbox.run_due() == 1
    tag = Document.objects.get(kind="tag")
    data = path_of(tag).read_bytes()
    text = "".join(PdfReader(BytesIO(data)).pages[0].extract_text().split())
    assert '<imgsrc="file:///etc/passwd">' in text
    assert b"EmbeddedFile" not in data
    assert all(url.startswith(documents.OWN_FILES.as_uri()) for url in asked)
    assert asked == through != []


def test_even_unescaped_addresses_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second wall: should a template ever forget to escape, the fetcher still gives nothing out."""
    asked, through = watch_fetches(monkeypatch)
    page = tmp_path / "loose.html"
    page.write_text('{% extends "shop/paper_base.html" %}{% block content %}{{ words|safe }}{% endblock %}')
    engine = engines["django"]
    loose = engine.from_string(page.read_text())
    monkeypatch.setattr(
        documents, "render_to_string", lambda _name, context: loose.render(context, HttpRequest())
    )
    data = render_paper("loose", {"words": HOSTILE + "<img src='../../../etc/passwd'>"})
    refused = set(asked) - set(through)
    assert any(url.startswith("http://") for url in refused)
    assert any(url.startswith("file:///etc") for url in refused)
    assert all(url.startswith(documents.OWN_FILES.as_uri()) for url in through)
    assert b"root:" not in data


def test_a_paper_says_its_title_and_language(cast: Cast) -> None:
    make_ticket(make_box(), make_customer(), cast.actor("front_desk"))
    outbox.run_due()
    reader = PdfReader(path_of(Document.objects.get(kind="tag")))
    assert reader.metadata is not None
    assert reader.metadata.title == "Tag of ticket 2401"
    root: Any = reader.trailer["/Root"]
    assert root["/Lang"] == "en-GB"
