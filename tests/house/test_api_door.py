"""The door of the API: who is asking, tokens, CSRF, and problems whatever goes wrong."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from shop import clock
from shop.access import make_token
from shop.models import Token
from tests.conftest import PASSWORD, Cast, SignedIn

pytestmark = pytest.mark.django_db
API = "/api/v1"


def bearer(secret: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {secret}"}


def test_health_is_open_and_says_which_database() -> None:
    answer = Client().get(f"{API}/health")
    assert answer.status_code == 200
    assert answer.json()["status"] == "well"


def test_me_says_who_and_gives_a_csrf_token(cast: Cast, signed_in: SignedIn) -> None:
    me = signed_in(cast.lead).get(f"{API}/me").json()
    assert (me["name"], me["kind"], me["roles"]) == ("Jonas Prideaux", "person", ["lead technician"])
    assert len(me["csrf_token"]) >= 32
    secret = make_token(user=cast.supplier, label="")
    assert Client().get(f"{API}/me", headers=bearer(secret)).json()["kind"] == "supplier"


def test_a_token_that_is_revoked_or_whose_user_left_opens_nothing(cast: Cast) -> None:
    secret = make_token(user=cast.technician, label="")
    asked = Client(headers=bearer(secret))
    assert asked.get(f"{API}/me").status_code == 200
    assert Token.objects.get().last_used_at is not None
    Token.objects.update(revoked_at=clock.now())
    refused = asked.get(f"{API}/me")
    assert (refused.status_code, refused.headers["WWW-Authenticate"]) == (401, "Bearer")
    Token.objects.update(revoked_at=None)
    cast.technician.is_active = False
    cast.technician.save()
    assert asked.get(f"{API}/me").status_code == 401


def test_when_a_token_was_used_is_noted_once_a_minute(cast: Cast) -> None:
    asked = Client(headers=bearer(make_token(user=cast.technician, label="")))
    asked.get(f"{API}/me")
    first = Token.objects.get().last_used_at
    asked.get(f"{API}/me")
    assert Token.objects.get().last_used_at == first
    with clock.shifted(timedelta(minutes=2)):
        asked.get(f"{API}/me")
    assert Token.objects.get().last_used_at != first


@pytest.mark.parametrize("secret", ["", "lay_x", "lay_" + "a" * 5000, "é"])
def test_a_wrong_token_is_a_problem(secret: str) -> None:
    answer = Client().get(f"{API}/me", headers=bearer(secret))
    assert answer.status_code == 401
    assert answer.json()["title"] == "Sign in"


def problem_of(answer: Any) -> dict[str, Any]:
    assert answer.headers["Content-Type"] == "application/problem+json"
    found: dict[str, Any] = answer.json()
    assert found["status"] == answer.status_code
    assert set(found) >= {"type", "title", "status"}
    return found


def test_every_error_is_a_problem_document() -> None:
    """RFC 9457, 3.1: members type, title, status; also where the framework answers by itself."""
    client = Client()
    for answer, status in (
        (client.get(f"{API}/nothing-here"), 404),
        (client.get("/api/nothing-here"), 404),
        (client.delete(f"{API}/health"), 405),
        (client.get(f"{API}/tickets"), 401),
        (client.get(f"{API}/tickets/"), 404),
    ):
        assert answer.status_code == status
        problem_of(answer)
    assert client.delete(f"{API}/health").headers["Allow"] == "GET"


def test_a_session_needs_its_csrf_token_and_a_bearer_does_not(cast: Cast) -> None:
    """OWASP ASVS 5.0, 3.5.1."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.front_desk, backend="django.contrib.auth.backends.ModelBackend")
    refused = client.post(f"{API}/tickets", "{}", content_type="application/json")
    assert refused.status_code == 403
    problem_of(refused)
    csrf = client.get(f"{API}/me").json()["csrf_token"]
    passed = client.post(
        f"{API}/tickets", "{}", content_type="application/json", headers={"X-CSRFToken": csrf}
    )
    assert passed.status_code == 422
    secret = make_token(user=cast.front_desk, label="")
    by_token = Client(enforce_csrf_checks=True, headers=bearer(secret))
    assert by_token.post(f"{API}/tickets", "{}", content_type="application/json").status_code == 422


def test_nothing_of_the_api_is_cached(cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.owner).get(f"{API}/me")
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_the_description_is_served_and_names_the_calls() -> None:
    described = Client().get(f"{API}/openapi.json").json()
    assert {"/api/v1/health", "/api/v1/me", "/api/v1/tickets", "/api/v1/tickets/{number}"} <= set(
        described["paths"]
    )
    assert set(described["paths"]["/api/v1/tickets/{number}"]) == {"get", "patch"}


def test_the_documentation_page_loads_nothing_from_elsewhere() -> None:
    page = Client().get(f"{API}/docs").content.decode()
    assert "https://" not in page
    assert "//cdn" not in page


def test_signing_in_with_the_password_opens_the_api(cast: Cast) -> None:
    client = Client()
    answer = client.post("/sign-in", {"username": "lead", "password": PASSWORD})
    assert answer.status_code == 302
    assert client.get(f"{API}/me").status_code == 200
    client.post("/sign-out")
    assert client.get(f"{API}/me").status_code == 401
