"""Plans frozen, quotes priced from them. Sums by hand from the invented figures in ``making``.

Used shaft 40.00 and seal 10.00 at cost, margin on parts 25 %: 50.00 and 12.50. Build and test 90 min at
60.00 an hour: 90.00; examination 100.00. Net 252.50, tax 20 % 50.50, total 303.00. Cost 40 + 10 + 1.5 h at
32.00 = 98.00.
"""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.conf import settings
from django.core import mail
from pypdf import PdfReader

from estimates.links import quote_of_link
from estimates.models import Plan, Quote
from estimates.options import basis_for
from estimates.papers import mail_quote, paper_of, print_quote
from estimates.quoting import make_plan, make_quote, plans_for_aims, send_quote
from shop import clock, outbox
from shop.access import Denied, NotThere
from shop.documents import path_of
from shop.models import Audit, Document, Outbox
from shop.money import half_up
from shop.refusals import Conflict, Refusal, Stale
from tests.conftest import Cast
from tests.estimates.making import drawn_up, examined, late_reading, seals, sent, shaft_price, used_shaft

pytestmark = pytest.mark.django_db


@pytest.fixture
def ticket(cast: Cast) -> Any:
    made = examined(cast.actor("technician"))
    used_shaft()
    seals(3)
    return made


def test_the_lines_add_up_by_hand(ticket: Any, cast: Cast) -> None:
    quote = drawn_up(ticket, cast.actor("manager"))
    assert [(one.kind, one.position_code, one.cost_minor, one.amount_minor) for one in quote.lines.all()] == [
        ("examination", "", 0, 10_000),
        ("part", "SHAFT", 4_000, 5_000),
        ("part", "SEAL", 1_000, 1_250),
        ("labour", "", 4_800, 9_000),
    ]
    assert (quote.net_minor, quote.tax_minor, quote.total_minor) == (25_250, 5_050, 30_300)
    assert quote.cost_minor == 9_800


def test_tax_is_rounded_once_half_up() -> None:
    assert half_up(Decimal("252.5")) == 253
    assert half_up(Decimal("-252.5")) == -253


def test_the_customer_reads_no_supplier_and_no_bin(ticket: Any, cast: Cast) -> None:
    words = " ".join(one.words for one in drawn_up(ticket, cast.actor("manager")).lines.all())
    assert "used piece" in words
    assert "U1" not in words
    assert "shelf" not in words


def test_a_plan_keeps_what_it_beat(ticket: Any, cast: Cast) -> None:
    shaft_price()
    plan = make_plan(ticket=ticket, aim="least cost", by=cast.actor("manager"))
    shaft = next(one for one in plan.document["choices"] if one["slot"] == "SHAFT")
    assert shaft["way"] == "used"
    assert shaft["beat"][0]["code"].startswith("SHAFT:new:TARN")
    beat = shaft["beat"][0]
    assert (beat["extra_minor"], beat["extra_days"]) == (5_000 + settings.ORDER_LINE_MINOR, 5)
    assert (plan.cost_minor, plan.days) == (5_000, 0)


def test_three_aims_are_solved_on_one_basis_and_nothing_is_kept(ticket: Any) -> None:
    shaft_price()
    aims = plans_for_aims(basis=basis_for(ticket=ticket), ticket=ticket, chosen="soonest")
    assert [one.aim for one in aims.rows] == ["least cost", "soonest", "soundest"]
    assert aims.document["aim"] == "soonest"
    assert aims.rows[0].net_minor == 25_250
    assert not Plan.objects.exists()


def test_a_reading_after_the_plan_makes_it_stale(ticket: Any, cast: Cast) -> None:
    plan = make_plan(ticket=ticket, aim="least cost", by=cast.actor("manager"))
    late_reading(ticket, cast.actor("technician"))
    with pytest.raises(Stale):
        make_quote(plan=plan, by=cast.actor("manager"))
    assert not Quote.objects.exists()


def test_nothing_fills_a_position(cast: Cast) -> None:
    bare = examined(cast.actor("technician"))
    with pytest.raises(Refusal, match="Nothing fills seal, shaft"):
        make_plan(ticket=bare, aim="least cost", by=cast.actor("manager"))


def test_an_unknown_aim_is_refused(ticket: Any, cast: Cast) -> None:
    with pytest.raises(Refusal) as refused:
        make_plan(ticket=ticket, aim="luckiest", by=cast.actor("manager"))
    assert "aim" in refused.value.errors


def test_who_may_not_plan(ticket: Any, cast: Cast) -> None:
    with pytest.raises(Denied):
        make_plan(ticket=ticket, aim="least cost", by=cast.actor("technician"))
    with pytest.raises(NotThere):
        make_plan(ticket=ticket, aim="least cost", by=cast.actor("supplier"))


def test_sent_twice_is_sent_once_with_one_letter(ticket: Any, cast: Cast) -> None:
    by = cast.actor("front_desk")
    quote = drawn_up(ticket, by)
    path = send_quote(quote=quote, by=by)
    stale = Quote.objects.get(pk=quote.pk)
    send_quote(quote=stale, by=by)
    assert quote_of_link(path.rsplit("/", 1)[1]) == quote
    assert Outbox.objects.filter(rule__in=("print quote", "mail quote")).count() == 2
    outbox.run_due()
    assert [one.to for one in mail.outbox] == [["c2401@example.org"]]
    assert Audit.objects.filter(deed="sent").count() == 1
    ticket.refresh_from_db()
    assert ticket.stage == "quoted"


def test_a_letter_has_the_paper_the_link_and_a_stable_id(ticket: Any, cast: Cast) -> None:
    quote = sent(ticket, cast.actor("front_desk"))
    mail_quote(f"quote-mail:{quote.pk}", quote.pk)
    mail_quote(f"quote-mail:{quote.pk}", quote.pk)
    first, again = mail.outbox
    assert first.extra_headers["Message-ID"] == again.extra_headers["Message-ID"]
    assert "/quote/" in first.body
    assert "303.00 EUR" in first.body
    name, data, kind = first.attachments[0]
    assert (name, kind) == ("quote-2401-1.pdf", "application/pdf")
    assert isinstance(data, bytes)
    assert data.startswith(b"%PDF")
    assert Document.objects.filter(kind="quote").count() == 1


def test_the_paper_says_what_is_owed_and_what_happens_on_a_no(ticket: Any, cast: Cast) -> None:
    quote = sent(ticket, cast.actor("front_desk"))
    print_quote("whatever", quote.pk)
    paper = paper_of(quote)
    assert paper is not None
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(path_of(paper)).pages).split())
    for words in (
        "252.50",
        "Tax, 20 %",
        "303.00",
        "On a no the unit goes back",
        "never lift or carry it alone",
        "valid until",
    ):
        assert words in text
    assert "98.00" not in text  # what it costs the shop


def test_a_new_version_supersedes_the_one_before_the_customer(ticket: Any, cast: Cast) -> None:
    by = cast.actor("manager")
    first = sent(ticket, by)
    second = sent(ticket, by)
    first.refresh_from_db()
    assert (first.state, second.state, second.version) == ("superseded", "sent", 2)
    with pytest.raises(Conflict):
        send_quote(quote=first, by=by)


def test_a_superseded_quote_is_not_mailed(ticket: Any, cast: Cast) -> None:
    by = cast.actor("manager")
    first = sent(ticket, by)
    sent(ticket, by)
    mail_quote("late", first.pk)
    assert mail.outbox == []


def test_valid_for_thirty_days(ticket: Any, cast: Cast) -> None:
    quote = sent(ticket, cast.actor("manager"))
    assert quote.valid_until == clock.today() + timedelta(days=30)
