"""What an analysis found: plain rows in, the shared words' own classes out."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Generic, TypeVar, get_type_hints

from sqlalchemy import ColumnElement, Table, delete, func, insert, or_, select, true

from bondtrail import results as words
from store import alarm_parts, dayrows, floors, rollups, schema
from store.engine import Transaction
from store.texts import plain

Word = TypeVar("Word")

_COLUMNS = {"start": "start_ns", "end": "end_ns", "time": "time_ns"}


class _Rows(Generic[Word]):
    """One class of results and its table: fields are columns of the same name."""

    def __init__(
        self,
        kind: type[Word],
        table: Table,
        *,
        derived: Sequence[str] = (),
        mappings: Sequence[str] = (),
        lists: Sequence[str] = (),
        enums: dict[str, Any] | None = None,
    ) -> None:
        self._kind = kind
        self.table = table
        self._derived = tuple(derived)
        self._fields = [name for name in get_type_hints(kind) if name not in derived]
        self._json = {*mappings, *lists}
        read: dict[str, Callable[[Any], Any]] = {
            name: {str(member): member for member in kind}.__getitem__
            for name, kind in (enums or {}).items()
        }
        read |= dict.fromkeys(mappings, json.loads) | dict.fromkeys(lists, _as_tuple)
        self._places = [(self._fields.index(name), how) for name, how in read.items()]

    @property
    def began(self) -> Any:
        """The column that says when a row began."""
        return self.table.c["time_ns" if "time_ns" in self.table.c else "start_ns"]

    @property
    def over(self) -> Any:
        """The column that says when a row was over."""
        return self.table.c["time_ns" if "time_ns" in self.table.c else "end_ns"]

    def insert(self, tx: Transaction, found: Sequence[Word]) -> None:
        if found:
            tx.conn.execute(insert(self.table), [self._row(each) for each in found])

    def _row(self, each: Word) -> dict[str, Any]:
        row = {name: plain(getattr(each, name)) for name in self._derived}
        for name in self._fields:
            value = getattr(each, name)
            written = _as_json(value) if name in self._json else plain(value)
            row[_COLUMNS.get(name, name)] = written
        return row

    def select(
        self, tx: Transaction, where: Sequence[ColumnElement[bool]], order: Sequence[Any]
    ) -> list[Word]:
        columns = [self.table.c[_COLUMNS.get(name, name)] for name in self._fields]
        query = select(*columns).where(*where).order_by(*order)
        return [self._word(row) for row in tx.conn.execute(query)]

    def _word(self, row: Sequence[Any]) -> Word:
        values = list(row)  # in the order of the fields: names would cost as much as the query
        for place, read in self._places:
            if values[place] is not None:
                values[place] = read(values[place])
        return self._kind(*values)


def _as_tuple(text: str) -> tuple[Any, ...]:
    return tuple(json.loads(text))


def _as_json(value: Any) -> str:
    as_plain = dict(value) if hasattr(value, "items") else list(value)
    return json.dumps(as_plain, ensure_ascii=False, default=plain)


TRANSFERS = _Rows(words.Transfer, schema.transfer, derived=["id"], lists=["findings"])
HOOKUPS = _Rows(
    words.Hookup, schema.hookup, enums={"outcome": words.Outcome, "cause": words.HookupCause}
)
TRIPS = _Rows(
    words.Trip, schema.trip, enums={"trip_class": words.TripClass, "cause": words.TripCause}
)
FINDINGS = _Rows(
    words.Finding,
    schema.finding,
    derived=["id", "seconds"],
    mappings=["evidence", "limits"],
    enums={"kind": words.Kind, "severity": words.Severity},
)
ALARMS = _Rows(words.Alarm, schema.alarm, enums={"kind": words.AlarmKind})
_EPISODES: dict[str, _Rows[Any]] = {
    "transfers": TRANSFERS,
    "hookups": HOOKUPS,
    "trips": TRIPS,
    "findings": FINDINGS,
    "alarms": ALARMS,
}
# A drift is judged over all of history, so no window holds it.
_OF_A_WINDOW: dict[str, ColumnElement[bool]] = {
    "findings": schema.finding.c.kind != words.Kind.RESISTANCE_DRIFT.value
}
_DAYS = {"days": schema.day, "shifts": schema.shift_day}


def save(
    tx: Transaction,
    found: words.StationResults,
    since: int,
    since_day: dt.date,
    until: int | None,
    until_day: dt.date | None,
) -> None:
    """Replace a station's results from a time and a day on, but none before its floor.

    Times in ns.
    """
    floor = floors.of_station(tx, found.station)
    if floor is not None:
        found = _above(found, floor)
        since, since_day = max(since, floor.since), max(since_day, floor.day)
        until = None if until is None else max(until, since)
        until_day = None if until_day is None else max(until_day, since_day)
    for name, rows in _EPISODES.items():
        window = _window(rows.table, found.station, rows.began, since, until)
        tx.conn.execute(delete(rows.table).where(*window, _OF_A_WINDOW.get(name, true())))
        rows.insert(tx, getattr(found, name))
    for name, table in _DAYS.items():
        window = _window(table, found.station, table.c.day, since_day, until_day)
        tx.conn.execute(delete(table).where(*window))
        days = [dayrows.row_of(each) for each in getattr(found, name)]
        if days:
            tx.conn.execute(insert(table), days)
    rollups.renew(tx, found.station, since, since_day, until, until_day)
    alarm_parts.renew(tx, found.station, since, until)
    if found.drift is not None:
        _save_drift(tx, found.station, found.drift)


def _above(found: words.StationResults, floor: floors.Floor) -> words.StationResults:
    """Return the results that begin at a floor or after it. A drift is of all time."""
    return replace(
        found,
        transfers=tuple(each for each in found.transfers if each.start >= floor.since),
        hookups=tuple(each for each in found.hookups if each.start >= floor.since),
        trips=tuple(each for each in found.trips if each.time >= floor.since),
        findings=tuple(each for each in found.findings if each.start >= floor.since),
        alarms=tuple(each for each in found.alarms if each.start >= floor.since),
        days=tuple(each for each in found.days if each.day >= floor.day),
        shifts=tuple(each for each in found.shifts if each.day >= floor.day),
    )


def _save_drift(tx: Transaction, station: str, drift: Sequence[words.Finding]) -> None:
    """Replace every drift of a station; the same again changes nothing."""
    mine = [
        schema.finding.c.station == station,
        schema.finding.c.kind == words.Kind.RESISTANCE_DRIFT.value,
    ]
    known = FINDINGS.select(tx, mine, [schema.finding.c.start_ns])
    if known == sorted(drift, key=lambda each: each.start):
        return
    tx.conn.execute(delete(schema.finding).where(*mine))
    FINDINGS.insert(tx, drift)
    for part in sorted({int(each.start) // rollups.PART_NS for each in (*known, *drift)}):
        start = part * rollups.PART_NS
        rollups.renew_tallies(tx, station, start, start + rollups.PART_NS)


def _window(
    table: Table, station: str, column: Any, since: Any, until: Any
) -> list[ColumnElement[bool]]:
    window = [table.c.station == station, column >= plain(since)]
    return window if until is None else [*window, column < plain(until)]


def overlapping(
    tx: Transaction,
    rows: _Rows[Word],
    station: str | None,
    start: int | None,
    end: int | None,
    where: Sequence[ColumnElement[bool]] = (),
) -> list[Word]:
    """Return rows that overlap ``[start, end)``, by when they began; times in ns."""
    conditions = list(where)
    if station is not None:
        conditions.append(rows.table.c.station == station)
    if start is not None:
        conditions.append(or_(rows.over > plain(start), rows.began >= plain(start)))
    if end is not None:
        conditions.append(rows.began < plain(end))
    return rows.select(tx, conditions, [rows.began, rows.table.c.station, *_last_resort(rows)])


def transfers(
    tx: Transaction,
    station: str | None,
    start: int | None,
    end: int | None,
    compliant: bool | None,
) -> list[words.Transfer]:
    """Return transfers that overlap ``[start, end)``, by when they began; times in ns."""
    wanted = schema.transfer.c.compliant == compliant
    where = [] if compliant is None else [wanted]
    return overlapping(tx, TRANSFERS, station, start, end, where)


def _last_resort(rows: _Rows[Any]) -> list[Any]:
    return [rows.table.c.kind] if "kind" in rows.table.c else []


def findings(
    tx: Transaction,
    station: str | None,
    start: int | None,
    end: int | None,
    kind: str | None,
    severity: str | None,
    transfer: str | None,
) -> list[words.Finding]:
    """Return findings that overlap ``[start, end)``, by when they began; times in ns."""
    columns = schema.finding.c
    wanted = ((columns.kind, kind), (columns.severity, severity), (columns.transfer, transfer))
    where = [column == plain(value) for column, value in wanted if value is not None]
    return overlapping(tx, FINDINGS, station, start, end, where)


def transfer(tx: Transaction, transfer_id: str) -> words.Transfer | None:
    """Return a transfer by its id, or None."""
    found = TRANSFERS.select(tx, [schema.transfer.c.id == transfer_id], [])
    return found[0] if found else None


def finding(tx: Transaction, finding_id: str) -> words.Finding | None:
    """Return a finding by its id, or None."""
    found = FINDINGS.select(tx, [schema.finding.c.id == finding_id], [])
    return found[0] if found else None


def rules(tx: Transaction) -> set[str]:
    """Return the versions of the rules that findings were judged by which can be judged again."""
    c, floor = schema.finding.c, schema.floor
    asked = select(c.rules).join(floor, floor.c.station == c.station, isouter=True)
    is_drift = c.kind == words.Kind.RESISTANCE_DRIFT.value
    can_be = or_(floor.c.station.is_(None), c.start_ns >= floor.c.since_ns, is_drift)
    return set(tx.conn.execute(asked.where(can_be).distinct()).scalars())


def last_day(tx: Transaction, station: str) -> dt.date | None:
    """Return the latest day with sums of a station, or None."""
    columns = schema.day.c
    return tx.conn.execute(select(func.max(columns.day)).where(columns.station == station)).scalar()


def days(
    tx: Transaction,
    table: Table,
    station: str | None,
    first: dt.date | None,
    last: dt.date | None,
) -> list[words.DaySums]:
    """Return the sums of the days ``first`` to ``last``, both included, by station and day.

    ``table`` is `schema.day`, or `schema.shift_day` for those of its shifts.
    """
    columns = table.c
    where: list[ColumnElement[bool]] = []
    if station is not None:
        where.append(columns.station == station)
    if first is not None:
        where.append(columns.day >= first)
    if last is not None:
        where.append(columns.day <= last)
    keys = list(table.primary_key)
    asked = select(*keys, *(columns[name] for name in dayrows.PARTS)).where(*where)
    rows = tx.conn.execute(asked.order_by(*keys))
    return dayrows.sums_of((row[: len(keys)], row[len(keys) :]) for row in rows)
