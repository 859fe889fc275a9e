"""What the stations page asks: sums of each station, and the worst of each day."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analytics.core.rates import Rate
from analytics.core.shares import Share, wilson
from bondtrail.results import DaySums, Severity, TripClass
from bondtrail.site import Site, Station
from bondtrail.times import day_start
from dashboard.figures.calendar import Calendar, Cell
from dashboard.period import ONE_DAY, Period, parse_period
from dashboard.queries.rates import rates
from dashboard.queries.sites import site_in_force, whole_period
from store import DayMark, Store

CALENDAR_COLUMNS = 92
"""Days that fit side by side; longer periods are drawn by weeks, then by months."""
CALENDAR_ROWS = 40

SEVERITY_CELL = {
    Severity.CRITICAL: Cell.CRITICAL,
    Severity.MAJOR: Cell.MAJOR,
    Severity.MINOR: Cell.MINOR,
}


@dataclass(frozen=True, slots=True)
class StationRow:
    """A station's figures over a period.

    ``severities`` counts the findings that touch the period, ``from_before`` those of them that
    began before it; everything else counts on the day it began.
    """

    station: Station
    sums: DaySums
    severities: Counter[Severity] = field(default_factory=Counter)
    from_before: Counter[Severity] = field(default_factory=Counter)
    trips: Counter[TripClass] = field(default_factory=Counter)

    @property
    def compliance(self) -> Share | None:
        """Compliant transfers of all, with its interval; None without transfers."""
        of = self.sums.transfers
        return wilson(self.sums.compliant_transfers, of) if of else None

    @property
    def nuisance_trips(self) -> int:
        """Trips without a real loss of bond behind them."""
        return self.trips[TripClass.NUISANCE]

    @property
    def coverage(self) -> float | None:
        """Share of the time in which the bond state was known; None without a record."""
        whole = self.sums.known_s + self.sums.unknown_s
        return self.sums.known_s / whole if whole else None

    @property
    def bonded(self) -> float | None:
        """Share of the known time in which the bond was good; None where nothing is known."""
        known = self.sums.known_s
        return self.sums.low_s / known if known else None

    @property
    def badness(self) -> tuple[int, int, int, int]:
        """What stations are sorted by, worst first: counts, never rates."""
        seen = self.severities
        return (
            seen[Severity.CRITICAL],
            seen[Severity.MAJOR],
            self.nuisance_trips,
            seen[Severity.MINOR],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """What the stations page shows."""

    site: Site
    whole: Period
    period: Period
    rows: Sequence[StationRow]
    calendar: Calendar
    column_days: str
    """What one column of the calendar is: day, week or month."""
    unlisted: Sequence[str]
    """Stations with results that the site file in force does not have."""


def overview_of(store: Store, first: str | None, last: str | None) -> Overview | None:
    """Return what the stations page shows for a period, or None while there is nothing.

    Raises
    ------
    PeriodError
        If the dates cannot be understood.
    """
    site, whole = site_in_force(store), whole_period(store)
    if site is None or whole is None:
        return None
    period = parse_period(first, last, whole)
    rows, unlisted = station_rows(store, site, period)
    shown = [row.station for row in rows[:CALENDAR_ROWS]]
    calendar, columns = calendar_of(store, site, period, shown)
    return Overview(site, whole, period, rows, calendar, columns, unlisted)


def station_rows(store: Store, site: Site, period: Period) -> tuple[list[StationRow], list[str]]:
    """Return the figures of every station of the site, the worst first, and what it lacks."""
    sums = {row.station: row for row in store.summaries.day_totals(period.first, period.last)}
    start, end = period.bounds(site.zone)
    counts = store.summaries.episode_counts(start, end)
    before = store.summaries.ongoing_counts(start)
    rows = []
    for station in sorted(site.stations, key=lambda station: station.name):
        row = StationRow(station, sums.get(station.id, DaySums(station.id, period.first)))
        if station.id in counts:
            row.severities.update(counts[station.id].findings)
            row.trips.update(counts[station.id].trips)
        row.from_before.update(before.get(station.id, {}))
        row.severities.update(row.from_before)
        rows.append(row)
    unlisted = {*sums, *counts, *before} - {station.id for station in site.stations}
    return sorted(rows, key=lambda row: row.badness, reverse=True), sorted(unlisted)


def nuisance_rates(rows: Sequence[StationRow]) -> list[Rate]:
    """Return the nuisance trips per 100 transfers of each row, with their exact intervals."""
    return rates(
        [row.nuisance_trips for row in rows], [float(row.sums.transfers) for row in rows], 100
    )


def calendar_of(
    store: Store, site: Site, period: Period, stations: Sequence[Station]
) -> tuple[Calendar, str]:
    """Return the worst of each stretch of days for some stations, and what a stretch is."""
    edges, name = columns_of(period)
    ids = [station.id for station in stations]
    row_of = {station_id: row for row, station_id in enumerate(ids)}
    cells = np.full((len(ids), len(edges) - 1), int(Cell.NO_RECORD))
    counts = np.zeros_like(cells)
    for mark in store.summaries.day_marks(edges, ids):
        cells[row_of[mark.station], mark.part] = _quiet_cell(mark)
    moments = [day_start(day, site.zone) for day in edges]
    for found in store.summaries.finding_marks(moments, ids):
        place = row_of[found.station], found.part
        cells[place] = max(cells[place], int(SEVERITY_CELL[found.severity]))
        counts[place] += found.count
    names = [station.name for station in stations]
    return Calendar(ids, names, edges[:-1], cells, counts), name


def _quiet_cell(mark: DayMark) -> int:
    if mark.unknown_s > mark.known_s:
        return int(Cell.UNKNOWN)
    if mark.transfers:
        return int(Cell.TRANSFERS)
    return int(Cell.QUIET if mark.known_s else Cell.NO_RECORD)


def columns_of(period: Period) -> tuple[list[dt.date], str]:
    """Return the edges of a calendar's columns: days, or weeks, or months, as many as fit.

    The first and the last column end with the period, so they may be shorter than the others.
    """
    end = period.last + ONE_DAY
    if period.days <= CALENDAR_COLUMNS:
        return [period.first + n * ONE_DAY for n in range(period.days + 1)], "day"
    monday = period.first - period.first.weekday() * ONE_DAY
    if period.days <= 7 * CALENDAR_COLUMNS:
        mondays = [monday + n * 7 * ONE_DAY for n in range(1, period.days // 7 + 2)]
        return [period.first, *(day for day in mondays if day < end), end], "week"
    months = range(period.first.year * 12 + period.first.month, end.year * 12 + end.month)
    firsts = [dt.date(n // 12, n % 12 + 1, 1) for n in months]
    return [period.first, *(day for day in firsts if day < end), end], "month"
