"""The real server on a port of its own, started with the options that ``docker/start web`` has."""

from __future__ import annotations

import os
import re
import shlex
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote
from urllib.request import urlopen

from django.db import connection

TOP = Path(__file__).resolve().parents[2]
STARTS_WITHIN_S = 60.0


def options_of_start() -> list[str]:
    """What ``docker/start`` gives the server, without its host and port."""
    text = (TOP / "docker" / "start").read_text().replace("\\\n", " ")
    found = re.search(r"-m granian (.*?) \"\$@\" (\S+)", text)
    assert found is not None, "docker/start starts the web server in another way: mend this pattern"
    words = shlex.split(found[1])
    for name in ("--host", "--port"):
        at = words.index(name)
        del words[at : at + 2]
    return [*words, found[2]]


def url_of_database() -> str:
    """The database that this test runs on, for another process."""
    known = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{known['NAME']}"
    return (
        f"postgresql://{quote(known['USER'])}:{quote(known['PASSWORD'])}@{known['HOST']}:{known['PORT']}"
        f"/{quote(known['NAME'])}"
    )


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


@contextmanager
def serving(home: Path) -> Iterator[int]:
    """The server on this test's database; gives its port, and ends it."""
    port, log = free_port(), home / "server.log"
    (home / "static").mkdir(parents=True, exist_ok=True)
    environment = os.environ | {
        "DATABASE_URL": url_of_database(),
        "DJANGO_SETTINGS_MODULE": "tests.benchmarks.load_settings",
        "LAYSHAFT_HOME": str(home),
    }
    command = [sys.executable, "-m", "granian", "--host", "127.0.0.1", "--port", str(port)]
    with log.open("wb") as out:
        server = subprocess.Popen(
            [*command, *options_of_start()], cwd=TOP, env=environment, stdout=out, stderr=out
        )
    try:
        _wait_for(server, port, log)
        yield port
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait(20)


def _wait_for(server: subprocess.Popen[bytes], port: int, log: Path) -> None:
    end = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < end and server.poll() is None:
        try:
            with urlopen(f"http://127.0.0.1:{port}/api/v1/health", timeout=5) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.1)
    raise AssertionError(f"the server did not start: {log.read_text()[-2000:]}")
