"""Sums and latest rows of results, for a board: made by the database, a few rows a station."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select, func, select

from bondtrail.results import (
    DAY_SUMS,
    DaySums,
    Finding,
    Hookup,
    Kind,
    Severity,
    Transfer,
    TripCause,
    TripClass,
)
from store import alarm_parts, ongoing, rollups, schema
from store.alarm_parts import AlarmColumns
from store.dayrows import sums_of
from store.engine import Database, Transaction
from store.results import FINDINGS, HOOKUPS, TRANSFERS, TRIPS, _Rows
from store.rollups import day_after

Word = TypeVar("Word")


@dataclass(frozen=True, slots=True)
class FindingCount:
    """How many findings of a kind and severity a station has."""

    kind: Kind
    severity: Severity
    count: int


@dataclass(frozen=True, slots=True)
class TripCount:
    """How many trips of a class and cause a station has."""

    trip_class: TripClass
    cause: TripCause
    count: int


@dataclass(frozen=True, slots=True)
class EpisodeCounts:
    """How many findings by severity, and trips by class, a station has."""

    findings: Counter[Severity]
    trips: Counter[TripClass]


@dataclass(frozen=True, slots=True)
class DayMark:
    """A station's record over one stretch of days, by its number."""

    station: str
    part: int
    transfers: int
    known_s: float
    unknown_s: float


@dataclass(frozen=True, slots=True)
class PartSums:
    """All sums of a station, or a shift of it, over one stretch of days, by its number.

    The day of the sums is the first of the stretch.
    """

    part: int
    sums: DaySums


@dataclass(frozen=True, slots=True)
class FindingMark:
    """How many findings of a severity a station has in one stretch, by its number."""

    station: str
    part: int
    severity: Severity
    count: int


class Summaries:
    """The questions of a board. Times are UTC nanoseconds, spans half-open, days inclusive.

    Every method raises a `StoreError` if the database does not answer.
    """

    def __init__(self, db: Database) -> None:
        self._db = db

    def day_span(self) -> tuple[dt.date, dt.date] | None:
        """Return the first and the last day of which there are sums, or None."""
        day = schema.day.c.day
        with self._db.reading() as tx:
            # Two questions: SQLite looks an end up in an index only when asked for it alone.
            first, last = (tx.conn.scalar(select(end(day))) for end in (func.min, func.max))
        return None if first is None or last is None else (first, last)

    def day_totals(
        self, first: dt.date, last: dt.date, station: str | None = None
    ) -> list[DaySums]:
        """Return the sums of the days ``first`` to ``last``, one row a station, as of ``first``.

        What a day keeps by kind (trips, findings, alarms, histograms) is left out: see `sums`.
        """
        stations = None if station is None else [station]
        with self._db.reading() as tx:
            found = rollups.sums(tx, [first, day_after(last)], stations=stations, columns=DAY_SUMS)
        return [
            DaySums(key.station, first, **dict(zip(DAY_SUMS, values, strict=True)))
            for key, values in sorted(found.items())
        ]

    def stations(self) -> list[str]:
        """Return the stations of which there are sums, by name."""
        with self._db.reading() as tx:
            asked = select(schema.year.c.station).distinct().order_by(schema.year.c.station)
            return list(tx.conn.scalars(asked))

    def sums(
        self,
        edges: Sequence[dt.date],
        *,
        stations: Collection[str] | None = None,
        shifts: bool = False,
        groups: Mapping[str, Collection[str]] | None = None,
    ) -> list[PartSums]:
        """Return all sums of the stretches of days between neighbouring edges, by station.

        Parameters
        ----------
        edges : sequence of date
            Rising; stretch ``n`` is from ``edges[n]`` to the day before ``edges[n + 1]``.
        stations : collection of str, optional
            Of these only.
        shifts : bool
            Whether to tell the shifts apart; there is nothing then of days without shifts.
        groups : mapping of str to collection of str, optional
            Stations to add up together, in place of ``stations``: the station of the sums is
            then the name of the group.

        Returns
        -------
        list of PartSums
            By station, shift and stretch. One without a day that was analysed is left out.

        Raises
        ------
        ValueError
            If the edges do not rise, or are fewer than two.
        """
        with self._db.reading() as tx:
            found = rollups.sums(tx, edges, stations=stations, by_shift=shifts, groups=groups)
        keys = sorted(found)
        told = sums_of(((key.station, edges[key.part], key.shift), found[key]) for key in keys)
        return [PartSums(key.part, each) for key, each in zip(keys, told, strict=True)]

    def episode_counts(self, start: int, end: int) -> dict[str, EpisodeCounts]:
        """Return, by station, how many findings and trips began in a span; none has no entry."""
        with self._db.reading() as tx:
            found = rollups.counts(tx, start, end)
        return {
            station: EpisodeCounts(
                Counter({s: counts[s] for s in Severity if counts[s]}),
                Counter({c: counts[c] for c in TripClass if counts[c]}),
            )
            for station, counts in found.items()
        }

    def finding_counts(self, station: str, start: int, end: int) -> list[FindingCount]:
        """Return how many findings of a station began in a span, by kind and severity."""
        table = schema.finding.c
        groups = [table.kind, table.severity]
        where = _began(FINDINGS, station, start, end)
        rows = self._grouped(select(*groups, func.count()).where(*where), groups)
        return [FindingCount(Kind(k), Severity(v), n) for k, v, n in rows]

    def trip_counts(self, station: str, start: int, end: int) -> list[TripCount]:
        """Return how many trips of a station lie in a span, by class and cause."""
        table = schema.trip.c
        groups = [table.trip_class, table.cause]
        where = _began(TRIPS, station, start, end)
        rows = self._grouped(select(*groups, func.count()).where(*where), groups)
        return [TripCount(TripClass(k), TripCause(c), n) for k, c, n in rows]

    def day_marks(self, edges: Sequence[dt.date], stations: Collection[str]) -> list[DayMark]:
        """Return the record of stations in stretches of days between neighbouring edges."""
        columns = ("transfers", "known_s", "unknown_s")
        with self._db.reading() as tx:
            found = rollups.sums(tx, edges, stations=stations, columns=columns)
        return [DayMark(key.station, key.part, *values) for key, values in sorted(found.items())]

    def finding_marks(self, edges: Sequence[int], stations: Collection[str]) -> list[FindingMark]:
        """Return how many findings stations have between neighbouring edges (ns).

        One that lasts beyond an edge counts on both sides of it.
        """
        table = schema.finding.c
        part = rollups.part(table.start_ns, edges)
        asked = select(table.station, part, table.severity, func.count()).where(
            table.start_ns >= edges[0],
            table.start_ns < edges[-1],
            table.station.in_(stations),
        )
        counts: Counter[tuple[str, int, str]] = Counter()
        for station, number, severity, count in self._grouped(
            asked, [table.station, part, table.severity]
        ):
            counts[station, int(number), severity] += count
        with self._db.reading() as tx:
            for found in ongoing.crossing(tx, edges, stations):
                for number in ongoing.parts_after_the_first(found, edges):
                    counts[found.station, number, found.severity] += 1
        return [FindingMark(s, n, Severity(v), count) for (s, n, v), count in counts.items()]

    def ongoing_counts(self, moment: int) -> dict[str, Counter[Severity]]:
        """Return, by station, how many findings are going on that began before a moment (ns)."""
        counts: dict[str, Counter[Severity]] = defaultdict(Counter)
        columns = [schema.finding.c.station, schema.finding.c.severity]
        with self._db.reading() as tx:
            for where in ongoing.at(moment):
                for station, severity in tx.conn.execute(select(*columns).where(*where)):
                    counts[station][Severity(severity)] += 1
        return dict(counts)

    def ongoing_findings(self, station: str, moment: int) -> list[Finding]:
        """Return the findings of a station that are going on and began before a moment (ns)."""
        found: list[Finding] = []
        mine = schema.finding.c.station == station
        with self._db.reading() as tx:
            for where in ongoing.at(moment):
                found += FINDINGS.select(tx, [mine, *where], [])
        return sorted(found, key=lambda finding: finding.start, reverse=True)

    def latest_transfers(self, station: str, start: int, end: int, limit: int) -> list[Transfer]:
        """Return the transfers that began last in a span, the latest first."""
        return self._latest(TRANSFERS, _began(TRANSFERS, station, start, end), limit)

    def latest_hookups(self, station: str, start: int, end: int, limit: int) -> list[Hookup]:
        """Return the hookups that began last in a span, the latest first."""
        return self._latest(HOOKUPS, _began(HOOKUPS, station, start, end), limit)

    def latest_findings(
        self,
        station: str,
        start: int,
        end: int,
        limit: int,
        *,
        kinds: Collection[Kind] = (),
        severities: Collection[Severity] = (),
    ) -> list[Finding]:
        """Return the findings that began last in a span, the latest first.

        ``kinds`` and ``severities`` narrow them down; an empty one does not.
        """
        where = _began(FINDINGS, station, start, end)
        for column, chosen in (("kind", kinds), ("severity", severities)):
            if chosen:
                where.append(schema.finding.c[column].in_([str(name) for name in chosen]))
        return self._latest(FINDINGS, where, limit)

    def alarm_columns(
        self, start: int, end: int, stations: Collection[str] | None = None
    ) -> AlarmColumns:
        """Return the alarms that were active in a span as columns, of some stations or of all."""
        with self._db.reading() as tx:
            return alarm_parts.columns(tx, start, end, stations)

    def _grouped(self, asked: Select[Any], groups: Sequence[ColumnElement[Any]]) -> list[Any]:
        with self._db.reading() as tx:
            return list(tx.conn.execute(asked.group_by(*groups)))

    def _latest(
        self, rows: _Rows[Word], where: Sequence[ColumnElement[bool]], limit: int
    ) -> list[Word]:
        with self._db.reading() as tx:
            since = _since(tx, rows, where, limit)
            return rows.select(tx, [*where, rows.began >= since], [rows.began.desc()])[:limit]


def _since(
    tx: Transaction, rows: _Rows[Any], where: Sequence[ColumnElement[bool]], limit: int
) -> int:
    """Return when the last row to list began; long ago if all fit. [ns]"""
    asked = select(rows.began).where(*where).order_by(rows.began.desc())
    return tx.conn.scalar(asked.offset(limit - 1).limit(1)) or -(2**63)


def _began(rows: _Rows[Any], station: str, start: int, end: int) -> list[ColumnElement[bool]]:
    return [rows.table.c.station == station, rows.began >= start, rows.began < end]
