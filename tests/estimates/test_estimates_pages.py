"""Pages of the Office and the customer's page: who may see what, and what they do without JavaScript."""

import html
import re
from datetime import timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from pytest_django.live_server_helper import LiveServer

from estimates.accepting import accept_quote
from estimates.api import tidy
from estimates.links import customer_of, path_of_quote
from estimates.models import Plan, Quote
from estimates.shown import quote_context, terms_of
from shop import clock, outbox
from shop.access import make_token
from shop.models import ExchangeRate, Ticket
from tests.conftest import ROLES, Cast, SignedIn
from tests.estimates.making import examined, part, seals, sent, shaft_price, used_shaft

PUBLIC_COST = "98.00"  # what the work of the quote in ``making`` costs the shop


@pytest.fixture
def ticket(cast: Cast) -> Ticket:
    made = examined(cast.actor("technician"))
    used_shaft()
    shaft_price()
    seals(3)
    return made


@pytest.fixture
def given(ticket: Ticket, cast: Cast) -> Quote:
    """A quote before the customer, its paper printed and its letter sent."""
    made = sent(ticket, cast.actor("manager"))
    outbox.run_due()
    return made


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


MAY_QUOTE = {"front_desk", "manager", "owner"}
MAY_SEE = {"manager", "owner"}
OUTSIDE = {"supplier", "other_supplier"}


def expected(who: str, may: set[str]) -> int:
    if who in may:
        return 200
    return 404 if who in OUTSIDE else 403


@pytest.mark.django_db
@pytest.mark.parametrize("who", ROLES)
def test_who_may_open_which_page(who: str, given: Quote, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(getattr(cast, who))
    number = given.ticket.number
    for path, may in (
        (reverse("office"), MAY_SEE),
        (reverse("rates"), MAY_SEE),
        (reverse("plan", args=[number]), MAY_QUOTE),
        (reverse("quote", args=[given.pk]), MAY_QUOTE),
        (f"/api/v1/tickets/{number}/plan", MAY_QUOTE),
    ):
        assert client.get(path).status_code == expected(who, may), path
    for path, may in ((reverse("plan", args=[number]), MAY_QUOTE), (reverse("rates"), MAY_SEE)):
        answer = client.post(path, {})
        assert answer.status_code in ({302, 422} if who in may else {expected(who, may)}), path
    answer = client.post(reverse("send_quote", args=[given.pk]))
    assert answer.status_code == (302 if who in MAY_QUOTE else expected(who, MAY_QUOTE))


@pytest.mark.django_db
def test_strangers_are_sent_to_sign_in(given: Quote) -> None:
    for path in (
        reverse("office"),
        reverse("rates"),
        reverse("plan", args=[2401]),
        reverse("quote", args=[given.pk]),
    ):
        answer = Client().get(path)
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in")
    assert Client().get("/api/v1/tickets/2401/plan").status_code == 401


@pytest.mark.django_db
def test_there_is_no_such_ticket_or_quote(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.owner)
    for path in (reverse("plan", args=[9999]), reverse("quote", args=[9999]), "/api/v1/tickets/9999/plan"):
        assert client.get(path).status_code == 404


@pytest.mark.django_db
def test_the_plan_shows_costs_only_to_those_who_may_see_them(
    ticket: Ticket, cast: Cast, signed_in: SignedIn
) -> None:
    path = reverse("plan", args=[ticket.number])
    page = text_of(signed_in(cast.manager).get(path, {"aim": "soonest"}))
    assert "soonest, shown here" in page
    assert "Cost to the shop" in page
    assert "costs 53.50 more" in page
    assert "Shaft in bore" in page
    desk = text_of(signed_in(cast.front_desk).get(path))
    assert "252.50" in desk
    assert "Cost to the shop" not in desk
    assert "53.50" not in desk
    assert "50.00" not in desk.replace("252.50", "")


@pytest.mark.django_db
def test_a_plan_of_a_unit_that_is_not_examined(cast: Cast, signed_in: SignedIn) -> None:
    made = examined(cast.actor("technician"))
    answer = signed_in(cast.manager).get(reverse("plan", args=[made.number]))
    assert answer.status_code == 422
    assert "Nothing fills seal, shaft" in text_of(answer)


@pytest.mark.django_db
def test_the_button_keeps_the_plan_and_makes_a_quote(ticket: Ticket, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.front_desk)
    answer = client.post(reverse("plan", args=[ticket.number]), {"aim": "soonest"})
    made = Quote.objects.get(ticket=ticket)
    assert answer.status_code == 302
    assert answer["Location"] == reverse("quote", args=[made.pk])
    assert Plan.objects.get().aim == "soonest"
    assert PUBLIC_COST not in text_of(client.get(answer["Location"]))
    assert PUBLIC_COST in text_of(signed_in(cast.manager).get(answer["Location"]))
    assert client.post(reverse("send_quote", args=[made.pk])).status_code == 302
    outbox.run_due()
    page = text_of(client.get(reverse("quote", args=[made.pk])))
    assert "/quote/" in page
    assert "The quote (PDF)" in page


def floats_in(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [one for part in value.values() for one in floats_in(part)]
    if isinstance(value, list):
        return [one for part in value for one in floats_in(part)]
    return [value] if isinstance(value, float) else []


def test_floats_of_the_api_lose_their_binary_tail() -> None:
    assert tidy({"risk": 1 - 0.98, "rows": [{"mm": 0.1 + 0.2}], "none": None}) == {
        "risk": 0.02,
        "rows": [{"mm": 0.3}],
        "none": None,
    }


@pytest.mark.django_db
def test_the_api_gives_the_plan_and_keeps_nothing(ticket: Ticket, cast: Cast) -> None:
    secret = make_token(user=cast.manager, label="test")
    client = Client(headers={"Authorization": f"Bearer {secret}"})
    body = client.get("/api/v1/tickets/2401/plan", {"aim": "least cost"}).json()
    assert (body["cost"], body["days"], body["provisional"]) == ("50.00 EUR", 0, False)
    shaft = next(one for one in body["positions"] if one["position"] == "SHAFT")
    assert shaft["way"] == "used"
    assert shaft["beat"][0]["extra_cost"] == "53.50 EUR"
    assert body["stacks"][0]["margin_mm"] > 0
    assert not Plan.objects.exists()
    assert not [one for one in floats_in(body) if one != round(one, 6)]
    wrong = client.get("/api/v1/tickets/2401/plan", {"aim": "luckiest"})
    assert wrong.status_code == 422
    assert wrong["Content-Type"].startswith("application/problem+json")
    desk = Client(headers={"Authorization": f"Bearer {make_token(user=cast.front_desk, label='t')}"})
    assert desk.get("/api/v1/tickets/2401/plan").json()["cost"] is None


@pytest.mark.django_db
def test_the_customer_needs_no_sign_in_and_learns_no_cost(given: Quote) -> None:
    answer = Client().get(path_of_quote(given))
    page = text_of(answer)
    assert answer.status_code == 200
    for words in ("303.00", "252.50", "Tax, 20 %", "On a no the unit", "never lift or carry it alone", "PDF"):
        assert words in page
    assert "Loaded spring." not in page
    assert PUBLIC_COST not in page
    assert 'href="/counter' not in page
    assert answer["Referrer-Policy"] == "same-origin"
    assert "noindex" in answer["X-Robots-Tag"]
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.django_db
def test_the_page_and_the_paper_carry_the_same_terms(cast: Cast, signed_in: SignedIn, settings: Any) -> None:
    """One source of terms: the fee, the storage, the deposit, used pieces and what a no brings."""
    settings.SHOP_NAME, settings.SHOP_ADDRESS = "Shop of the test", "Invented Lane 4"
    made = examined(
        cast.actor("technician"),
        storage_words="four weeks free, then 2.00 a day",
        deposit_minor=5_000,
        on_no="returned together",
    )
    used_shaft()
    seals(3)
    row = sent(made, cast.actor("manager"))
    quote = Quote.objects.select_related("ticket__variant", "ticket__family", "plan").get(pk=row.pk)
    terms = terms_of(quote)
    for words in (
        "goes back to you put together", "100.00 EUR before tax", "four weeks free, then 2.00 a day",
        "deposit of 50.00 EUR", "If more damage is found", "Used pieces are not new", "Old parts are kept",
    ):  # fmt: skip
        assert any(words in term for term in terms), words
    paper = render_to_string("estimates/quote_paper.html", quote_context(quote))
    public = text_of(Client().get(path_of_quote(row)))
    staff = text_of(signed_in(cast.front_desk).get(reverse("quote", args=[row.pk])))
    for term in terms:
        for place in (paper, public, staff):
            assert term in html.unescape(place)
    for place in (paper, public, staff):
        assert "253.00" in place  # 303.00 less the deposit of 50.00
        assert "Loaded spring." not in place
    head, _drawing, _rest = paper.partition("<svg")
    for words in ("Shop of the test", "Invented Lane 4", "303.00 EUR", "Valid until"):
        assert words in head.partition("<body")[2], words


@pytest.mark.django_db
def test_the_hand_over_leads_to_the_quote_and_the_sum_due(
    given: Quote, cast: Cast, signed_in: SignedIn
) -> None:
    Ticket.objects.filter(pk=given.ticket_id).update(deposit_minor=5_000)
    desk, number = signed_in(cast.front_desk), given.ticket.number
    link = reverse("ticket_quote", args=[number])
    assert f'href="{link}">quote and sum due' in text_of(desk.get(reverse("hand_over", args=[number])))
    assert desk.get(link)["Location"] == reverse("quote", args=[given.pk])
    page = text_of(desk.get(reverse("quote", args=[given.pk])))
    assert "To pay: total less deposit" in page
    assert "253.00" in page
    accept_quote(quote=given, name="Pat Invented", key="k", by=customer_of(given))
    assert "to pay, total less deposit, 253.00" in text_of(signed_in(cast.owner).get(reverse("office")))
    assert signed_in(cast.technician).get(link).status_code == 403
    assert signed_in(cast.supplier).get(link).status_code == 404


@pytest.mark.django_db
def test_without_a_quote_the_link_leads_to_the_plan(ticket: Ticket, cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.front_desk).get(reverse("ticket_quote", args=[ticket.number]))
    assert answer["Location"] == reverse("plan", args=[ticket.number])


@pytest.mark.django_db
def test_unchanged_own_pieces_are_folded_and_named_once(
    ticket: Ticket, cast: Cast, signed_in: SignedIn
) -> None:
    page = text_of(signed_in(cast.manager).get(reverse("plan", args=[ticket.number])))
    assert "1 own piece goes back as it is</summary>" in page
    folded = page.partition("goes back as it is</summary>")[2].partition("</table>")[0]
    assert 'id="choice-CASE"' in folded
    assert 'id="choice-SHAFT"' not in folded
    assert "own piece goes back<" not in page
    assert "Shaft: " not in page.partition("choices-caption")[2]
    assert page.count("Loaded spring.") == 1
    assert page.partition("<footer")[0].count("a competent person come") == 1


@pytest.mark.django_db
def test_the_customers_paper(given: Quote) -> None:
    answer = Client().get(path_of_quote(given) + "/paper")
    assert answer["Content-Type"] == "application/pdf"
    assert b"".join(answer).startswith(b"%PDF")
    assert "attachment" in answer["Content-Disposition"]
    assert answer["Referrer-Policy"] == "no-referrer"


@pytest.mark.django_db
def test_a_tampered_link_says_nothing(given: Quote) -> None:
    path = path_of_quote(given)
    for wrong in (path[:-1], path + "x", "/quote/abc", "/quote/%C3%A9~", path[:-1] + "/paper"):
        answer = Client().get(wrong)
        assert answer.status_code == 404, wrong
        assert "No quote opens with this address" in text_of(answer)
        assert "2401" not in text_of(answer)
        assert answer["Referrer-Policy"] == "no-referrer"
    assert Client().post(path[:-1], {"name": "Pat Invented", "answer": "accept"}).status_code == 404


def form_of(client: Client, path: str) -> dict[str, str]:
    page = text_of(client.get(path))
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]+)"', page))


@pytest.mark.django_db
def test_the_customer_says_yes(given: Quote) -> None:
    client = Client(enforce_csrf_checks=True)
    path = path_of_quote(given)
    assert client.post(path, {"name": "Pat Invented", "answer": "accept"}).status_code == 403
    fields = form_of(client, path)
    assert set(fields) == {"csrfmiddlewaretoken", "key"}
    empty = client.post(path, fields | {"name": "", "answer": "accept"})
    assert empty.status_code == 422
    assert "Write your name" in text_of(empty)
    unclear = client.post(path, fields | {"name": "Pat Invented"})
    assert unclear.status_code == 422
    assert "Pat Invented" in text_of(unclear)
    for _ in range(3):
        done = client.post(path, fields | {"name": "Pat Invented", "answer": "accept"})
        assert done.status_code == 302
    page = text_of(client.get(path))
    assert "Accepted on" in page
    assert "Pat Invented" in page
    assert "<form" not in page
    late = client.post(path, fields | {"name": "Pat Invented", "answer": "decline"})
    assert late.status_code == 409
    assert "accepted already" in text_of(late)


@pytest.mark.django_db
def test_a_part_that_has_gone_is_said_and_nothing_is_half_done(cast: Cast) -> None:
    first, second = (examined(cast.actor("technician"), number) for number in (2401, 2402))
    used_shaft()
    seals(3)
    quotes = [sent(one, cast.actor("manager")) for one in (first, second)]
    for made, status in zip(quotes, (302, 409), strict=True):
        answer = Client().post(path_of_quote(made), {"name": "Pat Invented", "key": "k", "answer": "accept"})
        assert answer.status_code == status
    assert "has gone to another job" in text_of(answer)
    quotes[1].refresh_from_db()
    assert quotes[1].state == "sent"


@pytest.mark.django_db
def test_an_ended_and_a_superseded_quote_say_so(given: Quote, cast: Cast) -> None:
    path = path_of_quote(given)
    with clock.shifted(timedelta(days=40)):
        page = text_of(Client().get(path))
    assert "This quote ended on" in page
    assert "<form" not in page
    sent(Ticket.objects.get(pk=given.ticket_id), cast.actor("manager"))
    assert "A newer quote has taken the place" in text_of(Client().get(path))


@pytest.mark.django_db
def test_rates_are_typed_and_nonsense_comes_back(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.manager)
    path = reverse("rates")
    day = clock.today().isoformat()
    for wrong, words in (
        ({"currency": "XQZ", "on": day, "rate": "1.1"}, "three letters"),
        ({"currency": "EUR", "on": day, "rate": "1.1"}, "own currency"),
        ({"currency": "GBP", "on": day, "rate": "-1"}, "Write a rate such as"),
        ({"currency": "GBP", "on": day, "rate": "0"}, "more than nothing"),
        ({"currency": "GBP", "on": day, "rate": "1e5"}, "Write a rate such as"),
        ({"currency": "GBP", "on": "2199-01-01", "rate": "1.1"}, "a day that has come"),
        ({"currency": "GBP", "on": "soon", "rate": "1.1"}, "Write a day such as"),
    ):
        answer = client.post(path, wrong)
        assert answer.status_code == 422, wrong
        assert words in text_of(answer), wrong
        assert f'value="{wrong["rate"]}"' in text_of(answer)
    assert not ExchangeRate.objects.exists()
    assert client.post(path, {"currency": "gbp", "on": day, "rate": "1,15"}).status_code == 302
    assert ExchangeRate.objects.get().rate_micro == 1_150_000
    assert "1.15" in text_of(client.get(path))
    assert client.post(path, {"currency": "GBP", "on": day, "rate": "1.16"}).status_code == 422
    assert client.post(path, {"currency": "GBP", "on": day, "rate": "1.16", "sure": "on"}).status_code == 302
    assert ExchangeRate.objects.get().rate_micro == 1_160_000


RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1440, 820])
def test_no_barrier_in_chromium(
    chromium: Any, live_server: LiveServer, cast: Cast, signed_in: SignedIn, scheme: str, width: int
) -> None:
    made = examined(cast.actor("technician"))
    used_shaft()
    shaft_price()
    part("X1-SEAL", "SEAL", "Seal")
    seals(2)
    given = sent(made, cast.actor("manager"))
    outbox.run_due()
    cookie = signed_in(cast.owner).cookies["sessionid"].value
    context = chromium.new_context(
        viewport={"width": width, "height": 1000}, color_scheme=scheme, reduced_motion="reduce"
    )
    context.add_cookies([{"name": "sessionid", "value": cookie, "url": live_server.url}])
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    for path in (
        reverse("office"), reverse("rates"), reverse("plan", args=[2401]), reverse("quote", args=[given.pk]),
        path_of_quote(given),
    ):  # fmt: skip
        assert page.goto(live_server.url + path).status == 200
        found = Axe().run(page, options={"runOnly": RULES})
        assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert complaints == []
    context.close()


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_a_customer_answers_in_a_real_browser(chromium: Any, live_server: LiveServer, cast: Cast) -> None:
    """Without JavaScript, without a sign-in; the browser's own referrer and origin rules hold."""
    made = examined(cast.actor("technician"))
    used_shaft()
    seals(2)
    given = sent(made, cast.actor("manager"))
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(live_server.url + path_of_quote(given))
    page.get_by_label("Your name").fill("Pat Invented")
    page.get_by_role("button", name="Yes, do the work").click()
    page.wait_for_url("**/quote/**")
    assert "Accepted on" in page.content()
    given.refresh_from_db()
    assert (given.state, given.answered_name) == ("accepted", "Pat Invented")
    context.close()
