"""Sums over whole days of the site's calendar."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from bondtrail.cli.periods import COUNTERS, FLAT_KPIS, KPIS, periods
from bondtrail.cli.rows import as_object
from bondtrail.results import TIME_EDGES_S, AlarmKind, DaySums, Kind, TripCause
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


BINS = len(TIME_EDGES_S) + 1


def bins(**counts: int) -> tuple[int, ...]:
    """Return a histogram with these counts: ``bin_3=2`` is two in the fourth bin."""
    return tuple(counts.get(f"bin_{n}", 0) for n in range(BINS))


EVENTFUL = [
    DaySums(
        "a",
        day("2026-03-01"),
        volume=10.5,
        trips={"genuine/clamp_off": 1, "nuisance/no_loss_seen": 2},
        findings={Kind.FAILED_HOOKUP: 3},
        time_to_bond=bins(bin_0=1, bin_41=4),
    ),
    DaySums("a", day("2026-03-02"), volume=2.25, trips={"genuine/clamp_off": 5}),
    DaySums(
        "a",
        day("2026-03-08"),
        trips={"nuisance/no_loss_seen": 7},
        alarms={AlarmKind.BYPASS_ON: 2},
        time_to_bond=bins(bin_0=1),
        time_to_stop=bins(bin_41=1),
    ),
]

COUNTED = [  # by, of each period: volume, two counts of trips, findings, alarms, two histograms
    pytest.param(
        None, [(12.75, 6, 9, 3, 2, bins(bin_0=2, bin_41=4), bins(bin_41=1))], id="everything"
    ),
    pytest.param(
        "week",
        [
            (10.5, 1, 2, 3, 0, bins(bin_0=1, bin_41=4), bins()),
            (2.25, 5, 7, 0, 2, bins(bin_0=1), bins(bin_41=1)),
        ],
        id="a-day-without-a-histogram-adds-none",
    ),
]


@pytest.mark.parametrize(("by", "expected"), COUNTED)
def test_each_count_and_each_bin_is_added_up_by_itself(
    by: str | None, expected: list[tuple[object, ...]]
) -> None:
    flat = [as_object(FLAT_KPIS, row) for row in periods(EVENTFUL, ["a"], LISBON, by)]
    names = (
        "volume",
        "trips.genuine/clamp_off",
        "trips.nuisance/no_loss_seen",
        "findings.failed_hookup",
        "alarms.bypass_on",
        "time_to_bond",
        "time_to_stop",
    )
    assert [tuple(row[name] for name in names) for row in flat] == expected


@pytest.mark.parametrize("by", [None, "day", "month"])
def test_counts_stay_whole_numbers_and_seconds_stay_fractions(by: str | None) -> None:
    for row in periods([DaySums("a", day("2026-03-02"))], ["a"], LISBON, by):
        shown = as_object(FLAT_KPIS, row)
        assert type(shown["transfers"]) is type(shown["findings.failed_hookup"]) is int
        assert type(shown["flow_s"]) is float
        assert {type(number) for number in shown["time_to_bond"]} == {int}


def test_a_count_by_its_beginning_is_of_that_class_of_trip_only() -> None:
    (whole,) = periods(EVENTFUL, ["a"], LISBON)
    assert (whole.count("trips"), whole.count("trips", "nuisance/")) == (15, 9)


def test_a_range_without_days_has_zeros_over_everything_and_no_periods() -> None:
    asked = day("2026-03-01"), day("2026-03-31")
    (whole,) = periods([], ["a"], LISBON, None, *asked)
    shown = as_object(KPIS, whole)
    assert shown["transfers"] == 0
    assert type(shown["flow_s"]) is float
    assert shown["time_to_bond"] == bins()
    assert periods([], ["a"], LISBON, "week", *asked) == []


def test_stations_come_in_the_order_asked_for_and_their_periods_by_time() -> None:
    days = [
        *some_days("2026-04-01", "2026-03-01", station="a"),
        *some_days("2026-02-01", station="gone"),
        *some_days("2026-03-31", station="b"),
    ]
    found = periods(days, ["b", "a"], LISBON, "month")
    assert [(row.station, format_time(row.start)[:7]) for row in found] == [
        ("b", "2026-03"),
        ("a", "2026-03"),
        ("a", "2026-03"),  # April, which begins at 23:00 UTC of the day before
        ("gone", "2026-02"),
    ]


def test_sums_of_floats_are_shown_without_their_noise() -> None:
    days = some_days("2026-03-01", "2026-03-02", "2026-03-03")
    (row,) = periods(days, ["a"], LISBON)
    assert as_object(KPIS, row)["flow_s"] == 0.3
    days = [DaySums("a", day("2026-03-01"), flow_s=1.00000049)]
    (row,) = periods(days, ["a"], LISBON)
    assert as_object(KPIS, row)["flow_s"] == 1.0


@pytest.mark.parametrize("by", [None, "day", "week", "month"])
def test_a_period_is_what_adding_its_days_one_by_one_gives(by: str | None) -> None:
    days = [
        DaySums("a", day("2026-03-01") + dt.timedelta(days=n), flow_s=n / 7, touches=n)
        for n in range(70)
    ]
    for row in periods(days, ["a"], LISBON, by):
        within = [item for item in days if row.start <= midnight(item.day) < row.end]
        assert row.sums.touches == sum(item.touches for item in within)
        assert row.sums.flow_s == pytest.approx(sum(item.flow_s for item in within))
