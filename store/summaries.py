"""Sums of results that a board asks for: made by the database, a few rows a station."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Select, case, func, literal, select

from bondtrail.results import DaySums, Kind, Severity, TripCause, TripClass
from store import schema
from store.engine import Transaction

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


def day_span(tx: Transaction) -> tuple[dt.date, dt.date] | None:
    """Return the first and the last day of which there are sums, or None."""
    day = schema.day.c.day
    # Two questions: SQLite finds either end by an index only when asked for it alone.
    first, last = (tx.conn.scalar(select(end(day))) for end in (func.min, func.max))
    return None if first is None or last is None else (first, last)


def day_totals(
    tx: Transaction, first: dt.date, last: dt.date, station: str | None = None
) -> list[DaySums]:
    """Return the sums of the days ``first`` to ``last``, one row a station, as of ``first``.

    What a day keeps by kind (trips, findings, alarms, histograms) is left out.
    """
    table = schema.day.c
    sums = [func.sum(table[name]).label(name) for name in _SUMMED]
    asked = select(table.station, *sums).where(table.day >= first, table.day <= last)
    rows = tx.conn.execute(_of_station(asked, table.station, station).group_by(table.station))
    return [_sums(row._mapping, first) for row in rows]


def _sums(row: Any, day: dt.date) -> DaySums:
    numbers = {n: int(row[n]) if n in _COUNTS else float(row[n]) for n in _SUMMED}
    return DaySums(station=row["station"], day=day, **numbers)  # type: ignore[arg-type]


def finding_counts(
    tx: Transaction, start: int, end: int, station: str | None = None
) -> list[FindingCount]:
    """Return how many findings began in ``[start, end)``, by station, kind and severity."""
    table = schema.finding.c
    groups = (table.station, table.kind, table.severity)
    asked = select(*groups, func.count()).where(table.start_ns >= start, table.start_ns < end)
    rows = tx.conn.execute(_of_station(asked, table.station, station).group_by(*groups))
    return [FindingCount(s, Kind(k), Severity(v), n) for s, k, v, n in rows]


def trip_counts(
    tx: Transaction, start: int, end: int, station: str | None = None
) -> list[TripCount]:
    """Return how many trips lie in ``[start, end)``, by station, class and cause."""
    table = schema.trip.c
    groups = (table.station, table.trip_class, table.cause)
    asked = select(*groups, func.count()).where(table.time_ns >= start, table.time_ns < end)
    rows = tx.conn.execute(_of_station(asked, table.station, station).group_by(*groups))
    return [TripCount(s, TripClass(k), TripCause(c), n) for s, k, c, n in rows]


def day_marks(
    tx: Transaction, edges: Sequence[dt.date], stations: Collection[str]
) -> list[DayMark]:
    """Return the record of stations in stretches of days between neighbouring edges."""
    table = schema.day.c
    part = _part(table.day, edges)
    summed = (func.sum(table[name]) for name in ("transfers", "known_s", "unknown_s"))
    rows = tx.conn.execute(
        select(table.station, part, *summed)
        .where(table.day >= edges[0], table.day < edges[-1], table.station.in_(stations))
        .group_by(table.station, part)
    )
    return [DayMark(s, int(n), int(t), float(k), float(u)) for s, n, t, k, u in rows]


def finding_marks(
    tx: Transaction, edges: Sequence[int], stations: Collection[str]
) -> list[FindingMark]:
    """Return how many findings began at stations between neighbouring edges (ns)."""
    table = schema.finding.c
    part = _part(table.start_ns, edges)
    rows = tx.conn.execute(
        select(table.station, part, table.severity, func.count())
        .where(
            table.start_ns >= edges[0],
            table.start_ns < edges[-1],
            table.station.in_(stations),
        )
        .group_by(table.station, part, table.severity)
    )
    return [FindingMark(s, int(n), Severity(v), count) for s, n, v, count in rows]


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


def _of_station(asked: Select[Any], column: ColumnElement[str], station: str | None) -> Select[Any]:
    return asked if station is None else asked.where(column == station)
