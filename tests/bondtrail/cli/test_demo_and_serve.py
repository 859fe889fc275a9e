"""The demo from readings to board, and the board's address: real processes, loopback only."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import bondtrail
from bondtrail.cli import demo
from bondtrail.results import Finding, Kind, Severity
from bondtrail.settings import DB_VARIABLE
from bondtrail.site import load_site
from dashboard.queries.stations import overview_of
from replay_data import demo_files
from store import open_store

Run = Callable[..., Any]

ROOM = str(Path(bondtrail.__file__).parents[1])
BONDTRAIL = [sys.executable, "-c", "import sys; from bondtrail.cli import main; sys.exit(main())"]


def call(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*BONDTRAIL, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": ROOM},
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )


@contextmanager
def serving(folder: Path, *arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Run a command that serves; yields it and the address that it prints."""
    process = subprocess.Popen(
        [*BONDTRAIL, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": ROOM},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        lines = iter(process.stdout.readline, "")
        found = (re.search(r"http://\S+", line) for line in lines)
        yield process, next(match[0] for match in found if match)
    finally:
        process.kill()
        process.communicate()


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder in which the demo ran once, and what it printed."""
    folder = tmp_path_factory.mktemp("demo")
    first = call(folder, "demo", "--no-serve")
    assert (first.returncode, first.stderr) == (0, "")
    return folder, first.stdout


def test_the_demo_prints_its_stations_and_the_worst_it_found(shown: tuple[Path, str]) -> None:
    _, text = shown
    assert text.count("invented") >= 1
    assert "not a safety function" in text
    assert max(map(len, text.splitlines())) <= 100
    stations, worst = text.split("Stations, four weeks")[1].split("Worst findings")
    for station in load_site(demo_files().site).stations:
        assert re.search(rf"^{station.id} ", stations, re.MULTILINE)
    assert "no_bond_transfer" in worst


def test_the_demo_has_its_stations_in_the_order_of_the_board(shown: tuple[Path, str]) -> None:
    folder, text = shown
    lines = text.split("Stations, four weeks")[1].split("Worst findings")[0].splitlines()
    with open_store(f"sqlite:///{folder}/bondtrail-demo.db") as store:
        board = overview_of(store, None, None)
    assert board is not None
    ids = [row.station.id for row in board.rows]
    assert [line.split()[0] for line in lines if line.split()[:1] and line.split()[0] in ids] == ids
    assert ids != sorted(ids)


def test_a_second_demo_finds_everything_in_place_and_heeds_no_store_of_the_environment(
    shown: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, first = shown
    monkeypatch.setenv(DB_VARIABLE, "sqlite:///plant.db")
    again = call(folder, "demo", "--no-serve")
    assert again.returncode == 0
    assert ": 0 new, " in again.stdout
    tables = first.partition("Stations, four weeks")[2]
    assert again.stdout.partition("Stations, four weeks")[2] == tables
    assert not (folder / "plant.db").exists()


def test_the_demo_keeps_out_of_the_store_of_another_site(run: Run, site_file: str) -> None:
    Path("x.csv").write_text("time,tag,value\n2026-03-02T08:15:00Z,GND1,3\n")
    run("load", "x.csv", "--site", site_file, "--db", "sqlite:///plant.db")
    refused = run("demo", "--db", "sqlite:///plant.db")
    assert refused.status == 2
    assert "holds another site" in refused.err
    assert (
        run("show", "points", "--db", "sqlite:///plant.db", "--format", "json").json[0]["samples"]
        == 1
    )


def test_any_transfer_of_the_demo_can_be_replayed(shown: tuple[Path, str], run: Run) -> None:
    folder, _ = shown
    url = f"sqlite:///{folder}/bondtrail-demo.db"
    with open_store(url) as store:
        failing = [row.id for row in store.transfers() if not row.compliant]
    wanted = {transfer.partition("/")[0]: transfer for transfer in failing}
    assert len(wanted) >= 5
    for transfer in wanted.values():
        table = run("replay", transfer, "--db", url)
        assert (table.status, table.err) == (0, "")
        assert f"Replay of {transfer}\n" in table.out
        assert "NOT compliant" in table.out
        assert "level float" in " ".join(table.out.split())
        assert max(map(len, table.out.splitlines())) <= 100


def test_the_demo_serves_on_a_free_port_and_ends_when_interrupted(shown: tuple[Path, str]) -> None:
    folder, _ = shown
    with serving(folder, "demo") as (process, address):
        assert address.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(address, timeout=60) as answer:
            assert answer.status == 200
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)
        assert "Traceback" not in err
        assert process.returncode in (0, 130)


def test_serve_needs_no_site_file_and_tells_a_port_that_is_taken(shown: tuple[Path, str]) -> None:
    folder, _ = shown
    db = ("--db", "sqlite:///bondtrail-demo.db")
    with serving(folder, "serve", "--port", "0", *db) as (_, address):
        port = address.rstrip("/").rpartition(":")[2]
        refused = call(folder, "serve", "--port", port, *db)
        assert refused.returncode == 2
        assert f"port {port}" in refused.stderr
        assert "--port 0 finds a free one" in refused.stderr
        assert refused.stderr.count("\n") <= 2


def test_what_the_demo_found_can_be_asked_for(shown: tuple[Path, str], run: Run) -> None:
    folder, _ = shown
    db = ("--db", f"sqlite:///{folder}/bondtrail-demo.db", "--format", "json")
    found = run("show", "findings", "--kind", "no_bond_transfer", *db).json
    assert found
    named = {row["id"]: row for row in run("show", "transfers", *db).json}
    for finding in found:
        assert named[finding["transfer"]]["compliant"] is False


def finding(station: str, kind: Kind, severity: Severity, seconds: float) -> Finding:
    return Finding(kind, severity, station, None, 0, round(seconds * 1e9), "", {}, {})


def test_the_worst_comes_first_once_for_each_kind_at_each_station() -> None:
    chattering = finding("a", Kind.CHATTERING, Severity.MINOR, 900)
    failed = finding("b", Kind.FAILED_HOOKUP, Severity.MINOR, 30)
    short = finding("a", Kind.BYPASSED_FLOW, Severity.MAJOR, 5)
    long = finding("a", Kind.BYPASSED_FLOW, Severity.MAJOR, 50)
    elsewhere = finding("b", Kind.BYPASSED_FLOW, Severity.MAJOR, 60)
    start = finding("b", Kind.UNBONDED_START, Severity.MAJOR, 1)
    lost = finding("c", Kind.BOND_LOST_IN_FLOW, Severity.CRITICAL, 1)
    found = demo.worst([chattering, failed, failed, short, long, elsewhere, start, lost])
    assert found == [
        demo.Worst(lost, 1),
        demo.Worst(start, 1),
        demo.Worst(elsewhere, 1),
        demo.Worst(long, 2),
        demo.Worst(failed, 2),
        demo.Worst(chattering, 1),
    ]
    assert demo.worst([]) == []
