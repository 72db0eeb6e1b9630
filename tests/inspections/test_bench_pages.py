"""The Bench's pages: who may see and do what, recording by plain forms, what a blind person sees."""

from __future__ import annotations

import re
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.guiding.guides import publish_guide
from inspections.models import Examination, Gauge, Reading
from inspections.readings.examining import open_examination
from inventory.models import Piece
from shop.access import PROGRAM
from shop.models import Complaint, Ticket, TicketComplaint
from tests.conftest import Cast, SignedIn
from tests.inspections.shop import make_gauges, open_ticket, read, read_all, say, strip_unit, tag_in
from tests.inspections.small import SMALL
from tests.inspections.test_judging_trying import TRIED
from tests.inspections.test_publishing import DEMONSTRATION

pytestmark = pytest.mark.django_db
UNIT, CASE, SHAFT = "/bench/2401", "/bench/2401/CASE", "/bench/2401/SHAFT"


@pytest.fixture
def bench(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"))


@pytest.fixture
def technician(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.technician)


def sent(check: str, **more: Any) -> dict[str, Any]:
    return {"deed": "record", "id": str(uuid4()), "check": check, "piece": "", "note": ""} | more


def complain(code: str) -> None:
    TicketComplaint.objects.create(ticket=Ticket.objects.get(), complaint=Complaint.objects.get(code=code))


def page(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


# who may

READS = {
    "front_desk": 200,
    "technician": 200,
    "second_technician": 200,
    "lead": 200,
    "stores": 200,
    "manager": 200,
    "owner": 200,
    "supplier": 404,
    "stranger": 403,
}


@pytest.mark.parametrize("name", READS)
def test_who_may_look(bench: Examination, cast: Cast, signed_in: SignedIn, name: str) -> None:
    client = signed_in(getattr(cast, name))
    for path in ("/bench/", UNIT, CASE):
        assert client.get(path).status_code == READS[name], path


@pytest.mark.parametrize("name", READS)
def test_who_may_write(bench: Examination, cast: Cast, signed_in: SignedIn, name: str) -> None:
    client = signed_in(getattr(cast, name))
    may = name in {"technician", "second_technician", "lead", "owner"}
    denied = {"supplier": 404}.get(name, 403)
    for path, body, good in (
        (CASE, sent("LOOK", outcome="sound"), 302),
        (CASE, {"deed": "withdraw"}, 422),
        (CASE, {"deed": "missing", "piece": "P-9999"}, 422),
        (UNIT, {"deed": "strip"}, 302),
        (UNIT, {"deed": "finish"}, 422),
    ):
        assert client.post(path, body).status_code == (good if may else denied), (path, body)
    assert Reading.objects.count() == (1 if may else 0)


def test_somebody_who_is_not_signed_in_is_asked_to(bench: Examination) -> None:
    for path in ("/bench/", UNIT, CASE):
        answer = Client().get(path)
        assert answer.status_code == 302
        assert "next=" in answer.headers["Location"]


def test_what_is_not_there_is_not_found(bench: Examination, technician: Client) -> None:
    for path in ("/bench/9999", "/bench/99999999999999999999", "/bench/9999/CASE", "/bench/2401/NONE"):
        assert technician.get(path).status_code == 404, path
    assert technician.get("/bench/2401/LID").status_code == 404  # of the other variant
    assert technician.post(UNIT, {"deed": "juggle"}).status_code == 404


# the list and stripping


def test_an_empty_bench_says_what_to_do(technician: Client) -> None:
    assert "The Counter opens a ticket" in page(technician, "/bench/")


def test_the_list_says_what_is_decided(bench: Examination, cast: Cast, technician: Client) -> None:
    open_ticket(2402)
    read_all(bench, cast.actor("technician"))
    say(bench, cast.actor("second_technician"), "LOOK", "GONE")
    text = page(technician, "/bench/")
    assert "2 of 3" in text
    assert "not stripped yet" in text
    assert 'href="/bench/2402"' in text


def test_a_unit_is_stripped_by_a_form(cast: Cast, technician: Client) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    ticket = open_ticket()
    assert "3 Seal" in page(technician, UNIT)
    answer = technician.post(UNIT, {"deed": "strip", "missing": ["SEAL"]})
    assert (answer.status_code, answer.headers["Location"]) == (302, UNIT)
    assert Piece.objects.get(position__code="SEAL").missing
    ticket.refresh_from_db()
    assert ticket.stage == "stripped"


def test_what_was_ticked_stays_when_stripping_is_refused(cast: Cast, technician: Client) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    ticket = open_ticket()
    ticket.sources.all().delete()
    answer = technician.post(UNIT, {"deed": "strip", "missing": ["SEAL"]})
    assert answer.status_code == 422
    assert "No unit came in" in answer.content.decode()
    assert re.search(r'value="SEAL" checked', answer.content.decode())


def test_without_a_guide_the_page_says_so(cast: Cast, technician: Client) -> None:
    publish_guide(text=SMALL, by=PROGRAM)
    ticket = open_ticket()
    from shop.models import Family

    other = Family.objects.create(code="X9", name="Unknown box", maker="Hexworth (invented)")
    Ticket.objects.filter(pk=ticket.pk).update(family=other)
    assert "No guide is published for Unknown box" in page(technician, UNIT)


# the unit


def test_the_unit_page_shows_verdicts_words_and_complaints(
    bench: Examination, cast: Cast, technician: Client
) -> None:
    complain("LEAKS")
    assert "not yet explained" in page(technician, UNIT)
    say(bench, cast.actor("technician"), "LOOK", "CRACK")
    text = page(technician, UNIT)
    assert "Lugs: lug cracked." in text
    assert "explained by" in text
    assert "1 of 3" in text
    assert "Next: 1 Casing: Casting number" in text


def test_a_demonstration_unit_is_drawn_with_every_position_a_link(cast: Cast, technician: Client) -> None:
    publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    make_gauges()
    held = open_examination(ticket=open_ticket(family="H4"), by=cast.actor("technician"))
    say(held, cast.actor("technician"), "LK-W2M", "sound")
    text = page(technician, UNIT)
    drawing = text[
        text.index('<svg class="drawing"') : text.index("</svg>", text.index('<svg class="drawing"'))
    ]
    codes = {one.position.code for one in Piece.objects.all()}
    assert {*re.findall(r'href="/bench/2401/([A-Z0-9]+)"', drawing)} == codes
    for code in sorted(codes):
        assert technician.get(f"/bench/2401/{code}").status_code == 200, code


def test_the_unit_page_asks_few_questions(bench: Examination, cast: Cast, technician: Client) -> None:
    read_all(bench, cast.actor("technician"))
    complain("LEAKS")
    page(technician, UNIT)
    with CaptureQueriesContext(connection) as asked:
        page(technician, UNIT)
    assert len(asked) <= 15, [one["sql"] for one in asked]


def test_the_list_asks_no_more_for_more_units(bench: Examination, cast: Cast, technician: Client) -> None:
    counts = []
    for number in (2402, 2403, 2404):
        open_examination(ticket=open_ticket(number), by=cast.actor("technician"))
        with CaptureQueriesContext(connection) as asked:
            page(technician, "/bench/")
        counts.append(len(asked))
    assert counts[0] == counts[-1] <= 15


def test_an_examination_is_finished_on_its_page(bench: Examination, cast: Cast, technician: Client) -> None:
    answer = technician.post(UNIT, {"deed": "finish"})
    assert answer.status_code == 422
    assert "Not decided yet: Casing, Shaft." in answer.content.decode()
    read_all(bench, cast.actor("technician"))
    assert technician.post(UNIT, {"deed": "finish"}).status_code == 302
    assert Ticket.objects.get().stage == "examined"


# one position


def test_a_reading_is_recorded_by_a_plain_form_and_the_next_check_is_offered(
    bench: Examination, technician: Client
) -> None:
    answer = technician.post(CASE, sent("ID", text="X1-101", piece=tag_in(bench, "CASE")))
    assert (answer.status_code, answer.headers["Location"]) == (302, f"{CASE}?check=LOOK")
    text = page(technician, answer.headers["Location"])
    assert "Casting number: X1-101, as expected." in text
    assert 'value="CRACK"' in text


def test_an_outside_finding_stays_on_its_check(bench: Examination, technician: Client) -> None:
    tag = tag_in(bench, "CASE")
    answer = technician.post(CASE, sent("BORE", text="1.0350 in", gauge="B1", piece=tag))
    assert answer.headers["Location"] == f"{CASE}?check=BORE&piece={tag}"
    text = page(technician, answer.headers["Location"])
    assert "Outside." in text
    assert "JCGM 106" in text  # its working
    assert "1.0240" in text or "1.0244" in text  # the limit bar speaks the unit that was typed
    assert "1.0350 in" in text


def test_the_places_of_a_check_are_gone_through(bench: Examination, technician: Client) -> None:
    tag = tag_in(bench, "CASE")
    answer = technician.post(CASE, sent("WIDTH", text="100.05 mm", gauge="B1", place="left", piece=tag))
    text = page(technician, answer.headers["Location"])
    assert "still to read: right" in text
    assert re.search(r'value="right"[^>]*checked', text)
    assert re.search(r'value="B1" selected', text)


def test_after_an_error_everything_typed_stays(bench: Examination, technician: Client) -> None:
    body = sent("WIDTH", text="about 100", gauge="T2", place="left", note="burr at the edge")
    answer = technician.post(CASE, body)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="about 100"' in text
    assert re.search(r'value="T2" selected', text)
    assert re.search(r'value="left"[^>]*checked', text)
    assert 'value="burr at the edge"' in text
    assert body["id"] in text
    assert "does not start with a number" in text
    assert 'aria-invalid="true"' in text
    assert Reading.objects.count() == 0


def test_what_was_typed_is_escaped(bench: Examination, technician: Client) -> None:
    typed = "<script>alert(1)</script>"
    answer = technician.post(CASE, sent("BORE", text=typed, gauge="B1"))
    assert typed not in answer.content.decode()
    assert "&lt;script&gt;" in answer.content.decode()
    technician.post(CASE, sent("ID", text=typed))
    for path in (CASE, f"{CASE}?check=ID", UNIT):
        assert typed not in page(technician, path)


def test_sending_a_form_twice_is_one_reading(bench: Examination, technician: Client) -> None:
    body = sent("LOOK", outcome="CRACK", piece=tag_in(bench, "CASE"))
    assert [technician.post(CASE, body).status_code for _ in range(2)] == [302, 302]
    assert Reading.objects.count() == 1


@pytest.mark.parametrize(
    ("path", "body"),
    [
        (CASE, {"deed": "record"}),
        (CASE, {"deed": "record", "check": "BORE", "id": "no uuid", "text": "1 mm"}),
        (CASE, {"deed": "record", "check": "DIAMETER", "id": str(uuid4()), "text": "25 mm"}),
        (CASE, {"deed": "record", "check": "NONE", "id": str(uuid4()), "text": "25 mm"}),
        (SHAFT, {"deed": "record", "check": "MATE", "id": str(uuid4()), "text": "1 mm"}),
        (CASE, {"deed": "record", "check": "LOOK", "id": str(uuid4()), "outcome": "WOBBLY"}),
        (
            CASE,
            {"deed": "record", "check": "LOOK", "id": str(uuid4()), "piece": "P-9999", "outcome": "sound"},
        ),
        (CASE, {"deed": "record", "check": "BORE", "id": str(uuid4()), "text": "x" * 500}),
        (CASE, {"deed": "withdraw", "check": "BORE", "id": str(uuid4()), "withdraws": str(uuid4())}),
    ],
)
def test_bad_forms_are_answered_in_words(
    bench: Examination, technician: Client, path: str, body: dict[str, Any]
) -> None:
    answer = technician.post(path, body)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.content.decode()
    assert Reading.objects.count() == 0


def test_the_gauges_that_are_fine_enough_come_first(cast: Cast, technician: Client) -> None:
    strip_unit(
        cast.actor("technician"),
        text=SMALL.replace(
            'feature = "CASE.B"\n\n[[check]]', 'feature = "CASE.B"\ngauge_um = 6.0\n\n[[check]]'
        ),
    )
    text = page(technician, f"{CASE}?check=BORE")
    fine, coarse = text.index('value="B1"'), text.index('value="T2"')
    assert text.index("Fine enough") < fine < text.index("Too coarse") < coarse


def test_the_temperature_is_asked_for_where_the_guide_says_warm(cast: Cast, technician: Client) -> None:
    strip_unit(
        cast.actor("technician"),
        text=SMALL.replace('feature = "CASE.B"\n\n[[check]]', 'feature = "CASE.B"\nwarm = true\n\n[[check]]'),
    )
    assert "Temperature of the part" in page(technician, f"{CASE}?check=BORE")
    assert "Temperature of the part" not in page(technician, f"{SHAFT}?check=DIAMETER")
    technician.post(CASE, sent("BORE", text="26.012 mm", gauge="B1", part_temperature="45"))
    assert Reading.objects.get().part_temperature_c == 45


def test_a_second_person_reads_blind(
    bench: Examination, cast: Cast, technician: Client, signed_in: SignedIn
) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.0043 mm")
    other, lead = signed_in(cast.second_technician), signed_in(cast.lead)
    hidden = page(other, f"{CASE}?check=BORE")
    assert "One reading by another person" in hidden
    for client, seen in ((other, False), (technician, True), (lead, True), (signed_in(cast.manager), True)):
        assert ("26.0043" in page(client, f"{CASE}?check=BORE")) is seen
    other.post(CASE, sent("BORE", text="26.0182 mm", gauge="B1"))
    text = page(other, f"{CASE}?check=BORE")
    assert "26.0043" in text
    assert "differ beyond their joint uncertainty" in text
    assert "In dispute" in page(other, UNIT)


def test_a_blind_person_learns_nothing_from_the_units_page(
    bench: Examination, cast: Cast, technician: Client, signed_in: SignedIn
) -> None:
    read(bench, cast.actor("technician"), "BORE", "26.0731 mm")
    assert "26.0731" in page(technician, UNIT)
    hidden = page(signed_in(cast.second_technician), UNIT)
    assert "26.0731" not in hidden
    assert "Bore: outside." in hidden
    assert hidden.count("What was read is shown once you have read it.") == 1
    assert "What was read is shown" not in page(technician, UNIT)


def test_a_reading_is_withdrawn_by_a_form(
    bench: Examination, cast: Cast, technician: Client, signed_in: SignedIn
) -> None:
    old = say(bench, cast.actor("technician"), "LOOK", "CRACK").id
    body = {"deed": "withdraw", "id": str(uuid4()), "check": "LOOK", "withdraws": str(old), "reason": ""}
    answer = technician.post(CASE, body)
    assert answer.status_code == 422
    assert "Say why" in answer.content.decode()
    other = signed_in(cast.second_technician).post(CASE, body | {"reason": "no crack"})
    assert "another person&#x27;s reading" in other.content.decode()
    assert 'value="no crack"' not in other.content.decode()  # it may not see that reading at all
    assert technician.post(CASE, body | {"reason": "oil streak"}).status_code == 302
    text = page(technician, f"{CASE}?check=LOOK")
    assert "withdrawn" in text
    assert "Not examined." in text


def test_a_piece_is_marked_missing_by_a_form(bench: Examination, technician: Client) -> None:
    tag = tag_in(bench, "SHAFT")
    assert technician.post(SHAFT, {"deed": "missing", "piece": tag}).status_code == 302
    assert "marked as missing" in page(technician, SHAFT)
    assert technician.post(SHAFT, {"deed": "turned up", "piece": tag}).status_code == 302
    assert 'name="id"' in page(technician, SHAFT)


def test_one_who_takes_no_readings_sees_no_form(bench: Examination, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.front_desk)
    assert 'name="deed"' not in page(client, CASE)
    assert 'name="deed"' not in page(client, UNIT)
    Ticket.objects.update(stage="built")
    assert 'name="deed"' not in page(signed_in(cast.technician), CASE)


def test_only_gauges_of_the_right_kind_are_offered(cast: Cast, technician: Client) -> None:
    """And of those the one that this person last read with is chosen, whatever was used in between."""
    by = cast.actor("technician")
    kinds = SMALL.replace('name = "casing bore"', 'name = "casing bore"\ndimension = "bore"')
    bench = strip_unit(by, text=kinds.replace('name = "shaft diameter"', 'name = "d"\ndimension = "outside"'))
    Gauge.objects.filter(code="T2").update(measures="outside")
    Gauge.objects.filter(code="B1").update(measures="bore")
    text = page(technician, f"{CASE}?check=BORE")
    assert 'value="B1"' in text
    assert 'value="T2"' not in text
    read(bench, by, "BORE", "26.010 mm")
    read(bench, by, "DIAMETER", "25.98 mm", gauge="T2")
    assert 'value="B1" selected' in page(technician, f"{CASE}?check=BORE")
    Gauge.objects.update(measures="gap")
    assert "No gauge in use measures bore" in page(technician, f"{CASE}?check=BORE")


def test_a_note_is_no_caution(cast: Cast, technician: Client) -> None:
    """Oxide is for danger to people; what spoils a part stands beside in ink."""
    words = "A shaft driven out the wrong way ruins this bore."
    text = SMALL.replace(
        'feature = "CASE.B"\n\n[[check]]', f'feature = "CASE.B"\nnote = "{words}"\n\n[[check]]'
    )
    strip_unit(cast.actor("technician"), text=text)
    assert f'<p class="aside-note">{words}</p>' in page(technician, f"{CASE}?check=BORE")


def test_a_stripped_ticket_without_an_examination_is_laid_out(cast: Cast, technician: Client) -> None:
    """Old data: the ticket was moved on before its unit was laid out."""
    publish_guide(text=DEMONSTRATION.read_text(), by=PROGRAM)
    ticket = open_ticket(family="H4")
    Ticket.objects.filter(pk=ticket.pk).update(stage="stripped")
    assert 'value="strip"' in page(technician, UNIT)
    assert technician.post(UNIT, {"deed": "strip"}).status_code == 302
    held = Examination.objects.get(ticket=ticket)
    assert Piece.objects.filter(source__ticket=ticket).exists()
    assert held.ticket is not None
    assert held.ticket.stage == "stripped"
    other = open_ticket(2402, family="H4")
    Ticket.objects.filter(pk=other.pk).update(stage="quoted")
    assert 'value="strip"' not in page(technician, f"/bench/{other.number}")


HARMLESS = (
    SMALL
    + """
[[defect]]
code = "SCUFF"
check = "LOOK"
name = "scuffed"
harmless = true
"""
)


def test_what_is_worth_a_note_only_may_run(cast: Cast, technician: Client) -> None:
    by = cast.actor("technician")
    say(strip_unit(by, text=HARMLESS), by, "LOOK", "SCUFF")
    text = page(technician, f"{CASE}?check=LOOK")
    assert "<strong>Seen, may run.</strong>" in text
    assert "<span>seen, may run</span>" in text
    assert "defect" not in text.lower()
    assert "Lugs: scuffed: seen, may run." in page(technician, UNIT)


def test_readings_that_disagree_have_a_needle_each(
    bench: Examination, cast: Cast, technician: Client
) -> None:
    """Their middle, 26.0120 mm, was read by nobody."""
    read(bench, cast.actor("technician"), "BORE", "26.0040 mm")
    assert page(technician, f"{CASE}?check=BORE").count('class="needle"') == 1
    read(bench, cast.actor("second_technician"), "BORE", "26.0200 mm")
    text = page(technician, f"{CASE}?check=BORE")
    assert text.count('class="needle"') == 2
    assert "Readings disagree: 26.004 mm and 26.020 mm" in text
    read(bench, cast.actor("technician"), "DIAMETER", "25.985 mm")
    stack = page(technician, f"{SHAFT}?check=MATE")
    assert "Two readings disagree" in stack
    assert 'class="needle"' not in stack
    read(bench, cast.actor("lead"), "BORE", "26.0060 mm")
    assert page(technician, f"{CASE}?check=BORE").count('class="needle"') == 1


def test_other_checks_of_a_wrong_part_are_a_dash(bench: Examination, cast: Cast, technician: Client) -> None:
    assert "is the wrong part" not in page(technician, f"{CASE}?check=BORE")
    say(bench, cast.actor("technician"), "ID", "X1-102")
    text = page(technician, f"{CASE}?check=BORE")
    assert text.index("This piece is the wrong part.") < text.index('name="text"')
    aside = text[text.index("Checks of the position") :]
    assert "does not apply" in aside
    assert "not applicable" not in aside
    assert "This piece is the wrong part." not in page(technician, f"{CASE}?check=ID")


def test_lines_say_what_they_take_back_and_what_is_history(
    bench: Examination, cast: Cast, technician: Client
) -> None:
    by, tag = cast.actor("technician"), tag_in(bench, "CASE")
    old = read(bench, by, "BORE", "26.660 mm").id
    again = read(bench, by, "BORE", "26.006 mm", withdraws=old, reason="slip of the key").id
    assert "takes back 26.660 mm" in page(technician, f"{CASE}?check=BORE")
    read(bench, by, "BORE", "", withdraws=again, reason="the gauge was dirty")
    assert "takes back 26.006 mm" in page(technician, f"{CASE}?check=BORE")
    read(bench, by, "BORE", "26.007 mm")
    assert "Withdraw it" in page(technician, f"{CASE}?check=BORE")
    assert "before the rework" not in page(technician, f"{CASE}?check=BORE")
    Piece.objects.filter(tag=tag).update(condition=2)
    text = page(technician, f"{CASE}?check=BORE")
    assert text.count("before the rework") == 1
    assert "Withdraw it" not in text


def test_a_count_is_typed_with_digits_only(bench: Examination, technician: Client) -> None:
    assert " digits></number-pad>" in page(technician, f"{SHAFT}?check=TEETH")
    assert " digits></number-pad>" not in page(technician, f"{CASE}?check=BORE")


def two_cases(held: Examination) -> tuple[str, str]:
    """A second piece in the position that the try is assembled with."""
    first = Piece.objects.get(tag=tag_in(held, "CASE"))
    same = {"family": first.family, "source": first.source, "owner": first.owner}
    second = Piece.objects.create(tag="P-0999", position=first.position, **same)
    return first.tag, second.tag


@pytest.fixture
def tried(cast: Cast) -> Examination:
    return strip_unit(cast.actor("technician"), text=TRIED)


def test_where_one_piece_lies_nobody_is_asked_what_it_was_tried_with(
    tried: Examination, technician: Client
) -> None:
    assert 'name="pieces"' not in page(technician, f"{SHAFT}?check=TURNS")


def test_of_two_pieces_the_one_that_was_in_is_asked_for(tried: Examination, technician: Client) -> None:
    first, second = two_cases(tried)
    shown = page(technician, f"{SHAFT}?check=TURNS")
    assert "Tried with" in shown
    assert f"<option>{first}</option>" in shown
    refused = technician.post(SHAFT, sent("TURNS", outcome="sound", pieces="", note="dry"))
    words = refused.content.decode()
    assert refused.status_code == 422
    assert words.count(f"{first}, {second}. Say which one.") == 2  # in the summary, and beside the field
    assert 'value="dry"' in words
    assert technician.post(SHAFT, sent("TURNS", outcome="sound", pieces=second)).status_code == 302
    read_of = Reading.objects.get().of.values_list("piece__tag", flat=True)
    assert second in read_of
    assert first not in read_of


def test_the_piece_that_was_chosen_stays_chosen_after_an_error(
    tried: Examination, technician: Client
) -> None:
    _, second = two_cases(tried)
    more = {"pieces": second, "gauge": "B1", "text": "about 0.1"}
    refused = technician.post(SHAFT, sent("LASH", **more))
    assert refused.status_code == 422
    assert f"<option selected>{second}</option>" in refused.content.decode()


def test_at_a_look_the_state_is_the_reading_and_a_blind_person_does_not_see_it(
    bench: Examination, cast: Cast, technician: Client, signed_in: SignedIn
) -> None:
    say(bench, cast.actor("technician"), "LOOK", "CRACK")
    for client, seen in ((technician, True), (signed_in(cast.second_technician), False)):
        (decided,) = re.findall(r'<p class="decided">.*?</p>', page(client, f"{CASE}?check=LOOK"))
        assert ("Defect" in decided) is seen
        assert ("Read by another" in decided) is not seen
    assert "What would make it good" not in page(signed_in(cast.second_technician), f"{CASE}?check=LOOK")


def test_a_remedy_is_offered_with_the_case_in_which_it_is_not_worth_doing(
    cast: Cast, technician: Client
) -> None:
    not_when = 'restores = ["TURNS", "LASH"]\nlead_days = 3\nnot_when = "The washer is cheaper <new>."'
    held = strip_unit(cast.actor("technician"), text=TRIED.replace('restores = ["TURNS", "LASH"]', not_when))
    assert "What would make it good" not in page(technician, f"{SHAFT}?check=TURNS")
    say(held, cast.actor("technician"), "TURNS", "BINDS")
    shown = page(technician, f"{SHAFT}?check=TURNS")
    assert "20 minutes, 3 days away" in shown
    assert "When it is not worth doing.</b> The washer is cheaper &lt;new&gt;." in shown
