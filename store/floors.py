"""The floor of a station: what is before it is never judged again, for readings of it are gone.

Whatever is saved, results from before the floor stay as they are: the store sees to that itself,
in the transaction that saves, so that an analysis which began before the floor was set can do no
harm.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields

from sqlalchemy import bindparam, select, update

from store.engine import Transaction
from store.schema import floor
from store.upsert import upsert


@dataclass(frozen=True, slots=True)
class Floor:
    """From where on a station is judged. Times in ns.

    Attributes
    ----------
    station : str
        Its id.
    day : date
        The first day of which the sums are judged again.
    since : int
        The first moment whose episodes are judged again: a quiet one, before that day.
    context : int
        From where on signals are read to judge them.
    kept : int
        From where on every reading is kept: it may hold into the context.
    at : int
        When readings before it were last removed.
    removed : int
        How many, in all.
    late : int
        How many came since for times before ``kept``: they are kept until the next removal, and
        not judged.
    """

    station: str
    day: dt.date
    since: int
    context: int
    kept: int
    at: int
    removed: int = 0
    late: int = 0


_MOMENTS = ("since", "context", "kept", "at")
_COLUMNS = {
    field.name: f"{field.name}_ns" if field.name in _MOMENTS else field.name
    for field in fields(Floor)
}
_ALL = select(*(floor.c[column] for column in _COLUMNS.values())).order_by(floor.c.station)
_OF = _ALL.where(floor.c.station == bindparam("of_station"))


def every(tx: Transaction) -> dict[str, Floor]:
    """Return the floor of each station that has one, by name."""
    return {row[0]: Floor(*row) for row in tx.conn.execute(_ALL)}


def of_station(tx: Transaction, station: str) -> Floor | None:
    """Return the floor of a station, or None."""
    row = tx.conn.execute(_OF, {"of_station": station}).one_or_none()
    return None if row is None else Floor(*row)


def kept_of(tx: Transaction, stations: Iterable[str]) -> dict[str, int]:
    """Return from when on readings of each station are judged, of those that have a floor. [ns]"""
    some = sorted(set(stations))
    if not some:
        return {}
    return {row.station: row.kept_ns for row in tx.conn.execute(_KEPT, {"stations": some})}


_KEPT = select(floor.c.station, floor.c.kept_ns).where(
    floor.c.station.in_(bindparam("stations", expanding=True))
)


def put(tx: Transaction, one: Floor) -> None:
    """Keep a station's floor in place of the one that it had."""
    row = {column: getattr(one, name) for name, column in _COLUMNS.items()}
    statement = upsert(tx.conn, floor).values(row)
    tx.conn.execute(statement.on_conflict_do_update(index_elements=[floor.c.station], set_=row))


def note_late(tx: Transaction, late: Mapping[str, int]) -> None:
    """Count readings that came for times before the floors of their stations."""
    for station, count in late.items():
        counted = update(floor).where(floor.c.station == station)
        tx.conn.execute(counted.values(late=floor.c.late + count))
