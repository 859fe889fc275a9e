"""Backup and restore, by the very commands of docs/deploy.md: a restored store answers the same."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from bondtrail.cli import main
from bondtrail.samples import Samples
from store import Store, open_store
from tests.deploy.composed import ROOT
from tests.deploy.test_end_to_end import SITE
from tests.services import PostgresServer
from tests.services import _postgres_programs as postgres_programs

GUIDE = (ROOT / "docs" / "deploy.md").read_text(encoding="utf-8")
IN_DATABASE = re.findall(r"^docker compose exec -T database (.*)$", GUIDE, re.MULTILINE)
[SQLITE] = re.findall(r'^python3 (-c "import sqlite3.*)$', GUIDE, re.MULTILINE)
ANSWERS: dict[str, Callable[[Store], Any]] = {
    "points": Store.points,
    "readings": lambda store: [store.read(each.point) for each in store.points()],
    "sites": Store.sites,
    "work": Store.work,
    "tickets": Store.tickets,
    "rejects": Store.rejects,
    "transfers": Store.transfers,
    "hookups": Store.hookups,
    "trips": Store.trips,
    "findings": Store.findings,
    "alarms": Store.alarms,
    "days": Store.days,
    "sources": Store.sources,
    "given": Store.given,
    "touched": Store.touched,
    "users": lambda store: store.users.all(),
    "secret key": Store.secret_key,
}


def answers(url: str) -> dict[str, Any]:
    """Return what a store says to every question."""
    with open_store(url) as store:
        assert store.check() == []
        return {name: ask(store) for name, ask in ANSWERS.items()}


@pytest.fixture
def recorded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Return what puts a history into a store: readings, results, rejects, a user."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("BONDTRAIL_DB", raising=False)
    Path("site.toml").write_text(SITE)
    Path("password").write_text("seven dry clamps\n")
    rows = [f"{1772352000 + n},{'OL' if n < 30 else 3},{800 * (5 < n < 65)}\n" for n in range(90)]
    Path("readings.csv").write_text("time,GND1,FT1\n" + "".join(rows) + "soon,1,1\n")

    def record(url: str) -> None:
        assert main(["load", "readings.csv", "--site", "site.toml", "--db", url]) == 3
        assert main(["analyse", "--db", url]) == 0
        assert main(["user", "add", "A. Reed", "--password-file", "password", "--db", url]) == 0

    return record


@pytest.fixture
def own_database(postgres: PostgresServer) -> Iterator[PostgresServer]:
    """A database of the name that docker-compose.yml gives it."""
    with psycopg.connect(postgres.url(), autocommit=True) as connection:
        connection.execute("create database bondtrail")
    yield postgres
    with psycopg.connect(postgres.url(), autocommit=True) as connection:
        connection.execute("drop database if exists bondtrail with (force)")


def test_a_restored_postgresql_answers_the_same(
    own_database: PostgresServer, recorded: Callable[[str], None]
) -> None:
    dump, *restore = IN_DATABASE
    assert [line.split()[0] for line in (dump, *restore)] == [
        *("pg_dump", "dropdb", "createdb", "pg_restore")
    ]
    url = own_database.url("bondtrail")
    recorded(url)
    before = answers(url)
    assert before["findings"]
    assert before["rejects"]
    on_server(own_database, dump)
    with open_store(url) as store:
        store.write({"bay-1.flow": Samples.of([1_772_400_000_000_000_000], [1.0])})
        assert len(store.read("bay-1.flow")) == 91
    for line in restore:
        on_server(own_database, line)
    assert answers(url) == before


def on_server(server: PostgresServer, line: str) -> None:
    """Run what the guide runs in the database's container."""
    programs = postgres_programs()
    assert programs is not None
    path = f"{programs}:{os.environ.get('PATH', '')}"
    env = {**os.environ, "PATH": path, "PGHOST": "127.0.0.1", "PGPORT": str(server.port)}
    done = subprocess.run(["sh", "-c", line], env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_copy_of_sqlite_in_use_answers_the_same(recorded: Callable[[str], None]) -> None:
    recorded("sqlite:///bondtrail.db")
    before = answers("sqlite:///bondtrail.db")
    assert before["findings"]
    stop = threading.Event()
    writing = threading.Thread(target=keep_writing, args=(stop,))
    writing.start()
    try:
        line = f'"{sys.executable}" {SQLITE}'
        subprocess.run(["sh", "-c", line], check=True, timeout=60)
    finally:
        stop.set()
        writing.join()
    copied = answers("sqlite:///copy.db")
    changing = {"points", "readings", "touched"}
    assert {name: copied[name] for name in copied.keys() - changing} == {
        name: before[name] for name in before.keys() - changing
    }
    with open_store("sqlite:///copy.db") as copy, open_store("sqlite:///bondtrail.db") as store:
        found, whole = copy.read("bay-1.flow"), store.read("bay-1.flow")
        assert found == whole.between(0, int(found.time[-1]) + 1)
        assert 90 <= len(found) <= len(whole)
        assert copy.read("bay-1.resistance") == store.read("bay-1.resistance")


def keep_writing(stop: threading.Event) -> None:
    moment = 1_772_400_000_000_000_000
    with open_store("sqlite:///bondtrail.db") as store:
        while not stop.is_set():
            moment += 1_000_000_000
            store.write({"bay-1.flow": Samples.of([moment], [1.0])})
