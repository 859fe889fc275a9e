"""What `review` writes into the log, how it shows it, and how it says that the log is broken."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
import sqlite3
from pathlib import Path

import pytest

from bondtrail import cli
from bondtrail.cli import opening, review
from bondtrail.results import Finding, Kind, Severity, StationResults
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from store import Store, open_store
from tests.bondtrail.cli.conftest import SITE, Run

NOW = parse_time("2026-03-10T12:00:00Z")
DB = "sqlite:///bondtrail.db"
START = parse_time("2026-03-01T06:15:30Z")
SECOND = 10**9
ID = "bay-1/chattering/20260301T061530.000Z"
SAID = ("--state", "explained", "--comment", "Clamp replaced.", "--author", "A. Reed")


@pytest.fixture(autouse=True)
def ready(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "clock_ns", lambda: NOW)
    monkeypatch.setitem(cli.bondtrail.commands, "review", review.command)


def put(store: Store, *findings: Finding) -> None:
    store.save_results(StationResults("bay-1", findings=findings), since=0, since_day=dt.date.min)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finding of the road bay, in a store with its site."""
    file = tmp_path_factory.mktemp("review") / "bondtrail.db"
    found = Finding(
        Kind.CHATTERING, Severity.MINOR, "bay-1", None, START, START + 30 * SECOND,
        "The bond was lost 4 times in 30 s.", {}, {},
    )  # fmt: skip
    with open_store(f"sqlite:///{file}") as store:
        store.put_site(parse_site(SITE), 0)
        put(store, found)
    return file


@pytest.fixture
def finding(whole: Path, folder: Path) -> None:
    """A copy of that store in the folder where the commands run."""
    shutil.copy(whole, folder / "bondtrail.db")


def test_a_review_is_written_and_told(run: Run, finding: None) -> None:
    shown = run("review", ID, *SAID)
    assert (shown.status, shown.err) == (0, "")
    assert f"Review 1 of {ID}: explained, by A. Reed." in shown.out
    assert "The bond was lost 4 times in 30 s." in shown.out
    assert "not a safety function" in shown.out


def test_the_log_for_programs(run: Run, finding: None) -> None:
    run("review", ID, *SAID)
    run("review", ID, "--state", "open", "--comment", "Again.", "--author", "B. Moss")
    first, second = run("review", "--log", "--format", "json").json
    assert list(first) == [
        "number", "at", "author", "state", "finding", "kind", "station", "start", "end", "comment",
        "orphaned", "previous", "digest",
    ]  # fmt: skip
    assert first | {"digest": ""} == {
        "number": 1,
        "at": "2026-03-10T12:00:00.000Z",
        "author": "A. Reed",
        "state": "explained",
        "finding": ID,
        "kind": "chattering",
        "station": "bay-1",
        "start": "2026-03-01T06:15:30.000Z",
        "end": "2026-03-01T06:16:00.000Z",
        "comment": "Clamp replaced.",
        "orphaned": False,
        "previous": "0" * 64,
        "digest": "",
    }
    assert (second["number"], second["previous"]) == (2, first["digest"])
    rows = list(csv.DictReader(io.StringIO(run("review", "--log", "--format", "csv").out)))
    assert [row["comment"] for row in rows] == ["Clamp replaced.", "Again."]
    assert rows[1]["digest"] == second["digest"]


def test_the_log_for_people_says_that_a_name_is_no_proof(run: Run, finding: None) -> None:
    run("review", ID, *SAID)
    shown = run("review", "--log").out
    assert "2026-03-10 12:00:00" in shown
    assert "Clamp replaced." in shown
    assert "a name is no proof of who it was" in " ".join(shown.split())
    assert "orphaned" not in shown


def test_a_review_whose_finding_is_gone_is_shown_as_orphaned(run: Run, finding: None) -> None:
    run("review", ID, *SAID)
    with open_store(DB) as store:
        put(store)
    assert "(orphaned)" in run("review", "--log").out
    assert [row["orphaned"] for row in run("review", "--log", "--format", "json").json] == [True]


def test_a_log_without_reviews(run: Run, finding: None) -> None:
    assert run("review", "--log").out == "No reviews.\n"
    assert run("review", "--log", "--format", "json").json == []
    verified = run("review", "--verify")
    assert verified.status == 0
    assert verified.out.startswith("0 reviews: ")


def test_a_whole_log_is_verified_and_its_last_digest_told(run: Run, finding: None) -> None:
    run("review", ID, *SAID)
    (row,) = run("review", "--log", "--format", "json").json
    shown = run("review", "--verify")
    assert (shown.status, shown.err) == (0, "")
    assert f"The last, 1, has the digest {row['digest']}." in shown.out
    assert "cut off at its end looks whole" in shown.out


@pytest.mark.parametrize(
    ("change", "statement", "told"),
    [
        ("update", "update review set comment = 'fine' where number = 1", "review 1 is broken: ed"),
        ("delete", "delete from review where number = 1", "review 1 is broken: missing"),
    ],
)
def test_a_broken_log_is_told(
    run: Run, finding: None, change: str, statement: str, told: str
) -> None:
    run("review", ID, *SAID)
    run("review", ID, *SAID)
    with sqlite3.connect("bondtrail.db") as conn:
        conn.execute(f"drop trigger review_no_{change}")
        conn.execute(statement)
    conn.close()
    shown = run("review", "--verify")
    assert shown.status == 3
    assert told in shown.err
    assert "not as it was written, at 1 place" in shown.err
    assert shown.out == ""
    listed = run("review", "--log", "--format", "json")
    assert listed.status == 0
    assert "bondtrail review --verify says where" in listed.err
    assert listed.json


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        pytest.param([], "needs FINDING, --state, --comment, --author", id="nothing"),
        pytest.param([ID], "needs --state, --comment, --author", id="a-finding-alone"),
        pytest.param([ID, "--log"], "one at a time", id="a-finding-with-log"),
        pytest.param(["--verify", "--format", "csv"], "goes with --log", id="verify-for-programs"),
        pytest.param(["--log", "--verify"], "one at a time", id="log-with-verify"),
        pytest.param(["--verify", "--author", "A"], "one at a time", id="verify-with-author"),
        pytest.param([ID, *SAID, "--state", "closed"], "'closed'", id="no-such-state"),
        pytest.param([ID, *SAID, "--comment", " "], "--comment: expected some text", id="empty"),
        pytest.param([ID, *SAID, "--author", "x" * 201], "--author: expected 200", id="long"),
        pytest.param(["bay-1/x/y", *SAID], "no finding 'bay-1/x/y'", id="no-such-finding"),
    ],
)
def test_wrong_use_is_told(run: Run, finding: None, arguments: list[str], told: str) -> None:
    shown = run("review", *arguments)
    assert shown.status == 2
    assert told in shown.err
    assert len(shown.err.splitlines()) <= 2
    assert run("review", "--log").out == "No reviews.\n"


@pytest.mark.parametrize("arguments", [["--log"], ["--verify"], [ID, *SAID]], ids=str)
def test_without_a_store_none_is_made(run: Run, folder: Path, arguments: list[str]) -> None:
    shown = run("review", *arguments)
    assert shown.status == 2
    assert "no store at" in shown.err
    assert list(folder.iterdir()) == []


def test_what_would_steer_a_terminal_is_taken_out(run: Run, finding: None) -> None:
    said = run("review", ID, "--state", "open", "--comment", "a\x1b[31mb", "--author", "A\x1bB")
    assert said.status == 0
    assert "\x1b" not in said.out + run("review", "--log").out
