"""Pages of the gauges: who may look and write, what is shown, what stays after an error; nothing unblinds."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.gauge_models import Gauge, Study, StudyReading, Zeroing
from inspections.gauging.registering import add_gauge, change_gauge
from inspections.gauging.studies import next_turn, standing_of
from inspections.models import Examination, Reading
from shop import clock
from shop.access import PROGRAM
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import read, strip_unit, tag_in
from tests.inspections.test_studies import boxes, lay_out, read_through

pytestmark = pytest.mark.django_db
LOOKS = ("front_desk", "technician", "lead", "stores", "manager", "owner")
KEEPS = ("lead", "manager", "owner")
READS = ("technician", "second_technician", "lead", "owner")
MIC = {
    "kind": "micrometer",
    "code": "MIC-9",
    "name": "outside micrometer",
    "measures": ["outside"],
    "from_mm": "0 mm",
    "to_mm": "1 in",
    "resolution_um": "1",
    "expanded_um": "3 µm",
    "calibration_um": "0.0015 mm",
    "needs_zeroing": "on",
    "calibrated_on": "2026-01-05",
    "due_on": "2999-01-05",
    "certificate": "No. 12",
    "whereabouts": "Bench 1",
}


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


def text_of(client: Client, path: str, status: int = 200) -> str:
    answer = client.get(path)
    assert answer.status_code == status, path
    return answer.content.decode()


# who


@pytest.mark.parametrize("path", ["/bench/gauges", "/bench/gauge/B1", "/bench/gauges/studies"])
def test_who_may_look(bench: Examination, cast: Cast, signed_in: SignedIn, path: str) -> None:
    for name in LOOKS:
        assert signed_in(getattr(cast, name)).get(path).status_code == 200, name
    for name in ("supplier", "stranger"):
        assert signed_in(getattr(cast, name)).get(path).status_code in {403, 404}, name
    assert Client().get(path).status_code == 302


@pytest.mark.parametrize(
    "path",
    ["/bench/gauges/add", "/bench/gauge/B1/change", "/bench/gauges/studies/add", "/bench/gauges/bias"],
)
def test_who_may_keep(bench: Examination, cast: Cast, signed_in: SignedIn, path: str) -> None:
    for name in LOOKS:
        wanted = 200 if name in KEEPS else 403
        assert signed_in(getattr(cast, name)).get(path).status_code == wanted, name
    assert signed_in(cast.supplier).get(path).status_code == 404


def test_who_may_zero_and_retire(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    for name in LOOKS:
        body = {"deed": "zero", "master": "rod", "key": str(uuid4())}
        wanted = 302 if name in READS else 403
        assert signed_in(getattr(cast, name)).post("/bench/gauge/B1", body).status_code == wanted, name
    for name in ("technician", "front_desk", "stores"):
        answer = signed_in(getattr(cast, name)).post("/bench/gauge/B1", {"deed": "retire", "why": "x"})
        assert answer.status_code == 403
    assert Gauge.objects.get(code="B1").retired_at is None


def test_what_is_not_there_is_not_found(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.lead)
    for path in ("gauge/NONE", "gauge/NONE/change", "gauges/studies/9", "gauges/studies/9/read"):
        assert client.get(f"/bench/{path}").status_code == 404


# the register


def test_the_register_says_what_is_due(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    assert "No gauge is in the register" in text_of(client, "/bench/gauges")
    for code, days in (("LATE", -2), ("SOON", 12), ("FAR", 200)):
        add_gauge(
            code=code,
            name="bore gauge",
            kind="bore gauge",
            expanded_um=3,
            calibration_um=2,
            resolution_um=1,
            due_on=clock.today() + timedelta(days=days),
            by=PROGRAM,
        )
    text = text_of(client, "/bench/gauges")
    assert "Past due" in text
    assert "in 12 days" in text
    assert "Add a gauge" not in text
    aside = text[text.index("<aside") :]
    assert "LATE" in aside
    assert "SOON" in aside
    assert "FAR" not in aside


def test_a_gauge_is_added_by_a_form_of_its_kind(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.lead)
    assert "Torque wrench" in text_of(client, "/bench/gauges/add")
    assert 'name="torque_percent"' not in text_of(client, "/bench/gauges/add?kind=micrometer")
    answer = client.post("/bench/gauges/add", MIC)
    assert (answer.status_code, answer["Location"]) == (302, "/bench/gauge/MIC-9")
    made = Gauge.objects.get(code="MIC-9")
    assert (made.to_mm, made.needs_zeroing) == (25.4, True)  # 1 in = 25.4 mm
    assert made.expanded_um == pytest.approx(3.0)
    assert made.calibration_um == pytest.approx(1.5)
    text = text_of(client, "/bench/gauge/MIC-9")
    assert "outside, up to 25.4 mm" in text
    assert "No. 12" in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"expanded_um": "three"}, "three"),
        ({"expanded_um": ""}, "such as 3 µm"),
        ({"code": "a b"}, "letters, digits"),
        ({"due_on": "soon"}, "Write a day"),
        ({"to_mm": "-4 mm"}, "Between 0 and"),
        ({"name": "<b>"}, ""),
    ],
)
def test_after_an_error_everything_typed_stays(
    cast: Cast, signed_in: SignedIn, change: dict[str, Any], words: str
) -> None:
    answer = signed_in(cast.lead).post("/bench/gauges/add", MIC | change)
    text = answer.content.decode()
    if change == {"name": "<b>"}:
        assert answer.status_code == 302
        page = text_of(signed_in(cast.lead), "/bench/gauge/MIC-9")
        assert "&lt;b&gt;" in page
        assert "<b>" not in page
        return
    assert answer.status_code == 422
    assert words in text
    assert 'value="No. 12"' in text
    assert Gauge.objects.count() == 0


def test_a_chain_a_plug_and_a_wrench_have_their_own_forms(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.manager)
    client.post("/bench/gauges/add", MIC | {"to_mm": "50 mm"})
    tel = MIC | {"kind": "telescopic gauge", "code": "TEL", "measures": ["bore"], "to_mm": "60 mm"}
    client.post("/bench/gauges/add", tel)
    first, second = Gauge.objects.get(code="TEL"), Gauge.objects.get(code="MIC-9")
    text = text_of(client, "/bench/gauges/add?kind=chain")
    assert "TEL outside micrometer" in text
    body = {"kind": "chain", "code": "TEL.MIC", "name": "both", "first": first.pk, "second": second.pk}
    assert client.post("/bench/gauges/add", body).status_code == 302
    assert "TEL read with MIC-9" in text_of(client, "/bench/gauge/TEL.MIC")
    plug = {
        "kind": "plug gauge",
        "code": "PL",
        "name": "go",
        "size_mm": "26.002 mm",
        "expanded_um": "0.8",
        "calibration_um": "0.8",
    }
    assert client.post("/bench/gauges/add", plug).status_code == 302
    assert Gauge.objects.get(code="PL").size_mm == 26.002
    wrench = {
        "kind": "torque wrench",
        "code": "TW",
        "name": "small",
        "from_nm": "5",
        "to_nm": "44.25 lbf ft",
        "torque_percent": "4",
    }
    assert client.post("/bench/gauges/add", wrench).status_code == 302
    assert Gauge.objects.get(code="TW").to_nm == pytest.approx(60.0, abs=0.01)  # 44.25 × 1.3558 N·m
    assert (
        client.post("/bench/gauges/add", wrench | {"code": "T2", "torque_percent": "many"}).status_code == 422
    )


def test_a_change_from_an_old_page_is_stale_and_shows_both(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.lead)
    client.post("/bench/gauges/add", MIC)
    made = Gauge.objects.get(code="MIC-9")
    body = {key: value for key, value in MIC.items() if key not in {"kind", "code"}} | {"version": "1"}
    change_gauge(gauge=made, version=1, by=PROGRAM, whereabouts="Office")
    answer = client.post("/bench/gauge/MIC-9/change", body | {"whereabouts": "Bench 7"})
    text = answer.content.decode()
    assert answer.status_code == 412
    assert "Somebody changed MIC-9" in text
    assert "Office" in text
    assert 'value="Bench 7"' in text
    version = re.search(r'name="version" value="(\d+)"', text)
    assert version is not None
    again = client.post("/bench/gauge/MIC-9/change", body | {"whereabouts": "Bench 7", "version": version[1]})
    assert again.status_code == 302
    made.refresh_from_db()
    assert (made.whereabouts, made.version) == ("Bench 7", 3)
    assert made.expanded_um == pytest.approx(3.0)


def test_a_gauge_is_zeroed_by_a_form_once(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    text = text_of(client, "/bench/gauge/B1")
    assert "Nobody has written down that it was set." in text
    body = {"deed": "zero", "master": "ring, 26 mm", "off": "-1 µm", "key": str(uuid4())}
    for _ in range(2):
        assert client.post("/bench/gauge/B1", body).status_code == 302
    assert Zeroing.objects.get().off_um == pytest.approx(-1.0)
    answer = client.post("/bench/gauge/B1", body | {"master": "", "note": "kept"})
    assert answer.status_code == 422
    assert 'value="kept"' in answer.content.decode()
    assert "ring, 26 mm" in text_of(client, "/bench/gauge/B1")


def test_a_gauges_page_shows_no_value_that_another_has_still_to_read(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.0137 mm")
    text = text_of(signed_in(cast.second_technician), "/bench/gauge/B1")
    assert "BORE" in text
    assert "26.0137" not in text


def test_a_gauge_is_taken_out_of_use(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.lead)
    assert client.post("/bench/gauge/B1", {"deed": "retire", "why": ""}).status_code == 422
    assert client.post("/bench/gauge/B1", {"deed": "retire", "why": "dropped"}).status_code == 302
    assert "dropped" in text_of(client, "/bench/gauge/B1")
    assert (
        "B1" not in re.sub(r"<aside.*", "", text_of(client, "/bench/gauges"), flags=re.S).split("<tbody>")[1]
    )
    assert "B1" in text_of(client, "/bench/gauges?show=retired")


# at the bench


def test_the_bench_says_before_which_gauge_is_not_advised(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    add_gauge(
        code="LATE", name="bore gauge", kind="bore gauge", expanded_um=3, calibration_um=2, resolution_um=1,
        due_on=clock.today() - timedelta(days=1), by=PROGRAM,
    )  # fmt: skip
    add_gauge(
        code="BIG", name="bore gauge", kind="bore gauge", expanded_um=3, calibration_um=2, resolution_um=1,
        from_mm=50, by=PROGRAM,
    )  # fmt: skip
    text = text_of(signed_in(cast.technician), "/bench/2401/CASE?check=BORE")
    order = [
        "Fine enough",
        "B1 bore gauge",
        "Not advised: more than a quarter of the zone, 21 µm",
        "T2 telescopic",
    ]
    order += ["Out of range", "BIG bore gauge", "Past due for calibration", "LATE bore gauge"]
    places = [text.index(one) for one in order]
    assert places == sorted(places)
    assert 'name="override"' not in text
    assert 'name="override"' in text_of(signed_in(cast.lead), "/bench/2401/CASE?check=BORE")


def test_a_lead_says_on_the_form_why_a_gauge_past_due_is_used(
    bench: Examination, cast: Cast, signed_in: SignedIn
) -> None:
    Gauge.objects.filter(code="B1").update(due_on=clock.today() - timedelta(days=1))
    body = {
        "deed": "record",
        "id": str(uuid4()),
        "check": "BORE",
        "piece": tag_in(bench, "CASE"),
        "gauge": "B1",
        "text": "26.010 mm",
        "note": "",
    }
    client = signed_in(cast.lead)
    refused = client.post("/bench/2401/CASE", body)
    assert refused.status_code == 422
    assert "says why" in refused.content.decode()
    assert client.post("/bench/2401/CASE", body | {"override": "in the post"}).status_code == 302
    assert Reading.objects.get().overdue_reason == "in the post"
    text = text_of(client, "/bench/2401/CASE?check=BORE")
    assert "B1 was past due when Jonas Prideaux read it: in the post." in text


def test_a_plug_is_answered_by_a_button(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.technician)
    assert "Does not go" not in text_of(client, "/bench/2401/CASE?check=BORE")
    add_gauge(
        code="GO",
        name="go plug",
        kind="plug gauge",
        size_mm=26.002,
        expanded_um=0.8,
        calibration_um=0.8,
        by=PROGRAM,
    )
    text = text_of(client, "/bench/2401/CASE?check=BORE")
    assert "Does not go" in text
    body = {
        "deed": "record",
        "id": str(uuid4()),
        "check": "BORE",
        "piece": tag_in(bench, "CASE"),
        "gauge": "GO",
    }
    assert (
        client.post("/bench/2401/CASE", body | {"text": "", "outcome": "goes", "note": ""}).status_code == 302
    )
    assert Reading.objects.get().outcome == "goes"
    assert "nothing shows yet that it is at most 26.021 mm" in text_of(client, "/bench/2401/CASE?check=BORE")


def test_the_bench_says_when_a_gauge_was_zeroed(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    Gauge.objects.filter(code="B1").update(needs_zeroing=True)
    client = signed_in(cast.technician)
    assert "nobody has written down that it was zeroed" in text_of(client, "/bench/2401/CASE?check=BORE")
    client.post("/bench/gauge/B1", {"deed": "zero", "master": "its ring", "key": "k"})
    with CaptureQueriesContext(
        connection,
    ) as asked:
        text = text_of(client, "/bench/2401/CASE?check=BORE")
    assert "zeroed on its ring at " in text
    own = [one for one in asked.captured_queries if "django_session" not in one["sql"]]
    assert len(own) <= 12, len(own)


# studies


def test_a_study_is_proposed_read_blind_and_shown(cast: Cast, signed_in: SignedIn) -> None:
    boxes(cast.actor("technician"))
    lead = signed_in(cast.lead)
    assert "casing bore" in text_of(lead, "/bench/gauges/studies/add")
    page = text_of(lead, "/bench/gauges/studies/add?family=X1&feature=CASE.B")
    assert "26.004" not in page  # who lays a study out may read in it
    tags = re.findall(r'name="pieces" value="(P-\d+)"', page)
    assert len(tags) == 3
    body = {"family": "X1", "feature": "CASE.B", "gauge": "B1", "pieces": tags, "repeats": "2", "key": "k"}
    assert lead.post("/bench/gauges/studies/add", body | {"people": [cast.technician.pk]}).status_code == 422
    people = [cast.technician.pk, cast.second_technician.pk]
    answer = lead.post("/bench/gauges/studies/add", body | {"people": people})
    study = Study.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, f"/bench/gauges/studies/{study.pk}")
    client = signed_in(cast.technician)
    path = f"/bench/gauges/studies/{study.pk}"
    turn = next_turn(standing_of(study), cast.technician)
    assert turn is not None
    said = {"id": str(uuid4()), "piece": turn.piece.tag, "repeat": "1", "text": "26.0093 mm"}
    assert client.post(f"{path}/read", said | {"text": "wide"}).status_code == 422
    for _ in range(2):
        assert client.post(f"{path}/read", said).status_code == 302
    assert StudyReading.objects.count() == 1
    for one in ("", "/read", "/read?again=1"):
        assert "26.0093" not in text_of(client, path + one)
    assert client.get(f"{path}/readings.csv").status_code == 302
    again = said | {"id": str(uuid4()), "text": "26.0091 mm"}
    assert client.post(f"{path}/read?again=1", again).status_code == 422
    assert client.post(f"{path}/read?again=1", again | {"reason": "slipped"}).status_code == 302
    read_through(study, cast)
    text = text_of(client, path)
    assert "26.0091" in text
    assert "26.0093" not in text
    assert "Repeatability (the gauge)" in text
    rows = list(csv.DictReader(io.StringIO(client.get(f"{path}/readings.csv").content.decode())))
    assert len(rows) == 12
    assert {one["person"] for one in rows} == {"Rune Okafor", "Mira Teasdale"}
    assert [one["take"] for one in rows if one["text"] == "26.0091 mm"] == ["2"]


def test_what_the_gauge_shows_may_not_be_left_empty(cast: Cast, signed_in: SignedIn) -> None:
    boxes(cast.actor("technician"), 2)
    study = lay_out(cast)
    text = text_of(signed_in(cast.technician), f"/bench/gauges/studies/{study.pk}/read")
    assert "The gauge shows" in text
    assert "may be left empty" not in text


def test_who_is_not_in_a_study_reads_nothing_in_it(cast: Cast, signed_in: SignedIn) -> None:
    boxes(cast.actor("technician"), 2)
    study = lay_out(cast)
    text = text_of(signed_in(cast.lead), f"/bench/gauges/studies/{study.pk}/read")
    assert "You are not one of this study" in text
    assert signed_in(cast.stores).get(f"/bench/gauges/studies/{study.pk}/read").status_code == 403
    assert signed_in(cast.stores).post(f"/bench/gauges/studies/{study.pk}").status_code == 403
    assert signed_in(cast.lead).post(f"/bench/gauges/studies/{study.pk}").status_code == 302
    assert "It cannot be worked out" in text_of(signed_in(cast.lead), f"/bench/gauges/studies/{study.pk}")


def test_the_watch_on_bias_says_that_it_is_no_study(cast: Cast, signed_in: SignedIn) -> None:
    bench = strip_unit(cast.actor("technician"))
    client = signed_in(cast.manager)
    assert "Nothing was read by two of them" in text_of(client, "/bench/gauges/bias")
    read(bench, cast.actor("technician"), "BORE", "26.010 mm")
    read(bench, cast.actor("second_technician"), "BORE", "26.011 mm", gauge="T2")
    text = text_of(client, "/bench/gauges/bias")
    assert "This is a watch and no study." in text
    assert "Rune Okafor" in text
    assert "too few readings to say" in text
