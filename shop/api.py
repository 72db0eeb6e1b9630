"""The ground floor's part of the API: the door, tickets, the handbook."""

import sqlite3
from typing import Any

from django.db import connection
from django.http import HttpRequest
from django.middleware.csrf import get_token
from ninja import Router

from shop.access import asker

door = Router(tags=["door"])
tickets = Router(tags=["tickets"])
handbook = Router(tags=["handbook"])


@door.get("/health", auth=None)
def health(request: HttpRequest) -> dict[str, Any]:
    """Is the database there? Answers 500 if it is not."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    library = sqlite3.sqlite_version if connection.vendor == "sqlite" else ""
    return {"status": "well", "database": connection.vendor, "sqlite": library}


@door.get("/me")
def me(request: HttpRequest) -> dict[str, Any]:
    """Who is asking, what this person may do, and a fresh CSRF token."""
    by = asker(request)
    user = by.person
    return {
        "name": str(user),
        "kind": by.kind,
        "roles": sorted(user.groups.values_list("name", flat=True)),
        "csrf_token": get_token(request),
    }
