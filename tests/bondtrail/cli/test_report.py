"""`report`: a file of a period, and reports that write themselves by the calendar."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bondtrail.cli import opening
from bondtrail.times import parse_time
from store import open_store
from tests.analytics.reports import quay
from tests.bondtrail.cli.conftest import Run

WHOLE = ("report", "--db", "sqlite:///quay.db")
MARCH = (*WHOLE, "--from", "2026-03-01", "--to", "2026-04-01")
MISSED = [f"weekly/compliance-quay-2026-w{week:02}.html" for week in range(9, 13)]
"""The weeks before it, from that of the first reading on."""
LATEST_ARE_THERE = "No report is due: those of the latest periods with readings are there.\n"
WEEK, MONTH = "weekly/compliance-quay-2026-w13.html", "monthly/compliance-quay-2026-03.csv"


@pytest.fixture(scope="session")
def quay_db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("quay") / "quay.db"
    with open_store(f"sqlite:///{path}") as store:
        quay.fill(store)
    return path


@pytest.fixture(autouse=True)
def at_the_quay(folder: Path, quay_db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A store of a month of results, and the second of April."""
    shutil.copy(quay_db, folder / "quay.db")
    monkeypatch.setattr(opening, "clock_ns", lambda: quay.NOW)


class TestOnce:
    def test_it_writes_the_file_and_says_so(self, run: Run, folder: Path) -> None:
        told = run(*MARCH, "--out", "march.html")
        assert told.status == 0
        assert told.out.splitlines()[0] == "Wrote march.html"
        assert "not a safety function" in told.out
        assert "holes at 2 stations" in told.err
        page = (folder / "march.html").read_text(encoding="utf-8")
        assert "118 of 122 transfers compliant" in page

    def test_left_alone_it_is_about_the_last_complete_month(self, run: Run, folder: Path) -> None:
        assert run(*WHOLE, "--out", "last.json").status == 0
        assert run(*MARCH, "--out", "march.json").status == 0
        assert (folder / "last.json").read_bytes() == (folder / "march.json").read_bytes()

    def test_every_file_of_a_csv_report_is_named(self, run: Run, folder: Path) -> None:
        told = run(*MARCH, "--out", "march.csv")
        named = [line.removeprefix("Wrote ") for line in told.out.splitlines() if "Wrote" in line]
        assert {"march.csv", "march-stations.csv", "march-not_compliant.csv"} <= set(named)
        assert sorted(named) == sorted(path.name for path in folder.glob("*.csv"))

    def test_a_report_is_made_again_over_the_earlier_one(self, run: Run, folder: Path) -> None:
        (folder / "march.json").write_text("old", encoding="utf-8")
        assert run(*MARCH, "--out", "march.json").status == 0
        assert (folder / "march.json").read_text(encoding="utf-8").startswith("{")

    def test_by_tells_each_station_by_week(self, run: Run, folder: Path) -> None:
        run(*MARCH, "--out", "march.json", "--by", "week")
        rows = json.loads((folder / "march.json").read_text(encoding="utf-8"))["periods"]
        assert [row["first"] for row in rows if row["station"] == "tote"][:2] == [
            "2026-03-01",
            "2026-03-02",
        ]
        run(*MARCH, "--out", "plain.json")
        assert json.loads((folder / "plain.json").read_text(encoding="utf-8"))["periods"] == []

    @pytest.mark.parametrize(
        ("chosen", "stations"),
        [
            (("--station", "tote"), {"tote"}),
            (("--station", "tote", "--station", "bowl"), {"tote", "bowl"}),
            (("--area", "Rail"), {"rail-1"}),
            (("--area", "Rail", "--station", "bowl"), {"rail-1", "bowl"}),
        ],
    )
    def test_only_some_stations(
        self, run: Run, folder: Path, chosen: tuple[str, ...], stations: set[str]
    ) -> None:
        assert run(*MARCH, "--out", "some.csv", *chosen).status == 0
        with (folder / "some-stations.csv").open(newline="", encoding="utf-8") as file:
            assert {row["station"] for row in csv.DictReader(file)} == stations

    def test_from_alone_runs_up_to_today(self, run: Run, folder: Path) -> None:
        run(*WHOLE, "--from", "2026-03-30", "--out", "late.json")
        summary = json.loads((folder / "late.json").read_text(encoding="utf-8"))["summary"]
        days = {row["item"]: row["day"] for row in summary if row["day"]}
        assert days == {"first day": "2026-03-30", "last day": "2026-04-01"}

    @pytest.mark.parametrize(
        ("arguments", "told"),
        [
            (("--out", "march.pdf"), "must end with .html, .xlsx, .csv, .json"),
            ((), "--out FILE is needed"),
            (("--out", "gone/march.html"), "there is no folder gone"),
            (("--out", "m.html", "--to", "2026-04-01"), "--to goes with --from"),
            (("--out", "m.html", "--from", "2026-05-01"), "--from must be before today"),
            (
                ("--out", "m.html", "--from", "2026-05-01", "--to", "2026-06-01"),
                "2026-05-01 is yet to come",
            ),
            (
                ("--out", "m.html", "--from", "2026-03-02", "--to", "2026-03-02"),
                "--from must be before --to",
            ),
            (("--out", "m.html", "--from", "2026-03-02T06:00"), "is not a day"),
            (("--out", "m.html", "--from", "yesterday"), "is not a day"),
            (("--out", "m.html", "--from", "0001-01-01"), "outside the years"),
            (("--out", "m.html", "--station", "rail-2"), "Did you mean rail-1"),
            (("--out", "m.html", "--area", "Rails"), "Did you mean Rail"),
            (("--schedule", "--due"), "name one of them"),
            (("--due", "--out", "m.html"), "--out does not go with"),
            (("--schedule", "--station", "tote"), "--station does not go with"),
        ],
    )
    def test_what_cannot_be_done_is_said(
        self, run: Run, folder: Path, arguments: tuple[str, ...], told: str
    ) -> None:
        found = run(*WHOLE, *arguments)
        assert (found.status, found.out) == (2, "")
        assert told in found.err
        assert [path.name for path in folder.iterdir()] == ["quay.db"]

    def test_a_folder_in_the_place_of_the_file_is_refused(self, run: Run, folder: Path) -> None:
        (folder / "march.html").mkdir()
        found = run(*MARCH, "--out", "march.html")
        assert found.status == 2
        assert "march.html" in found.err

    def test_more_rows_than_a_sheet_holds_are_refused(
        self, run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("analytics.reports.xlsx.MOST_ROWS", 30)
        found = run(*MARCH, "--out", "march.xlsx")
        assert found.status == 2
        assert "more than a sheet holds; write CSV or JSON" in found.err
        assert not (folder / "march.xlsx").exists()

    def test_without_a_store_nothing_is_made(self, run: Run, folder: Path) -> None:
        found = run("report", "--db", "sqlite:///gone.db", "--out", "m.html")
        assert found.status == 2
        assert "no store" in found.err
        assert not (folder / "gone.db").exists()


def written_before(*paths: str) -> None:
    """Have reports there already: to write one takes longer than most tests."""
    for path in map(Path, paths):
        path.parent.mkdir(exist_ok=True)
        path.write_text("kept", encoding="utf-8")


class TestDue:
    def test_it_writes_what_is_missing(self, run: Run, folder: Path) -> None:
        written_before(*MISSED[1:])
        told = run(*WHOLE, "--due")
        assert (told.status, told.err) == (0, "")
        assert told.out.splitlines() == [f"Wrote {path}" for path in (MISSED[0], WEEK, MONTH)]
        assert "2026-03-23 to 2026-03-29" in (folder / WEEK).read_text(encoding="utf-8")
        assert (folder / MONTH).with_name("compliance-quay-2026-03-stations.csv").exists()
        again = run(*WHOLE, "--due")
        assert (again.status, again.out) == (0, LATEST_ARE_THERE)

    def test_what_is_there_is_left_alone(self, run: Run) -> None:
        written_before(*MISSED, WEEK)
        told = run(*WHOLE, "--due")
        assert (told.status, told.out) == (0, f"Wrote {MONTH}\n")
        assert {Path(path).read_text(encoding="utf-8") for path in (*MISSED, WEEK)} == {"kept"}

    def test_the_plan_says_by_what_stations_are_told(self, run: Run, folder: Path) -> None:
        written_before(*MISSED, WEEK)
        run(*WHOLE, "--due")
        periods = (folder / MONTH).with_name("compliance-quay-2026-03-periods.csv")
        assert len(periods.read_text(encoding="utf-8").splitlines()) > 10

    def test_one_that_fails_does_not_keep_the_others_from_being_made(
        self, run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (folder / "weekly").write_text("in the way", encoding="utf-8")
        told = run(*WHOLE, "--due")
        assert told.status == 3
        assert told.out == f"Wrote {MONTH}\n"
        failed = re.findall("^bondtrail: (.*) not written", told.err, re.MULTILINE)
        assert failed == [*MISSED, WEEK]
        monkeypatch.setattr("analytics.reports.schedule.MOST_MISSED", 2)  # sooner done
        (folder / "monthly/compliance-quay-2026-03.csv").unlink()
        shutil.rmtree(folder / "monthly")
        (folder / "monthly").write_text("in the way", encoding="utf-8")
        assert run(*WHOLE, "--due").status == 2

    @pytest.mark.parametrize(
        ("since", "there", "status"),
        [
            pytest.param("2026-02-27T12:00:00Z", [], 2, id="before-all"),
            pytest.param("2026-03-29T12:00:00Z", MISSED[1:], 3, id="within-both"),
            pytest.param("2026-03-30T12:00:00Z", MISSED, 3, id="after-the-week-within-the-month"),
            pytest.param("2026-04-01T00:00:00Z", MISSED, 0, id="after-both"),
        ],
    )
    def test_results_that_are_still_to_come_are_waited_for(
        self, run: Run, folder: Path, since: str, there: list[str], status: int
    ) -> None:
        with open_store("sqlite:///quay.db") as store:
            store.touch("tote", parse_time(since))
        written_before(*there)
        told = run(*WHOLE, "--due")
        assert told.status == status
        assert ("results of 1 station are not up to date" in told.err) is (status != 0)

    def test_what_waited_for_results_is_written_once_they_are_there(
        self, run: Run, folder: Path
    ) -> None:
        with open_store("sqlite:///quay.db") as store:
            store.touch("tote", parse_time("2026-03-29T12:00:00Z"))
        written_before(*MISSED[1:])
        assert run(*WHOLE, "--due").status == 3
        run("analyse", "--db", "sqlite:///quay.db")
        assert run(*WHOLE, "--due").status == 0
        assert (folder / WEEK).exists()
        assert (folder / MONTH).exists()

    def test_a_site_that_calls_for_none_is_told_how(self, run: Run, site_file: str) -> None:
        run("load", site_file, "--site", site_file, "--db", "sqlite:///other.db")
        for option in ("--due", "--schedule"):
            told = run("report", "--db", "sqlite:///other.db", option)
            assert told.status == 2
            assert "calls for no report" in told.err
            assert "[[report]]" in told.err


@contextmanager
def told_once(number: signal.Signals, is_time: Callable[[], bool]) -> Iterator[None]:
    """Send this process a signal, once it is time, while the block goes on in this thread."""
    over = threading.Event()

    def tell() -> None:
        give_up = time.monotonic() + 120
        while not is_time() and time.monotonic() < give_up and not over.wait(0.02):
            pass
        os.kill(os.getpid(), number)

    before = signal.signal(number, lambda *_: None)  # one that comes too late does no harm
    thread = threading.Thread(target=tell)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        signal.signal(number, before)


class TestSchedule:
    @pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
    def test_it_writes_what_is_missing_and_stops_when_told(
        self, run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch, number: signal.Signals
    ) -> None:
        # The scheduler has the clock of the machine: the latest of today are due, empty, but there.
        monkeypatch.setattr(opening, "clock_ns", time.time_ns)
        with told_once(number, lambda: any(folder.glob("weekly/compliance-quay-*"))):
            told = run(*WHOLE, "--schedule")
        assert (told.status, told.err) == (0, "")
        lines = told.out.splitlines()
        assert "Looking every hour whether one of 2 reports is due (Ctrl-C ends it)" in lines
        assert lines[-1] == "Stopped."
        written = [line for line in lines if line.startswith("Wrote ")]
        assert 0 < len(written) < 16  # of eight weeks and eight months
        assert not list(folder.glob("*ly/.*"))

    def test_a_look_that_fails_is_said_and_the_next_one_goes_on(
        self, run: Run, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        from bondtrail.cli import due_reports

        due_reports._look("sqlite:///gone.db")
        assert "reports not written: no store" in capsys.readouterr().err
        written_before(*MISSED)
        due_reports._look("sqlite:///quay.db")
        told = capsys.readouterr().out.splitlines()
        assert told == [f"Wrote {path}" for path in (WEEK, MONTH)]

    def test_no_further_report_is_begun_once_it_is_told_to_stop(
        self, run: Run, capsys: pytest.CaptureFixture[str]
    ) -> None:
        from bondtrail.cli import due_reports

        stop = threading.Event()
        stop.set()
        due_reports._look("sqlite:///quay.db", stop)
        assert capsys.readouterr().out == ""

    def test_a_defect_does_not_end_the_schedule(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from bondtrail.cli import due_reports

        def broken(*_: object, **__: object) -> None:
            raise RuntimeError("broken")

        monkeypatch.setattr("analytics.reports.writing_due.gather", broken)
        due_reports._look("sqlite:///quay.db")
        told = capsys.readouterr().err
        assert f"{WEEK} not written: RuntimeError: broken" in told
        assert f"{MONTH} not written: RuntimeError: broken" in told

    def test_the_week_that_is_over_next_is_due_next(
        self, run: Run, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        written_before(*MISSED, WEEK, MONTH)
        monkeypatch.setattr(opening, "clock_ns", lambda: parse_time("2026-04-05T23:30:00Z"))
        told = run(*WHOLE, "--due")  # in Lisbon it is Monday already
        assert told.out == "Wrote weekly/compliance-quay-2026-w14.html\n"
