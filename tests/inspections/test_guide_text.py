"""A guide's document written as TOML, and what one says otherwise than another.

The writer is held to the reader of Python's own library (tomllib, TOML 1.0).
"""

import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.checking import check_document
from inspections.guiding.differences import differences, number, say
from inspections.guiding.drafts import (
    Unfit,
    entry_of,
    named_by,
    read_upload,
    unfit_values,
    with_entry,
    without_entry,
)
from inspections.guiding.tomltext import toml_of, toml_of_entry
from tests.inspections.small import SMALL

GUIDES = sorted((Path(__file__).parents[2] / "fixtures" / "guides").glob("*.toml"))
KEYS = st.text(min_size=1, max_size=8)
VALUES: Any = st.recursive(
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_every_entry_reads_back_as_it_was(row: dict[str, Any]) -> None:
    assert tomllib.loads(toml_of_entry(row)) == row


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.stem)
def test_the_guides_read_back_as_they_were(path: Path) -> None:
    document = tomllib.loads(path.read_text())
    text = toml_of(document)
    assert tomllib.loads(text) == document
    # In whatever order a database keeps the keys, the text is the same.
    shuffled = {key: document[key] for key in sorted(document)}
    assert toml_of(shuffled) == text


def test_the_checker_finds_the_line_of_an_entry_in_the_written_text() -> None:
    document = tomllib.loads(SMALL)
    document["check"][3]["remedies"] = ["NOWHERE"]
    text = toml_of(document)
    problem = next(one for one in check_document(text)[1] if "NOWHERE" in one.message)
    lines = text.splitlines()
    header = max(n for n in range(problem.line) if lines[n] == "[[check]]")
    assert lines[header + 1] == 'code = "THREAD"'
    assert problem.line - header < 10


# --- differences


def changed(**_: Any) -> dict[str, Any]:
    return deepcopy(tomllib.loads(SMALL))


def test_the_same_document_differs_in_nothing() -> None:
    assert differences(tomllib.loads(SMALL), tomllib.loads(SMALL)) == []


def test_a_limit_is_told_old_and_new_by_size() -> None:
    after = changed()
    after["feature"][0]["limit"][1]["new"] = [26.1, 26.125]
    (one,) = differences(tomllib.loads(SMALL), after)
    assert (one.kind, one.table, one.code, one.name) == ("changed", "feature", "CASE.B", "casing bore")
    (change,) = one.changes
    assert change.what == "limit oversize, new size, mm"
    assert (change.before, change.after) == ("26.1 to 26.121", "26.1 to 26.125")


def test_added_and_removed_entries_and_keys() -> None:
    after = changed()
    after["complaint"].append({"code": "STIFF", "name": "Stiff", "explained_by": ["BORE"]})
    after["defect"] = [row for row in after["defect"] if row["code"] != "RUST"]
    after["check"][4]["gauge_um"] = 4.0
    after["guide"]["oil"] = "SAE 90"
    found = {(one.kind, one.table, one.code): one for one in differences(tomllib.loads(SMALL), after)}
    assert {*found} == {
        ("changed", "guide", ""),
        ("changed", "check", "BORE"),
        ("removed", "defect", "RUST"),
        ("added", "complaint", "STIFF"),
    }
    (change,) = found["changed", "check", "BORE"].changes
    assert (change.what, change.before, change.after) == ("gauge within, µm", "", "4")


def test_an_order_is_a_difference() -> None:
    after = changed()
    after["step"].reverse()
    (one,) = differences(tomllib.loads(SMALL), after)
    assert one.name == "order of the build steps"
    assert (one.changes[0].before, one.changes[0].after) == ("S1, S2", "S2, S1")


def test_two_rows_of_one_feature_are_told_apart() -> None:
    after = changed()
    mate = next(row for row in after["check"] if row["code"] == "MATE")
    mate["terms"].append({"feature": "SHAFT.D", "factor": -2})
    (one,) = differences(tomllib.loads(SMALL), after)
    assert one.changes[0].what == "terms SHAFT.D (2), factor"
    assert one.changes[0].after == "−2"


@pytest.mark.parametrize(
    ("value", "words"),
    [(26.0, "26"), (0.0025, "0.0025"), (-0.025, "−0.025"), (150.2105, "150.2105"), (7, "7")],
)
def test_a_number_keeps_every_digit(value: float, words: str) -> None:
    assert number(value) == words


def test_values_in_words() -> None:
    assert say(True) == "yes"
    assert say(["left", "right"]) == "left, right"
    assert say([26.0, 26.021]) == "26 to 26.021"


# --- changing a document


def test_an_entry_is_put_in_its_place_or_at_the_end() -> None:
    document = tomllib.loads(SMALL)
    changed_ = with_entry(
        document, "remedy", {"code": "FACE", "name": "F", "minutes": 1, "restores": ["WIDTH"]}
    )
    assert [row["code"] for row in changed_["remedy"]] == ["BRAZE", "FACE", "INSERT"]
    assert document["remedy"][1]["minutes"] == 60
    longer = with_entry(document, "bond", {"code": "B", "name": "b", "kind": "must", "positions": ["CASE"]})
    assert entry_of(longer, "bond", "B") is not None
    assert "bond" not in without_entry(longer, "bond", "B")


def test_what_names_an_entry_is_found_wherever_it_stands() -> None:
    document = tomllib.loads(SMALL)
    assert named_by(document, "feature", "CASE.B") == ["check BORE", "check MATE"]
    assert named_by(document, "position", "LID") == ["step S1"]
    assert named_by(document, "remedy", "INSERT") == ["check THREAD", "defect STRIPPED"]
    assert named_by(document, "variant", "RC") == ["position LID"]
    assert named_by(document, "step", "S2") == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[guide", "not TOML"),
        (SMALL.replace('title = "Bore"', "titel = 3"), "title"),
        (SMALL + '\n[[bond]]\ncode = "A"\nname = "a"\nkind = "must"\npositions = []\n' * 2, "stands twice"),
        (SMALL + "\n[drawing]\nmade = 2026-01-01\n", "write 2026-01-01 in quotes"),
        (SMALL + "\n[drawing]\ncentre = inf\n", "no number to measure against"),
    ],
)
def test_a_file_that_cannot_be_edited_is_refused(text: str, words: str) -> None:
    with pytest.raises(Unfit) as refused:
        read_upload(text)
    assert any(words in one.message for one in refused.value.problems)


def test_a_file_that_is_wrong_in_what_it_says_can_be_mended() -> None:
    assert read_upload(SMALL.replace('"INSERT"]', '"NOWHERE"]'))["guide"]["family"] == "X1"


def test_a_null_character_is_found() -> None:
    assert [*unfit_values({"a": ["b\x00"]})] == ["document.a: a null character has no place in a guide."]
