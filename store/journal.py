"""The journal: what just arrived, one row a committed batch, until it is folded."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import delete, func, insert, select
from sqlalchemy.exc import DatabaseError

from bondtrail.samples import Samples, concatenate, later_wins
from store import segments
from store.blocks import Batch, BlockError, checksum, decode_batch, encode_batch
from store.engine import Transaction, is_damaged_page
from store.errors import DamageError
from store.schema import journal
from store.segments import OnDamage, ignore_damage

CHUNK = 1_000_000
"""Samples to fold in one transaction: bounds its memory and how long it holds the lock."""


def append(tx: Transaction, parts: Sequence[tuple[int, Samples]]) -> None:
    """Add a row with the samples of some points, each sorted and given with its point's id."""
    block = encode_batch(parts)
    first = min(int(samples.time[0]) for _, samples in parts)
    last = max(int(samples.time[-1]) for _, samples in parts)
    size = sum(len(samples) for _, samples in parts)
    tx.conn.execute(
        insert(journal).values(
            first_ns=first,
            last_ns=last,
            samples=size,
            checksum=checksum(0, first, last, size, block),
            block=block,
        )
    )


def batches(tx: Transaction, start: int, end: int, on_damage: OnDamage) -> Iterator[Batch]:
    """Yield the batches that overlap ``[start, end)``, in the order of their commits. [ns]"""
    overlapping = (journal.c.last_ns >= start) & (journal.c.first_ns < end)
    query = select(journal.c.id).where(overlapping).order_by(journal.c.id)
    for row_id in tx.conn.execute(query).scalars().all():
        batch = _batch(tx, row_id, on_damage)
        if batch is not None:
            yield batch


def of_point(tx: Transaction, point_id: int, start: int, end: int, on_damage: OnDamage) -> Samples:
    """Return what the journal holds of a point in ``[start, end)``, later commits winning."""
    parts = [batch.of(point_id) for batch in batches(tx, start, end, on_damage)]
    return later_wins(concatenate(parts)).between(start, end)


def check(tx: Transaction) -> Iterator[DamageError]:
    """Yield an error for each row that does not match its checksum."""
    errors: list[DamageError] = []
    for row_id in tx.conn.execute(select(journal.c.id).order_by(journal.c.id)).scalars().all():
        _batch(tx, row_id, errors.append)
    yield from errors


def _batch(tx: Transaction, row_id: int, on_damage: OnDamage) -> Batch | None:
    """Return the batch of a row; None, and ``on_damage`` is told, if it is damaged."""
    columns = journal.c
    told = select(columns.first_ns, columns.last_ns, columns.samples, columns.checksum)
    first, last, size, expected = tx.conn.execute(told.where(columns.id == row_id)).one()
    block = _block(tx, row_id)
    if block is not None and checksum(0, first, last, size, block) == expected:
        try:
            return decode_batch(block)
        except BlockError:
            pass
    on_damage(
        DamageError(tx.where, part="journal", row_id=row_id, point=None, start=first, end=last + 1)
    )
    return None


def _block(tx: Transaction, row_id: int) -> bytes | None:
    query = select(journal.c.block).where(journal.c.id == row_id)
    try:
        return bytes(tx.conn.execute(query).scalar_one())
    except DatabaseError as exc:
        if not is_damaged_page(exc):
            raise
        return None


def waiting(tx: Transaction) -> int:
    """Return how many samples wait to be folded."""
    return int(tx.conn.execute(select(func.coalesce(func.sum(journal.c.samples), 0))).scalar_one())


def fold_some(tx: Transaction, after: int, most: int = CHUNK) -> tuple[int, int | None]:
    """Move the oldest rows into segments, at least one and about ``most`` samples of them.

    A damaged row is passed over and stays where it is.

    Parameters
    ----------
    tx : Transaction
        A writing one.
    after : int
        Id of the row to begin after.
    most : int
        Samples at which to stop.

    Returns
    -------
    tuple of int and (int or None)
        How many rows were folded, and the last one looked at; None when there was none.
    """
    ids = _oldest(tx, after, most)
    if not ids:
        return 0, None
    parts: dict[int, list[Samples]] = {}
    folded = []
    for row_id in ids:
        batch = _batch(tx, row_id, ignore_damage)
        if batch is None:
            continue
        folded.append(row_id)
        for point_id in batch.points.tolist():
            parts.setdefault(point_id, []).append(batch.of(point_id))
    segments.place(tx, {key: later_wins(concatenate(some)) for key, some in parts.items()})
    _delete(tx, folded)
    return len(folded), ids[-1]


def _oldest(tx: Transaction, after: int, most: int) -> list[int]:
    columns = journal.c
    query = select(columns.id, columns.samples).where(columns.id > after).order_by(columns.id)
    ids: list[int] = []
    for row_id, size in tx.conn.execute(query.limit(10_000)):
        most -= size
        if ids and most < 0:
            break
        ids.append(row_id)
    return ids


def _delete(tx: Transaction, ids: Sequence[int]) -> None:
    for low in range(0, len(ids), 500):
        tx.conn.execute(delete(journal).where(journal.c.id.in_(ids[low : low + 500])))
