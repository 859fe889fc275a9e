"""Sums and latest rows of results, for a board: made by the database, a few rows a station."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select, case, func, literal, select

from bondtrail.results import (
    DaySums,
    Finding,
    Hookup,
    Kind,
    Severity,
    Transfer,
    TripCause,
    TripClass,
)
from store import schema
from store.engine import Database, Transaction
from store.results import FINDINGS, HOOKUPS, TRANSFERS, _Rows

Word = TypeVar("Word")

_SUMMED = (
    "transfers",
    "compliant_transfers",
    "flow_s",
    "not_bonded_s",
    "no_data_s",
    "bypassed_s",
    "volume",
    "hookups",
    "failed_hookups",
    "touches",
    "low_s",
    "high_s",
    "open_s",
    "known_s",
    "unknown_s",
)
_COUNTS = frozenset({"transfers", "compliant_transfers", "hookups", "failed_hookups", "touches"})


@dataclass(frozen=True, slots=True)
class FindingCount:
    """How many findings of a kind and severity a station has."""

    station: str
    kind: Kind
    severity: Severity
    count: int


@dataclass(frozen=True, slots=True)
class TripCount:
    """How many trips of a class and cause a station has."""

    station: str
    trip_class: TripClass
    cause: TripCause
    count: int


@dataclass(frozen=True, slots=True)
class DayMark:
    """A station's record over one stretch of days, by its number."""

    station: str
    part: int
    transfers: int
    known_s: float
    unknown_s: float


@dataclass(frozen=True, slots=True)
class FindingMark:
    """How many findings of a severity began at a station in one stretch, by its number."""

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

        What a day keeps by kind (trips, findings, alarms, histograms) is left out.
        """
        table = schema.day.c
        sums = [func.sum(table[name]).label(name) for name in _SUMMED]
        asked = select(table.station, *sums).where(table.day >= first, table.day <= last)
        return [_sums(row, first) for row in self._grouped(asked, [table.station], station)]

    def finding_counts(
        self, start: int, end: int, station: str | None = None
    ) -> list[FindingCount]:
        """Return how many findings began in a span, by station, kind and severity."""
        table = schema.finding.c
        groups = [table.station, table.kind, table.severity]
        asked = select(*groups, func.count()).where(table.start_ns >= start, table.start_ns < end)
        rows = self._grouped(asked, groups, station)
        return [FindingCount(s, Kind(k), Severity(v), n) for s, k, v, n in rows]

    def trip_counts(self, start: int, end: int, station: str | None = None) -> list[TripCount]:
        """Return how many trips lie in a span, by station, class and cause."""
        table = schema.trip.c
        groups = [table.station, table.trip_class, table.cause]
        asked = select(*groups, func.count()).where(table.time_ns >= start, table.time_ns < end)
        rows = self._grouped(asked, groups, station)
        return [TripCount(s, TripClass(k), TripCause(c), n) for s, k, c, n in rows]

    def day_marks(self, edges: Sequence[dt.date], stations: Collection[str]) -> list[DayMark]:
        """Return the record of stations in stretches of days between neighbouring edges."""
        table = schema.day.c
        part = _part(table.day, edges)
        summed = (func.sum(table[name]) for name in ("transfers", "known_s", "unknown_s"))
        asked = select(table.station, part, *summed).where(
            table.day >= edges[0], table.day < edges[-1], table.station.in_(stations)
        )
        rows = self._grouped(asked, [table.station, part])
        return [DayMark(s, int(n), int(t), float(k), float(u)) for s, n, t, k, u in rows]

    def finding_marks(self, edges: Sequence[int], stations: Collection[str]) -> list[FindingMark]:
        """Return how many findings began at stations between neighbouring edges (ns)."""
        table = schema.finding.c
        part = _part(table.start_ns, edges)
        asked = select(table.station, part, table.severity, func.count()).where(
            table.start_ns >= edges[0],
            table.start_ns < edges[-1],
            table.station.in_(stations),
        )
        rows = self._grouped(asked, [table.station, part, table.severity])
        return [FindingMark(s, int(n), Severity(v), count) for s, n, v, count in rows]

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

    def _grouped(
        self,
        asked: Select[Any],
        groups: Sequence[ColumnElement[Any]],
        station: str | None = None,
    ) -> list[Any]:
        if station is not None:
            asked = asked.where(groups[0] == station)
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


def _sums(row: Any, day: dt.date) -> DaySums:
    told = row._mapping
    numbers = {n: int(told[n]) if n in _COUNTS else float(told[n]) for n in _SUMMED}
    return DaySums(station=told["station"], day=day, **numbers)  # type: ignore[arg-type]


def _part(column: ColumnElement[Any], edges: Sequence[Any]) -> ColumnElement[int]:
    """Return the number of the stretch that a value lies in, as a tree of comparisons.

    A flat list of as many conditions is tried one by one for every row, a tree takes their
    logarithm.
    """

    def tree(low: int, high: int) -> ColumnElement[int]:
        if high - low <= 1:
            return literal(low)
        middle = (low + high) // 2
        return case((column < edges[middle], tree(low, middle)), else_=tree(middle, high))

    return tree(0, len(edges) - 1).label("part")
