"""The bench page against a page of the same bytes: one SQL statement for the same rows, one template loop.

Both are asked for in turn, in one run, through the whole stack (session, person, policy), by one technician
on a unit with 600 readings. The promise is a ratio, so that no machine's speed stands in it.
``-s`` prints the figures. What a page costs right after a reading, when all is judged anew, is printed too.
"""

from __future__ import annotations

import re
import statistics
import time
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import path
from django.utils.safestring import mark_safe

from inspections.evidence.photographs import record_photograph
from inspections.guiding.guides import guide_of, publish_guide
from inspections.models import Examination, Reading
from inspections.readings.examining import open_examination
from inspections.readings.findings import judgement_of, open_disputes
from inspections.readings.recording import record_readings
from inventory.models import Piece
from shop.access import PROGRAM, Actor, ticket_for
from shop.models import Complaint, TicketComplaint
from shop.urls import urlpatterns as shop_urls
from shop.views import for_actor
from tests.benchmarks.scenes import one_round, p95
from tests.conftest import Cast, SignedIn
from tests.inspections.evidence import metal, upload
from tests.inspections.shop import make_gauges, open_ticket, read, say
from tests.inspections.test_publishing import DEMONSTRATION

pytestmark = pytest.mark.django_db(transaction=True)
UNIT = "/bench/2401"
POSITION, CHECK, LOOK = f"{UNIT}/CLUS", "ME-CLUS-LEN", "LK-CLUS"
LIVE = "/api/v1/tickets/2401/since"
ROUNDS = 120
MOST_QUERIES = 12
READINGS = 600
CHECKS = 140
MOST_RATIO = 2.0

# The page's own bytes, cut into as many parts as there are rows; the plain view prints them row by row.
_parts: list[str] = []

SAME_ROWS = """
SELECT r.id, r.check_code, r.position_code, r.text, r.unit, r.value_mm, r.resolution_um, r.outcome, r.place,
       r.part_temperature_c, r.sequence, r.as_lead, r.withdraws_id, p.tag, p.condition, p.size, p.missing,
       rp.condition, g.code, g.expanded_um, g.calibration_um, u.display_name
  FROM inventory_piece p
  JOIN shop_source s ON s.id = p.source_id
  JOIN shop_ticket t ON t.id = s.ticket_id
  LEFT JOIN inspections_readingpiece rp ON rp.piece_id = p.id
  LEFT JOIN inspections_reading r ON r.id = rp.reading_id
  LEFT JOIN inspections_gauge g ON g.id = r.gauge_id
  LEFT JOIN shop_user u ON u.id = r.person_id
 WHERE t.number = %s ORDER BY p.tag, r.sequence
"""


@for_actor
def plain(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """The same rows and bytes with nothing worked out."""
    ticket_for(by, number)
    with connection.cursor() as cursor:
        cursor.execute(SAME_ROWS, [number])
        rows = cursor.fetchall()
    told = [mark_safe(part) for part in _parts]
    template = engines["django"].from_string("{% for row, part in rows %}{{ part }}{% endfor %}")
    return HttpResponse(template.render({"rows": list(zip(rows, told, strict=True))}, request))


urlpatterns = [path("plain/<int:number>", plain), *shop_urls]


def fill(held: Examination, by: Actor) -> int:
    """Each check of the floor change read over and over, most of them good; how many there are then."""
    while Reading.objects.count() < READINGS:
        record_readings(examination=held, readings=one_round(held), by=by)
    return Reading.objects.count()


@pytest.fixture
def client(cast: Cast, signed_in: SignedIn) -> Iterator[Client]:
    publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    make_gauges()
    ticket = open_ticket(family="H4")
    TicketComplaint.objects.create(ticket=ticket, complaint=Complaint.objects.get(code="JUMPS-OUT"))
    held = open_examination(ticket=ticket, by=cast.actor("technician"))
    assert READINGS <= fill(held, cast.actor("technician")) <= READINGS + 200
    yield signed_in(cast.technician)
    _parts.clear()


def timed(client: Client, address: str) -> float:
    start = time.perf_counter()
    answer = client.get(address)
    took = (time.perf_counter() - start) * 1000
    assert answer.status_code == 200
    return took


def cut(text: str) -> list[str]:
    """The page in as many parts as the statement gives rows."""
    with connection.cursor() as cursor:
        cursor.execute(SAME_ROWS, [2401])
        count = len(cursor.fetchall())
    step = -(-len(text) // count)
    return [text[n * step : (n + 1) * step] for n in range(count)]


def asked_for(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_a_full_units_page_asks_few_questions(client: Client, cast: Cast, signed_in: SignedIn) -> None:
    """The unit and a position of it: judged anew, unchanged, and with everything on it that a bench sees."""
    held = Examination.objects.select_related("revision", "ticket").get()
    mine, other = cast.actor("technician"), cast.actor("second_technician")
    pages = (UNIT, POSITION, f"{POSITION}?check={CHECK}")
    counts: dict[str, list[int]] = {}

    def ask(when: str) -> None:
        counts[when] = [asked_for(client, page) for page in pages]

    ask("judged anew")
    ask("unchanged")
    assert say(held, mine, LOOK, "sound", note="again").status == "recorded"
    ask("after a reading")
    for number in range(6):
        record_photograph(
            examination=held, id=uuid4(), check=CHECK, upload=upload(metal((320 + number, 240))), by=mine
        )
    ask("with photographs")
    for name in ("second_technician", "lead", "manager"):
        assert signed_in(getattr(cast, name)).get(f"{LIVE}?position=CLUS").status_code == 200
    ask("with others at the unit")
    guide = guide_of(held.revision)
    limit = guide.feature[guide.check[CHECK].feature].limits[0]
    assert limit.upper_mm is not None
    assert read(held, other, CHECK, f"{limit.upper_mm + 0.3:.3f} mm").status == "recorded"
    held.refresh_from_db(fields=["counter"])
    assert open_disputes(judgement_of(held))
    ask("with a dispute")
    told = "; ".join(f"{when} {', '.join(map(str, some))}" for when, some in counts.items())
    print(f"\nqueries of the unit, a position, a check in hand: {told}")  # noqa: T201
    assert max(count for some in counts.values() for count in some) <= MOST_QUERIES


def test_the_scene_is_as_large_as_promised(client: Client) -> None:
    held = Examination.objects.select_related("revision").get()
    assert len(guide_of(held.revision).checks_of("FC")) >= CHECKS
    assert Reading.objects.count() >= READINGS


@pytest.mark.benchmark
@pytest.mark.urls("tests.benchmarks.bench_bench")
def test_the_bench_page_takes_at_most_twice_a_plain_one(client: Client, cast: Cast) -> None:
    text = client.get(UNIT).content.decode()
    _parts[:] = cut(text)
    same = client.get("/plain/2401").content.decode()
    # A form's token is masked anew in each answer; everything else is the same bytes.
    token = re.compile(r'(csrfmiddlewaretoken" value="|X-CSRFToken": ")\w+')
    assert token.sub("", same) == token.sub("", text)
    ours: list[float] = []
    plains: list[float] = []
    for _ in range(ROUNDS):
        ours.append(timed(client, UNIT))
        plains.append(timed(client, "/plain/2401"))
    held = Examination.objects.select_related("revision").get()
    anew = []
    for number in range(30):
        say(held, cast.actor("technician"), "LK-CLUS", "sound", note=str(number))
        anew.append(timed(client, UNIT))
    ratio, told = p95(ours) / p95(plains), _told
    print(  # noqa: T201
        f"\nbench page {told(ours)}; plain {told(plains)}; ratio of p95 {ratio:.2f}; "
        f"judged anew {told(anew)}, {p95(anew) / p95(plains):.2f} times the plain p95; {len(same)} bytes"
    )
    assert ratio <= MOST_RATIO


def _told(times: list[float]) -> str:
    return f"median {statistics.median(times):.1f} ms, p95 {p95(times):.1f} ms"


def test_the_plain_statement_gives_the_same_readings(client: Client) -> None:
    """The comparison is fair only if its rows are the page's: every reading, and pieces without one."""
    with connection.cursor() as cursor:
        cursor.execute(SAME_ROWS, [2401])
        rows: list[Any] = cursor.fetchall()
    readings = {row[0] for row in rows if row[0] is not None}
    assert len(readings) == Reading.objects.count()
    assert len({row[13] for row in rows}) == Piece.objects.count()
