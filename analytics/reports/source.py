"""What a report is gathered from: the store, the site, and whose which days are asked for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from analytics.alarms import history_of
from analytics.kpis import By, KpiRow, Per, kpi_rows
from analytics.reports.period import Period
from bondtrail.results import Finding, Hookup, Transfer
from bondtrail.site import Site, parse_site
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
    def sites(self) -> Sequence[tuple[int, Site]]:
        """Every site file with the moment from which it holds. [ns]"""
        copies = self.store.sites()
        return [(start, parse_site(text, "stored site file")) for start, text in copies]

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
