"""A real worker and a real beat on a private database file, with the broker in the worker's own memory."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
LIMIT_S = 120  # generous: two cores are shared with everything else that runs
APP = "tests.house.slow_app"


class Shop:
    """A shop of its own in a temporary folder, and the processes that this test started in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.database = folder / "shop.sqlite3"
        self.log = folder / "log"
        self.started: list[subprocess.Popen[bytes]] = []
        clean = {name: value for name, value in os.environ.items() if name not in {"REDIS_URL", "EMAIL_URL"}}
        self.environment = clean | {
            "DATABASE_URL": f"sqlite:///{self.database}",
            "LAYSHAFT_HOME": str(folder),
            "SLOW_FOLDER": str(folder),
            "PYTHONPATH": str(ROOT),
        }

    def run(self, *words: str) -> None:
        subprocess.run([sys.executable, *words], cwd=ROOT, env=self.environment, check=True, timeout=LIMIT_S)

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", "celery", "-A", APP, *words, "--loglevel", "WARNING"],
                cwd=ROOT,
                env=self.environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self.started.append(process)
        return process

    def start_worker(self) -> subprocess.Popen[bytes]:
        return self.start("worker", "--pool", "prefork", "--concurrency", "2")

    def rows(self, question: str) -> list[tuple[Any, ...]]:
        with closing(sqlite3.connect(self.database, timeout=20)) as database:
            return database.execute(question).fetchall()

    def wait_for(self, what: str, true: Callable[[], Any]) -> None:
        end = time.monotonic() + LIMIT_S
        while not true():
            if time.monotonic() > end:
                raise AssertionError(f"waited in vain: {what}\n{self.log.read_text()[-3000:]}")
            time.sleep(0.1)

    def began(self) -> list[str]:
        path = self.folder / "began"
        return [line.split()[0] for line in path.read_text().splitlines()] if path.exists() else []


def kill(process: subprocess.Popen[bytes]) -> None:
    """Kill the process and its children at once, as a power cut would."""
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=LIMIT_S)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = Shop(tmp_path)
    made.run("manage.py", "migrate", "--no-input", "--verbosity", "0")
    yield made
    for process in made.started:
        kill(process)


def test_beat_inserts_rows_and_a_worker_delivers_them(shop: Shop) -> None:
    shop.start("beat", "--scheduler", "shop.celery:RowScheduler", "--pidfile=")
    shop.start("beat", "--scheduler", "shop.celery:RowScheduler", "--pidfile=")
    shop.wait_for("beat's rows", lambda: len(shop.rows("SELECT key FROM shop_outbox")) >= 3)
    worker = shop.start_worker()
    shop.wait_for(
        "delivery", lambda: not shop.rows("SELECT key, trouble FROM shop_outbox WHERE done_at IS NULL")
    )
    keys = [key for (key,) in shop.rows("SELECT key FROM shop_outbox")]
    assert len(keys) == len(set(keys))
    assert {key.split(":")[0] for key in keys} == {"reminders", "lapses", "gauges"}
    assert shop.rows("SELECT key FROM shop_outbox WHERE tries <> 1") == []
    # a worker that is asked to end does so by itself
    worker.send_signal(signal.SIGTERM)
    assert worker.wait(timeout=LIMIT_S) == 0


def test_a_worker_killed_in_the_middle_loses_and_doubles_nothing(shop: Shop) -> None:
    for number in range(3):
        shop.run("-m", APP, f"row-{number}")
    first = shop.start_worker()
    shop.wait_for("the slow rule to begin", lambda: len(shop.began()) >= 2)
    kill(first)
    assert shop.rows("SELECT key FROM shop_outbox WHERE done_at IS NOT NULL") == []
    assert shop.rows("SELECT name FROM shop_customer") == []
    (shop.folder / "go").touch()
    shop.start_worker()
    done = "SELECT key FROM shop_outbox WHERE done_at IS NOT NULL AND rule = 'slow effect'"
    shop.wait_for("all three rows", lambda: len(shop.rows(done)) == 3)
    assert sorted(name for (name,) in shop.rows("SELECT name FROM shop_customer")) == [
        "row-0",
        "row-1",
        "row-2",
    ]
    again = [key for key in set(shop.began()) if shop.began().count(key) > 1]
    assert again, "what was killed in the middle ran again"


def test_a_worker_killed_after_the_effect_and_before_the_mark(shop: Shop) -> None:
    """The effect is keyed by its row, so the second run finds it done."""
    (shop.folder / "go").touch()
    shop.run("-m", APP, "row-0")
    first = shop.start_worker()
    shop.wait_for("the effect", lambda: shop.rows("SELECT name FROM shop_customer"))
    kill(first)
    with closing(sqlite3.connect(shop.database, timeout=20)) as database, database:
        database.execute("UPDATE shop_outbox SET done_at = NULL")
    shop.start_worker()
    shop.wait_for("the row again", lambda: shop.rows("SELECT key FROM shop_outbox WHERE done_at IS NOT NULL"))
    assert shop.began() == ["row-0", "row-0"]
    assert shop.rows("SELECT name FROM shop_customer") == [("row-0",)]
