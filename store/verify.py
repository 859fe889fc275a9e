"""Go through every block and say which do not match their checksums."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import select

from store import arrivals, journal, replaced, segments
from store.engine import Transaction
from store.errors import DamageError
from store.reading import FIRST, LAST
from store.schema import point


def damaged(tx: Transaction) -> Iterator[DamageError]:
    """Yield an error for each damaged block of samples, of arrivals and of what was replaced."""
    for point_id in tx.conn.execute(select(point.c.id).order_by(point.c.name)).scalars().all():
        for lost in segments.find_damaged(tx, point_id, FIRST, LAST):
            yield segments.damage(tx, lost)
        for found in segments.unsound(tx, segments.find(tx, point_id, FIRST, LAST)):
            yield segments.damage(tx, found)
    yield from journal.check(tx)
    yield from arrivals.damaged(tx)
    yield from replaced.damaged(tx)
