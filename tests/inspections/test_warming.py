"""What the web process does before its first request."""

from __future__ import annotations

import logging

import pytest

from inspections.guiding.guides import guide_of, newest_revision, read_newest_guides
from shop.warming import WARM, warm_up
from tests.conftest import Cast
from tests.inspections.job import agreed_job


def test_a_part_that_fails_does_not_stop_the_start(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    done = []

    def bad() -> None:
        raise OSError("no database yet")

    monkeypatch.setattr("shop.warming.WARM", [bad, lambda: done.append("good")])
    with caplog.at_level(logging.ERROR):
        warm_up()
    assert done == ["good"]
    assert "bad failed" in caplog.text


def test_the_guides_are_among_it() -> None:
    assert read_newest_guides in WARM


@pytest.mark.django_db
def test_after_it_a_guide_costs_no_question(cast: Cast, django_assert_num_queries: object) -> None:
    revision = newest_revision(agreed_job(cast).ticket.variant.family)
    read_newest_guides()
    with django_assert_num_queries(0):  # type: ignore[operator]
        assert guide_of(revision).guide.family == "H4"
