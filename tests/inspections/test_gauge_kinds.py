"""How a gauge stands to a check before it is used: kind, range, the guide's bound, due date, a quarter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import pytest

from inspections.document import DIMENSIONS
from inspections.gauge_models import KINDS
from inspections.gauging.kinds import (
    USUALLY,
    Asks,
    asks_of,
    candidates_of,
    kinds_of,
    standing,
    told_range,
    usable,
)
from tests.inspections.small import index

TODAY = date(2026, 11, 25)
BORE = Asks("Bore", "bore", 5.0, 26.000, 26.021)


@dataclass(frozen=True)
class Row:
    """A gauge's row as a test writes it."""

    code: str = "B1"
    name: str = "bore gauge"
    kind: str = "bore gauge"
    expanded_um: float = 3.0
    measures: str = "bore"
    from_mm: float | None = 18.0
    to_mm: float | None = 35.0
    size_mm: float | None = None
    due_on: date | None = date(2027, 1, 1)


def test_a_gauge_that_is_right_in_every_way_is_fine() -> None:
    assert standing(Row(), BORE, TODAY).state == "fine"
    assert standing(Row(), BORE, TODAY).words == ""


@pytest.mark.parametrize(
    ("change", "state", "words"),
    [
        (
            {"measures": "outside"},
            "wrong kind",
            "B1 measures outside; Bore asks for a gauge that measures bore",
        ),
        ({"kind": "torque wrench", "measures": "torque"}, "wrong kind", "it reads no length"),
        ({"kind": "setting master"}, "wrong kind", "it reads no length"),
        ({"from_mm": 26.010}, "out of range", "its range does not hold the limits, 26.000 to 26.021 mm"),
        ({"to_mm": 26.020}, "out of range", "B1 reads 18 to 26.02 mm"),
        ({"expanded_um": 5.1}, "too coarse", "this check asks for ± 5 µm"),
        ({"due_on": date(2026, 11, 24)}, "past due", "was due for calibration on 24 November 2026"),
    ],
)
def test_what_a_gauge_is_refused_for(change: dict[str, object], state: str, words: str) -> None:
    found = standing(replace(Row(), **change), BORE, TODAY)  # type: ignore[arg-type]
    assert (found.state, found.refused) == (state, True)
    assert words in found.words


def test_a_gauge_is_good_on_its_due_day_and_where_nothing_is_stated() -> None:
    assert standing(replace(Row(), due_on=TODAY), BORE, TODAY).state == "fine"
    bare = replace(Row(), due_on=None, from_mm=None, to_mm=None)
    assert standing(bare, BORE, TODAY).state == "fine"
    assert standing(replace(Row(), from_mm=26.000, to_mm=26.021), BORE, TODAY).state == "fine"


def test_more_than_a_quarter_of_the_zone_is_advised_against_and_no_more() -> None:
    """The zone is 21 µm: a quarter of it is 5.25 µm (the share is common practice, no source)."""
    free = replace(BORE, gauge_um=None)
    assert standing(replace(Row(), expanded_um=5.25), free, TODAY).state == "fine"
    found = standing(replace(Row(), expanded_um=5.26), free, TODAY)
    assert (found.state, found.refused) == ("advised against", False)
    assert "more than a quarter of the zone, 21 µm" in found.words


def test_one_limit_has_no_zone_to_take_a_quarter_of() -> None:
    assert (
        standing(replace(Row(), expanded_um=500.0), Asks("Gap", "", None, None, 30.0), TODAY).state == "fine"
    )


@pytest.mark.parametrize(
    ("size", "state"), [(25.5, "fine"), (26.5, "fine"), (25.4, "out of range"), (30, "out of range")]
)
def test_a_plug_far_from_the_limits_shows_nothing(size: float, state: str) -> None:
    plug = replace(Row(), kind="plug gauge", size_mm=size, from_mm=None, to_mm=None)
    assert standing(plug, BORE, TODAY).state == state


def test_the_advised_come_first_and_the_refused_not_at_all() -> None:
    rows = [
        replace(Row(), code="COARSE", expanded_um=4.9),
        replace(Row(), code="LATE", due_on=date(2026, 1, 1), expanded_um=0.5),
        replace(Row(), code="FINE", expanded_um=2.0),
        replace(Row(), code="SHORT", to_mm=25.0),
    ]
    narrow = replace(BORE, lower_mm=26.000, upper_mm=26.016)
    assert [one.code for one in usable(rows, narrow, TODAY)] == ["FINE", "COARSE"]


def test_what_a_check_asks_follows_from_guide_and_size() -> None:
    guide = index()
    asks = asks_of(guide, guide.check["BORE"], "oversize")
    assert (asks.lower_mm, asks.upper_mm) == (26.1, 26.121)
    assert asks.zone_um == pytest.approx(21.0)
    assert asks_of(guide, guide.check["BORE"]).lower_mm == 26.0
    # The zone of a wear limit runs from new size to the limit: 25.960 to 25.993.
    assert asks_of(guide, guide.check["DIAMETER"]).zone_um == pytest.approx(33.0)


def test_gauges_that_may_settle_a_value_are_usable_and_give_a_size() -> None:
    guide = index()
    rows = [
        replace(Row(), code="FINE", measures="any"),
        replace(Row(), code="LATE", measures="any", due_on=date(2026, 11, 1)),
        replace(Row(), code="SHORT", measures="any", to_mm=20.0),
        replace(Row(), code="PLUG", measures="any", kind="plug gauge", size_mm=26.0),
    ]
    found = candidates_of(guide, rows, TODAY)(guide.check["BORE"], "standard")
    assert [(one.code, one.expanded_um) for one in found] == [("FINE", 3.0)]


def test_ranges_in_words() -> None:
    assert told_range(Row()) == "18 to 35 mm"
    assert told_range(replace(Row(), from_mm=0.0)) == "up to 35 mm"
    assert told_range(replace(Row(), to_mm=None)) == "from 18 mm"
    assert told_range(replace(Row(), from_mm=None, to_mm=None)) == ""


def test_every_kind_measures_something_that_guides_ask_for() -> None:
    assert {*USUALLY} <= {*KINDS}
    assert {part for said in USUALLY.values() for part in kinds_of(said)} <= {*DIMENSIONS}
