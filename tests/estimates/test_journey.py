"""The journey of fixtures/journeys/harrow_h4.toml, its findings, plan and totals worked out by hand.

Every figure of the scenario is invented; the arithmetic below is done on paper from the fixture files:
readings from the journey, limits from the guide, stock from fixtures/stock, prices from fixtures/prices.
"""

import json
import subprocess
import sys
from collections.abc import Mapping
from math import pi
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core import mail
from django.core.management import call_command
from pypdf import PdfReader

from estimates.journey import Journey
from shop.models import Ticket

JOURNEY = Path(settings.BASE_DIR) / "fixtures" / "journeys" / "harrow_h4.toml"

# --- what the readings mean, position by position; what is not named here is serviceable
VERDICTS = {
    # rear layshaft bore 26.067 mm at 41 °C, cast iron: 26.067 − 26 × 10.5e-6 × 21 = 26.061 > 26.021,
    # under the oversize bore's 26.100: sleeve or ream. Top face raised, one cover thread stripped.
    "CASE": "rework",
    "INBRG": "scrap",  # rough
    "SPIG": "rework",  # bore 20.095 > wear limit 20.080
    "MNSH": "rework",  # rear seal land grooved
    "W2M": "scrap",  # tooth chipped
    "W1M": "rework",  # lead-ins burred
    "RING3": "scrap",  # gap 0.72 < wear limit 0.80
    "LAYSH": "scrap",  # front needle track 24.961 < wear limit 24.968, and no remedy
    # end float 150.18 × (1 − 10.5e-6 × 21) − 145.62 − 1.98 − 1.87 = 0.677 > 0.400: other washers
    "CLUS": "rework",
    "THWR": "scrap",  # 1.87 < wear limit 1.90
    "SEALF": "replaced",
    "SEALR": "replaced",
    "GASK": "replaced",
    "CIRC": "replaced",
}

# --- the least-cost plan, minor units: time at 32.00 an hour, consumables as the guide says
PLAN = {
    # dress 30 + insert 25 + ream 60 = 115 min: 115/60 × 3200 = 6133.33; consumables 150 + 600 + 300
    "CASE": 6133 + 1050,
    "INBRG": 3310,  # shelf; Pellmoor 27.85 GBP × 1.15 = 32.03 + 3.50 an order line = 35.53
    "SPIG": 990,  # shelf; re-bush 40 min = 21.33 + 8.50 = 29.83
    "MNSH": 1867 + 2900,  # wear sleeve 35 min: 35/60 × 3200 = 1866.67
    "W2M": 6200,  # used piece; new 149.50
    "W1M": 1067,  # 20 min
    "RING3": 1980,  # shelf; Tarn 22.50 + 3.50
    "LAYSH": 7480 + 350,  # oversize, new from Tarn; standard 60.50 wants the sleeve, see below
    "THWR": 370,
    "SEALF": 695,
    "SEALR": 840,
    "GASK": 1320,
    "CIRC": 440,
}
# Ream and oversize shaft: 60 min = 32.00 + 3.00 + 78.30 = 113.30. Sleeve and standard shaft: 120 min = 64.00
# + 22.00 + 60.50 = 146.50. The oversize way is 33.20 cheaper, and waits six days for Tarn.
SLEEVE_COSTS_MORE = (6400 + 2200 + 6050) - (3200 + 300 + 7830)

# --- the quote: time at 60.00 an hour, parts and consumables with a quarter on them, each line rounded once
LINES = (
    12000,  # examination, as agreed
    11500,  # casing, 115 min
    1313,  # 10.50 × 1.25 = 13.125
    4138,  # 33.10 × 1.25 = 41.375
    1238,  # 9.90 × 1.25 = 12.375
    3500,  # mainshaft, 35 min
    3625,  # 29.00 × 1.25
    7750,  # 62.00 × 1.25
    2000,  # sliding wheel, 20 min
    2475,  # 19.80 × 1.25
    9350,  # 74.80 × 1.25: the order line is the shop's own cost
    463,  # 3.70 × 1.25 = 4.625
    869,  # 6.95 × 1.25 = 8.6875
    1050,  # 8.40 × 1.25
    1650,  # 13.20 × 1.25
    550,  # 4.40 × 1.25
    54000,  # build and test, 540 min
)
NET, TAX = 117471, 23494  # 1174.71 × 20 % = 234.942

# --- the build sheet
# New front gap between the thrust faces 150.15, cluster 145.62, own front washer 1.98, chosen rear 2.25.
FLOAT_MM = 150.15 - 145.62 - 1.98 - 2.25
# Top cover, 3/8-16 UNC in grey iron, 14 mm engaged. FED-STD-H28/2B, Table II.B.1, formula 2a: shear area
# π × L/P × d_min × (P/2 + tan 30° × (d_min − D2_max)), d_min 9.2517, overlap 0.6138, P 1.5875 mm.
SHEAR_MM2 = pi * 14 / 1.5875 * 9.2517 * (1.5875 / 2 + 0.57735 * 0.6138)
# Grey iron taken at 138 MPa (ASTM A48 class 20, 20 ksi); half of the stripping load; T = K F d, K = 0.15
# oiled (IFI Fastener Standards, 5th ed., N-12). The bolt alone: 0.75 × 586 MPa × 49.99 mm² gives 31.4 N·m.
TOP_COVER_NM = 0.15 * (0.5 * 138 * SHEAR_MM2) * 9.525 / 1000


@pytest.fixture(scope="module")
def figures(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any) -> Any:
    """The journey, run once in a transaction of its own that is taken back."""
    from django.db import transaction

    kept = settings.HOME, settings.MEDIA_ROOT
    settings.HOME = tmp_path_factory.mktemp("shop")
    settings.MEDIA_ROOT = settings.HOME / "files"
    with django_db_blocker.unblock(), transaction.atomic():
        journey = Journey(JOURNEY)
        told: dict[str, Any] = {}
        for step in journey.run():
            told.update(step.figures)
        told["ticket row"] = Ticket.objects.get(pk=journey.ticket.pk)
        told["lines"] = list(journey.quote.lines.values_list("amount_minor", flat=True))
        told["chosen"] = {
            one["slot"]: one["cost_minor"]
            for one in journey.quote.plan.document["choices"]
            if one["cost_minor"]
        }
        told["layshaft"] = next(
            one for one in journey.quote.plan.document["choices"] if one["slot"] == "LAYSH"
        )
        told["mails"] = [(one.subject, one.to, dict(one.extra_headers)) for one in mail.outbox]
        told["paper texts"] = {
            one.kind: "\n".join(
                page.extract_text() for page in PdfReader(settings.MEDIA_ROOT / one.path).pages
            )
            for one in journey.ticket.documents.exclude(kind="photograph")
        }
        yield told
        transaction.set_rollback(True)
    settings.HOME, settings.MEDIA_ROOT = kept


def test_the_readings_of_all_sittings_were_taken(figures: Mapping[str, Any]) -> None:
    assert figures["readings"] == 22 + 57 + 38 + 50 + 1 + 2  # five sittings; one withdrawal, one read again


def test_findings(figures: Mapping[str, Any]) -> None:
    not_serviceable = {
        code: status for code, status in figures["verdicts"].items() if status != "serviceable"
    }
    assert not_serviceable == VERDICTS


def test_the_disagreement_was_found_and_settled(figures: Mapping[str, Any]) -> None:
    # 49.978 and 49.958: 20 µm apart, joint expanded uncertainty √(3² + 3²) = 4.2 µm
    assert figures["disputes"] == ["ME-MNSH-J2"]


def test_every_complaint_is_explained(figures: Mapping[str, Any]) -> None:
    explained = figures["explained"]
    assert "LK-W2M" in explained["NOISY-SECOND"]
    assert {"LK-MNSH-LAND", "ME-CASE-LSR"} <= set(explained["LEAK-REAR"])
    assert {"MT-PILOT", "FL-LAY"} <= set(explained["JUMPS-OUT"])
    assert "LK-INSH-TEETH" not in explained["JUMPS-OUT"]  # light frosting explains nothing


def test_the_least_cost_plan(figures: Mapping[str, Any]) -> None:
    assert figures["chosen"] == PLAN
    plan = figures["plans"]["least cost"]
    assert plan["cost_minor"] == sum(PLAN.values()) == 36992
    assert plan["minutes"] == 115 + 35 + 20
    assert plan["days"] == 6  # Tarn's oversize shaft


def test_what_the_layshaft_beat(figures: Mapping[str, Any]) -> None:
    best = figures["layshaft"]["beat"][0]
    assert SLEEVE_COSTS_MORE == 3320
    assert best["code"] == "LAYSH:lot:shelf:H4-LAYSH-01"
    assert best["extra_minor"] == SLEEVE_COSTS_MORE
    assert best["extra_days"] == -6


def test_three_aims(figures: Mapping[str, Any]) -> None:
    plans = figures["plans"]
    assert plans["soonest"]["days"] == 0
    # the same, but sleeve and standard shaft
    assert plans["soonest"]["cost_minor"] == 36992 + SLEEVE_COSTS_MORE
    assert plans["least cost"]["cost_minor"] == min(one["cost_minor"] for one in plans.values())
    assert plans["soundest"]["choices"]["CASE"].startswith("CASE:used:")  # no rework that may fail


def test_the_quote(figures: Mapping[str, Any]) -> None:
    assert tuple(figures["lines"]) == LINES
    assert figures["net_minor"] == sum(LINES) == NET
    assert figures["tax_minor"] == TAX
    assert figures["total_minor"] == NET + TAX == 140965


def test_the_yes_reserved_and_wanted(figures: Mapping[str, Any]) -> None:
    # shelf: bearing, bush, ring, washer, two seals, gaskets, circlips; bin: the wheel; to buy: the shaft
    assert (figures["reserved"], figures["wanted"], figures["received"]) == (9, 1, 1)
    assert figures["build_rows"] == 47  # 50 positions less the remote change's three


def test_the_build_sheet(figures: Mapping[str, Any]) -> None:
    sheet = figures["sheet"]
    assert sheet["B04"]["washers"][1] == "H4-THWR-225"
    assert sheet["B04"]["float_mm"] == pytest.approx(FLOAT_MM, abs=1e-6)
    assert pytest.approx(0.30, abs=1e-9) == FLOAT_MM
    assert sheet["B25"] == pytest.approx(TOP_COVER_NM, rel=2e-4)


def test_the_margin(figures: Mapping[str, Any]) -> None:
    # handed out 33.10 + 9.90 + 62.00 + 19.80 + 74.80 + 3.70 + 6.95 + 8.40 + 13.20 + 4.40 = 236.25
    # time 170 min rework + 520 min build = 690 min × 32.00/h = 368.00; consumables 10.50 + 29.00 = 39.50
    assert figures["margin_minor"] == NET - 23625 - 36800 - 3950


def test_the_end(figures: Mapping[str, Any]) -> None:
    assert figures["stage"] == "handed over"
    assert figures["warranty_ends"] == "2027-10-26"
    reminders = [one for one in figures["mails"] if "re-torque" in one[0].lower()]
    assert len(reminders) == 1
    assert reminders[0][1] == ["harrow@customer.invalid"]
    assert "Message-ID" in reminders[0][2]


def test_the_papers(figures: Mapping[str, Any]) -> None:
    papers = figures["paper texts"]
    assert set(papers) == {"tag", "quote", "build sheet", "warranty card"}
    assert "1409.65" in papers["quote"].replace(" ", "")
    assert "H4-THWR-225" in papers["build sheet"]
    assert "tapped thread" in papers["build sheet"]
    assert "competent person" in papers["build sheet"]


def test_the_command_in_a_temporary_shop(tmp_path: Path) -> None:
    manage = [sys.executable, str(Path(settings.BASE_DIR) / "manage.py")]
    words = [*manage, "journey", str(JOURNEY), "--fresh", "--json", "--papers", str(tmp_path)]
    ended = subprocess.run(words, capture_output=True, text=True, check=False, cwd=tmp_path, timeout=600)
    assert ended.returncode == 0, ended.stderr
    said = json.loads(ended.stdout)
    assert said["total_minor"] == NET + TAX
    papers = [Path(one) for one in said["papers"]]
    assert len(papers) == 4
    assert all(one.parent == tmp_path and one.read_bytes().startswith(b"%PDF") for one in papers)


def test_a_step_that_fails_ends_with_an_error(tmp_path: Path) -> None:
    broken = tmp_path / "broken.toml"
    broken.write_text(JOURNEY.read_text().replace('"25.018 mm"', '"25,018 mm"'))
    manage = [sys.executable, str(Path(settings.BASE_DIR) / "manage.py")]
    words = [*manage, "journey", str(broken), "--fresh"]
    ended = subprocess.run(words, capture_output=True, text=True, check=False, timeout=600)
    assert ended.returncode != 0
    assert "25,018" in ended.stderr


@pytest.mark.django_db
def test_a_missing_file_is_said() -> None:
    from django.core.management import CommandError

    with pytest.raises(CommandError, match="no file"):
        call_command("journey", "nowhere.toml")
