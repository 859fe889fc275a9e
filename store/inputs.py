"""Work windows, transfer tickets and rejects."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, Table, bindparam, case, func, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from bondtrail.results import Reject, Ticket, WorkWindow
from bondtrail.times import NS_PER_S
from store import touches
from store.engine import Transaction
from store.merging import Written
from store.schema import reject, ticket, work
from store.texts import fit, shortened
from store.upsert import of_dialect, upsert

RAW_BYTES = 4096
"""How much of a rejected row or message is kept."""
DAY_NS = 86_400 * NS_PER_S


def put_work(tx: Transaction, windows: Iterable[WorkWindow]) -> Written:
    """Keep work windows; the same one twice is one."""
    rows = [((fit(w.station), int(w.start), int(w.end), fit(w.what)), ()) for w in windows]
    return _put(tx, work, ("station", "start_ns", "end_ns", "what"), (), rows)


def put_tickets(tx: Transaction, tickets: Iterable[Ticket]) -> Written:
    """Keep tickets; one of the same station, start and batch takes the earlier one's place."""
    rows = [
        (
            (fit(t.station), int(t.start), fit(t.batch)),
            (int(t.end), fit(t.product), fit(t.operator)),
        )
        for t in tickets
    ]
    rest = ("end_ns", "product", "operator")
    return _put(tx, ticket, ("station", "start_ns", "batch"), rest, rows)


def _put(
    tx: Transaction,
    table: Table,
    keys: tuple[str, ...],
    rest: tuple[str, ...],
    rows: Sequence[tuple[tuple[Any, ...], tuple[Any, ...]]],
) -> Written:
    """Insert or replace rows, given as (key, rest); touch the stations of what changed."""
    stored = _stored(tx, table, keys, rest, {key[0] for key, _ in rows})
    before = dict(stored)
    new = repeated = replaced = 0
    since: dict[str, int] = {}
    for key, values in rows:
        if key in stored and stored[key] == values:
            repeated += 1
            continue
        new, replaced = new + (key not in stored), replaced + (key in stored)
        stored[key] = values
        station, start = key[:2]
        since[station] = min(start, since.get(station, start))
    _insert(tx, table, (*keys, *rest), [(*k, *v) for k, v in stored.items() if k not in before])
    _update(tx, table, keys, rest, {k: v for k, v in stored.items() if before.get(k, v) != v})
    touches.touch(tx, since)
    return Written(new, repeated, replaced)


def _stored(
    tx: Transaction,
    table: Table,
    keys: tuple[str, ...],
    rest: tuple[str, ...],
    stations: set[str],
) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    query = select(*(table.c[name] for name in (*keys, *rest)))
    found = {}
    for station in stations:
        for row in tx.conn.execute(query.where(table.c.station == station)):
            found[tuple(row[: len(keys)])] = tuple(row[len(keys) :])
    return found


def _insert(
    tx: Transaction, table: Table, names: tuple[str, ...], rows: Sequence[tuple[Any, ...]]
) -> None:
    if rows:
        tx.conn.execute(insert(table), [dict(zip(names, row, strict=True)) for row in rows])


def _update(
    tx: Transaction,
    table: Table,
    keys: tuple[str, ...],
    rest: tuple[str, ...],
    rows: dict[tuple[Any, ...], tuple[Any, ...]],
) -> None:
    if not rows:
        return
    same = [table.c[name] == bindparam(f"key_{name}") for name in keys]
    statement = update(table).where(*same).values({name: bindparam(f"new_{name}") for name in rest})
    names = [*(f"key_{name}" for name in keys), *(f"new_{name}" for name in rest)]
    tx.conn.execute(statement, [dict(zip(names, (*k, *v), strict=True)) for k, v in rows.items()])


def every_work(tx: Transaction, station: str | None) -> list[WorkWindow]:
    """Return the work windows of a station, or of all, by station and start."""
    columns = work.c
    query = select(columns.station, columns.start_ns, columns.end_ns, columns.what)
    query = query.order_by(columns.station, columns.start_ns, columns.end_ns, columns.what)
    if station is not None:
        query = query.where(columns.station == station)
    return [WorkWindow(*row) for row in tx.conn.execute(query)]


def every_ticket(
    tx: Transaction, station: str | None, start: int | None, end: int | None
) -> list[Ticket]:
    """Return tickets that overlap ``[start, end)`` (ns), by station, start and batch."""
    c = ticket.c
    query = select(c.station, c.start_ns, c.end_ns, c.batch, c.product, c.operator)
    query = query.order_by(c.station, c.start_ns, c.batch)
    if station is not None:
        query = query.where(c.station == station)
    if start is not None:
        query = query.where(c.end_ns > start)
    if end is not None:
        query = query.where(c.start_ns < end)
    return [Ticket(*row) for row in tx.conn.execute(query)]


def put_rejects(tx: Transaction, rejects: Iterable[Reject]) -> None:
    """Keep rejects. The same again is one row: its first time, its largest count."""
    statement = upsert(tx.conn, reject)
    statement = statement.on_conflict_do_update(
        index_elements=[reject.c.digest],
        set_={"count": statement.excluded.count},
        where=statement.excluded.count > reject.c.count,
    )
    rows = [_reject_row(each) for each in rejects]
    if rows:
        tx.conn.execute(statement, rows)


def count_rejects(tx: Transaction, rejects: Iterable[Reject]) -> None:
    """Keep rejects of which those of one source, place, reason, point and day make one row.

    The day is that of UTC on which they came. Counts add up, and times of readings span all of
    them; what the first one said, and when, stays.
    """
    rows = [_row_of_kind(each) for each in rejects]
    if rows:
        tx.conn.execute(_counting(tx.conn.dialect.name), rows)


@cache
def _counting(dialect: str) -> sqlite.Insert | postgresql.Insert:
    statement = of_dialect(dialect, reject)
    told, held = statement.excluded, reject.c
    return statement.on_conflict_do_update(
        index_elements=[held.digest],
        set_={
            "count": held.count + told.count,
            "last_at_ns": _later(held.last_at_ns, told.last_at_ns),
            "time_ns": -_later(-held.time_ns, -told.time_ns),
            "last_time_ns": _later(held.last_time_ns, told.last_time_ns),
        },
    )


def _later(held: ColumnElement[Any], told: ColumnElement[Any]) -> ColumnElement[Any]:
    """Return the larger of two numbers, or the one that there is."""
    return case((or_(held.is_(None), told > held), told), else_=held)


def _row_of_kind(each: Reject) -> dict[str, Any]:
    row = _reject_row(each)
    day = int(each.at) // DAY_NS
    # Seven texts, so that it is never the digest of one that is told apart by its raw text too.
    kind = ("counted", "", str(day), row["source"], row["place"], row["reason"])
    return row | {"digest": _digest(*kind, row["point"] or "")}


def _digest(*told: str) -> str:
    return hashlib.sha256("\0".join(told).encode()).hexdigest()


def _reject_row(each: Reject) -> dict[str, Any]:
    told = [fit(each.source), fit(each.where), fit(each.reason), shortened(each.raw, RAW_BYTES)]
    digest = _digest(*told)
    source, place, reason, raw = told
    time = None if each.time is None else int(each.time)
    return {
        "source": source,
        "place": place,
        "reason": reason,
        "raw": raw,
        "at_ns": int(each.at),
        "count": int(each.count),
        "digest": digest,
        "point": None if each.point is None else fit(each.point),
        "time_ns": time,
        "last_at_ns": int(each.at if each.last_at is None else each.last_at),
        "last_time_ns": time if each.last_time is None else int(each.last_time),
    }


def every_reject(
    tx: Transaction, source: str | None, start: int | None, end: int | None, limit: int | None
) -> list[Reject]:
    """Return rejects by when the last of each came, the newest ``limit`` of them; times in ns."""
    c = reject.c
    query = _EVERY_REJECT.order_by(c.last_at_ns.desc(), c.id.desc())
    if source is not None:
        query = query.where(c.source == source)
    if start is not None:
        query = query.where(c.last_at_ns >= start)
    if end is not None:
        query = query.where(c.at_ns < end)
    if limit is not None:
        query = query.limit(limit)
    return [Reject(*row) for row in reversed(tx.conn.execute(query).all())]


def rejected(tx: Transaction, point: str, start: int, end: int) -> list[Reject]:
    """Return the rejects that would have been readings of a point in ``[start, end)``, by time.

    Of several counted in one row, some may have been: all that is known is their first and last.
    """
    c = reject.c
    query = _EVERY_REJECT.where(c.point == fit(point), c.last_time_ns >= start, c.time_ns < end)
    return [Reject(*row) for row in tx.conn.execute(query.order_by(c.time_ns, c.id))]


def count_since(tx: Transaction, since: int) -> int:
    """Return how many are counted in the rejects of which the last came since a time in ns."""
    query = select(func.coalesce(func.sum(reject.c.count), 0)).where(reject.c.last_at_ns >= since)
    return int(tx.conn.execute(query).scalar_one())


_C = reject.c
_EVERY_REJECT = select(
    _C.source, _C.place, _C.reason, _C.raw, _C.at_ns, _C.count, _C.point, _C.time_ns
).add_columns(func.nullif(_C.last_at_ns, _C.at_ns), func.nullif(_C.last_time_ns, _C.time_ns))
