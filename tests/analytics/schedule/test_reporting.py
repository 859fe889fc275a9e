"""The job that writes reports: what it leaves for later, and what it calls a failure."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from analytics.reports.writing_due import DueReports, ResultsBehindError
from analytics.schedule.reporting import NotWrittenError, write_reports
from analytics.schedule.turn import Turn
from bondtrail.results import StationResults
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from store import Store
from tests.analytics.workdays import site, workdays

PLAN = '\n[[report]]\nevery = "weekly"\nfolder = "{}"\nformat = "json"\n'
SUNDAY_OVER = "2026-03-09T00:04:59Z"
A, B = Path("a.html"), Path("b.html")


def turn(store: Store, at: str) -> Turn:
    now = parse_time(at)
    return Turn(store, now, lambda: now, lambda: False)


def planned(store: Store, folder: Path) -> None:
    store.put_site(parse_site(site("spot").text + PLAN.format(folder)), 0)


def test_a_site_that_calls_for_none_gets_none(store: Store) -> None:
    assert write_reports(turn(store, SUNDAY_OVER)) == "the site file calls for no report"
    store.put_site(site("spot"), 0)
    assert write_reports(turn(store, SUNDAY_OVER)) == "the site file calls for no report"


def test_a_week_is_reported_once_its_last_readings_had_time_to_come(
    store: Store, tmp_path: Path
) -> None:
    planned(store, tmp_path / "weekly")
    store.write(workdays(2.0))  # on a Monday
    assert write_reports(turn(store, SUNDAY_OVER)) == "none is due"
    waiting = "1 report due, and results of the period to come"
    assert write_reports(turn(store, "2026-03-09T00:05:00Z")) == waiting
    for station, mark in store.touched().items():
        nothing = StationResults(station)
        store.save_results(nothing, since=0, since_day=dt.date.min, touch=mark)
    assert write_reports(turn(store, "2026-03-09T00:05:00Z")) == "1 report written"
    assert [path.name for path in (tmp_path / "weekly").iterdir()] == [
        "compliance-pier-2026-w10.json"
    ]
    assert write_reports(turn(store, "2026-03-09T00:15:00Z")) == "none is due"


def test_what_could_not_be_written_is_a_failure_that_names_the_first(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    planned(store, tmp_path)
    faults: list[tuple[Path, Exception]] = [
        (A, ResultsBehindError(2)),
        (B, OSError("the disk is full")),
    ]

    def written(*_: Any, **__: Any) -> DueReports:
        return DueReports(failed=faults)

    monkeypatch.setattr("analytics.reports.writing_due.write_due", written)
    with pytest.raises(NotWrittenError, match=r"1 report not written, the first: b\.html: the di"):
        write_reports(turn(store, SUNDAY_OVER))
