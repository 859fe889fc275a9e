"""What a report is gathered from: the store, the site, and whose which days are asked for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass
from functools import cached_property
from typing import Any, TypeVar

from analytics.alarms import history_of
from analytics.holes import Coverage, Waiting, waiting
from analytics.kpis import By, KpiRow, Per, kpi_rows
from analytics.reports.period import Period
from analytics.site_files import stored_sites
from bondtrail.results import Finding, Hookup, Transfer
from bondtrail.site import Role, Site
from store import Store

Row = TypeVar("Row", Transfer, Hookup, Finding)


@dataclass(frozen=True)
class Source:
    """A period of some stations of a site, as the store has it.

    Attributes
    ----------
    store : Store
        With the results of an analysis.
    site : Site
        The site file in force.
    period : Period
        Days of the site.
    now : int
        The clock: nothing is missed beyond it. [ns]
    by : str, optional
        What the figures of each station are told by as well.
    stations : collection of str, optional
        Only these; None for all.
    """

    store: Store
    site: Site
    period: Period
    now: int
    by: By | None = None
    stations: Collection[str] | None = None

    @cached_property
    def span(self) -> tuple[int, int]:
        """The moments ``[start, end)`` of the period. [ns]"""
        return self.period.bounds(self.site.zone)

    @cached_property
    def recorded(self) -> tuple[int, int] | None:
        """The part of it that there are records of: silence beyond them says nothing. [ns]"""
        history = history_of(self.store, self.site)
        if history is None:
            return None
        start = max(self.span[0], history.start)
        end = min(self.span[1], self.now, history.end)
        return (start, end) if start < end else None

    @cached_property
    def readings(self) -> tuple[int, int] | None:
        """When the first and the last reading of its stations are; None without any. [ns]"""
        spans = [span for name, span in self.store.readings().items() if self.is_wanted(name)]
        if not spans:
            return None
        return min(first for first, _ in spans), max(last for _, last in spans)

    @cached_property
    def sites(self) -> Sequence[tuple[int, Site]]:
        """Every site file with the moment from which it holds. [ns]"""
        return stored_sites(self.store)

    def is_wanted(self, station: str) -> bool:
        """Return whether the report is about a station."""
        return self.stations is None or station in self.stations

    def kpis(
        self, *, by: By | None = None, per: Per = "station", split_shifts: bool = False
    ) -> list[KpiRow]:
        """Return the figures of the period, as `analytics.kpis.kpi_rows` does."""
        return kpi_rows(
            self.store,
            self.site,
            self.period.first,
            self.period.last,
            by=by,
            per=per,
            stations=self.stations,
            split_shifts=split_shifts,
            now=self.now,
        )

    @cached_property
    def by_station(self) -> Sequence[KpiRow]:
        """The figures of each station."""
        return self.kpis()

    @cached_property
    def whole(self) -> KpiRow | None:
        """The figures of all of them together; None where there is no station at all."""
        return next(iter(self.kpis(per="site")), None)

    @cached_property
    def waiting(self) -> Mapping[str, Waiting]:
        """The stations whose results of the period are not up to date."""
        found = waiting(self.store, self.span[1])
        return {name: each for name, each in found.items() if self.is_wanted(name)}

    def not_analysed_s(self, row: KpiRow) -> float:
        """Return the time of a station in which it has readings and no results yet. [s]"""
        waits = self.waiting.get(row.group)
        if waits is None:
            return 0.0
        return waits.not_analysed_s(row.no_record_s, row.start, min(row.end, self.now))

    @cached_property
    def covered(self) -> Mapping[str, Coverage]:
        """What is known of each station in the period."""
        return {row.group: coverage(row, self.not_analysed_s(row)) for row in self.by_station}

    def records_bypass(self, station: str) -> bool:
        """Return whether the site file in force names a bypass of a station, and its flow."""
        return station in self._with_bypass

    @cached_property
    def without_flow(self) -> frozenset[str]:
        """The stations of the site file in force whose transfers cannot be seen."""
        return frozenset(row.id for row in self.site.stations if not row.tells_flow)

    @cached_property
    def _with_bypass(self) -> frozenset[str]:
        return frozenset(
            row.id for row in self.site.stations if Role.BYPASS in row.points and row.tells_flow
        )

    def overlapping(
        self, read: Callable[..., list[Row]], until: int = 0, **chosen: Any
    ) -> list[Row]:
        """Return the rows of the stations asked for that overlap the period, by start.

        Parameters
        ----------
        read : callable
            One of the store, such as ``store.transfers``.
        until : int
            Where it lies later than the end of the period: up to here. [ns]
        chosen : dict
            What else to select by.
        """
        start, end = self.span
        asked = [None] if self.stations is None else sorted(self.stations)
        rows = (row for name in asked for row in read(name, start, max(end, until), **chosen))
        return sorted(rows, key=lambda row: (row.start, row.station))

    def begun(self, read: Callable[..., list[Row]], **chosen: Any) -> list[Row]:
        """Return those of `overlapping` that did not begin before the period."""
        return [row for row in self.overlapping(read, **chosen) if row.start >= self.span[0]]


def coverage(row: KpiRow, not_analysed_s: float) -> Coverage:
    """Return what is known of the time of a row, so much of which is not analysed yet. [s]"""
    sums = row.sums
    left_s = max(0.0, row.no_record_s - not_analysed_s)
    return Coverage(sums.known_s, sums.unknown_s, left_s, not_analysed_s, sums.flow_unknown_s)


def summed(every: Iterable[Coverage]) -> Coverage:
    """Return what is known of the time of stations together."""
    columns = list(zip(*map(astuple, every), strict=True))
    return Coverage(*map(sum, columns)) if columns else Coverage(0.0, 0.0, 0.0)
