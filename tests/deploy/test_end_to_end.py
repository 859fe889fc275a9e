"""Every service of docker-compose.yml as a process: fed at one end, shown at the other."""

from __future__ import annotations

import json
import re
import socket
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.certificates import make_certificates
from tests.commands import Commands
from tests.deploy.composed import Machine, broker_files
from tests.deploy.secrets import make_secrets
from tests.services import PostgresServer, free_port

WAIT_S = 120.0
SITE = """\
schema = 1

[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"

[[station]]
id = "bay-1"
name = "Road bay seven"
kind = "road_tanker"

[station.points]
resistance = { alias = ["GND1"], unit = "ohm" }
flow       = { alias = ["FT1"], unit = "L/min" }
"""
PASSWORD = "seven dry clamps"


class Visitor:
    """A browser as far as this test needs one: it keeps cookies and asks what pages ask."""

    def __init__(self, address: str) -> None:
        self._address = address
        cookies = urllib.request.HTTPCookieProcessor(CookieJar())
        self._opener = urllib.request.build_opener(cookies)

    def get(self, path: str) -> str:
        with self._opener.open(self._address + path, timeout=60) as answer:
            return str(answer.read().decode())

    def sign_in(self, name: str, password: str) -> None:
        [token] = re.findall(r'name="token" value="([^"]+)"', self.get("/sign-in"))
        form = {"name": name, "password": password, "token": token, "next": "/"}
        data = urllib.parse.urlencode(form).encode()
        self._opener.open(f"{self._address}/sign-in", data, timeout=60).close()

    def page(self, path: str) -> str:
        """Return what the board puts into the page of an address, as JSON."""
        dependencies = json.loads(self.get("/_dash-dependencies"))
        [content] = [each for each in dependencies if "_pages_content.children" in each["output"]]
        place, _, query = path.partition("?")
        given = {"pathname": place, "search": f"?{query}" if query else ""}
        inputs = [{**each, "value": given.get(each["property"])} for each in content["inputs"]]
        output = content["output"]
        outputs = [
            dict(zip(("id", "property"), each.split("."), strict=True))
            for each in output.strip(".").split("...")
        ]
        asked = {"output": output, "outputs": outputs, "inputs": inputs, "state": []}
        asked["changedPropIds"] = [f"{inputs[0]['id']}.pathname"]
        request = urllib.request.Request(
            f"{self._address}/_dash-update-component",
            json.dumps(asked).encode(),
            {"Content-Type": "application/json"},
        )
        with self._opener.open(request, timeout=60) as answer:
            return str(answer.read().decode())


def waited_for(what: str, done: Callable[[], Any], machine: Machine) -> None:
    give_up = time.monotonic() + WAIT_S
    while True:
        try:
            if done():
                return
        except (OSError, AssertionError):
            pass
        gone = [name for name, process in machine.running.items() if process.poll() is not None]
        if gone or time.monotonic() > give_up:
            pytest.fail(f"{what}; ended by itself: {gone}\n{machine.said()}", pytrace=False)
        time.sleep(0.05)


def answers(address: str) -> bool:
    with urllib.request.urlopen(address, timeout=10) as answer:
        return bool(answer.status == 200)


@pytest.fixture
def database(postgres: PostgresServer, machine_folder: Path) -> Iterator[int]:
    """A database for which a user needs the password of the secrets."""
    password = (machine_folder / "secrets" / "db_password").read_text().strip()
    with psycopg.connect(postgres.url(), autocommit=True) as connection:
        [hba] = connection.execute("show hba_file").fetchone() or [""]
        before = Path(hba).read_text()
        rule = "host bondtrail bondtrail 127.0.0.1/32 scram-sha-256\n"
        Path(hba).write_text(rule + before)
        connection.execute(f"alter role bondtrail password '{password}'")
        connection.execute("create database bondtrail")
        connection.execute("select pg_reload_conf()")
    yield postgres.port
    with psycopg.connect(postgres.url(), autocommit=True) as connection:
        connection.execute("drop database bondtrail with (force)")
        Path(hba).write_text(before)
        connection.execute("select pg_reload_conf()")


@pytest.fixture
def machine_folder(tmp_path: Path) -> Path:
    make_secrets(tmp_path / "secrets", "gateway-1")
    (tmp_path / "site.toml").write_text(SITE)
    rows = [
        f"{1772352000 + n},GND1,OL\n{1772352000 + n},FT1,{800 * (5 < n < 65)}\n" for n in range(90)
    ]
    (tmp_path / "readings.csv").write_text("time,tag,value\n" + "".join(rows))
    (tmp_path / "password").write_text(f"{PASSWORD}\n")
    return tmp_path


@pytest.fixture
def machine(machine_folder: Path, database: int, commands: Commands) -> Iterator[Machine]:
    tls = make_certificates(machine_folder)
    for name, source in (("certificate", tls.server.certificate), ("key", tls.server.key)):
        (machine_folder / "secrets" / f"broker_{name}").write_bytes(source.read_bytes())
    broker, encrypted, board = free_port(), free_port(), free_port()
    swaps = {
        **broker_files(machine_folder / "broker", broker, encrypted),
        "/run/secrets/": f"{machine_folder}/secrets/",
        "/etc/bondtrail/": f"{machine_folder}/",
        "@database/": f"@127.0.0.1:{database}/",
        "//broker:1883": f"//127.0.0.1:{broker}",
        "8883": str(encrypted),
        "8710": str(board),
        "20s": "1s",  # so often the analyst looks
    }
    health = {"listener": free_port(), "analyst": free_port()}
    made = Machine(machine_folder, swaps, health, commands)
    yield made
    made.kill()


def test_what_is_fed_at_one_end_is_shown_at_the_other(machine: Machine) -> None:
    broker, encrypted, board = (machine.swaps[each] for each in ("//broker:1883", "8883", "8710"))
    machine.start("broker")
    waited_for("no broker", lambda: takes(int(broker.rpartition(":")[2])), machine)
    machine.start("listener")
    health = {name: f"http://127.0.0.1:{port}/readyz" for name, port in machine.health.items()}
    waited_for("listener not ready", lambda: answers(health["listener"]), machine)
    # As depends_on has it: the listener has put the site file into the database by now.
    machine.start("analyst")
    assert machine.run("board", "user", "add", "A. Reed", "--password-file", "password") == 0
    machine.start("board")
    # From another machine it would come by TLS, as deploy/tls.yml has the broker speak it.
    fed = machine.run(
        *("feed", "readings.csv", "--speed", "max"),
        BONDTRAIL_BROKER=f"mqtts://127.0.0.1:{encrypted}",
        BONDTRAIL_BROKER_CA=str(machine.folder / "ca.pem"),
    )
    assert fed == 0, machine.said()
    visitor = Visitor(f"http://127.0.0.1:{board}")
    waited_for("no board", lambda: visitor.get("/sign-in"), machine)
    with pytest.raises(urllib.error.HTTPError, match="401"):
        visitor.page("/")
    visitor.sign_in("A. Reed", PASSWORD)
    # The one transfer that was fed flowed without a bond: none of one is compliant.
    waited_for("nothing judged", lambda: "0 of 1" in visitor.page("/"), machine)
    assert "Road bay seven" in visitor.page("/")
    waited_for("analyst not ready", lambda: answers(health["analyst"]), machine)
    for name in ("listener", "analyst", "board"):
        waited_for(f"{name} not well", lambda one=name: machine.check(one) == 0, machine)
    for name in ("board", "analyst", "listener", "broker"):
        assert machine.stop(name) == 0, name
    assert machine.check("board") != 0
    no_secret_is_in(machine)


def takes(port: int) -> bool:
    socket.create_connection(("127.0.0.1", port), timeout=5).close()
    return True


def no_secret_is_in(machine: Machine) -> None:
    """Look for every secret in what everything said."""
    said = machine.said()
    assert "Listening to mqtt://listener@" in said
    for path in (machine.folder / "secrets").iterdir():
        if "password" in path.name:
            assert path.read_text().strip() not in said, path.name
    assert PASSWORD not in said
