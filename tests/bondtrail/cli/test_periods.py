"""Sums over whole days of the site's calendar."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from bondtrail.cli.periods import COUNTERS, FLAT_KPIS, KPIS, periods
from bondtrail.cli.rows import as_object
from bondtrail.results import AlarmKind, DaySums, Kind, TripCause
from bondtrail.times import format_time

LISBON = ZoneInfo("Europe/Lisbon")


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def some_days(*texts: str, station: str = "a") -> list[DaySums]:
    return [DaySums(station, day(text), transfers=1, flow_s=0.1) for text in texts]


CASES = [  # by, days that there are, range, (first day, last day, transfers) of each period
    pytest.param(None, [], (None, None), [], id="no-days-no-range"),
    pytest.param(
        None, ["2026-03-02"], (None, None), [("2026-03-02", "2026-03-02", 1)], id="one-day"
    ),
    pytest.param(
        None,
        ["2026-03-05", "2026-03-02"],
        (None, None),
        [("2026-03-02", "2026-03-05", 2)],
        id="all-of-them-in-any-order",
    ),
    pytest.param(
        None,
        ["2026-03-05"],
        ("2026-03-01", "2026-03-31"),
        [("2026-03-01", "2026-03-31", 1)],
        id="the-range-asked-for",
    ),
    pytest.param(
        "day",
        ["2026-03-02", "2026-03-03", "2026-03-05"],
        (None, None),
        [
            ("2026-03-02", "2026-03-02", 1),
            ("2026-03-03", "2026-03-03", 1),
            ("2026-03-05", "2026-03-05", 1),
        ],
        id="days-without-a-row-are-left-out",
    ),
    pytest.param(
        "week",  # 2026-03-01 is a Sunday: ISO weeks begin on Monday
        ["2026-03-01", "2026-03-02", "2026-03-08", "2026-03-09"],
        (None, None),
        [
            ("2026-03-01", "2026-03-01", 1),
            ("2026-03-02", "2026-03-08", 2),
            ("2026-03-09", "2026-03-09", 1),
        ],
        id="iso-weeks-cut-at-both-ends",
    ),
    pytest.param(
        "week",  # ISO week 1 of 2026 begins on 29 December 2025
        ["2025-12-29", "2026-01-04", "2026-01-05"],
        ("2025-12-01", "2026-01-31"),
        [("2025-12-29", "2026-01-04", 2), ("2026-01-05", "2026-01-11", 1)],
        id="a-week-over-new-year",
    ),
    pytest.param(
        "month",
        ["2024-02-10", "2024-02-29", "2024-03-01"],
        ("2024-01-15", "2024-03-10"),
        [("2024-02-01", "2024-02-29", 2), ("2024-03-01", "2024-03-10", 1)],
        id="a-leap-month",
    ),
]


@pytest.mark.parametrize(("by", "there", "asked", "expected"), CASES)
def test_periods(
    by: str | None,
    there: list[str],
    asked: tuple[str | None, str | None],
    expected: list[tuple[str, str, int]],
) -> None:
    first, last = (None if text is None else day(text) for text in asked)
    found = periods(some_days(*there), ["a"], LISBON, by, first, last)
    one_day = dt.timedelta(days=1)
    assert [(row.start, row.end, row.sums.transfers) for row in found] == [
        (midnight(day(begin)), midnight(day(end) + one_day), transfers)
        for begin, end, transfers in expected
    ]


def midnight(at: dt.date) -> int:
    local = dt.datetime(at.year, at.month, at.day, tzinfo=LISBON)
    return int(local.timestamp()) * 10**9


def test_a_month_with_a_change_of_clocks_keeps_the_sites_midnights() -> None:
    (only,) = periods(
        some_days("2026-03-15"), ["a"], LISBON, None, day("2026-03-01"), day("2026-03-31")
    )
    assert format_time(only.start) == "2026-03-01T00:00:00.000Z"
    assert format_time(only.end) == "2026-03-31T23:00:00.000Z"


def test_over_everything_each_station_has_a_row_and_per_period_only_where_it_has_days() -> None:
    days = [*some_days("2026-03-02", station="b"), *some_days("2026-03-02", station="gone")]
    whole = periods(days, ["a", "b"], LISBON)
    assert [(row.station, row.sums.transfers) for row in whole] == [("a", 0), ("b", 1), ("gone", 1)]
    assert [row.station for row in periods(days, ["a", "b"], LISBON, "day")] == ["b", "gone"]


def test_sums_do_not_depend_on_the_order_of_the_days() -> None:
    days = some_days(*(f"2026-03-{n:02}" for n in range(1, 31)))
    (forward,) = periods(days, ["a"], LISBON)
    (backward,) = periods(days[::-1], ["a"], LISBON)
    assert forward == backward


def test_every_cause_finding_and_alarm_has_its_count_even_when_none() -> None:
    assert {kind.partition("/")[2] for kind in COUNTERS["trips"]} == set(TripCause)
    (row,) = periods(some_days("2026-03-02"), ["a"], LISBON)
    shown = as_object(KPIS, row)
    assert shown["findings"] == dict.fromkeys(Kind, 0)
    assert shown["alarms"] == dict.fromkeys(AlarmKind, 0)
    assert as_object(FLAT_KPIS, row)["trips.nuisance/no_loss_seen"] == 0
