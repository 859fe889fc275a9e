"""The same change of many rows, without what SQLAlchemy does for each of them.

For statements that are made once and run twice a second with numbers alone, for which nothing
need be converted; their parameters are looked up by name for each row, which takes longer than
the change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import Dialect, Update

from store.engine import Transaction


def change_each(
    tx: Transaction, statement: Update, rows: Sequence[Mapping[str, int | float]]
) -> None:
    """Run an update once for each of some rows of parameters, if there are any."""
    if not rows:
        return
    words, order = _written(statement, tx.conn.dialect)
    given: Sequence[Any] = rows
    if order is not None:
        given = [tuple(row[name] for name in order) for row in rows]
    tx.conn.exec_driver_sql(words, given)


@lru_cache(maxsize=64)
def _written(statement: Update, dialect: Dialect) -> tuple[str, tuple[str, ...] | None]:
    """Return the statement as text, and the order of its parameters where these have no names."""
    compiled = statement.compile(dialect=dialect)
    order = compiled.positiontup if compiled.positional else None
    return str(compiled), None if order is None else tuple(order)
