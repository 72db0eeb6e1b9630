"""The checker of guides: published repair standards, and every way in which a document can be wrong."""

import tomllib

import pytest

from inspections.document import GuideIndex, read
from inspections.guiding.guides import Problem, check_document
from tests.inspections.published import (
    BUSH,
    CUP,
    IDLER,
    MISPRINTED,
    ROWS,
    SHIFTER,
    Row,
    as_toml,
    mm,
)
from tests.inspections.small import HEAD, SMALL, Bench


def problems(text: str) -> list[Problem]:
    return check_document(text)[1]


def told(text: str, key: str) -> Problem:
    """The one problem with this key."""
    (found,) = [row for row in problems(text) if row.key == key]
    return found


def test_the_small_guide_is_without_problems() -> None:
    document, found = check_document(SMALL)
    assert found == []
    assert document["guide"]["family"] == "X1"


# TM 9-2520-246-34 (US Army, May 1978), tables 4-6 and 5-1: the fit of new parts follows from their sizes.
@pytest.mark.parametrize("row", [row for row in ROWS if row is not MISPRINTED], ids=lambda row: row.code)
def test_the_fit_of_new_parts_follows_from_their_sizes(row: Row) -> None:
    assert problems(HEAD + as_toml((row,))) == []


def test_the_misprinted_row_and_only_it_is_found() -> None:
    (found,) = problems(HEAD + as_toml(ROWS))
    assert (found.severity, found.key) == ("warning", "check MT-CASE-PLUG.fit")
    # 1.2496 − 1.2540 = −0.0044 in = −0.1118 mm, printed 0.0024T = −0.0610 mm
    assert "-0.0610 mm" in found.message
    assert "-0.1118 mm" in found.message


def bench(row: Row, hole_mm: float, shaft_mm: float) -> Bench:
    made = Bench(HEAD + as_toml((row,)))
    made.read(f"ME-{row.code}-H", hole_mm)
    made.read(f"ME-{row.code}-S", shaft_mm, pieces=(("P2", 1),))
    return made


HAIR = 0.0001  # mm


# The wear limit is the last size that may be used again (table 4-6, cover bore and shifter shaft).
@pytest.mark.parametrize(
    ("hole_mm", "shaft_mm", "hole", "shaft"),
    [
        (mm(1.0020), mm(0.9955), "within", "within"),
        (mm(1.0020) + HAIR, mm(0.9955), "outside", "within"),
        (mm(1.0005), mm(0.9941), "within", "within"),
        (mm(1.0005), mm(0.9941) - HAIR, "within", "outside"),
    ],
)
def test_a_part_at_its_wear_limit_is_within_and_a_hair_beyond_outside(
    hole_mm: float, shaft_mm: float, hole: str, shaft: str
) -> None:
    judged = bench(SHIFTER, hole_mm, shaft_mm).judge()
    assert judged.finding["ME-COVER-SHIFTER-H", "P1"].state == hole
    assert judged.finding["ME-COVER-SHIFTER-S", "P2"].state == shaft


@pytest.mark.parametrize(
    ("hole_in", "shaft_in", "state"),
    [
        (1.0020, 0.9950, "within"),  # 0.0070, at the limit of the fit
        (1.0020, 0.9949, "outside"),  # 0.0071, though both parts are within by themselves
    ],
)
def test_the_wear_limit_of_a_fit_stands_by_itself(hole_in: float, shaft_in: float, state: str) -> None:
    judged = bench(SHIFTER, mm(hole_in), mm(shaft_in)).judge()
    assert judged.finding["ME-COVER-SHIFTER-H", "P1"].state == "within"
    assert judged.finding["ME-COVER-SHIFTER-S", "P2"].state == "within"
    assert judged.finding["MT-COVER-SHIFTER", "P2"].state == state


@pytest.mark.parametrize(
    ("row", "hole_in", "shaft_in", "state"),
    [
        (CUP, 4.4375, 4.4375, "within"),  # worn bore, tightness all gone: limit printed 0.000T
        (CUP, 4.4375, 4.4374, "outside"),
        (IDLER, 2.0005, 2.0005, "within"),
        (BUSH, 1.2520, 1.2480, "within"),  # 0.0040 L
        (BUSH, 1.2520, 1.2479, "outside"),
    ],
)
def test_interference_and_loose_fits_wear_upwards(
    row: Row, hole_in: float, shaft_in: float, state: str
) -> None:
    judged = bench(row, mm(hole_in), mm(shaft_in)).judge()
    assert judged.finding[f"MT-{row.code}", "P2"].state == state


def replaced(old: str, new: str) -> str:
    assert old in SMALL
    return SMALL.replace(old, new, 1)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('code = "SHAFT"\nnumber = 2', 'code = "CASE"\nnumber = 2', "position CASE.code", "stands already"),
        ("number = 2", "number = 1", "position SHAFT.number", "stands already on line"),
        ('feature = "CASE.W"\n', 'feature = "CASE.V"\n', "check WIDTH.feature", "no feature CASE.V"),
        ('feature = "CASE.W"\n', 'feature = "SHAFT.D"\n', "check WIDTH.feature", "the check is on CASE"),
        ("new = [100.0, 100.1]", "new = [100.1, 100.0]", "feature CASE.W.limit", "upside down"),
        ("wear = 100.3", "wear = 100.05", "feature CASE.W.limit", "inside the new limits"),
        ('size = "oversize", new = [26.100', "new = [26.100", "feature CASE.B.limit", "stands twice"),
        ("fit = [0.007, 0.041]", "fit = [0.041, 0.007]", "check MATE.fit", "upside down"),
        ("minutes = 60\nrestores", "minutes = 60\nrestorse", "remedy FACE.restorse", "did you mean restores"),
        ('restores = ["WIDTH"]', "restores = []", "remedy FACE.restores", "has to restore a check"),
        ('restores = ["WIDTH"]', 'restores = ["BORE"]', "check WIDTH.remedies", "does not restore"),
        ("to = [100.05, 100.25]", "to = [100.05, 100.35]", "remedy FACE.leaves", "not inside the limits"),
        ("to = [100.05", 'size = "odd", to = [100.05', "remedy FACE.leaves", "no size odd"),
        ("minutes = 60", "minutes = 60\nfails = 1.5", "remedy FACE.fails", "chance of failing"),
        ("minutes = 60", "minutes = true", "remedy FACE.minutes", "whole number"),
        ("condemns = true", "", "defect GONE.remedies", "name a remedy"),
        ("condemns = true", "condemns = true\nharmless = true", "defect GONE.condemns", "not harmless"),
        ('check = "LOOK"\nname = "rust"', 'check = "BORE"\nname = "rust"', "defect RUST.check", "of kind"),
        ('kind = "look"', 'kind = "peer"', "check LOOK.kind", "one of: identify"),
        ('kind = "look"', 'kind = "look"\nmin = 1.0', "check LOOK.min", "says nothing"),
        ('designation = "3/8-16 UNC"', "", "check THREAD.designation", "needs designation"),
        ('RC = "X1-102"', 'RX = "X1-102"', "check ID.expected", ""),
        ('{ "*" = "18" }', '{ "*" = "many" }', "check TEETH.expected", "whole number"),
        ('after = ["S1"]', 'after = ["S9"]', "step S2.after", "no step S9"),
        ('after = ["S1"]', 'after = ["S1"]\nfloat_check = "BORE"', "step S2.float_check", "not a stack"),
        ('after = ["S1"]', 'after = ["S1"]\nwashers = ["SEAL"]', "step S2.washers", "float_check"),
        ('explained_by = ["DIAMETER"]', 'explained_by = ["DIAM"]', "complaint NOISY.explained_by", "DIAM"),
        ("factor = -1", "factor = 0", "check MATE.terms", "factor of 0"),
        ("factor = -1", "factor = -1.5", "check MATE.terms", "whole number"),
        ("form = 0.012", "form = nan", "feature CASE.B.form", "a number"),
        ('oil = "none"', "", "guide.oil", "missing"),
        ('code = "LID"', f'code = "{"L" * 21}"', f"position {'L' * 21}.code", "at most 20"),
        ('code = "BORE"', 'code = "bore 1"', "check bore 1.code", "a code of capitals"),
        ('title = "Lugs"', 'title = ""', "check LOOK.title", "1 to 160"),
        ('material = "grey iron"', 'material = "cheese"', "position CASE.material", "not in the table"),
    ],
)
def test_what_is_wrong_is_refused_by_name(old: str, new: str, key: str, words: str) -> None:
    found = [row for row in problems(replaced(old, new)) if row.key == key]
    assert found
    assert {row.severity for row in found} == {"refused"}
    assert any(words in row.message for row in found)


def test_the_line_of_the_key_is_named_and_else_the_entry_s() -> None:
    text = replaced("wear = 100.3", "wear = 100.05")
    lines = text.splitlines()
    found = told(text, "feature CASE.W.limit")
    assert lines[found.line - 1].startswith("limit = [{ new = [100.0, 100.1], wear = 100.05")
    text = replaced('designation = "3/8-16 UNC"\n', "")
    found = told(text, "check THREAD.designation")
    # The header stands one line above the code, and lines are counted from 1.
    assert found.line == text.splitlines().index('code = "THREAD"')


def test_headers_inside_texts_and_comments_are_not_counted() -> None:
    text = replaced('note = "Invented for tests."', 'note = """\n[[check]]\n"""\n# [[check]]')
    text = text.replace('kind = "look"', 'kind = "peer"')
    line = text.splitlines().index('kind = "peer"') + 1
    assert told(text, "check LOOK.kind").line == line


def test_text_that_is_not_toml_names_its_line() -> None:
    document, (found,) = check_document("[guide]\nfamily = \n")
    assert document == {}
    assert (found.severity, found.line) == ("refused", 2)


def test_a_check_on_a_position_that_no_variant_has() -> None:
    text = SMALL + '\n[[check]]\ncode = "LIDS"\nposition = "LID"\nkind = "replaced"\ntitle = "Lid"\n'
    assert problems(text) == []
    text += 'variants = ["FC"]\n'
    assert "No variant has this check" in told(text, "check LIDS.position").message


def test_a_stack_whose_term_no_reading_can_give() -> None:
    text = replaced('title = "Bore"', 'title = "Bore"\nvariants = ["RC"]')
    found = told(text, "check MATE.terms")
    assert found.severity == "refused"
    assert "CASE.B on variant FC" in found.message


def test_a_build_order_in_a_circle_is_spelled_out() -> None:
    text = replaced('positions = ["CASE", "LID"]', 'positions = ["CASE", "LID"]\nafter = ["S2"]')
    assert "S1 → S2 → S1" in told(text, "step S1.after").message


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('positions = ["CASE", "LID"]', 'positions = ["CASE"]', "position LID.code"),
        ('remedies = ["BRAZE"]', "condemns = true", "remedy BRAZE.code"),
        ("fit = [0.007, 0.041]", "fit = [0.007, 0.046]", "check MATE.fit"),
    ],
)
def test_what_may_be_right_is_a_warning(old: str, new: str, key: str) -> None:
    assert told(replaced(old, new), key).severity == "warning"


@pytest.mark.parametrize(
    "text",
    ["", "guide = 3", "position = 4\n[guide]\n", "[[position]]\ncode = []\n[guide]\n", "check = [1]\n"],
)
def test_a_strange_document_is_refused_and_does_not_raise(text: str) -> None:
    assert {row.severity for row in problems(text)} == {"refused"}


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        (
            "form = 0.012\nlimit = [{ new = [26.000, 26.021] }",
            'dimension = "bore"\nform = 0.012\nlimit = [{ new = [26.000, 26.021], wear = 25.98 }',
            "feature CASE.B.limit",
            "standard: A bore wears larger: its wear limit 25.98",
        ),
        (
            'rule = "simple"\nlimit = [\n  { new = [25.980, 25.993], wear = 25.960 }',
            'rule = "simple"\ndimension = "outside"\nlimit = [\n  { new = [25.980, 25.993], wear = 26.010 }',
            "feature SHAFT.D.limit",
            "standard: An outside wears smaller: its wear limit 26.01",
        ),
    ],
)
def test_a_wear_limit_on_the_wrong_side_is_refused(old: str, new: str, key: str, words: str) -> None:
    """Every worn part would be within such a limit (common practice, no source)."""
    found = [row for row in problems(replaced(old, new)) if row.key == key]
    assert [row.severity for row in found] == ["refused"]
    assert words in found[0].message


def test_a_wear_limit_on_the_right_side_is_fine() -> None:
    text = replaced(
        "form = 0.012\nlimit = [{ new = [26.000, 26.021] }",
        'dimension = "bore"\nform = 0.012\nlimit = [{ new = [26.000, 26.021], wear = 26.03 }',
    )
    assert not [row for row in problems(text) if row.key == "feature CASE.B.limit"]


def test_the_head_of_a_guide_says_where_its_figures_are_from() -> None:
    """An entry's own source goes first; nothing is called invented, or a practice, that does not say so."""
    bare = GuideIndex(read(tomllib.loads(SMALL)))
    assert bare.feature["CASE.W"].source == bare.check["WIDTH"].source == "no source stated"
    said = SMALL.replace('oil = "none"', 'oil = "none"\nsource = "shop notes, page 3"')
    own = said.replace('name = "casing width"', 'name = "casing width"\nsource = "own figure"')
    index = GuideIndex(read(tomllib.loads(own)))
    assert index.feature["CASE.W"].source == "own figure"
    assert index.check["WIDTH"].source == "shop notes, page 3"
