"""docker-compose.yml and what it mounts: right by the specification, closed by default.

No container engine is at hand here: nothing of these tests builds an image or starts a container.
`test_end_to_end.py` runs the services of the file as processes.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.deploy.composed import FILE, ROOT, TLS_FILE, read

# The Compose Specification's own schema; NOTICE beside it says where it is from.
SCHEMA_FILE = Path(__file__).parent / "compose-spec.json"
SCHEMA = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
COMPOSE = read(FILE)
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
STAYING = [name for name, service in SERVICES.items() if "profiles" not in service]
OURS = [name for name, service in SERVICES.items() if "build" in service]


@pytest.mark.parametrize("path", [FILE, TLS_FILE], ids=lambda path: path.name)
def test_the_file_is_right_by_the_specification(path: Path) -> None:
    validator = jsonschema.Draft202012Validator(SCHEMA)
    assert [error.message for error in validator.iter_errors(read(path))] == []


def test_the_notice_is_of_the_schema_that_is_here() -> None:
    notice = (SCHEMA_FILE.parent / "NOTICE").read_text(encoding="utf-8")
    assert hashlib.sha256(SCHEMA_FILE.read_bytes()).hexdigest() in notice


def test_the_schema_tells_a_wrong_file() -> None:
    wrong = {**COMPOSE, "services": {"board": {"image": "bondtrail", "ports": 8710}}}
    assert not jsonschema.Draft202012Validator(SCHEMA).is_valid(wrong)


def test_the_services_are_those_of_the_guide() -> None:
    assert STAYING == ["broker", "database", "listener", "analyst", "board"]


@pytest.mark.parametrize("name", SERVICES)
def test_a_service_has_no_more_rights_than_it_needs(name: str) -> None:
    service = SERVICES[name]
    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", service["user"])  # by number: not root
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert not {"privileged", "cap_add", "network_mode", "pid", "devices"} & set(service)
    assert service["deploy"]["resources"]["limits"]["memory"]
    assert set(service["logging"]["options"]) == {"max-size", "max-file"}
    assert re.fullmatch(r"[\w/-]+:\d+\.\d+(\.\d+)?(-\w+)?", service["image"])  # never :latest


@pytest.mark.parametrize("name", STAYING)
def test_a_service_that_stays_is_watched_and_begun_again(name: str) -> None:
    service = SERVICES[name]
    assert service["restart"] == "unless-stopped"
    assert service["healthcheck"]["test"][0] in ("CMD", "CMD-SHELL")
    assert re.fullmatch(r"\d+s", service["stop_grace_period"])


def test_what_shows_and_judges_waits_for_the_database_alone() -> None:
    """With the broker away there is a board all the same; the listener waits by itself."""
    waits = {
        name: {on: told["condition"] for on, told in service["depends_on"].items()}
        for name, service in SERVICES.items()
        if "depends_on" in service
    }
    database = {"database": "service_healthy"}
    assert waits == {
        "listener": {"broker": "service_started", **database},
        "analyst": database,
        "board": database,
    }


def test_no_health_check_names_a_secret() -> None:
    """What it is called with can be seen in the list of processes, also outside the container."""
    for name in STAYING:
        told = " ".join(SERVICES[name]["healthcheck"]["test"])
        assert not re.search(r"secrets|password|-P\b", told), name


def test_only_the_board_and_the_broker_are_published_and_on_this_machine_alone() -> None:
    published = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert published == {"broker": ["127.0.0.1:1883:1883"], "board": ["127.0.0.1:8710:8710"]}
    assert COMPOSE["networks"]["store"] == {"internal": True}
    assert SERVICES["database"]["networks"] == ["store"]


def test_every_secret_comes_from_a_file_and_none_is_in_the_environment() -> None:
    assert all(set(secret) == {"file"} for secret in COMPOSE["secrets"].values())
    for service in SERVICES.values():
        assert set(service.get("secrets", [])) <= set(COMPOSE["secrets"])
        for variable, value in service.get("environment", {}).items():
            if "PASSWORD" in variable:
                assert variable.endswith("_FILE")
                assert value.removeprefix("/run/secrets/") in service["secrets"]


def test_each_service_is_given_the_secrets_that_it_uses_and_no_others() -> None:
    for name in OURS:
        told = " ".join(SERVICES[name]["environment"].values())
        assert set(re.findall(r"/run/secrets/(\w+)", told)) == set(SERVICES[name]["secrets"])


def test_there_is_no_secret_without_its_command(tmp_path: Path) -> None:
    """A secret without its file is an error of Compose: nothing starts before they are made."""
    files = [Path(secret["file"]).name for secret in COMPOSE["secrets"].values()]
    assert not any((ROOT / "secrets" / name).exists() for name in files if os.environ.get("CI"))
    make = [str(ROOT / "deploy" / "make_secrets.py"), "--folder", str(tmp_path / "secrets")]
    subprocess.run(["python3", *make], check=True, capture_output=True)
    assert {path.name for path in (tmp_path / "secrets").iterdir()} == set(files)


def test_what_is_mounted_is_there() -> None:
    for path in (FILE, TLS_FILE):
        for service in read(path)["services"].values():
            mounts = [mount.split(":")[0] for mount in service.get("volumes", [])]
            for mount in mounts:
                known = mount in COMPOSE["volumes"] or (ROOT / mount).is_dir()
                assert known, mount


def test_the_variables_of_the_file_have_defaults_that_hold_together() -> None:
    net = read(FILE, {"BONDTRAIL_FRONT_NET": "10.9.8"})
    assert net["networks"]["front"]["ipam"]["config"] == [
        {"subnet": "10.9.8.0/28", "gateway": "10.9.8.1"}
    ]
    assert "--behind-proxy=10.9.8.1" in net["services"]["board"]["command"]


WORDS = {6: "six"}


def test_the_guide_says_how_much_a_power_cut_takes() -> None:
    """Mosquitto 2.0 saves once more than the interval has gone by, in whole seconds: measured."""
    conf = (ROOT / "deploy" / "broker" / "mosquitto.conf").read_text(encoding="utf-8")
    [interval] = re.findall(r"^autosave_interval (\d+)$", conf, re.MULTILINE)
    told = f"{WORDS[int(interval) + 1]} seconds"
    guide = (ROOT / "docs" / "deploy.md").read_text(encoding="utf-8")
    assert f"up to {told} of what no listener had taken" in guide
    assert f"its disk every {told}" in guide
    assert f"saves every {told}" in conf


DOCKERFILE = (ROOT / "Dockerfile").read_text(encoding="utf-8")


def steps(word: str) -> list[str]:
    return re.findall(rf"^{word} (.*)$", DOCKERFILE, re.MULTILINE)


def test_the_image_holds_all_packages_of_the_project_and_the_versions_that_were_tested() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    included = project["tool"]["setuptools"]["packages"]["find"]["include"]
    copied = {name for step in steps("COPY") for name in step.split() if not step.startswith("--")}
    assert {name.rstrip("*") for name in included} <= copied
    assert all((ROOT / name).exists() for name in copied - {"./"})
    assert "-c constraints.txt ." in DOCKERFILE
    allowed = (ROOT / ".dockerignore").read_text(encoding="utf-8")
    assert {f"!{name}" for name in copied - {"./"}} <= set(allowed.splitlines())
    assert "\n*\n" in allowed


def test_the_image_is_small_not_root_and_pinned() -> None:
    bases = steps("FROM")
    assert len(bases) == 2
    assert all(re.match(r"python:3\.\d+\.\d+-slim-\w+( AS build)?$", base) for base in bases)
    last = DOCKERFILE.rpartition("\nFROM ")[2]
    assert "\nUSER 10001:10001\n" in last
    assert "RUN" not in last
    assert "\nHEALTHCHECK" not in DOCKERFILE  # what is healthy differs by service


@pytest.mark.parametrize("name", OURS)
def test_our_image_is_of_this_version(name: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert SERVICES[name]["image"] == f"bondtrail:{project['version']}"
