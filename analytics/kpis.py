"""Figures of merit of stations, areas or the whole site, over any days, by period and by shift.

Everything here is a sum of daily sums: the store adds them up, `analytics.core.merits` derives.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from analytics.core.merits import FiguresOfMerit, figures_of_merit
from analytics.core.shares import Interval
from analytics.core.shifts import cells as cut_by_shifts
from analytics.site_files import stored_sites
from bondtrail.results import DAY_COUNTERS, DaySums
from bondtrail.site import Site
from bondtrail.times import NS_PER_S, day_start, seconds

if TYPE_CHECKING:
    from store import Store

By = Literal["day", "week", "month"]
Per = Literal["station", "area", "site"]

NO_AREA = "(no area)"
"""The group of the stations that name no area."""

_ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class KpiRow:
    """One station, area or site over one period ``[start, end)``, in ns.

    Attributes
    ----------
    group : str
        The id of the station or site, or the name of the area.
    shift : str or None
        The shift, ``""`` being the time outside any; None stands for all of the time.
    unit : str or None
        Of the volume: L or kg. None where none of it is measured, or where some of it is in
        litres and some in kilograms: such a volume is no figure.
    no_record_s : float
        Station seconds of the period, as far as it is over, without any record. [s]
    """

    group: str
    start: int
    end: int
    shift: str | None
    sums: DaySums
    merits: FiguresOfMerit
    unit: str | None = None
    no_record_s: float = 0.0

    def count(self, counter: str, prefix: str = "") -> int:
        """Return how many a counter of the sums holds, of all that begins with ``prefix``."""
        held = getattr(self.sums, counter).items()
        return sum(number for name, number in held if name.startswith(prefix))


def period_edges(first: dt.date, last: dt.date, by: By | None = None) -> list[dt.date]:
    """Return the days on which the periods of ``first`` to ``last`` begin, and the day after.

    Weeks are ISO weeks, months those of the calendar; the first and the last period are cut
    where the range is. None stands for one period. An empty range has no edges.
    """
    if last < first:
        return []
    end = last + _ONE_DAY
    inner = []
    day = first
    while (day := _next_edge(day, by, end)) < end:
        inner.append(day)
    return [first, *inner, end]


def _next_edge(day: dt.date, by: By | None, end: dt.date) -> dt.date:
    match by:
        case "day":
            return day + _ONE_DAY
        case "week":
            return day + dt.timedelta(days=7 - day.weekday())
        case "month":
            return (day.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
        case None:
            return end


def kpi_rows(
    store: Store,
    site: Site,
    first: dt.date,
    last: dt.date,
    *,
    by: By | None = None,
    per: Per = "station",
    stations: Collection[str] | None = None,
    split_shifts: bool = False,
    now: int | None = None,
    interval: Interval = "wilson",
) -> list[KpiRow]:
    """Return the figures of the days ``first`` to ``last``, both included.

    Parameters
    ----------
    store : Store
        With the daily sums of an analysis.
    site : Site
        Its zone says where days begin, its stations which belong together.
    by : {"day", "week", "month"}, optional
        A row for each period in which there are sums; over everything each group has a row.
    per : {"station", "area", "site"}
        What a row is about.
    stations : collection of str, optional
        Only these. All of the site file, and those that have sums without being in it, otherwise.
    split_shifts : bool
        Whether each shift, and the time outside any, has a row of its own.
    now : int, optional
        What lies beyond it is not missed in `KpiRow.no_record_s`. [ns]
    interval : {"wilson", "clopper-pearson"}
        Of the shares.

    Returns
    -------
    list of KpiRow
        By group in the order of the site file, then by time, then by shift in its order of the
        week.
    """
    edges = period_edges(first, last, by)
    if not edges:
        return []
    groups = _groups(site, _wanted(store, site, stations), per)
    members: dict[str, list[str]] = defaultdict(list)
    for name, group in groups.items():
        members[group].append(name)
    found = (
        store.summaries.sums(edges, stations=stations, shifts=split_shifts)
        if per == "station"
        else store.summaries.sums(edges, groups=members, shifts=split_shifts)
    )
    lengths = _lengths(store, site, edges, now) if split_shifts else _spans(site, edges, now)
    cells: dict[tuple[str, int, str | None], DaySums | None] = {}
    if by is None:
        cells |= {(group, 0, shift): None for group in members for _, shift in lengths}
    cells |= {(part.sums.station, part.part, part.sums.shift): part.sums for part in found}
    keys = sorted(cells, key=_order(members, lengths))
    sums = [_complete(cells[key], key[0], edges[key[1]], key[2]) for key in keys]
    units = _units(site, groups)
    starts = [day_start(edge, site.zone) for edge in edges]
    return [
        KpiRow(
            group,
            starts[part],
            starts[part + 1],
            shift,
            total,
            merits,
            units.get(group),
            _missing(lengths.get((part, shift), 0.0) * len(members[group]), total),
        )
        for (group, part, shift), total, merits in zip(
            keys, sums, figures_of_merit(sums, interval=interval), strict=True
        )
    ]


def _wanted(store: Store, site: Site, stations: Collection[str] | None) -> list[str]:
    """Return the stations asked for in the order of the site file, those it does not have last."""
    here = [row.id for row in site.stations if stations is None or row.id in stations]
    others = store.summaries.stations() if stations is None else stations
    return [*here, *sorted(set(others).difference(here))]


def _groups(site: Site, stations: Iterable[str], per: Per) -> dict[str, str]:
    """Return the group of each station, those without an area last."""
    if per == "site":
        return dict.fromkeys(stations, site.id)
    if per == "station":
        return {station: station for station in stations}
    areas = {row.id: row.area or NO_AREA for row in site.stations}
    found = {station: areas.get(station, NO_AREA) for station in stations}
    return dict(sorted(found.items(), key=lambda item: item[1] == NO_AREA))


def _order(groups: Iterable[str], lengths: Iterable[tuple[int, str | None]]) -> Any:
    place = {group: n for n, group in enumerate(dict.fromkeys(groups))}
    shifts = {shift: n for n, shift in enumerate(dict.fromkeys(shift for _, shift in lengths))}
    last = len(shifts)

    # A station or shift that an analysis brought since they were asked for comes at the end.
    def key(cell: tuple[str, int, str | None]) -> tuple[int, int, bool, int]:
        group, part, shift = cell
        return place.get(group, len(place)), part, shift == "", shifts.get(shift, last)

    return key


def _complete(found: DaySums | None, group: str, day: dt.date, shift: str | None) -> DaySums:
    """Return the sums with a count of 0 for all that they count none of."""
    sums = found or DaySums(group, day, shift)
    counts: dict[str, Any] = {name: _NONE[name] | getattr(sums, name) for name in DAY_COUNTERS}
    return replace(sums, **counts)


_NONE = {name: dict.fromkeys(map(str, kinds), 0) for name, kinds in DAY_COUNTERS.items()}


def _units(site: Site, groups: Mapping[str, str]) -> dict[str, str | None]:
    """Return the unit of each group's volume; None where there are two."""
    found: dict[str, set[str]] = defaultdict(set)
    for row in site.stations:
        if row.volume_unit and row.id in groups:
            found[groups[row.id]].add(row.volume_unit)
    return {group: next(iter(units)) if len(units) == 1 else None for group, units in found.items()}


def _spans(
    site: Site, edges: Sequence[dt.date], now: int | None
) -> dict[tuple[int, str | None], float]:
    """Return how much of each period lies before ``now``. [s]"""
    starts = [day_start(edge, site.zone) for edge in edges]
    return {(part, None): _before(now, *span) for part, span in enumerate(pairwise(starts))}


def _lengths(
    store: Store, site: Site, edges: Sequence[dt.date], now: int | None
) -> dict[tuple[int, str | None], float]:
    """Return how much of each shift lies in each period before ``now``. [s]

    Each shift of the site file is there, even where none of its time is.
    """
    rosters = [(since, held.shifts) for since, held in stored_sites(store)]
    found = cut_by_shifts(edges[0], edges[-1] - _ONE_DAY, site.zone, rosters)
    marks = found.edges if now is None else np.minimum(found.edges, now)
    days = np.array(found.days, "datetime64[D]")
    part = np.array(edges, "datetime64[D]").searchsorted(days, side="right") - 1
    names = list(dict.fromkeys([*(shift.name for shift in site.shifts), *found.shifts]))
    place = {name: n for n, name in enumerate(names)}
    shift = np.array([place[name] for name in found.shifts], np.int64)
    weights = np.diff(marks) / NS_PER_S
    size = (len(edges) - 1) * len(names)
    totals = np.bincount(part * len(names) + shift, weights, minlength=size)
    keys = [(number, name) for number in range(len(edges) - 1) for name in names]
    return dict(zip(keys, totals.tolist(), strict=True))


def _before(now: int | None, start: int, end: int) -> float:
    if now is not None:
        start, end = min(start, now), min(end, now)
    return seconds(end - start)


def _missing(whole_s: float, sums: DaySums) -> float:
    return max(0.0, round(whole_s - sums.known_s - sums.unknown_s, 6))
