"""The named cast, the browser, and what every test stands on."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import Group
from django.db import connection
from django.test import Client, TransactionTestCase

from shop import groups, triggers
from shop.access import Actor, actor_for
from shop.models import User

CHROMIUM = "/usr/bin/chromium"
CHROMIUM_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)
PASSWORD = "a long invented password"

# Playwright's synchronous driver runs an event loop in the test's thread.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--snapshot", action="store_true", help="write kept documents anew")


def pytest_configure() -> None:
    """Tests never write where the shop keeps its things, hash quickly, and serve static files plainly."""
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.AXES_ENABLED = False
    settings.WHITENOISE_AUTOREFRESH = True
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"


_teardown: Any = getattr(TransactionTestCase, "_fixture_teardown")  # noqa: B009


def _empty_append_only_tables(case: TransactionTestCase) -> None:
    # A flush deletes rows on SQLite, which the append-only triggers refuse; post_migrate, which the flush
    # sends at its end, makes them again.
    triggers.drop_triggers()
    _teardown(case)


setattr(TransactionTestCase, "_fixture_teardown", _empty_append_only_tables)  # noqa: B010


@pytest.fixture(autouse=True)
def private_files(tmp_path: Path, settings: Any) -> Path:
    """Files of a test live in its own folder."""
    settings.HOME = tmp_path
    settings.MEDIA_ROOT = tmp_path / "files"
    return tmp_path


@dataclass(frozen=True)
class Cast:
    """Who works in the invented shop."""

    front_desk: User
    technician: User
    second_technician: User
    lead: User
    stores: User
    manager: User
    owner: User
    supplier: User
    other_supplier: User
    stranger: User

    def actor(self, name: str) -> Actor:
        return actor_for(getattr(self, name))


ROLES = {
    "front_desk": (groups.FRONT_DESK, "Ada Quill"),
    "technician": (groups.TECHNICIAN, "Rune Okafor"),
    "second_technician": (groups.TECHNICIAN, "Mira Teasdale"),
    "lead": (groups.LEAD, "Jonas Prideaux"),
    "stores": (groups.STORES, "Betta Lund"),
    "manager": (groups.MANAGER, "Ines Carrow"),
    "owner": (groups.OWNER, "Olwen Marsh"),
    "supplier": ("", "Tarn Gear Supply"),
    "other_supplier": ("", "Pellmoor Bearings"),
    "stranger": ("", "Nobody of the shop"),
}


def make_user(name: str, group: str, display: str) -> User:
    user = User.objects.create_user(name, password=PASSWORD, display_name=display)
    if group:
        user.groups.add(Group.objects.get(name=group))
    return user


@pytest.fixture
def cast(db: None) -> Cast:
    from inventory.models import Supplier

    made = Cast(**{name: make_user(name, group, display) for name, (group, display) in ROLES.items()})
    Supplier.objects.create(
        code="TARN", name="Tarn Gear Supply (invented)", user=made.supplier, currency="EUR"
    )
    Supplier.objects.create(
        code="PELL", name="Pellmoor Bearings (invented)", user=made.other_supplier, currency="GBP"
    )
    return made


SignedIn = Callable[[User], Client]


@pytest.fixture
def signed_in() -> SignedIn:
    """A client signed in as that person."""

    def make(user: User) -> Client:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return make


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One real Chromium for the session."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


def is_postgresql() -> bool:
    return connection.vendor == "postgresql"
