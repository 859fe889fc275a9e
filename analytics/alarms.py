"""Alarm-system figures per operator position: who is called, how often and by what."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.core.alarm_figures import AlarmFigures, alarm_figures
from analytics.core.alarm_floods import TEN_MINUTES_NS
from analytics.core.alarm_table import AlarmTable, coded_table
from bondtrail.results import DaySums
from bondtrail.site import Site
from bondtrail.times import day_edges, day_start, local_day
from store import Store

NO_POSITION = "(no position)"
"""What the stations that name no position are called together."""
GONE = "(not in the site file)"
"""What stations with alarms that the site file in force does not have are called together."""


@dataclass(frozen=True, slots=True)
class History:
    """What results say something of: from the first reading to the last.

    Attributes
    ----------
    start, end : int
        ``[start, end)``. [ns]
    """

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class PositionFigures:
    """One operator position and its alarms in figures.

    Attributes
    ----------
    position : str
    stations : tuple of str
        The ids of the stations that call it.
    figures : AlarmFigures
    history : History
        Outside it there is nothing to count.
    is_cut : bool
        Whether less of the period is on record than was asked for.
    coverage : float or None
        Over the days of the period, share of the time on record in which the bond state was
        known: most alarms can begin only there. None without any record. [-]
    """

    position: str
    stations: tuple[str, ...]
    figures: AlarmFigures
    history: History
    is_cut: bool
    coverage: float | None


def history_of(store: Store, site: Site) -> History | None:
    """Return from when to when there are results, or None where there are none."""
    days = store.summaries.day_span()
    if days is None:
        return None
    heard = store.readings().values()
    first = min((first for first, _ in heard), default=day_start(days[0], site.zone))
    return History(first, max((last for _, last in heard), default=first) + 1)


def watched(history: History, start: int, end: int) -> tuple[int, int] | None:
    """Return the part of a span to count over: what of it is on record, or None. [ns]

    In whole periods of ten minutes from the start of the span on: time without a record would
    thin out every average, and a period that is moved would count other alarms together.
    """
    if max(start, history.start) >= min(end, history.end):
        return None
    lead = max(history.start - start, 0) // TEN_MINUTES_NS * TEN_MINUTES_NS
    rest = -(-(min(history.end, end) - start) // TEN_MINUTES_NS) * TEN_MINUTES_NS
    return start + lead, min(start + rest, end)


def positions_of(site: Site, stations: Iterable[str] = ()) -> dict[str, list[str]]:
    """Return the stations of each position, in the order of the site file.

    Parameters
    ----------
    site : Site
        Those that name no position come last, as `NO_POSITION`.
    stations : iterable of str
        Besides: those that the site does not have are the stations of `GONE`.
    """
    found: dict[str, list[str]] = {}
    for station in sorted(site.stations, key=lambda station: station.position is None):
        found.setdefault(station.position or NO_POSITION, []).append(station.id)
    gone = sorted(set(stations) - {station.id for station in site.stations})
    return found | ({GONE: gone} if gone else {})


def position_by_station(site: Site) -> dict[str, str]:
    """Return the position that the alarms of each station of the site call."""
    return {station.id: station.position or NO_POSITION for station in site.stations}


def alarm_positions(
    store: Store,
    site: Site,
    start: int | None = None,
    end: int | None = None,
    *,
    position: str | None = None,
    station: str | None = None,
) -> list[PositionFigures]:
    """Return the figures of each operator position.

    Parameters
    ----------
    store : Store
        With the alarms of an analysis.
    site : Site
        In force: its stations and rules hold for the whole period.
    start, end : int, optional
        The period ``[start, end)``, of which the part that is on record counts; from the midnight
        before the first reading, and to the last one, unless given. [ns]
    position, station : str, optional
        Only this position, and only the alarms of this station.

    Returns
    -------
    list of PositionFigures
        In the order of `positions_of`; a position without alarms has figures too. Where nothing
        of the period is on record there are none.

    Raises
    ------
    StoreError
        If the store does not answer.
    """
    history = history_of(store, site)
    if history is None:
        return []
    midnight = day_start(local_day(history.start, site.zone), site.zone)
    first = midnight if start is None else start
    last = history.end if end is None else end
    span = watched(history, first, last)
    if span is None:
        return []
    table = read_table(store, *span, station)
    if end is None:
        span = span[0], max(close_of(history, table), span[0] + 1)
    is_cut = (start is not None and start < span[0]) or (end is not None and span[1] < end)
    sums = days_of(store, site, span, station)
    return figures_by_position(
        table, sums, site, span, history, is_cut=is_cut, position=position, station=station
    )


def days_of(
    store: Store, site: Site, span: tuple[int, int], station: str | None = None
) -> list[DaySums]:
    """Return the sums of the days that a span (ns) touches, of one station or of all."""
    first, last = local_day(span[0], site.zone), local_day(span[1] - 1, site.zone)
    return store.summaries.day_totals(first, last, station)


def read_table(store: Store, start: int, end: int, station: str | None = None) -> AlarmTable:
    """Return the alarms that were active in ``[start, end)``, of one station or of all. [ns]"""
    found = store.summaries.alarm_columns(start, end, None if station is None else [station])
    return coded_table(
        found.stations, found.kinds, found.station, found.kind, found.start, found.end
    )


def close_of(history: History, table: AlarmTable) -> int:
    """Return where a period that reaches as far as the history ends. [ns]

    That is the last reading, unless an alarm begins with it: it is one to know of.
    """
    latest = history.end - 1
    return history.end if np.any(table.start == latest) or latest <= history.start else latest


def figures_by_position(
    table: AlarmTable,
    sums: Sequence[DaySums],
    site: Site,
    span: tuple[int, int],
    history: History,
    *,
    is_cut: bool = False,
    position: str | None = None,
    station: str | None = None,
) -> list[PositionFigures]:
    """Return the figures of each position from alarms, and sums of days, that touch a span. [ns]"""
    start, end = span
    edges = day_edges(local_day(start, site.zone), local_day(end - 1, site.zone), site.zone)
    groups = positions_of(site, (tag.station for tag in table.tags))
    tables = dict(zip(groups, _tables(table, groups), strict=True))
    return [
        PositionFigures(
            name,
            tuple(stations),
            alarm_figures(
                tables[name],
                start,
                end,
                site.alarms,
                day_edges=edges,
                known_until=history.end,
            ),
            history,
            is_cut,
            _coverage(sums, stations),
        )
        for name, stations in _wanted(groups, position, station).items()
    ]


def _coverage(sums: Iterable[DaySums], stations: Collection[str]) -> float | None:
    own = [row for row in sums if row.station in stations]
    known = sum(row.known_s for row in own)
    whole = known + sum(row.unknown_s for row in own)
    return known / whole if whole else None


def _tables(table: AlarmTable, groups: Mapping[str, Sequence[str]]) -> list[AlarmTable]:
    """Return the alarms of each position."""
    number = {station: n for n, stations in enumerate(groups.values()) for station in stations}
    return table.split([number[tag.station] for tag in table.tags], len(groups))


def _wanted(
    groups: Mapping[str, Sequence[str]], position: str | None, station: str | None
) -> dict[str, list[str]]:
    kept = {name: stations for name, stations in groups.items() if position in (None, name)}
    if station is None:
        return {name: list(stations) for name, stations in kept.items()}
    return {name: [station] for name, stations in kept.items() if station in stations}


def table_of(table: AlarmTable, stations: Iterable[str]) -> AlarmTable:
    """Return the alarms of some stations."""
    wanted = frozenset(stations)
    chosen = np.array([tag.station in wanted for tag in table.tags], bool)
    if chosen.all():
        return table
    return table.take(chosen[table.tag])
