"""What the alarms page asks: figures of each operator position, and alarms over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.alarms import (
    History,
    PositionFigures,
    close_of,
    days_of,
    figures_by_position,
    history_of,
    read_table,
    table_of,
    watched,
)
from analytics.core.alarm_figures import FULL_HOUR, FULL_TEN_MINUTES
from analytics.core.alarm_floods import HOUR_NS, TEN_MINUTES_NS, Flood
from analytics.core.alarm_levels import LEVELS, Judgement, kpis
from analytics.core.alarm_table import AlarmTable
from analytics.core.spans import Moments
from bondtrail.site import Site
from bondtrail.times import day_start, local_day
from dashboard.figures.alarms import Bars
from dashboard.period import Period, parse_period
from dashboard.queries.sites import clock_at, site_in_force, whole_period
from dashboard.queries.stations import columns_of
from store import Store

DAY_NS = 24 * HOUR_NS
BY_TEN_MINUTES, BY_HOUR = 2, 14
"""Up to so many days are drawn by ten minutes, or by the hour: 288 or 336 bars."""


@dataclass(frozen=True, slots=True, eq=False)
class AlarmView:
    """What the alarms page shows.

    ``positions`` are those with most figures over their level first; ``chosen`` is the one that
    is shown whole, or None where there is none of the name.
    """

    site: Site
    whole: Period
    period: Period
    history: History
    positions: Sequence[PositionFigures]
    chosen: PositionFigures | None
    bars: Bars | None

    @property
    def names(self) -> Mapping[str, str]:
        """What the stations of the site are called, by their ids."""
        return {station.id: station.name for station in self.site.stations}


def alarm_view(
    store: Store, first: str | None, last: str | None, position: str | None
) -> AlarmView | None:
    """Return what the alarms page shows for a period, or None while there is nothing.

    Raises
    ------
    PeriodError
        If the dates cannot be understood.
    """
    site, whole = site_in_force(store), whole_period(store)
    if site is None or whole is None:
        return None
    history = history_of(store, site)
    if history is None:
        return None
    period = parse_period(first, last, whole)
    span = watched(history, *period.bounds(site.zone))
    if span is None:
        return AlarmView(site, whole, period, history, [], None, None)
    start, end = span
    table = read_table(store, start, end)
    if start < history.end <= end:
        end = max(close_of(history, table), start + 1)
    sums = days_of(store, site, (start, end))
    is_cut = _is_cut(site, history, period)
    found = figures_by_position(table, sums, site, (start, end), history, is_cut=is_cut)
    positions = sorted(found, key=_badness, reverse=True)
    named = [row for row in positions if position in (None, "", row.position)]
    chosen = named[0] if named else None
    bars = None if chosen is None else _bars(table, chosen, site, period)
    return AlarmView(site, whole, period, history, positions, chosen, bars)


def _is_cut(site: Site, history: History, period: Period) -> bool:
    """Return whether days of a period lie before or after those with a record."""
    days = local_day(history.start, site.zone), local_day(history.end - 1, site.zone)
    return period.first < days[0] or period.last > days[1]


def how_many_over(row: PositionFigures) -> int:
    """Return how many figures of a position are over their published level."""
    return sum(kpi.judgement is Judgement.OVER for kpi in kpis(row.figures))


def _badness(row: PositionFigures) -> tuple[int, int]:
    return how_many_over(row), row.figures.count


def _bars(table: AlarmTable, chosen: PositionFigures, site: Site, period: Period) -> Bars:
    start, end = chosen.figures.start, chosen.figures.end
    edges, stretch = _edges(period, site, start, end)
    begun = table_of(table, chosen.stations).begun(start, end)
    counts = np.histogram(begun.start, edges)[0] if len(begun) else np.zeros(edges.size - 1, int)
    unit = stretch if stretch in ("10 minutes", "hour") else "day"
    days = np.diff(edges) / DAY_NS
    return Bars(
        edges=edges,
        counts=counts,
        values=counts / days if unit == "day" else counts.astype(np.float64),
        floods=_touching(chosen.figures.floods, edges),
        unit=unit,
        stretch=stretch,
        levels=_levels(unit),
        clock=clock_at(start, site.zone),
    )


def _edges(period: Period, site: Site, start: int, end: int) -> tuple[Moments, str]:
    """Return the edges of the bars of a period, and what a bar is of. [ns]"""
    if period.days <= BY_HOUR:
        length, name = (
            (TEN_MINUTES_NS, "10 minutes") if period.days <= BY_TEN_MINUTES else (HOUR_NS, "hour")
        )
        return np.append(np.arange(start, end, length), end), name
    days, name = columns_of(period)
    edges = np.array([day_start(day, site.zone) for day in days], np.int64)
    return np.append(edges[edges < end], end), name


def _levels(unit: str) -> Sequence[tuple[str, float]]:
    if unit == "10 minutes":
        return [("Too many<br>above", FULL_TEN_MINUTES)]
    if unit == "hour":
        return [("Too many<br>above", FULL_HOUR)]
    level = next(level for level in LEVELS if level.name == "average_per_day")
    assert level.manageable is not None
    return [("Acceptable<br>up to", level.acceptable), ("Manageable<br>up to", level.manageable)]


def _touching(
    floods: Sequence[Flood], edges: Moments
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return how many floods touch each stretch between edges."""
    begin = np.array([flood.start for flood in floods], np.int64)
    over = np.array([flood.end for flood in floods], np.int64)
    steps = np.zeros(edges.size + 1, np.int64)
    np.add.at(steps, np.searchsorted(edges, begin, side="right") - 1, 1)
    np.add.at(steps, np.searchsorted(edges, over, side="left"), -1)
    return np.cumsum(steps)[: edges.size - 1]
