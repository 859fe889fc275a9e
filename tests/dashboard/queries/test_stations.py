"""What the stations page asks of a real store."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator

import pytest

from bondtrail.results import Severity, TripClass
from bondtrail.site import Site
from dashboard.figures.calendar import Cell
from dashboard.period import Period
from dashboard.queries.stations import calendar_of, columns_of, overview_of, station_rows
from store import Store, open_store

MARCH_1, MARCH_2, MARCH_3 = (dt.date(2026, 3, day) for day in (1, 2, 3))
WHOLE = Period(MARCH_1, MARCH_3)


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def test_rows_are_sums_of_the_period(store: Store, site: Site) -> None:
    rail = station_rows(store, site, WHOLE)[0][0]
    assert rail.station.id == "rail-1"
    assert (rail.sums.transfers, rail.sums.compliant_transfers) == (2, 1)
    assert (rail.sums.hookups, rail.sums.failed_hookups, rail.sums.touches) == (3, 1, 3)
    assert rail.severities == {Severity.CRITICAL: 1, Severity.MAJOR: 1, Severity.MINOR: 1}
    assert rail.trips == {TripClass.GENUINE: 1}
    assert rail.coverage == pytest.approx(258_800 / 259_200)


def test_nuisance_trips_are_told_from_the_others(store: Store, site: Site) -> None:
    rows = {row.station.id: row for row in station_rows(store, site, WHOLE)[0]}
    assert rows["drum-1"].nuisance_trips == 3
    assert rows["rail-1"].nuisance_trips == 0


def test_a_station_without_results_has_a_row_of_nothing(store: Store, site: Site) -> None:
    bay = station_rows(store, site, WHOLE)[0][-1]
    assert bay.station.id == "bay-9"
    assert bay.compliance is None
    assert bay.coverage is None
    assert bay.badness == (0, 0, 0, 0)


def test_compliance_has_its_interval(store: Store, site: Site) -> None:
    share = station_rows(store, site, WHOLE)[0][0].compliance
    assert share is not None
    assert (share.count, share.of, share.value) == (1, 2, 0.5)
    assert share.is_few


def test_a_day_counts_what_began_on_it(store: Store, site: Site) -> None:
    rows = {r.station.id: r for r in station_rows(store, site, Period(MARCH_3, MARCH_3))[0]}
    assert rows["rail-1"].badness == (0, 0, 0, 0)
    assert rows["rail-1"].sums.transfers == 1
    assert rows["rail-1"].trips == {}


def test_the_calendar_holds_the_worst_and_how_many(store: Store, site: Site) -> None:
    stations = [site.station(name) for name in ("rail-1", "drum-1", "bowl", "bay-9")]
    calendar, columns = calendar_of(store, site, WHOLE, stations)
    assert columns == "day"
    assert calendar.days == [MARCH_1, MARCH_2, MARCH_3]
    assert calendar.names == ["Rail spot 1", "Drum filler 1", "Dryer bowl", "Road bay 9"]
    assert calendar.cells.tolist() == [
        [Cell.QUIET, Cell.CRITICAL, Cell.TRANSFERS],
        [Cell.NO_RECORD, Cell.MINOR, Cell.UNKNOWN],
        [Cell.CRITICAL, Cell.TRANSFERS, Cell.NO_RECORD],
        [Cell.NO_RECORD] * 3,
    ]
    assert calendar.findings.tolist() == [[0, 3, 0], [0, 1, 0], [1, 0, 0], [0, 0, 0]]


def test_a_calendar_of_no_stations_is_empty(store: Store, site: Site) -> None:
    calendar, _ = calendar_of(store, site, WHOLE, [])
    assert calendar.cells.shape == (0, 3)


@pytest.mark.parametrize(
    ("first", "last", "columns", "name"),
    [
        ("2026-03-01", "2026-03-01", 1, "day"),
        ("2026-01-01", "2026-04-02", 92, "day"),
        ("2026-01-01", "2026-04-03", 14, "week"),
        ("2024-07-01", "2026-04-05", 92, "week"),
        ("2024-07-01", "2026-04-06", 22, "month"),
        ("2021-03-17", "2026-03-16", 61, "month"),
    ],
)
def test_columns_fit_the_period(first: str, last: str, columns: int, name: str) -> None:
    period = Period(dt.date.fromisoformat(first), dt.date.fromisoformat(last))
    edges, found = columns_of(period)
    assert (len(edges) - 1, found) == (columns, name)
    assert edges[0] == period.first
    assert edges[-1] == period.last + dt.timedelta(days=1)
    assert all(a < b for a, b in itertools.pairwise(edges))


def test_weeks_begin_on_monday_and_months_on_the_first() -> None:
    weeks, _ = columns_of(Period(dt.date(2026, 1, 1), dt.date(2026, 6, 30)))
    assert {day.weekday() for day in weeks[1:-1]} == {0}
    months, _ = columns_of(Period(dt.date(2020, 1, 15), dt.date(2026, 6, 30)))
    assert {day.day for day in months[1:-1]} == {1}


def test_nothing_is_shown_of_an_empty_store(empty_url: str) -> None:
    with open_store(empty_url) as store:
        assert overview_of(store, None, None) is None


@pytest.fixture
def lasting(lasting_url: str) -> Iterator[Store]:
    with open_store(lasting_url) as opened:
        yield opened


def test_a_finding_marks_every_day_that_it_touches(lasting: Store, site: Site) -> None:
    bowl = [site.station("bowl")]
    calendar, _ = calendar_of(lasting, site, WHOLE, bowl)
    assert calendar.cells.tolist() == [[Cell.CRITICAL] * 3]
    assert calendar.findings.tolist() == [[1, 2, 1]]
    alone, _ = calendar_of(lasting, site, Period(MARCH_3, MARCH_3), bowl)
    assert alone.cells.tolist() == [[Cell.CRITICAL]]


def test_what_goes_on_from_before_counts_and_ranks(lasting: Store, site: Site) -> None:
    rows, _ = station_rows(lasting, site, Period(MARCH_2, MARCH_2))
    bowl = next(row for row in rows if row.station.id == "bowl")
    assert bowl.severities == {Severity.CRITICAL: 1, Severity.MINOR: 1}
    assert bowl.from_before == {Severity.CRITICAL: 1}
    alone, _ = station_rows(lasting, site, Period(MARCH_3, MARCH_3))
    assert alone[0].station.id == "bowl"
    assert alone[0].from_before.total() == 1


def test_nothing_goes_on_from_before_the_whole(lasting: Store, site: Site) -> None:
    assert sum(row.from_before.total() for row in station_rows(lasting, site, WHOLE)[0]) == 0
