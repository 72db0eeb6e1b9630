"""Who may open what: every page of the Counter over the whole cast, and the walls round all pages."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from shop import clock
from shop.access import PROGRAM
from shop.documents import keep_file
from shop.models import Document, Reminder, Ticket
from tests.conftest import PASSWORD, ROLES, Cast, SignedIn
from tests.counter.making import TO_TESTED, bring_to, make_box, make_customer, make_ticket, picture

pytestmark = pytest.mark.django_db

OPENERS = {"front_desk", "manager", "owner"}
COLLEAGUES = {name for name, (group, _) in ROLES.items() if group}
SUPPLIERS = {"supplier", "other_supplier"}
PRICES = {"stores", "manager", "owner"}


@pytest.fixture
def ticket(cast: Cast) -> Ticket:
    made = bring_to(make_ticket(make_box(), make_customer(), PROGRAM), *TO_TESTED)
    for key, row in (("with", made), ("without", None)):
        keep_file(
            ticket=row,
            kind="tag",
            title=key,
            suffix=".txt",
            content_type="text/plain",
            data=b"words",
            key=key,
        )
    return made


def pages(ticket: Ticket) -> list[tuple[str, set[str]]]:
    """Address -> who may read it."""
    number = [ticket.number]
    with_ticket = Document.objects.get(key="with").pk
    without = Document.objects.get(key="without").pk
    return [
        (reverse("counter"), COLLEAGUES),
        (reverse("ticket", args=number), COLLEAGUES),
        (reverse("document", args=[with_ticket]), COLLEAGUES),
        (reverse("document", args=[without]), PRICES),
        (reverse("open_ticket"), OPENERS),
        (reverse("to_ring"), OPENERS),
        (reverse("hand_over", args=number), OPENERS),
    ]


def deeds(ticket: Ticket) -> list[tuple[str, set[str], dict[str, Any]]]:
    """Address, who may do it, and what is sent."""
    number = [ticket.number]
    return [
        (reverse("hold_ticket", args=number), OPENERS, {"held_why": "waits"}),
        (reverse("lift_hold", args=number), OPENERS, {}),
        (reverse("book_time", args=number), COLLEAGUES, {"minutes": "5", "work": "build"}),
        (reverse("add_photographs", args=number), OPENERS, {"photographs": [picture()]}),
        (reverse("move_ticket", args=number), OPENERS, {"seen": "tested", "to": "abandoned", "why": "x"}),
    ]


def read(client: Client, address: str) -> Any:
    """The answer to a GET; a file that it gives out is read to its end, which closes it."""
    answer: Any = client.get(address)
    if answer.streaming:
        b"".join(answer.streaming_content)
    return answer


def refused(name: str) -> int:
    """A supplier is a stranger to the shop's pages; a person without the right is a colleague."""
    return 404 if name in SUPPLIERS else 403


@pytest.mark.parametrize("name", ROLES)
def test_pages_over_the_cast(cast: Cast, signed_in: SignedIn, ticket: Ticket, name: str) -> None:
    client = signed_in(getattr(cast, name))
    for address, allowed in pages(ticket):
        wanted = 200 if name in allowed else refused(name)
        assert read(client, address).status_code == wanted, address


@pytest.mark.parametrize("name", ROLES)
def test_deeds_over_the_cast(cast: Cast, signed_in: SignedIn, ticket: Ticket, name: str) -> None:
    client = signed_in(getattr(cast, name))
    for place, (address, allowed, sent) in enumerate(deeds(ticket)):
        answer = client.post(address, sent | {"key": f"{name}-key-{place}"})
        wanted = 302 if name in allowed else refused(name)
        assert answer.status_code == wanted, address
        assert client.get(address).status_code in {403, 404, 405}, address
    ticket.refresh_from_db()
    assert ticket.stage == ("abandoned" if name in OPENERS else "tested")


@pytest.mark.parametrize("name", ROLES)
def test_handing_over_and_ringing(cast: Cast, signed_in: SignedIn, ticket: Ticket, name: str) -> None:
    client = signed_in(getattr(cast, name))
    sent = {"fitted_on": clock.today().isoformat(), "months": "12"}
    wanted = 302 if name in OPENERS else refused(name)
    assert client.post(reverse("hand_over", args=[ticket.number]), sent).status_code == wanted
    assert Reminder.objects.count() == (3 if name in OPENERS else 0)
    for reminder in Reminder.objects.all():
        assert client.post(reverse("reminder_rung", args=[reminder.pk])).status_code == 302


def test_a_stranger_is_led_to_the_door(ticket: Ticket) -> None:
    client = Client()
    for address, _allowed in pages(ticket):
        answer = client.get(address)
        assert (answer.status_code, answer.headers["Location"]) == (302, f"/sign-in?next={address}")
    for address, _may, sent in deeds(ticket):
        assert client.post(address, sent).status_code == 302
    ticket.refresh_from_db()
    assert (ticket.stage, ticket.held_why) == ("tested", "")


def test_what_is_not_there_is_not_told_from_what_is(cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.owner)
    for address in (
        reverse("ticket", args=[9999]),
        reverse("ticket", args=[10**30]),
        reverse("document", args=["0b6e8f0a-3d5c-4f5b-9a55-2f5f1f6f0a01"]),
    ):
        assert client.get(address).status_code == 404
    assert client.post(reverse("reminder_rung", args=[9999])).status_code == 404


def test_every_page_carries_the_policy_and_is_kept_by_nobody(
    cast: Cast, signed_in: SignedIn, ticket: Ticket
) -> None:
    """OWASP ASVS 5.0, 3.4.3 to 3.4.6 and 14.3.2."""
    client = signed_in(cast.owner)
    for address in [address for address, _ in pages(ticket)] + ["/sign-in", "/nothing-here", "/api/v1/me"]:
        answer = read(client, address)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy, address
        assert "frame-ancestors 'none'" in policy, address
        assert "unsafe" not in policy, address
        assert answer.headers["X-Content-Type-Options"] == "nosniff", address
        assert answer.headers["Referrer-Policy"] == "same-origin", address
        assert "no-store" in answer.headers["Cache-Control"], address


def test_a_page_has_nothing_inline(cast: Cast, signed_in: SignedIn, ticket: Ticket) -> None:
    client = signed_in(cast.owner)
    for address, _ in pages(ticket):
        answer = read(client, address)
        if answer.streaming:
            continue
        page = answer.content.decode()
        assert " style=" not in page, address
        assert "<style" not in page, address
        assert " onclick=" not in page, address
        assert "javascript:" not in page, address


def test_a_form_of_another_site_is_refused(cast: Cast, ticket: Ticket) -> None:
    """OWASP ASVS 5.0, 3.5.1."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner, backend="django.contrib.auth.backends.ModelBackend")
    for address, _may, sent in deeds(ticket):
        assert client.post(address, sent).status_code == 403
    assert client.post(reverse("open_ticket"), {}).status_code == 403
    ticket.refresh_from_db()
    assert ticket.held_why == ""


def test_who_leaves_the_shop_is_out_at_once(cast: Cast, signed_in: SignedIn) -> None:
    """OWASP ASVS 5.0, 7.4.2."""
    client = signed_in(cast.technician)
    assert client.get(reverse("counter")).status_code == 200
    cast.technician.is_active = False
    cast.technician.save()
    assert client.get(reverse("counter")).status_code == 302


def try_password(client: Client, name: str, word: str) -> Any:
    return client.post("/sign-in", {"username": name, "password": word})


def test_guessing_is_slowed_and_nobody_is_locked_out_for_long(cast: Cast, settings: Any) -> None:
    """OWASP ASVS 5.0, 6.1.1, 6.3.1: ten wrong tries a name and address, then 429 with Retry-After."""
    settings.AXES_ENABLED = True
    guesser = Client(REMOTE_ADDR="192.0.2.7")
    for number in range(settings.AXES_FAILURE_LIMIT):
        answer = try_password(guesser, "owner", f"wrong {number}")
        assert answer.status_code == (200 if number < settings.AXES_FAILURE_LIMIT - 1 else 429)
    refused_right = try_password(guesser, "owner", PASSWORD)
    assert refused_right.status_code == 429
    assert 0 < int(refused_right.headers["Retry-After"]) <= 15 * 60
    # the owner at another address, and another name at this one, get in
    assert try_password(Client(REMOTE_ADDR="192.0.2.8"), "owner", PASSWORD).status_code == 302
    assert try_password(Client(REMOTE_ADDR="192.0.2.7"), "lead", PASSWORD).status_code == 302
    assert timedelta(hours=settings.AXES_COOLOFF_TIME) <= timedelta(minutes=15)


def test_a_known_and_an_unknown_name_are_answered_alike(cast: Cast) -> None:
    """OWASP ASVS 5.0, 6.3.8."""
    client = Client()

    def answered(name: str) -> str:
        page = try_password(client, name, "wrong").content.decode()
        return re.sub(r"[A-Za-z0-9]{64}", "a token", page).replace(name, "a name")

    assert answered("owner") == answered("nobody")
