"""The register of gauges: adding, changing, retiring, chains; and what a reading is taken with."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from threading import Barrier
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from inspections.gauge_models import Gauge, Zeroing
from inspections.gauging.registering import add_gauge, change_gauge, retire_gauge
from inspections.gauging.zeroing import last_zeroings, zero_gauge, zero_lines, zeroings_of
from inspections.models import Examination, Reading
from inspections.readings.findings import examinations, judgement_of
from shop import clock
from shop.access import PROGRAM, Actor, Denied, NotThere
from shop.models import Audit
from shop.refusals import Conflict, Refusal, Stale, Unversioned
from tests.conftest import Cast
from tests.inspections.shop import read, say, strip_unit, tag_in

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)


def make(code: str = "MIC-1", **more: Any) -> Gauge:
    figures: dict[str, Any] = {
        "kind": "micrometer",
        "name": "outside micrometer",
        "expanded_um": 3.0,
        "calibration_um": 1.5,
        "resolution_um": 1.0,
        "by": PROGRAM,
    }
    return add_gauge(code=code, **(figures | more))


@pytest.fixture
def technician(cast: Cast) -> Actor:
    return cast.actor("technician")


@pytest.fixture
def lead(cast: Cast) -> Actor:
    return cast.actor("lead")


@pytest.fixture
def bench(technician: Actor) -> Examination:
    return strip_unit(technician)


# the register


@pytest.mark.parametrize("name", ["lead", "manager", "owner"])
def test_a_lead_and_the_office_keep_the_register(cast: Cast, name: str) -> None:
    made = make(by=cast.actor(name))
    assert (made.measures, made.kind, made.version) == ("outside", "micrometer", 1)
    assert Audit.objects.get(deed="added").thing_id == str(made.pk)
    changed = change_gauge(gauge=made, version=1, by=cast.actor(name), whereabouts="Bench 2")
    assert (changed.whereabouts, changed.version) == ("Bench 2", 2)
    assert retire_gauge(gauge=changed, why="dropped", by=cast.actor(name)).retired_at is not None


@pytest.mark.parametrize("name", ["front_desk", "technician", "stores"])
def test_others_do_not(cast: Cast, name: str) -> None:
    made = make()
    by = cast.actor(name)
    deeds: list[Callable[[], object]] = [
        lambda: make("X", by=by),
        lambda: change_gauge(gauge=made, version=1, by=by, name="mine"),
        lambda: retire_gauge(gauge=made, why="no", by=by),
    ]
    for deed in deeds:
        with pytest.raises(Denied):
            deed()
    with pytest.raises(NotThere):
        make("Y", by=cast.actor("supplier"))


@pytest.mark.parametrize(
    ("figures", "field"),
    [
        ({"code": ""}, "code"),
        ({"code": "a/b"}, "code"),
        ({"code": "x" * 21}, "code"),
        ({"name": " "}, "name"),
        ({"kind": "magic wand"}, "kind"),
        ({"expanded_um": 0.0}, "expanded_um"),
        ({"expanded_um": float("nan")}, "expanded_um"),
        ({"calibration_um": 3.1}, "expanded_um"),
        ({"resolution_um": 0.0}, "expanded_um"),
        ({"measures": "weight"}, "measures"),
        ({"from_mm": 50.0, "to_mm": 25.0}, "to_mm"),
        ({"to_mm": -1.0}, "to_mm"),
        ({"calibrated_on": date(2999, 1, 1)}, "calibrated_on"),
        ({"calibrated_on": date(2026, 3, 1), "due_on": date(2026, 3, 1)}, "due_on"),
        ({"kind": "plug gauge"}, "size_mm"),
        ({"kind": "torque wrench"}, "torque_percent"),
        ({"kind": "chain"}, "first"),
        ({"whereabouts": "x" * 81}, "whereabouts"),
    ],
)
def test_what_cannot_be_is_said_by_field(figures: dict[str, Any], field: str) -> None:
    with pytest.raises(Refusal) as caught:
        make(**figures)
    assert field in caught.value.errors
    assert Gauge.objects.count() == 0


def test_the_same_gauge_twice_is_one_and_another_of_the_code_is_refused() -> None:
    assert make() == make()
    with pytest.raises(Refusal, match="There is another gauge MIC-1"):
        make(expanded_um=4.0)


def test_a_change_names_its_version(lead: Actor) -> None:
    made = make()
    with pytest.raises(Unversioned):
        change_gauge(gauge=made, version=None, by=lead, name="x")
    change_gauge(gauge=made, version=1, by=lead, name="first")
    with pytest.raises(Stale, match="Somebody changed MIC-1"):
        change_gauge(gauge=made, version=1, by=lead, name="second")
    made.refresh_from_db()
    assert made.name == "first"
    with pytest.raises(Refusal, match="cannot be changed"):
        change_gauge(gauge=made, version=2, by=lead, code="OTHER")
    with pytest.raises(Refusal, match="Another instrument takes a code of its own"):
        change_gauge(gauge=made, version=2, by=lead, kind="calliper")


@pytest.mark.django_db(transaction=True)
def test_two_who_change_at_once_make_one_change(cast: Cast) -> None:
    made, by, start = make(), cast.actor("lead"), Barrier(2)

    def change(name: str) -> str:
        try:
            start.wait(timeout=30)
            return change_gauge(gauge=made, version=1, by=by, name=name).name
        except Stale:
            return "stale"
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        said = sorted(pool.map(change, ("one", "two")))
    made.refresh_from_db()
    assert said in [["one", "stale"], ["stale", "two"]]
    assert (made.name in said, made.version) == (True, 2)


def test_a_gauge_out_of_use_is_out_once_and_changed_no_more(lead: Actor, technician: Actor) -> None:
    made = make()
    with pytest.raises(Refusal, match="Say why"):
        retire_gauge(gauge=made, why=" ", by=lead)
    retired = retire_gauge(gauge=made, why="dropped", by=lead)
    assert retire_gauge(gauge=made, why="again", by=lead).retired_at == retired.retired_at
    assert Audit.objects.filter(deed="retired").count() == 1
    with pytest.raises(Conflict):
        change_gauge(gauge=made, version=retired.version, by=lead, name="x")
    with pytest.raises(Conflict):
        zero_gauge(gauge=retired, master="rod", key="k", by=technician)


def test_the_database_itself_refuses_what_cannot_be() -> None:
    made = make()
    for change in ({"expanded_um": 0.0}, {"kind": "chain"}, {"kind": "plug gauge"}, {"first": made}):
        with pytest.raises(DatabaseError), transaction.atomic():
            Gauge.objects.filter(pk=made.pk).update(**change)


# chains


def chain(**more: Any) -> tuple[Gauge, Gauge, Gauge]:
    tel = make(
        "TEL-1", kind="telescopic gauge", expanded_um=4.0, from_mm=12.0, to_mm=60.0, due_on=date(2027, 3, 1)
    )
    mic = make(to_mm=50.0, from_mm=25.0, due_on=date(2027, 1, 1), needs_zeroing=True)
    both = add_gauge(code="TEL-1.MIC-1", name="both", kind="chain", first=tel, second=mic, by=PROGRAM, **more)
    return tel, mic, both


def test_a_chain_takes_its_figures_from_its_two_gauges() -> None:
    """U = √(4² + 3²) = 5 µm and √(1.5² + 1.5²) of the calibration (JCGM 100:2008, 5.1.2)."""
    _, _, both = chain()
    assert both.expanded_um == pytest.approx(5.0)
    assert both.calibration_um == pytest.approx(4.5**0.5)
    assert (both.measures, both.from_mm, both.to_mm) == ("bore", 25.0, 50.0)
    assert (both.due_on, both.resolution_um, both.needs_zeroing) == (date(2027, 1, 1), 1.0, True)


def test_a_chain_follows_its_gauges(lead: Actor) -> None:
    tel, mic, both = chain()
    change_gauge(gauge=tel, version=1, by=lead, expanded_um=12.0, due_on=date(2026, 12, 1))
    both.refresh_from_db()
    assert both.expanded_um == pytest.approx(153.0**0.5)
    assert both.due_on == date(2026, 12, 1)
    with pytest.raises(Refusal, match="figures follow from its two gauges"):
        change_gauge(gauge=both, version=both.version, by=lead, expanded_um=1.0)
    assert change_gauge(gauge=both, version=both.version, by=lead, name="telescopic").name == "telescopic"
    retire_gauge(gauge=mic, why="lost", by=lead)
    both.refresh_from_db()
    assert (both.retired_at is not None, "MIC-1 went out of use: lost" in both.retired_why) == (True, True)


def test_a_chain_that_cannot_be_is_refused(lead: Actor) -> None:
    tel, mic, both = chain()
    plug = make("PLG", kind="plug gauge", size_mm=26.0)
    far = make("FAR", from_mm=70.0, to_mm=90.0)
    for first, second, field in (
        (tel, tel, "second"),
        (tel, plug, "second"),
        (both, mic, "first"),
        (tel, far, "second"),
    ):
        with pytest.raises(Refusal) as caught:
            add_gauge(code="NEW", name="new", kind="chain", first=first, second=second, by=lead)
        assert field in caught.value.errors
    retire_gauge(gauge=tel, why="lost", by=lead)
    with pytest.raises(Refusal, match="TEL-1 is out of use"):
        add_gauge(code="NEW", name="new", kind="chain", first=tel, second=mic, by=lead)


def test_a_chain_that_is_past_due_in_one_gauge_is_past_due(bench: Examination, technician: Actor) -> None:
    tel, _, both = chain()
    assert read(bench, technician, "BORE", "26.010 mm", gauge=both.code).status == "recorded"
    change_gauge(gauge=tel, version=1, by=PROGRAM, due_on=clock.today() - timedelta(days=1))
    refused = read(bench, technician, "BORE", "26.010 mm", gauge=both.code)
    assert (refused.status, refused.field) == ("refused", "gauge")


# what a reading is taken with


def past(code: str = "LATE", **more: Any) -> Gauge:
    return make(code, kind="bore gauge", due_on=clock.today() - timedelta(days=3), **more)


def test_a_gauge_past_due_is_refused_and_others_are_named(bench: Examination, technician: Actor) -> None:
    past()
    for more in ({}, {"override": "it was all I had"}):
        refused = read(bench, technician, "BORE", "26.010 mm", gauge="LATE", **more)
        assert refused.status == "refused"
        assert "was due for calibration on" in refused.problem
        assert "Only a lead may read with it." in refused.problem
    assert refused.field == "override"
    assert Reading.objects.count() == 0


def test_a_lead_overrides_with_a_reason_that_stays(bench: Examination, lead: Actor) -> None:
    past()
    refused = read(bench, lead, "BORE", "26.010 mm", gauge="LATE")
    assert (refused.field, "says why" in refused.problem) == ("override", True)
    assert (
        read(bench, lead, "BORE", "26.010 mm", gauge="LATE", override=" certificate  in the post ").status
        == "recorded"
    )
    row = Reading.objects.get()
    assert (row.overdue_reason, row.as_lead) == ("certificate in the post", True)
    found = judgement_of(examinations().get(pk=bench.pk)).of_check("BORE")[0]
    assert any(
        "LATE was past due when Jonas Prideaux read it: certificate in the post." in one
        for one in found.cautions
    )


def test_a_reason_is_kept_for_a_gauge_past_due_only(bench: Examination, lead: Actor) -> None:
    assert read(bench, lead, "BORE", "26.010 mm", override="just in case").status == "recorded"
    assert Reading.objects.get().overdue_reason == ""
    past()
    long = read(bench, lead, "BORE", "26.010 mm", gauge="LATE", override="x" * 201)
    assert (long.status, long.field) == ("refused", "override")


def test_a_range_has_to_hold_the_limits_and_the_value(bench: Examination, technician: Actor) -> None:
    make("SHORT", kind="bore gauge", from_mm=18.0, to_mm=26.0)
    refused = read(bench, technician, "BORE", "25.999 mm", gauge="SHORT")
    assert (
        refused.field,
        "SHORT reads 18 to 26 mm: its range does not hold the limits" in refused.problem,
    ) == ("gauge", True)
    assert "Fine enough: B1" in refused.problem
    make("JUST", kind="bore gauge", from_mm=26.0, to_mm=26.1)
    beyond = read(bench, technician, "BORE", "26.2 mm", gauge="JUST")
    assert (beyond.field, "cannot have shown 26.200 mm" in beyond.problem) == ("text", True)


def test_an_unsuitable_gauge_is_advised_against_and_recorded(bench: Examination, technician: Actor) -> None:
    fine = read(bench, technician, "BORE", "26.010 mm")
    assert (fine.status, fine.warning) == ("recorded", "")
    coarse = read(bench, technician, "BORE", "26.011 mm", gauge="T2")
    assert coarse.status == "recorded"
    assert coarse.warning.startswith(
        "T2 is not advised here: ± 12 µm is more than a quarter of the zone, 21 µm."
    )


def test_a_plug_says_goes_or_does_not_go(bench: Examination, technician: Actor) -> None:
    make("GO", kind="plug gauge", size_mm=26.002, expanded_um=0.8, calibration_um=0.8, resolution_um=0.0)
    make("NOTGO", kind="plug gauge", size_mm=26.019, expanded_um=0.8, calibration_um=0.8, resolution_um=0.0)
    sized = read(bench, technician, "BORE", "26.010 mm", gauge="GO")
    assert (sized.status, sized.field) == ("refused", "text")
    words = read(bench, technician, "BORE", "goes")
    assert (words.status, "said of plug and ring gauges" in words.problem) == ("refused", True)
    assert read(bench, technician, "BORE", " Goes. ", gauge="GO").status == "recorded"
    assert read(bench, technician, "BORE", "no go", gauge="NOTGO").status == "recorded"
    assert list(Reading.objects.values_list("text", "outcome", "value_mm", "gauge_size_mm")) == [
        (" Goes. ", "goes", None, 26.002),
        ("no go", "does not go", None, 26.019),
    ]
    found = judgement_of(examinations().get(pk=bench.pk)).of_check("BORE")[0]
    assert (found.state, found.value_mm) == ("within", None)


def test_a_reading_keeps_the_figures_of_its_day(bench: Examination, technician: Actor, lead: Actor) -> None:
    read(bench, technician, "BORE", "26.0185 mm")
    before = judgement_of(examinations().get(pk=bench.pk)).of_check("BORE")[0]
    gauge = Gauge.objects.get(code="B1")
    change_gauge(gauge=gauge, version=1, by=lead, expanded_um=30.0, calibration_um=10.0)
    after = judgement_of(examinations().get(pk=bench.pk)).of_check("BORE")[0]
    assert (after.state, after.expanded_um) == (before.state, before.expanded_um)
    row = Reading.objects.get()
    assert (row.gauge_expanded_um, row.gauge_calibration_um) == (3.0, 2.0)


def test_a_close_value_names_no_gauge_that_may_not_be_used(bench: Examination, technician: Actor) -> None:
    make(
        "LATE",
        kind="bore gauge",
        expanded_um=0.5,
        calibration_um=0.2,
        due_on=clock.today() - timedelta(days=1),
    )
    make("SHORT", kind="bore gauge", expanded_um=0.5, calibration_um=0.2, to_mm=20.0)
    read(bench, technician, "BORE", "26.0190 mm", gauge="T2")
    found = judgement_of(examinations().get(pk=bench.pk)).of_check("BORE")[0]
    assert found.state == "too close to call"
    assert "LATE" not in found.words
    assert "SHORT" not in found.words
    assert "B1" not in found.words  # guarded, ± 3 µm takes 26.021 − 1.645 × 0.0015 = 26.0185 at most
    make("GOOD", kind="bore gauge", expanded_um=0.9, calibration_um=0.5)
    found = judgement_of(examinations().get(pk=bench.pk)).of_check("BORE")[0]
    assert "GOOD" in found.words


# zeroing


def test_zeroing_is_written_down_and_readings_name_it(bench: Examination, technician: Actor) -> None:
    ring = make("RNG-26", kind="setting master", size_mm=26.0, resolution_um=0.0)
    gauge = Gauge.objects.get(code="B1")
    read(bench, technician, "BORE", "26.010 mm")
    made = zero_gauge(gauge=gauge, master="RNG-26", off="0.5 µm", key="a", by=technician)
    assert (made.master, made.master_told) == (ring, "RNG-26")
    assert made.off_um == pytest.approx(0.5)
    assert zero_gauge(gauge=gauge, master="RNG-26", off="0.5 µm", key="a", by=technician) == made
    read(bench, technician, "BORE", "26.011 mm")
    assert [one.zeroing for one in Reading.objects.order_by("sequence")] == [None, made]
    assert Audit.objects.filter(deed="zeroed").count() == 1


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"master": " "}, "master"),
        ({"master": "MIC-1"}, "master"),
        ({"master": "LATE"}, "master"),
        ({"master": "x" * 81}, "master"),
        ({"off": "two"}, "off"),
        ({"off": "2 mm"}, "off"),
        ({"note": "x" * 201}, "note"),
        ({"key": ""}, "key"),
    ],
)
def test_a_zeroing_that_cannot_be_is_said_by_field(
    technician: Actor, said: dict[str, str], field: str
) -> None:
    gauge = make("BOR", kind="bore gauge")
    make()
    make("LATE", kind="setting master", size_mm=25.0, due_on=clock.today() - timedelta(days=1))
    whole = {"master": "a block", "key": "k", "off": "", "note": ""} | said
    with pytest.raises(Refusal) as caught:
        zero_gauge(
            gauge=gauge,
            by=technician,
            master=whole["master"],
            key=whole["key"],
            off=whole["off"],
            note=whole["note"],
        )
    assert field in caught.value.errors
    assert Zeroing.objects.count() == 0


def test_who_takes_no_readings_zeroes_nothing(cast: Cast) -> None:
    with pytest.raises(Denied):
        zero_gauge(gauge=make(), master="rod", key="k", by=cast.actor("stores"))


def test_a_zero_older_than_a_shift_is_said_quietly(bench: Examination, technician: Actor) -> None:
    gauge = make("BOR", kind="bore gauge", needs_zeroing=True)
    never = read(bench, technician, "BORE", "26.010 mm", gauge="BOR")
    assert (never.status, "nobody has written down that it was zeroed" in never.warning) == ("recorded", True)
    zero_gauge(gauge=gauge, master="its ring", key="k", by=technician)
    assert read(bench, technician, "BORE", "26.011 mm", gauge="BOR").warning == ""
    [line] = zero_lines([gauge])
    assert (line.stale, line.words.startswith("zeroed on its ring at ")) == (False, True)
    [line] = zero_lines([gauge], at=clock.now() + timedelta(hours=9))
    assert (line.stale, "more than a shift ago" in line.words) == (True, True)


def test_a_chain_goes_by_what_it_is_read_with(technician: Actor) -> None:
    tel, mic, both = chain()
    assert last_zeroings([both]) == {}
    made = zero_gauge(gauge=mic, master="rod", key="a", by=technician)
    assert last_zeroings([tel, both])[both.pk] == made
    later = zero_gauge(gauge=both, master="ring", key="b", by=technician)
    assert last_zeroings([both])[both.pk] == later
    assert zeroings_of(both) == [later, made]


def test_a_zeroing_is_never_edited(technician: Actor) -> None:
    zero_gauge(gauge=make(), master="rod", key="k", by=technician)
    with pytest.raises(DatabaseError), transaction.atomic():
        Zeroing.objects.update(note="no")


def test_what_is_only_taken_back_asks_for_no_gauge(bench: Examination, technician: Actor) -> None:
    read(bench, technician, "BORE", "26.010 mm")
    Gauge.objects.filter(code="B1").update(due_on=clock.today() - timedelta(days=1))
    old = Reading.objects.get()
    done = say(bench, technician, "BORE", "", withdraws=old.pk, reason="wrong bore")
    assert done.status == "recorded"
    assert tag_in(bench, "CASE")
