"""What the scripts promise while they run: they end what they started, report who died, and count failures.

The scripts are the real ones in a copy of the tree; what they would install and start is played by stand-ins.
"""

import http.server
import os
import shutil
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("web", "worker", "beat")
PATIENCE = 60  # seconds; generous, since it is only spent when something is wrong

START = """#!/bin/sh
part=$1
case "$part" in
setup) exit 0 ;;
health) test -e pids/web -a -e pids/worker -a -e pids/beat; exit ;;
esac
echo "the $part says its last word"
sleep 600 &
echo $! >"pids/helper-of-$part"
echo $$ >"pids/$part"
exec sleep 600
"""


def until(condition: Callable[[], bool], what: str) -> None:
    """Wait for a condition; fail with its name when it does not come."""
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end, what
        time.sleep(0.05)


def runs(pid: int) -> bool:
    """Say whether a process is there and not merely waiting to be collected."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


def free_port() -> int:
    """Return a port that nobody has at the moment."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def stand_in(path: Path, text: str) -> None:
    """Write a script that plays a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    path.chmod(0o755)


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """A copy of the scripts with stand-ins for what they install and start."""
    shutil.copytree(ROOT / "docker", tmp_path / "docker")
    (tmp_path / "pids").mkdir()
    stand_in(tmp_path / "docker/install", "exit 0\n")
    stand_in(tmp_path / "docker/start", START)
    stand_in(tmp_path / ".venv/bin/python", '#!/bin/sh\necho "demonstration: $*"\n')
    return tmp_path


@contextmanager
def shop_open(tree: Path) -> Iterator["subprocess.Popen[str]"]:
    """docker/up in the copied tree, once it says that the shop is open."""
    environment = os.environ | {
        "LAYSHAFT_PORT": str(free_port()),
        "LAYSHAFT_HOME": "data",
        "LAYSHAFT_TLS": "",
    }
    talk = tree / "talk"
    with (
        talk.open("w") as out,
        subprocess.Popen(
            ["sh", "docker/up"], cwd=tree, env=environment, stdout=out, stderr=out, text=True
        ) as running,
    ):
        try:
            until(lambda: "Ctrl-C closes it" in talk.read_text(), "the shop opens")
            yield running
        finally:
            if running.poll() is None:
                running.terminate()
                running.wait(PATIENCE)


def started(tree: Path) -> dict[str, int]:
    """The process ids of the parts and of each part's own helper."""
    return {path.name: int(path.read_text()) for path in (tree / "pids").iterdir()}


def left_running(tree: Path) -> list[str]:
    """Who of them is still there."""
    return sorted(name for name, pid in started(tree).items() if runs(pid))


@pytest.mark.parametrize(
    ("sent", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)], ids=str
)
def test_up_ends_all_it_started(tree: Path, sent: signal.Signals, code: int) -> None:
    with shop_open(tree) as running:
        assert len(left_running(tree)) == 2 * len(PARTS)
        running.send_signal(sent)
        assert running.wait(PATIENCE) == code
        until(lambda: left_running(tree) == [], "all ended")
    assert "demonstration: manage.py demonstration" in (tree / "talk").read_text()


@pytest.mark.parametrize("victim", PARTS)
def test_up_reports_a_part_that_died_and_brings_all_down(tree: Path, victim: str) -> None:
    with shop_open(tree) as running:
        os.kill(started(tree)[victim], signal.SIGKILL)
        assert running.wait(PATIENCE) == 1
        until(lambda: left_running(tree) == [], "all ended")
    talk = (tree / "talk").read_text()
    assert f"The {victim} process has ended by itself" in talk
    assert f"the {victim} says its last word" in talk


def test_the_parts_end_when_up_itself_is_killed(tree: Path) -> None:
    with shop_open(tree) as running:
        running.kill()
        running.wait(PATIENCE)
        until(lambda: not set(left_running(tree)) & set(PARTS), "the parts ended")
    for name in left_running(tree):  # a real part ends its helpers; these stand-ins cannot
        os.kill(started(tree)[name], signal.SIGKILL)


def test_up_says_that_the_port_is_taken(tree: Path) -> None:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = holder.getsockname()[1]
        environment = os.environ | {"LAYSHAFT_PORT": str(port), "LAYSHAFT_HOME": "data", "LAYSHAFT_TLS": ""}
        seen = subprocess.run(
            ["sh", "docker/up"], cwd=tree, env=environment, capture_output=True, text=True, check=False
        )
    assert seen.returncode == 1
    assert f"Port {port} is taken" in seen.stderr
    assert f"LAYSHAFT_PORT={port + 1}" in seen.stderr
    assert list((tree / "pids").iterdir()) == []


def shell(tree: Path, script: str) -> "subprocess.CompletedProcess[str]":
    """Run a few lines with the shared functions read in."""
    return subprocess.run(
        ["sh", "-c", f"set -eu\n. docker/common.sh\n{script}"],
        cwd=tree, capture_output=True, text=True, check=False, timeout=PATIENCE,
    )  # fmt: skip


def test_a_process_that_will_not_end_is_made_to(tree: Path) -> None:
    seen = shell(
        tree,
        """sh -c 'trap "" TERM; : >deaf; while :; do sleep 0.1; done' & pid=$!
        until [ -e deaf ]; do sleep 0.1; done
        is_alive $pid; end_all 1 $pid; is_alive $pid || echo gone""",
    )
    assert (seen.returncode, seen.stdout) == (0, "gone\n")


def test_an_unchanged_environment_is_left_alone(tree: Path) -> None:
    seen = shell(
        tree,
        """version=$(python3 -c 'import sys; print("%d.%d" % sys.version_info[:2])')
        mkdir -p ready/bin; ln -s "$(command -v python3)" ready/bin/python
        echo "$version $(sha256sum <docker/requirements.txt)" >ready/pins
        make_environment ready docker/requirements.txt; ls -A ready""",
    )
    assert (seen.returncode, seen.stdout.split()) == (0, ["bin", "pins"])


def test_without_root_or_sudo_the_missing_packages_are_named(tree: Path) -> None:
    seen = shell(
        tree,
        """id() { echo 1000; }
        command() { return 1; }
        wanted=" libpango-1.0-0"; install_wanted""",
    )
    assert seen.returncode == 1
    assert "As root: apt-get install --no-install-recommends libpango-1.0-0" in seen.stderr


# --- docker/check ---

CHECKER = """#!/bin/sh
echo "$LAYSHAFT_HOME" >where
echo "$DATABASE_URL $*" >>stages
case "$*" in *"$FAILING"*) exit 3 ;; esac
"""


def check(tree: Path, failing: str) -> "subprocess.CompletedProcess[str]":
    """docker/check in the copied tree, whose checks are played by a stand-in that fails at one of them."""
    stand_in(tree / ".venv-check/bin/python", CHECKER)
    for app in ("shop", "inventory", "inspections", "estimates"):
        (tree / app / "templates").mkdir(parents=True)
    environment = os.environ | {"FAILING": failing}
    return subprocess.run(
        ["sh", "docker/check"],
        cwd=tree, env=environment, capture_output=True, text=True, check=False, timeout=180,
    )  # fmt: skip


def test_check_goes_on_after_a_failure_and_says_so_at_the_end(tree: Path) -> None:
    seen = check(tree, "ruff format")
    assert seen.returncode == 1, seen.stderr
    assert seen.stderr.rstrip().endswith("failed:\n  Formatting")
    stages = (tree / "stages").read_text().splitlines()
    assert len(stages) == 7
    on_sqlite, on_postgres = (line for line in stages if "-m pytest" in line)
    assert on_sqlite.startswith("sqlite:///")
    assert on_postgres.startswith("postgres://layshaft:")


def test_check_passes_and_leaves_nothing_behind(tree: Path) -> None:
    seen = check(tree, "no such stage")
    assert (seen.returncode, seen.stderr) == (0, "")
    assert "All good after" in seen.stdout
    assert not Path((tree / "where").read_text().strip()).parent.exists()
    address = (tree / "stages").read_text().splitlines()[-1].split()[0]
    port = int(address.rpartition(":")[2].split("/")[0])
    with socket.socket() as caller, pytest.raises(ConnectionRefusedError):
        caller.connect(("127.0.0.1", port))


# --- certificates ---


def tls(folder: Path, hosts: str = "") -> str:
    """Run docker/tls and return what it says."""
    seen = subprocess.run(
        ["sh", str(ROOT / "docker/tls"), str(folder)],
        env=os.environ | {"LAYSHAFT_HOSTS": hosts}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return seen.stdout


def test_the_certificate_is_trusted_by_whoever_trusts_the_authority(tmp_path: Path) -> None:
    tls(tmp_path, "gearbox.example")
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(tmp_path / "shop.crt", tmp_path / "shop.key")
    client = ssl.create_default_context(cafile=str(tmp_path / "authority.crt"))
    client.verify_flags |= ssl.VERIFY_X509_STRICT  # RFC 5280 to the letter, the default from Python 3.13
    for name in ("localhost", "127.0.0.1", "gearbox.example"):
        assert shake_hands(server, client, name) in {"TLSv1.2", "TLSv1.3"}
    with pytest.raises(ssl.SSLCertVerificationError):
        shake_hands(server, client, "elsewhere.example")
    with pytest.raises(ssl.SSLCertVerificationError):
        shake_hands(server, ssl.create_default_context(), "localhost")


def shake_hands(server: ssl.SSLContext, client: ssl.SSLContext, name: str) -> str | None:
    """Carry out a TLS handshake in memory and return the version agreed on."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    left = client.wrap_bio(to_client, to_server, server_hostname=name)
    right = server.wrap_bio(to_server, to_client, server_side=True)
    for _ in range(5):
        for side in (left, right):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
    return left.version()


def test_the_authority_stays_and_the_certificate_follows_the_names(tmp_path: Path) -> None:
    def files() -> tuple[bytes, bytes]:
        return (tmp_path / "authority.crt").read_bytes(), (tmp_path / "shop.crt").read_bytes()

    said = tls(tmp_path)
    assert "SHA-256" in said
    authority, certificate = files()
    tls(tmp_path)
    assert files() == (authority, certificate)
    tls(tmp_path, "bench.example,office.example")
    assert files()[0] == authority
    assert files()[1] != certificate
    assert (tmp_path / "names").read_text().strip().endswith("bench.example,office.example")
    for path in tmp_path.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path


# --- docker/health.py ---


@contextmanager
def answering(code: int) -> Iterator[str]:
    """A server on this machine that answers every question with one code."""

    class Answer(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(code if self.path == "/api/v1/health" else 404)
            self.end_headers()
            self.wfile.write(b"{}")

        def log_message(self, format: str, *args: object) -> None:
            """Keep quiet."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answer) as server:
        worker = threading.Thread(target=server.serve_forever)
        worker.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            worker.join()


@pytest.mark.parametrize(("code", "expected"), [(200, 0), (503, 1), (404, 1)])
def test_health_is_what_the_server_says(code: int, expected: int) -> None:
    with answering(code) as base:
        assert ask(base).returncode == expected


def test_health_of_a_closed_port_is_bad_with_the_reason() -> None:
    seen = ask(f"http://127.0.0.1:{free_port()}")
    assert seen.returncode == 1
    assert "refused" in seen.stderr


def ask(base: str) -> "subprocess.CompletedProcess[str]":
    """Run the health question as the image does."""
    return subprocess.run(
        [sys.executable, str(ROOT / "docker/health.py"), base], capture_output=True, text=True, check=False
    )
