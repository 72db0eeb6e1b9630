"""The image, the compose file and the pins agree with the scripts, with each other and with the code."""

import re
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib import import_module, metadata
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import get_commands
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
DOCKER = ROOT / "docker"
SCRIPTS = ("up", "check", "install", "start", "tls", "common.sh")
PINS = ("requirements.txt", "requirements-check.txt")
PIN = re.compile(r"[a-z0-9][a-z0-9._-]*==[^ ;]+(?: ; [^@]*?)?(?:\s+--hash=sha256:[0-9a-f]{64})+\s*")
SECRET = re.compile(r"PASSWORD|SECRET|TOKEN|_URL$")


# --- scripts ---


@pytest.mark.parametrize("shell", ["sh", "dash", "bash"])
@pytest.mark.parametrize("script", SCRIPTS)
def test_each_script_parses_in_each_shell(shell: str, script: str) -> None:
    seen = subprocess.run([shell, "-n", DOCKER / script], capture_output=True, text=True, check=False)
    assert (seen.returncode, seen.stderr) == (0, "")


def test_ci_runs_the_same_check_as_people() -> None:
    assert (ROOT / ".ci/run").read_text().rstrip().endswith("exec sh docker/check")


def parts_of_start() -> set[str]:
    """The words that docker/start knows, read from its case labels."""
    return set(re.findall(r"^([a-z]+)\)$", (DOCKER / "start").read_text(), re.MULTILINE))


def test_start_names_what_exists() -> None:
    text = (DOCKER / "start").read_text()
    assert parts_of_start() == {"setup", "web", "worker", "beat", "health"}
    targets = re.findall(r"\b(shop[.][a-z]+):(\w+)", text)
    assert len(targets) == 2
    for module, name in targets:
        assert hasattr(import_module(module), name), f"{module}:{name}"
    commands = set(re.findall(r"manage[.]py ([a-z]+)", text + (DOCKER / "up").read_text()))
    assert commands == {"migrate", "collectstatic", "demonstration"}
    assert commands <= set(get_commands())


# --- the image ---


def steps() -> list[tuple[str, str]]:
    """The image's instructions in order, continued lines joined."""
    text = (DOCKER / "Dockerfile").read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [(line.split(maxsplit=1)[0], line.split(maxsplit=1)[1]) for line in lines]


def copied() -> Iterator[tuple[int, str]]:
    """Each source that the image copies, with the number of its step."""
    for number, (instruction, rest) in enumerate(steps()):
        if instruction == "COPY":
            yield from ((number, source) for source in rest.split()[:-1])


def test_the_image_installs_by_the_script_that_up_uses() -> None:
    runs = [(number, rest) for number, (instruction, rest) in enumerate(steps()) if instruction == "RUN"]
    number, first = runs[0]
    command = "sh docker/install run"
    assert first.startswith(command)
    assert command in (DOCKER / "up").read_text().splitlines()
    # What that script reads has to be there by then.
    before = {source for step, source in copied() if step < number}
    assert {"docker/common.sh", "docker/install", "docker/requirements.txt"} <= before


def test_the_image_holds_the_program_and_starts_it_as_nobody_special() -> None:
    sources = {source for _, source in copied()}
    assert [source for source in sources if not (ROOT / source).exists()] == []
    packages = {path.parent.name for path in ROOT.glob("*/__init__.py")} - {"tests"}
    assert packages | {"manage.py", "fixtures", "docker/start", "docker/health.py"} <= sources
    last = dict(steps())
    assert last["ENTRYPOINT"] == '["sh", "docker/start"]'
    assert last["USER"].split(":")[0] not in {"root", "0"}
    assert "docker/start" in last["HEALTHCHECK"]


# --- compose ---


@cache
def compose() -> dict[str, Any]:
    """The compose file as parsed YAML, merges done."""
    document: dict[str, Any] = yaml.safe_load((DOCKER / "compose.yaml").read_text())
    return document


def services() -> dict[str, dict[str, Any]]:
    """Its services by name."""
    found: dict[str, dict[str, Any]] = compose()["services"]
    return found


def test_compose_starts_the_parts_that_up_starts() -> None:
    assert set(services()) == {"setup", "web", "worker", "beat", "postgres", "redis", "proxy"}
    ours = {name: service for name, service in services().items() if "build" in service}
    assert {name: service["command"][0] for name, service in ours.items()} == {name: name for name in ours}
    assert set(ours) <= parts_of_start()
    for service in ours.values():
        assert (DOCKER / service["build"]["context"] / service["build"]["dockerfile"]).is_file()


def test_compose_refers_to_what_exists() -> None:
    document = compose()
    for name, service in services().items():
        assert set(service.get("depends_on", ())) <= set(services()), name
        assert set(service["networks"]) <= set(document["networks"]), name
        assert re.fullmatch(r"layshaft|[a-z]+:[0-9.]+", service["image"]), name
        for volume in service["volumes"]:
            source = re.sub(r"[$][{].*?[}]", "given", volume).split(":")[0]
            if source.startswith("."):
                assert (DOCKER / source).is_file(), volume
            else:
                assert source == "given" or source in document["volumes"], volume
    data = {volume.split(":")[1] for volume in services()["web"]["volumes"]}
    assert data == {dict(steps())["VOLUME"]}


def test_compose_opens_no_door_but_the_proxy() -> None:
    assert [name for name, service in services().items() if "ports" in service] == ["proxy"]
    assert compose()["networks"]["inside"]["internal"] is True
    trusted = services()["web"]["environment"]["LAYSHAFT_PROXY"]
    assert services()["proxy"]["networks"]["inside"]["ipv4_address"] == trusted


def test_compose_has_no_default_secret() -> None:
    checked = 0
    for service in services().values():
        for name, value in service.get("environment", {}).items():
            if SECRET.search(name):
                assert re.search(r"[$][{]\w+:[?]", value), name
                checked += 1
    assert checked >= 4
    assert ":-" not in re.sub(
        r"[$][{]LAYSHAFT_(TIME_ZONE|CURRENCY):-[}]", "", (DOCKER / "compose.yaml").read_text()
    )


def test_every_service_that_answers_is_asked_for_its_health() -> None:
    silent = {name for name, service in services().items() if not service.get("healthcheck", {}).get("test")}
    assert silent == {"setup", "web", "beat"}  # once only; asked by the image's own check; serves nothing
    assert "disable" not in services()["web"].get("healthcheck", {})
    for service in services().values():
        for other, how in service.get("depends_on", {}).items():
            healthy = how["condition"] == "service_healthy"
            assert healthy or other == "setup"


def test_the_proxy_refuses_big_bodies_and_forwards_to_the_web_port() -> None:
    text = (DOCKER / "nginx.conf").read_text()
    assert "client_max_body_size 200m;" in text
    assert f"http://web:{dict(steps())['EXPOSE']};" in text
    assert "ssl_protocols TLSv1.2 TLSv1.3;" in text


# --- pins ---


def entries(name: str) -> list[str]:
    """Each requirement of a pins file with its hashes, as one line, comments left out."""
    lines = [line for line in (DOCKER / name).read_text().splitlines() if not line.lstrip().startswith("#")]
    return [entry for entry in "\n".join(lines).replace("\\\n", " ").splitlines() if entry.strip()]


@cache
def pinned(name: str) -> dict[str, str]:
    """Version by canonical package name, as far as a pin is for this Python and this system."""
    found: dict[str, str] = {}
    for entry in entries(name):
        pin = Requirement(entry.partition("--hash")[0])
        if pin.marker is None or pin.marker.evaluate():
            found[canonicalize_name(pin.name)] = str(pin.specifier).removeprefix("==")
    return found


def declared() -> tuple[list[Requirement], list[Requirement]]:
    """What pyproject.toml asks for to run, and beside it to check."""
    document = tomllib.loads((ROOT / "pyproject.toml").read_text())
    return (
        [Requirement(line) for line in document["project"]["dependencies"]],
        [Requirement(line) for line in document["dependency-groups"]["check"]],
    )


@pytest.mark.parametrize("name", PINS)
def test_every_pin_is_exact_and_carries_hashes(name: str) -> None:
    assert len(entries(name)) > 50
    for entry in entries(name):
        assert PIN.fullmatch(entry), entry


@pytest.mark.parametrize("name", PINS)
def test_pins_name_no_registry(name: str) -> None:
    text = (DOCKER / name).read_text()
    assert re.findall(r"://|index-url|find-links|trusted-host| @ ", text) == []


def test_pins_satisfy_what_the_project_asks_for() -> None:
    to_run, to_check = declared()
    for name, wanted in (("requirements.txt", to_run), ("requirements-check.txt", to_run + to_check)):
        for requirement in wanted:
            version = pinned(name).get(canonicalize_name(requirement.name))
            assert version is not None, f"{requirement.name} is not in {name}"
            assert requirement.specifier.contains(version, prereleases=True), f"{requirement} {version}"


def test_what_is_checked_is_what_runs() -> None:
    run, check = pinned(PINS[0]), pinned(PINS[1])
    assert {name: check.get(name) for name in run} == run


def test_these_tests_run_on_the_pinned_versions() -> None:
    installed = {
        canonicalize_name(found.metadata["Name"]): found.version for found in metadata.distributions()
    }
    pins = pinned(PINS[1])
    both = installed.keys() & pins.keys()
    assert len(both) > 80
    assert {name: installed[name] for name in both} == {name: pins[name] for name in both}
