"""Results summed ahead, so that a board answers for years of hundreds of stations at once.

Two tables repeat what others hold, coarser: `month` sums `day`, and `tally` counts findings and
trips over parts of about 26 days. Both are renewed for what a save touched, in its transaction.
A question takes the whole months or parts inside its span from here, and the ends from the rows.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import Any, TypeVar

from sqlalchemy import Table, delete, func, insert, select

from bondtrail.results import DAY_SUMS
from store import schema
from store.engine import Transaction

PART_NS = 2**51
"""Length of a part: counted in ns from 1970, so it needs no calendar and no zone."""

Moment = TypeVar("Moment", int, dt.date)
Sums = dict[str, dict[str, float]]
"""By station, then by column."""


def renew(
    tx: Transaction,
    station: str,
    since: int,
    since_day: dt.date,
    until: int | None,
    until_day: dt.date | None,
) -> None:
    """Sum anew what a save changed at a station; times in ns, ends exclusive."""
    _renew_months(tx, station, since_day, until_day)
    _renew_tallies(tx, station, since, until)


def _renew_months(tx: Transaction, station: str, since: dt.date, until: dt.date | None) -> None:
    first = since.replace(day=1)
    end = None if until is None else month_after(until - dt.timedelta(days=1))
    day, month = schema.day.c, schema.month.c
    asked = select(day.day, *(day[name] for name in DAY_SUMS)).where(
        *_within(day.station, station, day.day, first, end)
    )
    sums: dict[dt.date, list[float]] = defaultdict(lambda: [0] * len(DAY_SUMS))
    for row in tx.conn.execute(asked.order_by(day.day)):
        total = sums[row[0].replace(day=1)]
        for place, value in enumerate(row[1:]):
            total[place] += value
    tx.conn.execute(
        delete(schema.month).where(*_within(month.station, station, month.month, first, end))
    )
    rows = [
        {"station": station, "month": start} | dict(zip(DAY_SUMS, total, strict=True))
        for start, total in sums.items()
    ]
    if rows:
        tx.conn.execute(insert(schema.month), rows)


def _renew_tallies(tx: Transaction, station: str, since: int, until: int | None) -> None:
    first = max(since, 0) // PART_NS
    end = None if until is None else -(-until // PART_NS)
    start_ns, end_ns = first * PART_NS, None if end is None else end * PART_NS
    counts: dict[int, Counter[str]] = defaultdict(Counter)
    for table, when, what in _COUNTED:
        asked = select(when, what).where(*_within(table.c.station, station, when, start_ns, end_ns))
        for began, name in tx.conn.execute(asked):
            counts[began // PART_NS][name] += 1
    tally = schema.tally.c
    tx.conn.execute(
        delete(schema.tally).where(*_within(tally.station, station, tally.part, first, end))
    )
    rows = [
        {"station": station, "part": part} | {name: count[name] for name in schema.TALLIED}
        for part, count in counts.items()
    ]
    if rows:
        tx.conn.execute(insert(schema.tally), rows)


# Severities and classes share no word, so one row tells both.
_COUNTED = (
    (schema.finding, schema.finding.c.start_ns, schema.finding.c.severity),
    (schema.trip, schema.trip.c.time_ns, schema.trip.c.trip_class),
)


def _within(station_column: Any, station: str, column: Any, first: Any, end: Any) -> list[Any]:
    conditions = [station_column == station, column >= first]
    return conditions if end is None else [*conditions, column < end]


def month_after(day: dt.date) -> dt.date:
    """Return the first day of the month after that of ``day``."""
    return (day.replace(day=1) + dt.timedelta(days=32)).replace(day=1)


def whole_months(first: dt.date, last: dt.date) -> tuple[dt.date, dt.date]:
    """Return the first days of the first whole month inside, and of the one after the last.

    If no month lies inside whole, both are the day after ``last``.
    """
    end = last + dt.timedelta(days=1)
    begin = first if first.day == 1 else month_after(first)
    stop = end.replace(day=1)
    return (begin, stop) if begin < stop else (end, end)


def day_sums(tx: Transaction, first: dt.date, last: dt.date, station: str | None = None) -> Sums:
    """Return the sums of the days ``first`` to ``last`` by station."""
    begin, stop = whole_months(first, last)
    day, month = schema.day.c, schema.month.c
    sums: Sums = {}
    _add(tx, sums, schema.month, [month.month >= begin, month.month < stop], station)
    for start, end in ends(first, begin, stop, last + dt.timedelta(days=1)):
        _add(tx, sums, schema.day, [day.day >= start, day.day < end], station)
    return sums


def ends(first: Moment, begin: Moment, stop: Moment, end: Moment) -> list[tuple[Moment, Moment]]:
    """Return what of ``[first, end)`` lies outside ``[begin, stop)``, empty stretches left out.

    Each is asked for by itself: a database that is asked for both at once reads all between.
    """
    outside = [(first, begin), (stop, end)] if begin < stop else [(first, end)]
    return [(start, until) for start, until in outside if start < until]


def _add(
    tx: Transaction, sums: Sums, table: Table, where: Sequence[Any], station: str | None
) -> None:
    columns = table.c
    asked = select(columns.station, *(func.sum(columns[name]) for name in DAY_SUMS)).where(*where)
    if station is not None:
        asked = asked.where(columns.station == station)
    for name, *values in tx.conn.execute(asked.group_by(columns.station)):
        total = sums.setdefault(name, dict.fromkeys(DAY_SUMS, 0))
        for key, value in zip(DAY_SUMS, values, strict=True):
            total[key] += float(value)


def counts(tx: Transaction, start: int, end: int) -> dict[str, Counter[str]]:
    """Return how many findings of each severity and trips of each class began, by station."""
    first, stop = -(-start // PART_NS), end // PART_NS
    found: dict[str, Counter[str]] = defaultdict(Counter)
    tally = schema.tally.c
    asked = select(tally.station, *(func.sum(tally[name]) for name in schema.TALLIED))
    inside = asked.where(tally.part >= first, tally.part < stop).group_by(tally.station)
    for station, *numbers in tx.conn.execute(inside):
        told = zip(schema.TALLIED, map(int, numbers), strict=True)
        found[station].update(dict(told))
    for table, when, what in _COUNTED:
        for begin, until in ends(start, first * PART_NS, stop * PART_NS, end):
            near = select(table.c.station, what, func.count())
            near = near.where(when >= begin, when < until)
            for station, name, count in tx.conn.execute(near.group_by(table.c.station, what)):
                found[station][name] += count
    return found
