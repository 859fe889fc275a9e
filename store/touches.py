"""The mark of each station: the earliest time that new data touched since it was analysed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sqlalchemy import case, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from store.engine import Transaction
from store.schema import touched
from store.upsert import of_dialect

BEGINNING = -(2**63 - 1)
"""Before anything that can be kept. [ns]"""


@dataclass(frozen=True, slots=True)
class Touch:
    """A mark; the revision rises with each touch, and tells whether more came meanwhile."""

    since: int
    revision: int


def marks(tx: Transaction) -> dict[str, Touch]:
    """Return the marks of the stations that have one, in order of their names."""
    columns = touched.c
    query = select(columns.station, columns.since_ns, columns.revision)
    query = query.where(columns.since_ns.is_not(None)).order_by(columns.station)
    return {station: Touch(since, revision) for station, since, revision in tx.conn.execute(query)}


def touch(tx: Transaction, since: Mapping[str, int]) -> None:
    """Move marks back to a time, in ns, unless they are earlier already."""
    if not since:
        return
    rows = [
        {"station": station, "since_ns": int(moment), "revision": 1}
        for station, moment in since.items()
    ]
    tx.conn.execute(_touching(tx.conn.dialect.name), rows)


@cache
def _touching(dialect: str) -> sqlite.Insert | postgresql.Insert:
    statement = of_dialect(dialect, touched)
    offered, held = statement.excluded, touched.c
    earlier = or_(held.since_ns.is_(None), offered.since_ns < held.since_ns)
    return statement.on_conflict_do_update(
        index_elements=[held.station],
        set_={
            "since_ns": case((earlier, offered.since_ns), else_=held.since_ns),
            "revision": held.revision + 1,
        },
    )


def settle(tx: Transaction, station: str, seen: Touch, still_since: int | None) -> None:
    """Take a mark away, or move it to ``still_since``, if nothing happened since it was seen.

    Otherwise the results just saved may be older than what they replaced: data came meanwhile, or
    another analysis of them has already settled the mark. So all that was judged here is marked to
    be judged again.
    """
    columns = touched.c
    held = select(columns.since_ns, columns.revision).where(columns.station == station)
    row = tx.conn.execute(held).one_or_none()
    if row is not None and row.revision == seen.revision:
        moment = None if still_since is None else int(still_since)
        tx.conn.execute(update(touched).where(columns.station == station).values(since_ns=moment))
    else:
        touch(tx, {station: seen.since})
