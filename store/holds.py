"""Holds: readings that must be kept, whatever a policy of retention says.

A hold names a station and a span. Whatever removes readings, of whatever age and for whatever
reason, must first ask `over` for the station and the span that it is about to remove, in the
transaction that removes them, and leave alone what a hold in force overlaps.

A hold is never deleted. It is released, by someone and for a reason, and stays on record; the
database refuses any other change, and a second release.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from sqlalchemy import Select, func, insert, select, update

from bondtrail.results import Hold
from store import schema
from store.engine import Database, Transaction
from store.texts import bounded, fit

LONGEST = {"why": 4000, "author": 200}
"""Characters that a text of a hold may have."""


class Holds:
    """The holds of a store. Every method raises a `StoreError` if the database does."""

    def __init__(self, db: Database) -> None:
        self._db = db

    def add(
        self,
        station: str,
        start: int,
        end: int,
        *,
        transfer: str | None = None,
        why: str,
        author: str,
        at: int,
    ) -> Hold:
        """Place a hold on a station's readings in ``[start, end)`` and return it.

        Parameters
        ----------
        station : str
            Its id.
        start, end : int
            The readings to keep; not empty. [ns]
        transfer : str, optional
            The id of the transfer that it is about.
        why, author : str
            What for, and who says so; not empty.
        at : int
            When this is. [ns]

        Raises
        ------
        ValueError
            If the span is empty, or a text is empty or too long.
        """
        if not int(start) < int(end):
            raise ValueError(f"hold of {station}: its span is empty, from {start} to {end} ns")
        placed = Hold(
            number=1,
            at=int(at),
            author=_text("author", author),
            why=_text("why", why),
            station=fit(station),
            start=int(start),
            end=int(end),
            transfer=None if transfer is None else fit(transfer),
        )
        with self._db.writing() as tx:
            placed = replace(placed, number=_last(tx) + 1)
            row = {column: getattr(placed, name) for name, column in _COLUMNS.items()}
            tx.conn.execute(insert(schema.hold).values(row))
        return placed

    def release(self, number: int, author: str, why: str, at: int) -> Hold:
        """Release a hold and return it as it is now.

        Raises
        ------
        ValueError
            If there is no such hold, it was released before, or a text is empty or too long.
        """
        release = {
            "released_at": int(at),
            "released_by": _text("author", author),
            "released_why": _text("why", why),
        }
        with self._db.writing() as tx:
            found = _read(tx, _ALL.where(_C.number == int(number)))
            if not found:
                raise ValueError(f"hold {number}: there is no such hold")
            if not found[0].in_force:
                raise ValueError(f"hold {number}: it was released before")
            values = {_COLUMNS[name]: value for name, value in release.items()}
            tx.conn.execute(update(schema.hold).where(_C.number == int(number)).values(values))
        return replace(found[0], **release)  # type: ignore[arg-type]

    def all(self) -> list[Hold]:
        """Return every hold, released or not, the first one first."""
        with self._db.reading() as tx:
            return _read(tx, _ALL)

    def over(self, station: str, start: int, end: int) -> list[Hold]:
        """Return the holds in force that overlap a station's ``[start, end)``; both in ns."""
        with self._db.reading() as tx:
            return over(tx, station, start, end)


def over(tx: Transaction, station: str, start: int, end: int) -> list[Hold]:
    """Return what `Holds.over` does, in a transaction: for what removes readings."""
    held = _ALL.where(_C.station == fit(station), _C.released_at_ns.is_(None))
    return _read(tx, held.where(_C.start_ns < int(end), _C.end_ns > int(start)))


def _text(name: str, text: str) -> str:
    return bounded(name, text, LONGEST[name])


_MOMENTS = ("at", "start", "end", "released_at")
_COLUMNS = {
    field.name: f"{field.name}_ns" if field.name in _MOMENTS else field.name
    for field in fields(Hold)
}
_C = schema.hold.c
_ALL = select(*(_C[column] for column in _COLUMNS.values())).order_by(_C.number)


def _read(tx: Transaction, asked: Select[Any]) -> list[Hold]:
    return [Hold(*row) for row in tx.conn.execute(asked)]


def _last(tx: Transaction) -> int:
    return int(tx.conn.execute(select(func.coalesce(func.max(_C.number), 0))).scalar_one())
