"""Results summed ahead, so that years of hundreds of stations are summed at once.

The tables `month` and `year` repeat `day` coarser, and so do those of the shifts; `tally` counts
findings and trips over parts of about 26 days. All are renewed for what a save touched, in its
transaction. A question takes the whole units or parts inside its span from the coarsest table that
has them, and the ends from finer ones.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice, pairwise
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import ColumnElement, Select, Table, case, delete, func, insert, literal, select

from bondtrail.results import DAY_HISTOGRAMS
from store import schema
from store.dayrows import PARTS, row_of, sums_of
from store.engine import Transaction

PART_NS = 2**51
"""Length of a part: counted in ns from 1970, so it needs no calendar and no zone."""

Moment = TypeVar("Moment", int, dt.date)


class Key(NamedTuple):
    """What sums are of: a station, a shift's part of the time or all of it, a stretch of days."""

    station: str
    shift: str | None
    part: int


Sums = dict[Key, Sequence[Any]]


@dataclass(frozen=True, slots=True)
class Level:
    """Tables that sum one unit of the calendar, of all time and by shift.

    Attributes
    ----------
    name : str
        The unit, and the column of its first day.
    floor, following : callable
        The first day of the unit that a day lies in, and of the one after that.
    """

    name: str
    floor: Callable[[dt.date], dt.date]
    following: Callable[[dt.date], dt.date]

    def table(self, *, by_shift: bool) -> Table:
        """Return the table of this unit, or that of its shifts."""
        return schema.METADATA.tables[f"shift_{self.name}" if by_shift else self.name]

    def begins(self, day: dt.date) -> bool:
        """Tell whether a unit begins on this day."""
        return self.floor(day) == day

    def inside(self, first: dt.date, end: dt.date) -> tuple[dt.date, dt.date]:
        """Return the span of the whole units in ``[first, end)``: ``(end, end)`` if none is."""
        begin = first if self.begins(first) else self.following(first)
        stop = self.floor(end)
        return (begin, stop) if begin < stop else (end, end)

    def starts(self, first: dt.date, end: dt.date) -> Iterator[dt.date]:
        """Yield the first days of the units that ``[first, end)`` touches."""
        start = self.floor(first)
        while start < end:
            yield start
            start = self.following(start)


class _Piece(NamedTuple):
    """A span of whole units of a level."""

    level: Level
    start: dt.date
    end: dt.date


_DAY = dt.timedelta(days=1)
_LAST = dt.date.max


def day_after(day: dt.date) -> dt.date:
    """Return the day after ``day``; of the last day there is, itself."""
    return min(day, _LAST - _DAY) + _DAY


def month_after(day: dt.date) -> dt.date:
    """Return the first day of the month after that of ``day``; at most the last day there is."""
    first = day.replace(day=1)
    return _LAST if first > _LAST - 31 * _DAY else (first + 31 * _DAY).replace(day=1)


def year_after(day: dt.date) -> dt.date:
    """Return the first day of the year after that of ``day``; at most the last day there is."""
    return _LAST if day.year == _LAST.year else dt.date(day.year + 1, 1, 1)


DAYS = Level("day", lambda day: day, day_after)
MONTHS = Level("month", lambda day: day.replace(day=1), month_after)
YEARS = Level("year", lambda day: dt.date(day.year, 1, 1), year_after)


def sums(
    tx: Transaction,
    edges: Sequence[dt.date],
    *,
    stations: Collection[str] | None = None,
    columns: Sequence[str] = PARTS,
    by_shift: bool = False,
    groups: Mapping[str, Collection[str]] | None = None,
) -> Sums:
    """Return the sums of the stretches between neighbouring edges, by station and stretch.

    Parameters
    ----------
    edges : sequence of date
        Rising, two or more; the last is the day after the last stretch.
    stations : collection of str, optional
        Of these only.
    columns : sequence of str
        Of `PARTS`, numbers before histograms: what to add up. Histograms come as texts that may
        tell a bin more than once.
    by_shift : bool
        Whether to tell the shifts apart. Otherwise the shift of each key is None.
    groups : mapping of str to collection of str, optional
        Stations to add up together, by the name that stands in the key for them; in place of
        ``stations``.

    Raises
    ------
    ValueError
        If the edges do not rise, or are fewer than two.
    """
    if len(edges) < 2 or any(one >= other for one, other in pairwise(edges)):
        raise ValueError("edges: expected two or more dates, each after the one before")
    asked: list[tuple[str | None, Collection[str] | None]] = [(None, stations)]
    if groups is not None:
        asked = [*groups.items()]
    found: dict[Key, list[Sequence[Any]]] = defaultdict(list)
    for piece in pieces(edges):
        for name, some in asked:
            if some is None or some:
                for key, values in _answers(tx, piece, edges, some, columns, by_shift, name):
                    found[key].append(values)
    numbers = sum(name not in DAY_HISTOGRAMS for name in columns)
    return {key: _added(rows, numbers) for key, rows in found.items()}


def _added(rows: Sequence[Sequence[Any]], numbers: int) -> Sequence[Any]:
    if len(rows) == 1:
        return rows[0]
    columns = list(zip(*rows, strict=True))
    return [*map(sum, columns[:numbers]), *map(" ".join, columns[numbers:])]


def pieces(edges: Sequence[dt.date]) -> list[_Piece]:
    """Return what to ask of which tables, so that together it is the span of the edges."""
    inner = edges[1:-1]
    coarser = [level for level in (MONTHS, YEARS) if all(map(level.begins, inner))]
    return list(_pieces([DAYS, *coarser], edges[0], edges[-1]))


def _pieces(levels: Sequence[Level], first: dt.date, end: dt.date) -> Iterator[_Piece]:
    *finer, level = levels
    begin, stop = level.inside(first, end)
    if begin < stop:
        yield _Piece(level, begin, stop)
    for start, until in ends(first, begin, stop, end):
        yield from _pieces(finer, start, until)


def ends(first: Moment, begin: Moment, stop: Moment, end: Moment) -> list[tuple[Moment, Moment]]:
    """Return what of ``[first, end)`` lies outside ``[begin, stop)``, empty stretches left out.

    Each is asked for by itself: a database that is asked for both at once reads all between.
    """
    outside = [(first, begin), (stop, end)] if begin < stop else [(first, end)]
    return [(start, until) for start, until in outside if start < until]


def _answers(
    tx: Transaction,
    piece: _Piece,
    edges: Sequence[dt.date],
    stations: Collection[str] | None,
    columns: Sequence[str],
    by_shift: bool,
    together: str | None = None,
) -> Iterator[tuple[Key, Sequence[Any]]]:
    """Yield the sums of a piece by key: of each station, or of all of them under one name."""
    table = piece.level.table(by_shift=by_shift)
    station, when = table.c.station, table.c[piece.level.name]
    first = bisect_right(edges, piece.start) - 1
    inside = [piece.start, *edges[first + 1 : bisect_left(edges, piece.end)], piece.end]
    number, part = _numbering(piece, when, inside)
    groups: list[ColumnElement[Any]] = [station] if together is None else []
    groups += [*([table.c.shift] if by_shift else []), *([] if part is None else [part])]
    asked = select(*groups, *_totals(table, tuple(columns))).where(
        station.in_(_every_station(by_shift) if stations is None else stations),
        when >= piece.start,
        when < piece.end,
    )
    width = len(groups)
    for row in tx.conn.execute(asked.group_by(*groups) if groups else asked):
        if row[width] is None:  # of no rows at all
            continue
        shift = row[width - 1 - (part is not None)] if by_shift else None
        place = 0 if part is None else number(row[width - 1])
        yield Key(row[0] if together is None else together, shift, first + place), row[width:]


def _numbering(
    piece: _Piece, when: ColumnElement[Any], edges: Sequence[dt.date]
) -> tuple[Callable[[Any], int], ColumnElement[Any] | None]:
    """Return what to group by to tell stretches apart, and how to read its number from that."""
    if len(edges) == 2:
        return int, None
    starts = list(islice(piece.level.starts(piece.start, piece.end), len(edges)))
    if starts == edges[:-1]:
        return {start: number for number, start in enumerate(starts)}.__getitem__, when
    return int, part(when, edges)


@cache  # to make the forty anew takes longer than to ask a question of one station
def _totals(table: Table, columns: tuple[str, ...]) -> Sequence[ColumnElement[Any]]:
    return [
        func.aggregate_strings(table.c[name], " ")
        if name in DAY_HISTOGRAMS
        else func.sum(table.c[name])
        for name in columns
    ]


def _every_station(by_shift: bool) -> Select[Any]:
    """Return the question for the stations with sums.

    Asked for its stations, a table is read along its key: asked for a span of days alone, it is
    read across it, which takes SQLite three times as long.
    """
    return select(YEARS.table(by_shift=by_shift).c.station)


def part(column: ColumnElement[Any], edges: Sequence[Any]) -> ColumnElement[int]:
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


def renew(
    tx: Transaction,
    station: str,
    since: int,
    since_day: dt.date,
    until: int | None,
    until_day: dt.date | None,
) -> None:
    """Sum anew what a save changed at a station; times in ns, ends exclusive."""
    last_day = None if until_day is None else until_day - dt.timedelta(days=1)
    for by_shift in (False, True):
        for finer, level in ((DAYS, MONTHS), (MONTHS, YEARS)):
            _renew_level(tx, station, finer, level, since_day, last_day, by_shift)
    renew_tallies(tx, station, since, until)


def _renew_level(
    tx: Transaction,
    station: str,
    finer: Level,
    level: Level,
    since: dt.date,
    last: dt.date | None,
    by_shift: bool,
) -> None:
    """Sum the units of a level that hold the days ``since`` to ``last`` from a finer one."""
    first, end = level.floor(since), None if last is None else level.following(last)
    table = level.table(by_shift=by_shift)
    own = table.c[level.name]
    tx.conn.execute(delete(table).where(*_within(table.c.station, station, own, first, end)))
    source = finer.table(by_shift=by_shift)
    when = source.c[finer.name]
    held = _within(source.c.station, station, when, first, end)
    begin, final = tx.conn.execute(select(func.min(when), func.max(when)).where(*held)).one()
    if begin is None:
        return
    starts = list(level.starts(begin, day_after(final)))
    piece = _Piece(finer, starts[0], level.following(starts[-1]))
    edges = [*starts, piece.end]
    found = list(_answers(tx, piece, edges, [station], PARTS, by_shift))
    told = sums_of(((station, starts[key.part], key.shift), values) for key, values in found)
    tx.conn.execute(insert(table), [row_of(each, level.name) for each in told])


def renew_tallies(tx: Transaction, station: str, since: int, until: int | None) -> None:
    """Count anew what began at a station in the parts that ``[since, until)`` touches. [ns]"""
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
        {"station": station, "part": number} | {name: count[name] for name in schema.TALLIED}
        for number, count in counts.items()
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
