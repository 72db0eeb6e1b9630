"""Tablets for the Bench's browser tests: each is a context of its own, signed in as one of the cast."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from shop.models import User
from tests.conftest import PASSWORD

Tablet = Callable[..., Page]
PATIENCE_MS = 30_000


def sign_in(page: Page, user: User) -> None:
    page.get_by_label("Name").fill(user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)


@pytest.fixture
def tablet(chromium: Any, live_server: LiveServer) -> Iterator[Tablet]:
    """Opens a page of the bench as somebody."""
    contexts = []

    def take(user: User, path: str = "/bench/", **options: Any) -> Page:
        options = {"viewport": {"width": 820, "height": 1180}, "reduced_motion": "reduce"} | options
        context = chromium.new_context(base_url=live_server.url, **options)
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        page: Page = context.new_page()
        page.goto(path)
        sign_in(page, user)
        return page

    yield take
    for context in contexts:
        context.close()
