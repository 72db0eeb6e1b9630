"""Whatever is changed in a guide, the checker answers in words; what it lets pass can be judged."""

import copy
import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.checking import check_document
from inspections.document import GuideIndex, is_sensitive, read
from inspections.guiding.tomltext import toml_of
from inspections.judgement.judging import PieceRecord, ReadingRecord, judge
from tests.inspections.test_judging_stacks import ROLLERS
from tests.inspections.test_judging_trying import TRIED

DOCUMENTS = [tomllib.loads(text) for text in (TRIED, ROLLERS)]
WORDS = ("", "CASE", "SHAFT.D", "oversize", "25 H7/g6", "0.0005L-0.0025L", "in", "try", "3/8-16 UNC", "gap")
plain = (
    st.sampled_from(WORDS)
    | st.booleans()
    | st.integers(-5, 200)
    | st.floats(-1.0, 200.0).map(lambda one: round(one, 4))
)
inner_keys = st.sampled_from(["feature", "factor", "new", "size", "wear", "zone"])
values = st.recursive(
    plain,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(inner_keys, inner, max_size=3),
    max_leaves=5,
)
KEYS = [
    "code",
    "position",
    "kind",
    "feature",
    "limit",
    "terms",
    "fit",
    "zones",
    "wear",
    "min",
    "max",
    "sizes",
    "places",
    "of",
    "rollers",
    "gap",
    "unit",
    "form",
    "taper",
    "spread",
    "stated",
    "expected",
    "restores",
    "leaves",
    "after",
    "variants",
    "remedies",
    "repeats",
    "designation",
    "chase",
    "reject",
]


@st.composite
def changed(draw: st.DrawFn) -> dict[str, Any]:
    """A guide with up to three of its keys changed, added or taken away."""
    document: dict[str, Any] = copy.deepcopy(draw(st.sampled_from(DOCUMENTS)))
    for _ in range(draw(st.integers(1, 3))):
        table = draw(st.sampled_from(["position", "feature", "check", "defect", "remedy", "step"]))
        row = draw(st.sampled_from(document[table]))
        key = draw(st.sampled_from(sorted({*row, *KEYS})))
        if draw(st.booleans()):
            row[key] = draw(values)
        else:
            row.pop(key, None)
    return document


@settings(max_examples=300, deadline=None)
@given(changed())
def test_the_checker_answers_and_what_it_lets_pass_can_be_judged(document: dict[str, Any]) -> None:
    text = toml_of(document)
    found, problems = check_document(text)
    lines = len(text.splitlines())
    assert all(0 <= one.line <= lines and one.key and one.message for one in problems)
    if any(one.severity == "refused" for one in problems):
        return
    guide = GuideIndex(read(found))
    pieces = [PieceRecord(f"P-{one.code}", one.code) for one in guide.guide.positions]
    readings = [
        ReadingRecord(
            f"R{number}",
            one.code,
            ((f"P-{one.position}", 1),),
            "Ann",
            number,
            value_mm=26.01 if one.takes_quantity else None,
            outcome="" if one.takes_quantity else "sound",
            place=one.places[0] if one.places else "",
            gauge_expanded_um=3.0,
        )
        for number, one in enumerate(guide.guide.checks, 1)
    ]
    for variant in (one.code for one in guide.guide.variants):
        judged = judge(guide, variant, pieces, readings)
        assert {one.check for one in judged.findings} == {one.code for one in guide.checks_of(variant)}
    assert all(isinstance(is_sensitive(guide, one), bool) for one in guide.guide.checks)
