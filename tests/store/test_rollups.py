"""Results summed ahead always equal the rows that they sum, whatever was saved in what order."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bondtrail.results import (
    DaySums,
    Finding,
    Kind,
    Severity,
    StationResults,
    Trip,
    TripCause,
    TripClass,
)
from store import EpisodeCounts, Store
from store.rollups import DAYS as DAY_LEVEL
from store.rollups import MONTHS, PART_NS, YEARS, Level, day_after, month_after, pieces, year_after
from tests.store.keeping import Kept

DAY_NS = 86_400 * 1_000_000_000
FIRST = dt.date(2026, 1, 20)
DAYS = 80
CLASSES = list(TripClass)
SEVERITIES = list(Severity)


def moment(day: int) -> int:
    """Return the start of a day by its number."""
    return (FIRST - dt.date(1970, 1, 1)).days * DAY_NS + day * DAY_NS


def results(station: str, first: int, end: int, salt: int) -> StationResults:
    """Return results of days ``first`` to ``end``, other ones for another ``salt``."""
    numbers = range(first, end)
    return StationResults(
        station=station,
        findings=tuple(
            Finding(
                Kind.FAILED_HOOKUP, SEVERITIES[(n + salt) % 3], station, None,
                moment(n), moment(n) + 5, "Seen.", {}, {},
            )
            for n in numbers
            if (n + salt) % 4
        ),
        trips=tuple(
            Trip(
                station, moment(n) + 7, "t", CLASSES[(n * salt) % 3], TripCause.NO_DATA,
                False, None, None,
            )
            for n in numbers
            if (n * salt) % 5
        ),
        days=tuple(
            DaySums(station, FIRST + dt.timedelta(days=n), transfers=n + salt, known_s=n + 0.25)
            for n in numbers
        ),
    )  # fmt: skip


def save(store: Store, station: str, first: int, end: int | None, salt: int) -> None:
    """Save results as an analysis does: what began in a window is replaced."""
    found = results(station, first, DAYS if end is None else end, salt)
    store.save_results(
        found,
        since=moment(first),
        since_day=FIRST + dt.timedelta(days=first),
        until=None if end is None else moment(end),
        until_day=None if end is None else FIRST + dt.timedelta(days=end),
    )


def check(store: Store, first: int, last: int) -> None:
    """Compare what is summed ahead with the rows over the days ``first`` to ``last``."""
    days = [FIRST + dt.timedelta(days=n) for n in (first, last)]
    sums: dict[str, tuple[int, float]] = {}
    for day in store.days(None, *days):
        transfers, known = sums.get(day.station, (0, 0.0))
        sums[day.station] = (transfers + day.transfers, known + day.known_s)
    totals = store.summaries.day_totals(*days)
    assert {row.station: (row.transfers, row.known_s) for row in totals} == sums

    span = moment(first), moment(last + 1)
    counted = store.summaries.episode_counts(*span)
    nothing = EpisodeCounts(Counter(), Counter())
    for station in ("a", "b"):
        began = [f for f in store.findings(station, *span) if f.start >= span[0]]
        trips = store.trips(station, *span)
        assert counted.get(station, nothing) == EpisodeCounts(
            Counter(f.severity for f in began), Counter(t.trip_class for t in trips)
        )


days = st.integers(0, DAYS - 1)
spans = st.tuples(days, days).map(sorted)
windows = st.tuples(
    st.sampled_from(["a", "b"]),
    st.one_of(spans.map(lambda s: (s[0], s[1] + 1)), st.tuples(days, st.none())),
    st.integers(0, 6),
)


@settings(max_examples=15)
@given(saves=st.lists(windows, max_size=5), asked=st.lists(spans, min_size=1, max_size=4))
def test_sums_ahead_equal_the_rows(kept_file: Kept, saves: list, asked: list[list[int]]) -> None:
    store = kept_file.empty()
    for station, (first, end), salt in saves:
        save(store, station, first, end, salt)
    for first, last in [*asked, [0, DAYS - 1]]:
        check(store, first, last)


def test_sums_ahead_equal_the_rows_on_either_database(store: Store) -> None:
    save(store, "a", 0, None, 1)
    save(store, "b", 5, 70, 2)
    save(store, "a", 30, 45, 3)
    for first, last in [(0, DAYS - 1), (0, 0), (12, 40), (11, 39), (3, 77)]:
        check(store, first, last)


def test_saving_from_the_very_beginning_counts_everything(store: Store) -> None:
    found = results("a", 0, DAYS, 1)
    store.save_results(found, since=-(2**62), since_day=dt.date(1, 1, 1))
    check(store, 0, DAYS - 1)


@pytest.mark.parametrize(
    ("level", "first", "end", "begin", "stop"),
    [
        pytest.param(MONTHS, "2026-01-01", "2026-04-01", "2026-01-01", "2026-04-01", id="months"),
        pytest.param(MONTHS, "2026-01-02", "2026-03-31", "2026-02-01", "2026-03-01", id="inside"),
        pytest.param(MONTHS, "2026-01-02", "2026-02-28", "2026-02-28", "2026-02-28", id="none"),
        pytest.param(MONTHS, "2026-02-01", "2026-03-01", "2026-02-01", "2026-03-01", id="just-one"),
        pytest.param(MONTHS, "2024-02-01", "2024-02-29", "2024-02-29", "2024-02-29", id="leap-day"),
        pytest.param(MONTHS, "2026-12-01", "2027-01-02", "2026-12-01", "2027-01-01", id="new-year"),
        pytest.param(YEARS, "2024-01-01", "2026-01-01", "2024-01-01", "2026-01-01", id="years"),
        pytest.param(YEARS, "2024-01-02", "2026-12-31", "2025-01-01", "2026-01-01", id="one-year"),
        pytest.param(YEARS, "2024-02-01", "2025-12-31", "2025-12-31", "2025-12-31", id="no-year"),
        pytest.param(DAY_LEVEL, "2026-01-02", "2026-01-09", "2026-01-02", "2026-01-09", id="days"),
    ],
)
def test_the_whole_units_inside_a_span(
    level: Level, first: str, end: str, begin: str, stop: str
) -> None:
    day = dt.date.fromisoformat
    assert level.inside(day(first), day(end)) == (day(begin), day(stop))


@pytest.mark.parametrize(
    ("edges", "expected"),
    [
        pytest.param(
            ["2023-12-30", "2026-02-03"],
            [
                "year 2024-01-01 2026-01-01",
                "month 2026-01-01 2026-02-01",
                "day 2026-02-01 2026-02-03",
                "day 2023-12-30 2024-01-01",
            ],
            id="any-span",
        ),
        pytest.param(["2024-01-01", "2025-01-01"], ["year 2024-01-01 2025-01-01"], id="a-year"),
        pytest.param(
            ["2024-01-01", "2024-02-01", "2025-01-01"],
            ["month 2024-01-01 2025-01-01"],
            id="an-edge-inside-a-year",
        ),
        pytest.param(
            ["2024-01-01", "2024-02-02", "2025-01-01"],
            ["day 2024-01-01 2025-01-01"],
            id="an-edge-inside-a-month",
        ),
        pytest.param(
            ["2024-01-31", "2024-02-01", "2024-03-01", "2024-03-02"],
            [
                "month 2024-02-01 2024-03-01",
                "day 2024-01-31 2024-02-01",
                "day 2024-03-01 2024-03-02",
            ],
            id="months-cut-at-the-ends",
        ),
    ],
)
def test_a_span_is_taken_from_the_coarsest_tables_that_fit(
    edges: list[str], expected: list[str]
) -> None:
    asked = pieces([dt.date.fromisoformat(edge) for edge in edges])
    told = [f"{piece.level.name} {piece.start} {piece.end}" for piece in asked]
    assert sorted(told) == sorted(expected)


@pytest.mark.parametrize(
    ("after", "of", "expected"),
    [
        pytest.param(month_after, "2026-01-31", "2026-02-01", id="month"),
        pytest.param(month_after, "2026-12-01", "2027-01-01", id="month-of-the-next-year"),
        pytest.param(month_after, "9999-12-01", "9999-12-31", id="no-month-after"),
        pytest.param(month_after, "9999-11-30", "9999-12-01", id="the-last-month"),
        pytest.param(year_after, "2024-02-29", "2025-01-01", id="year"),
        pytest.param(year_after, "9999-01-01", "9999-12-31", id="no-year-after"),
        pytest.param(day_after, "2024-02-28", "2024-02-29", id="day"),
        pytest.param(day_after, "9999-12-30", "9999-12-31", id="the-last-day"),
        pytest.param(day_after, "9999-12-31", "9999-12-31", id="no-day-after"),
    ],
)
def test_what_comes_after(after: Callable[[dt.date], dt.date], of: str, expected: str) -> None:
    assert after(dt.date.fromisoformat(of)) == dt.date.fromisoformat(expected)


def test_the_days_of_the_property_span_several_parts_and_months() -> None:
    assert moment(DAYS) - moment(0) > 2 * PART_NS
    assert len({(FIRST + dt.timedelta(days=n)).month for n in range(DAYS)}) > 2
