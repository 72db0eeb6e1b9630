"""The papers, rendered for real: carried fonts, numbered sheets, no complaint from the renderer."""

import logging
from io import BytesIO
from typing import Any, cast

import pytest
from django.template.loader import render_to_string
from pypdf import PdfReader

from shop.specimen import specimen_context
from tests.look.reading_css import STATIC


class Listener(logging.Handler):
    """Keeps what it is told."""

    def __init__(self, level: int) -> None:
        super().__init__(level)
        self.heard: list[logging.LogRecord] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.heard.append(record)


@pytest.fixture(scope="module")
def paper() -> PdfReader:
    from weasyprint import HTML

    parts = {name: render_to_string(f"shop/parts/specimen_{name}.html") for name in ("drawing", "limit_bar")}
    html = render_to_string("shop/specimen_paper.html", specimen_context() | parts)
    listener = Listener(logging.WARNING)
    log = logging.getLogger("weasyprint")
    log.addHandler(listener)
    try:
        pdf = HTML(string=html, base_url=f"{STATIC}/").write_pdf()
    finally:
        log.removeHandler(listener)
    assert [record.getMessage() for record in listener.heard] == []
    return PdfReader(BytesIO(pdf))


def test_every_sheet_says_which_of_how_many(paper: PdfReader) -> None:
    for number, page in enumerate(paper.pages[:-1], start=1):
        text = page.extract_text()
        assert f"Sheet {number} of {len(paper.pages)}" in text
        assert "Build sheet, Hexworth H4, floor change" in text
        assert "a competent person come before any figure here" in text


def test_only_the_carried_fonts_are_used(paper: PdfReader) -> None:
    names = {
        str(font.get_object()["/BaseFont"]).split("+")[1]
        for page in paper.pages
        for font in cast(Any, page["/Resources"])["/Font"].values()
    }
    assert names
    for name in names:
        assert name.startswith(("Atkinson-Hyperlegible-Next", "Barlow-Condensed", "Layshaft-Signs"))


def test_the_tag_has_its_own_size(paper: PdfReader) -> None:
    """148 mm by 105 mm, A6 across (ISO 216)."""
    box = paper.pages[-1].mediabox
    assert float(box.width) == pytest.approx(148 / 25.4 * 72, abs=0.1)
    assert float(box.height) == pytest.approx(105 / 25.4 * 72, abs=0.1)
