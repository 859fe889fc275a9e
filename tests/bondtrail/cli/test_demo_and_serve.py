"""The demo from readings to board, and the board's address: loopback only."""

from __future__ import annotations

import io
import os
import re
import signal
import socket
import sys
import threading
import urllib.request
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from bondtrail.cli import demo, main
from bondtrail.results import Finding, Kind, Severity
from bondtrail.settings import DB_VARIABLE
from bondtrail.site import load_site
from dashboard.queries.stations import overview_of
from replay_data import demo_files
from store import open_store
from tests.bondtrail.cli.conftest import Run
from tests.waiting import LONG_S, until


@pytest.fixture(autouse=True)
def log_of_the_tests(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the log to what runs the tests."""
    monkeypatch.setattr("bondtrail.logs.log_plainly", lambda: None)


def served(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> tuple[int, str]:
    """Run a command that serves, and interrupt it once its page was opened.

    Returns
    -------
    tuple of int and str
        Its exit status, and the address that it printed and that answered.
    """
    piped, over = io.BytesIO(), threading.Event()  # as in a pipe, only what is flushed is there
    answered: list[str] = []

    def look() -> None:
        try:
            found = until(lambda: over.is_set() or re.search(rb"http://\S+", piped.getvalue()))
            if isinstance(found, re.Match):
                address = found[0].decode()
                with urllib.request.urlopen(address, timeout=LONG_S) as answer:
                    assert answer.status == 200
                answered.append(address)
        finally:
            if not over.is_set():
                os.kill(os.getpid(), signal.SIGINT)

    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(piped, encoding="utf-8"))
    # What a shell runs in the background ignores it.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    thread = threading.Thread(target=look)
    thread.start()
    try:
        status = main(arguments)
    finally:
        over.set()
        thread.join()
        signal.signal(signal.SIGINT, before)
    (address,) = answered
    return status, address


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder in which the demo ran once, and what it printed."""
    folder = tmp_path_factory.mktemp("demo")
    out, err = io.StringIO(), io.StringIO()
    with chdir(folder), redirect_stdout(out), redirect_stderr(err):
        status = main(["demo", "--no-serve"])
    assert (status, err.getvalue()) == (0, "")
    return folder, out.getvalue()


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
    shown: tuple[Path, str], run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, first = shown
    monkeypatch.chdir(folder)
    monkeypatch.setenv(DB_VARIABLE, "sqlite:///plant.db")
    again = run("demo", "--no-serve")
    assert again.status == 0
    assert ": 0 new, " in again.out
    tables = first.partition("Stations, four weeks")[2]
    assert again.out.partition("Stations, four weeks")[2] == tables
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


def test_the_demo_serves_on_a_free_port_and_ends_when_interrupted(
    shown: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(shown[0])
    status, address = served(monkeypatch, "demo")
    assert status in (0, 130)
    assert address.startswith("http://127.0.0.1:")


def test_serve_needs_no_site_file(
    shown: tuple[Path, str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = f"sqlite:///{shown[0]}/bondtrail-demo.db"
    status, address = served(monkeypatch, "serve", "--port", "0", "--db", url)
    assert status == 0
    assert address.startswith("http://127.0.0.1:")
    assert list(folder.iterdir()) == []


def test_serve_tells_a_port_that_is_taken(shown: tuple[Path, str], run: Run) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = str(other.getsockname()[1])
        url = f"sqlite:///{shown[0]}/bondtrail-demo.db"
        refused = run("serve", "--port", port, "--db", url)
    assert refused.status == 2
    assert f"port {port}" in refused.err
    assert "--port 0 finds a free one" in refused.err
    assert refused.err.count("\n") <= 2


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
