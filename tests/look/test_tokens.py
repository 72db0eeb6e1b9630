"""The look holds its promises: contrast in both schemes, colours named once, nothing inline, fonts."""

import re
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from tests.look.reading_css import COLOUR, CSS, ROOT, STATIC, blocks, contrast, without_comments

TOKENS = blocks((CSS / "tokens.css").read_text())
PAPER = TOKENS[":root"]
BLUEPRINT = PAPER | TOKENS[':root[data-scheme="blueprint"]']
SCHEMES = {"paper": PAPER, "blueprint": BLUEPRINT}
SCREEN_SHEETS = ("base.css", "forms.css", "ledger.css", "drawing.css", "bench.css")

# WCAG 2.2, success criterion 1.4.3: text at least 4.5 to 1.
TEXT = [
    (ink, ground)
    for ink in ("--ink", "--quiet", "--dye", "--dye-deep")
    for ground in ("--sheet", "--ground", "--field", "--wash")
] + [
    ("--ink", "--metal"),
    ("--dye", "--metal"),
    ("--ink", "--shade"),
    ("--quiet", "--metal"),
    ("--on-dye", "--dye"),
    ("--on-dye", "--dye-deep"),
    ("--oxide", "--sheet"),
    ("--oxide", "--ground"),
]
# 1.4.11: what tells a control or a drawing apart, at least 3 to 1. Hairlines between rows tell nothing.
SHAPES = [("--dye", "--shade"), ("--ink", "--shade"), ("--dye", "--metal"), ("--dye", "--sheet")]


def test_contrast_agrees_with_the_ends_of_the_scale() -> None:
    """WCAG 2.2: from 1 (same colour) to 21 (black on white); #767676 on white is 4.54, from memory."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == pytest.approx(1)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_can_be_read(scheme: str, ink: str, ground: str) -> None:
    assert contrast(SCHEMES[scheme][ink], SCHEMES[scheme][ground]) >= 4.5


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(("shape", "ground"), SHAPES)
def test_shapes_can_be_seen(scheme: str, shape: str, ground: str) -> None:
    assert contrast(SCHEMES[scheme][shape], SCHEMES[scheme][ground]) >= 3


def test_the_device_and_the_person_get_the_same_blueprint() -> None:
    by_device = TOKENS['@media (prefers-color-scheme: dark) :root:not([data-scheme="paper"])']
    assert by_device == TOKENS[':root[data-scheme="blueprint"]']
    colours = {name for name, value in PAPER.items() if COLOUR.match(value)}
    assert set(by_device) == colours


@pytest.mark.parametrize("name", SCREEN_SHEETS)
def test_colours_are_named_in_the_tokens_alone(name: str) -> None:
    text = re.sub(r"url\(#[\w-]+\)", "", without_comments((CSS / name).read_text()))
    assert COLOUR.findall(text) == []


@pytest.mark.parametrize("name", SCREEN_SHEETS)
def test_every_token_used_is_defined(name: str) -> None:
    used = set(re.findall(r"var\((--[\w-]+)", (CSS / name).read_text()))
    assert used
    assert used <= set(PAPER)


def test_oxide_is_for_cautions_only() -> None:
    for name in SCREEN_SHEETS:
        for selector in re.findall(
            r"([^{}]+)\{[^{}]*--oxide[^{}]*\}", without_comments((CSS / name).read_text())
        ):
            assert selector.strip().startswith(".caution")


def test_every_verdict_has_its_hatching_on_screen_and_on_paper() -> None:
    from shop.templatetags.layshaft import AS_FOUND, AS_PLANNED

    patterns = (ROOT / "shop/templates/shop/parts/patterns.html").read_text()
    for name in ("drawing.css", "paper_drawing.css"):
        text = (CSS / name).read_text()
        for key in AS_FOUND:
            assert f".v-{key}" in text
        for key in AS_PLANNED:
            assert f".p-{key}" in text
        for used in re.findall(r"url\(#([\w-]+)\)", text):
            assert f'id="{used}"' in patterns


INLINE = {
    "style attribute": re.compile(r"<[^>]*\sstyle\s*=", re.I),
    "style element": re.compile(r"<style\b", re.I),
    "script without a file": re.compile(r"<script\b(?![^>]*\bsrc=)", re.I),
    "script with a body": re.compile(r"<script\b[^>]*>\s*[^<\s]", re.I),
    "event handler": re.compile(r"<[^>]*\s(?:on[a-z]+|hx-on[\w:-]*)\s*=", re.I),
    "script address": re.compile(r"=\s*[\"']?\s*javascript:", re.I),
}


def inline_in(text: str) -> list[str]:
    plain = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", "", text)  # {% if one == two %} is no attribute
    return [what for what, pattern in INLINE.items() if pattern.search(plain)]


@pytest.mark.parametrize(
    ("sample", "what"),
    [
        ('<p class="a" style="color:red">', "style attribute"),
        ("<style>p{}</style>", "style element"),
        ("<script>go()</script>", "script without a file"),
        ('<script src="a.js">go()</script>', "script with a body"),
        ('<button type="button" onclick="go()">', "event handler"),
        ('<div hx-on:click="go()">', "event handler"),
        ('<a href="javascript:go()">', "script address"),
    ],
)
def test_the_check_for_inline_code_finds_it(sample: str, what: str) -> None:
    assert what in inline_in(sample)


def test_no_template_carries_inline_style_script_or_handler() -> None:
    templates = [path for app in ROOT.glob("*/templates") for path in app.rglob("*.html")]
    assert ROOT / "shop/templates/shop/base.html" in templates
    found = {str(path.relative_to(ROOT)): inline_in(path.read_text()) for path in templates}
    assert {name: what for name, what in found.items() if what} == {}


FONTS = STATIC / "fonts"


def font_files() -> list[Path]:
    named = re.findall(r'url\("\.\./fonts/([^"]+)"\)', (CSS / "fonts.css").read_text())
    return [FONTS / name for name in named]


def test_every_font_is_carried_named_and_licensed() -> None:
    files = font_files()
    assert sorted(files) == sorted(FONTS.glob("*.woff2"))
    licences = {path.stem.removeprefix("OFL-"): path.read_text() for path in FONTS.glob("OFL-*.txt")}
    for file in files:
        assert file.read_bytes()[:4] == b"wOF2"
        family = [name for name in licences if file.name.startswith(name)]
        assert len(family) == 1, file.name
        assert "SIL OPEN FONT LICENSE Version 1.1" in licences[family[0]]


def test_the_fonts_hold_every_sign_of_the_working() -> None:
    """A sign that no carried font has would be an empty box in a PDF on a bare machine."""
    text = {sign for file in font_files() if "barlow" not in file.name for sign in TTFont(file).getBestCmap()}
    head = {
        sign for file in font_files() if "atkinson" not in file.name for sign in TTFont(file).getBestCmap()
    }
    signs = "0123456789 ,./+-−±×÷·°µμΦΔσπ≤≥≠≈√∑→←⌀½¼¾′″€£–—…äéßøłžőč"
    assert [sign for sign in signs if ord(sign) not in text] == []
    assert [sign for sign in signs if ord(sign) not in head] == []


def test_both_families_have_tabular_figures() -> None:
    for file in FONTS.glob("*-latin-[0-9]*.woff2"):
        features = {record.FeatureTag for record in TTFont(file)["GSUB"].table.FeatureList.FeatureRecord}
        assert "tnum" in features
