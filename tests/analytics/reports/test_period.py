"""Weeks and months that are over, and what a period is called."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from analytics.reports.period import Period, latest_month, latest_week


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("today", "first", "label"),
    [
        pytest.param("2026-03-30", "2026-03-23", "2026-w13", id="monday-the-week-is-just-over"),
        pytest.param("2026-03-29", "2026-03-16", "2026-w12", id="sunday-it-is-not"),
        pytest.param("2026-01-08", "2025-12-29", "2026-w01", id="begins-in-the-year-before"),
        pytest.param("2027-01-04", "2026-12-28", "2026-w53", id="a-year-of-53-weeks"),
    ],
)
def test_the_latest_week(today: str, first: str, label: str) -> None:
    found = latest_week(day(today))
    assert (str(found.first), found.days, found.label) == (first, 7, label)


@pytest.mark.parametrize(
    ("today", "first", "days", "label"),
    [
        pytest.param("2026-04-01", "2026-03-01", 31, "2026-03", id="first-of-the-month"),
        pytest.param("2026-03-31", "2026-02-01", 28, "2026-02", id="last-of-the-month"),
        pytest.param("2028-03-15", "2028-02-01", 29, "2028-02", id="leap-year"),
        pytest.param("2026-01-01", "2025-12-01", 31, "2025-12", id="turn-of-the-year"),
    ],
)
def test_the_latest_month(today: str, first: str, days: int, label: str) -> None:
    found = latest_month(day(today))
    assert (str(found.first), found.days, found.label) == (first, days, label)


def test_other_periods_are_called_by_their_ends() -> None:
    found = Period(day("2026-03-01"), day("2026-03-04"))
    assert found.label == "2026-03-01-to-2026-03-03"
    assert str(found) == "2026-03-01 to 2026-03-03"
    assert str(Period(day("2026-03-01"), day("2026-03-02"))) == "2026-03-01"


def test_a_period_runs_from_midnight_to_midnight_of_the_site() -> None:
    start, end = Period(day("2026-03-29"), day("2026-03-30")).bounds(ZoneInfo("Europe/Lisbon"))
    assert (end - start) / 3.6e12 == 23  # the clocks go forward
