"""The OpenAPI document is a promise: it changes only when it is meant to.

After a meant change: ``pytest tests/house/test_openapi.py --snapshot`` writes it anew.
"""

import json
import re
from pathlib import Path

import pytest
from django.test import Client

KEPT = Path(__file__).with_name("openapi.json")
# What a client was promised by name.
PROMISED = {
    ("post", "/api/v1/tickets"),
    ("get", "/api/v1/tickets"),
    ("get", "/api/v1/tickets/{number}"),
    ("post", "/api/v1/tickets/{number}/readings"),
    ("get", "/api/v1/tickets/{number}/findings"),
    ("get", "/api/v1/tickets/{number}/plan"),
    ("post", "/api/v1/examinations/{pk}/readings"),
    ("post", "/api/v1/price-files"),
    ("get", "/api/v1/price-files/{id}"),
    ("get", "/api/v1/prices"),
    ("get", "/api/v1/stock"),
    ("get", "/api/v1/me"),
    ("get", "/api/v1/health"),
}


def nameless(path: str) -> str:
    """A path's parameters have places, not names."""
    return re.sub(r"\{[^}]*\}", "{}", path)


@pytest.mark.django_db
def test_the_document_is_the_one_kept(request: pytest.FixtureRequest) -> None:
    answer = Client().get("/api/v1/openapi.json")
    assert answer.status_code == 200
    served = answer.json()
    if request.config.getoption("--snapshot"):
        KEPT.write_text(json.dumps(served, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
    assert served == json.loads(KEPT.read_text()), "run with --snapshot if this change is meant"


def test_what_was_promised_is_there() -> None:
    paths = json.loads(KEPT.read_text())["paths"]
    offered = {(verb, nameless(path)) for path, verbs in paths.items() for verb in verbs}
    assert {(verb, nameless(path)) for verb, path in PROMISED} - offered == set()


@pytest.mark.django_db
def test_the_documentation_page_loads_nothing_from_elsewhere() -> None:
    answer = Client().get("/api/v1/docs")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "http://" not in page.replace("http://testserver", "")
    assert "https://" not in page
