"""The real services that tests talk to, on free loopback ports, stopped when they are done."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import psycopg
import pytest

_START_S = 60.0


def missing(service: str, package: str) -> NoReturn:
    """Skip the test for want of a service; with CI=true there is no excuse, so fail."""
    told = f"{service} is not installed: on Debian and Ubuntu, apt-get install {package}"
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(told, pytrace=False)
    pytest.skip(told)


def free_port() -> int:
    """Return a port of the loopback that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class PostgresServer:
    """A throw-away PostgreSQL that trusts whoever comes over the loopback."""

    port: int
    made: int = 0

    def url(self, database: str = "postgres") -> str:
        return f"postgresql://bondtrail@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """Create an empty database; return its URL."""
        self.made += 1
        name = f"store_{self.made}"
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(f"create database {name}")
        return self.url(name)


@contextmanager
def postgres_server() -> Iterator[PostgresServer]:
    """Run a PostgreSQL server for as long as the block lasts."""
    programs = _postgres_programs()
    if programs is None:
        missing("PostgreSQL", "postgresql")
    user = _postgres_user()
    folder = Path(tempfile.mkdtemp(prefix="bondtrail-postgres-"))
    if user is not None:
        account = pwd.getpwnam(user)
        os.chown(folder, account.pw_uid, account.pw_gid)
    try:
        _make_cluster(programs, folder, user)
        with _running(programs, folder, user) as port:
            yield PostgresServer(port)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _postgres_programs() -> Path | None:
    """Return the folder of initdb and postgres: Debian keeps it off the path."""
    on_path = shutil.which("initdb")
    if on_path is not None:
        return Path(on_path).resolve().parent
    found = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    newest = max(found, key=lambda program: float(program.parts[-3]), default=None)
    return newest.parent if newest is not None else None


def _postgres_user() -> str | None:
    """Return whom to run it as: PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return None
    accounts = {account.pw_name for account in pwd.getpwall()}
    return "postgres" if "postgres" in accounts else "nobody"


def _make_cluster(programs: Path, folder: Path, user: str | None) -> None:
    command = [programs / "initdb", "-D", folder / "data", "-U", "bondtrail", "-A", "trust"]
    done = subprocess.run(
        [*command, "-E", "UTF8", "--no-locale", "--no-sync"],
        user=user,
        cwd=folder,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr


@contextmanager
def _running(programs: Path, folder: Path, user: str | None) -> Iterator[int]:
    port = free_port()
    settings = {
        "port": port,
        "listen_addresses": "127.0.0.1",
        "unix_socket_directories": "",
        "fsync": "off",  # tests kill its clients, not the machine
    }
    options = [word for key, value in settings.items() for word in ("-c", f"{key}={value}")]
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(
            [programs / "postgres", "-D", folder / "data", *options],
            user=user,
            cwd=folder,
            stdout=log,
            stderr=log,
        )
    try:
        _wait_until_it_answers(server, port, folder / "log")
        yield port
    finally:
        server.send_signal(signal.SIGINT)  # disconnects everyone and shuts down
        server.wait(_START_S)


def _wait_until_it_answers(server: subprocess.Popen[bytes], port: int, log: Path) -> None:
    give_up = time.monotonic() + _START_S
    while True:
        try:
            psycopg.connect(PostgresServer(port).url(), connect_timeout=2).close()
            return
        except psycopg.OperationalError:
            if server.poll() is not None or time.monotonic() > give_up:
                pytest.fail(f"PostgreSQL did not start:\n{log.read_text()}", pytrace=False)
            time.sleep(0.1)
