"""The worker that lets a tablet open the bench's pages without a network.

A browser gives a worker only the addresses below its own, so it stands at the root. Its version is of its own
text and of every file it keeps: a new landing throws the older keepings away.
"""

from __future__ import annotations

import json
from functools import lru_cache

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from shop.once import digest

SOURCE = "inspections/bench-worker.js"
SCOPE = "/bench/"
KEPT_FOLDERS = ("shop/css/", "shop/js/", "shop/fonts/", "shop/mark.svg", "inspections/", "django_htmx/htmx")
KEPT_KINDS = (".css", ".js", ".woff2", ".svg")


def kept_files() -> list[str]:
    """Addresses of the static files that the bench's pages stand on.

    Modules ask for each other by their plain names, so those are kept beside the names with a digest.
    """
    plain = [f"{settings.STATIC_URL}{name}" for name in _names() if name.endswith(".js")]
    return sorted({*plain, *(staticfiles_storage.url(name) for name in _names())})


def _names() -> list[str]:
    found = {
        name
        for finder in finders.get_finders()
        for name, _ in finder.list([])
        if name.startswith(KEPT_FOLDERS) and name.endswith(KEPT_KINDS) and name != SOURCE
    }
    return sorted(found)


@lru_cache(maxsize=1)
def _made() -> tuple[str, str]:
    """The worker's text and its version."""
    texts = []
    for name in (SOURCE, *_names()):
        place = finders.find(name)
        assert isinstance(place, str)
        with open(place, "rb") as file:
            texts.append(digest(file.read().hex()))
    files = kept_files()
    version = digest([files, texts])[:12]
    source = finders.find(SOURCE)
    assert isinstance(source, str)
    with open(source, encoding="utf-8") as file:
        body = file.read()
    head = f"const VERSION = {json.dumps(version)};\nconst FILES = {json.dumps(files)};\n"
    return head + body, version


def keeping_version() -> str:
    """What the kept pages are named with, so that old ones are not served with new files."""
    return _made()[1]


@require_safe
def bench_worker(request: HttpRequest) -> HttpResponse:
    """The worker's text. It holds nothing of anybody, so nobody has to be signed in."""
    answer = HttpResponse(_made()[0], content_type="text/javascript; charset=utf-8")
    answer.headers["Service-Worker-Allowed"] = SCOPE
    answer.headers["Cache-Control"] = "no-cache"
    return answer
