"""Which reports are due, and a clock that makes up for what it missed."""

from __future__ import annotations

import datetime as dt
import threading
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from analytics.reports.schedule import due, hourly, path_of
from bondtrail.site import ReportPlan

ZONE = ZoneInfo("Asia/Kolkata")
TODAY = dt.date(2026, 4, 1)
MARCH_25 = dt.date(2026, 3, 25)


def plan(every: str = "weekly", form: str = "html", folder: str = "reports") -> ReportPlan:
    return ReportPlan.model_validate({"every": every, "folder": folder, "format": form})


def test_the_latest_week_and_month_are_due(tmp_path: Path) -> None:
    plans = [plan(folder=str(tmp_path)), plan("monthly", "csv", str(tmp_path))]
    assert [item.path.name for item in due(plans, "quay", TODAY, MARCH_25)] == [
        "compliance-quay-2026-w13.html",
        "compliance-quay-2026-03.csv",
    ]


def test_what_is_there_is_not_due(tmp_path: Path) -> None:
    plans = [plan(folder=str(tmp_path))]
    (item,) = due(plans, "quay", TODAY, MARCH_25)
    item.path.touch()
    assert due(plans, "quay", TODAY, MARCH_25) == []
    assert [
        each.path.name for each in due(plans, "quay", TODAY + dt.timedelta(days=7), MARCH_25)
    ] == ["compliance-quay-2026-w14.html"]


WEEKS = [f"compliance-quay-2026-w{week:02}.html" for week in range(6, 14)]


@pytest.mark.parametrize(
    ("recorded", "expected"),
    [
        pytest.param(dt.date(2020, 1, 1), WEEKS, id="the-latest-eight-at-most"),
        pytest.param(dt.date(2026, 3, 16), WEEKS[-2:], id="from-the-week-of-the-first-reading"),
        pytest.param(dt.date(2026, 3, 15), WEEKS[-3:], id="a-week-with-one-day-of-readings"),
        pytest.param(dt.date(2026, 3, 30), [], id="no-week-with-readings-is-over"),
        pytest.param(None, [], id="no-readings"),
    ],
)
def test_missed_ones_are_made_up_for(
    tmp_path: Path, recorded: dt.date | None, expected: list[str]
) -> None:
    found = due([plan(folder=str(tmp_path))], "quay", TODAY, recorded)
    assert [item.path.name for item in found] == expected


def test_two_weeks_off_are_two_weekly_reports(tmp_path: Path) -> None:
    plans = [plan(folder=str(tmp_path))]
    for item in due(plans, "quay", TODAY, dt.date(2026, 2, 1)):
        item.path.touch()
    later = due(plans, "quay", TODAY + dt.timedelta(days=14), dt.date(2026, 2, 1))
    assert [str(item.period) for item in later] == [
        "2026-03-30 to 2026-04-05",
        "2026-04-06 to 2026-04-12",
    ]


def test_two_plans_of_one_file_are_one(tmp_path: Path) -> None:
    assert len(due([plan(folder=str(tmp_path))] * 2, "quay", TODAY, MARCH_25)) == 1


def test_a_relative_folder_is_that_of_where_the_command_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (item,) = due([plan()], "quay", TODAY, MARCH_25)
    assert item.path == path_of(plan(), "quay", item.period)
    assert item.path.parent.resolve() == tmp_path / "reports"


def test_it_looks_at_once_and_then_every_hour_of_the_site() -> None:
    looked = threading.Event()
    now = dt.datetime(2026, 4, 1, 10, 59, tzinfo=ZONE)  # long past: it looks at once
    scheduler = hourly(looked.set, ZONE, now=now)
    scheduler.start()
    try:
        assert looked.wait(30)
        (job,) = scheduler.get_jobs()
        upcoming = job.trigger.get_next_fire_time(None, now)
    finally:
        scheduler.shutdown()
    assert upcoming == dt.datetime(2026, 4, 1, 11, 5, tzinfo=ZONE)
    assert (job.coalesce, job.misfire_grace_time, job.max_instances) == (True, None, 1)
