"""Periods: site days, both ends included."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from dashboard.period import Period, PeriodError, parse_period

LISBON = ZoneInfo("Europe/Lisbon")
MARCH = Period(dt.date(2026, 3, 1), dt.date(2026, 3, 31))
HOUR = 3600 * 1_000_000_000


@pytest.mark.parametrize(
    ("first", "last", "expected"),
    [
        (None, None, MARCH),
        ("", "", MARCH),
        ("2026-03-05", None, Period(dt.date(2026, 3, 5), MARCH.last)),
        (None, "2026-03-05", Period(MARCH.first, dt.date(2026, 3, 5))),
        ("2026-03-05", "2026-03-05", Period(dt.date(2026, 3, 5), dt.date(2026, 3, 5))),
        ("2025-01-01", "2027-01-01", Period(dt.date(2025, 1, 1), dt.date(2027, 1, 1))),
    ],
)
def test_parse_period(first: str | None, last: str | None, expected: Period) -> None:
    assert parse_period(first, last, MARCH) == expected


@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("x", None),
        ("2026-3-1", None),
        ("2026-02-30", None),
        (None, "99999-01-01"),
        ("1969-12-31", None),
        (None, "9999-12-31"),
        ("2026-03-06", "2026-03-05"),
        ("2026-04-01", None),
    ],
)
def test_a_period_that_is_none_is_refused(first: str | None, last: str | None) -> None:
    with pytest.raises(PeriodError):
        parse_period(first, last, MARCH)


@pytest.mark.parametrize(
    ("day", "hours"),
    [
        pytest.param(dt.date(2026, 3, 28), 24, id="a usual day"),
        pytest.param(dt.date(2026, 3, 29), 23, id="clocks go forward"),
        pytest.param(dt.date(2026, 10, 25), 25, id="clocks go back"),
    ],
)
def test_bounds_follow_the_clock_of_the_site(day: dt.date, hours: int) -> None:
    start, end = Period(day, day).bounds(LISBON)
    assert end - start == hours * HOUR


def test_the_latest_days_of_a_period_do_not_reach_before_it() -> None:
    assert MARCH.latest(7) == Period(dt.date(2026, 3, 25), MARCH.last)
    assert MARCH.latest(500) == MARCH
    assert MARCH.days == 31
