"""The journal: what just arrived, one row a committed batch, until it is folded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sqlalchemy import bindparam, delete, exists, func, insert, select

from bondtrail.samples import Samples, concatenate, later_wins
from store import segments
from store.blocks import Batch, BlockError, checksum, decode_batch, encode_batch
from store.engine import Transaction
from store.errors import DamageError
from store.fetching import OnDamage, ignore_damage, sound_blocks
from store.layout import Segment
from store.merging import within
from store.schema import journal

CHUNK = 1_000_000
"""Samples to fold in one transaction: bounds its memory and how long it holds the lock."""
_NO_POINT = 0
"""A batch holds several points; this stands where a segment has its point's id."""

_TOLD = select(journal.c.id, journal.c.first_ns, journal.c.last_ns, journal.c.samples)
_OVERLAPPING = _TOLD.add_columns(journal.c.checksum).where(
    journal.c.last_ns >= bindparam("first"), journal.c.first_ns <= bindparam("last")
)
"""In no order: SQLite would go through the whole journal to give one."""
_ANY_OVERLAPS = select(
    exists().where(journal.c.last_ns >= bindparam("first"), journal.c.first_ns <= bindparam("last"))
)
_OLDEST = _TOLD.where(journal.c.id > bindparam("after")).order_by(journal.c.id).limit(10_000)


def append(tx: Transaction, parts: Sequence[tuple[int, Samples]]) -> None:
    """Add a row with the samples of some points, each sorted and given with its point's id."""
    block = encode_batch(parts)
    first = min(int(samples.time[0]) for _, samples in parts)
    last = max(int(samples.time[-1]) for _, samples in parts)
    size = sum(len(samples) for _, samples in parts)
    row = {
        "first_ns": first,
        "last_ns": last,
        "samples": size,
        "checksum": checksum(_NO_POINT, first, last, size, block),
        "block": block,
    }
    tx.conn.execute(insert(journal), row)


def of_point(tx: Transaction, point_id: int, first: int, last: int, on_damage: OnDamage) -> Samples:
    """Return what the journal holds of a point from ``first`` to ``last``; later commits win."""
    parts = [batch.of(point_id) for batch in batches(tx, first, last, on_damage)]
    return within(later_wins(concatenate(parts)), first, last)


def batches(tx: Transaction, first: int, last: int, on_damage: OnDamage) -> Iterator[Batch]:
    """Yield the batches that overlap ``first`` to ``last``, in the order of their commits. [ns]

    They may be held for whoever asks next, so they must not be changed.
    """
    found = sorted(tx.conn.execute(_OVERLAPPING, {"first": first, "last": last}))
    keys = {row_id: (row_id, told) for row_id, *_, told in found}
    held = {row_id: tx.recent.get(key) for row_id, key in keys.items()}
    missing = [row[:-1] for row in found if held[row[0]] is None]
    fresh = _sound(tx, _rows(missing), on_damage)
    following = next(fresh, None)
    for row_id, batch in held.items():
        if batch is not None:
            yield batch
        elif following is not None and following[0] == row_id:
            tx.recent.put(keys[row_id], following[1])
            yield following[1]
            following = next(fresh, None)


def overlaps(tx: Transaction, first: int, last: int) -> bool:
    """Tell whether any row, of whatever points, overlaps ``first`` to ``last``. [ns]"""
    return bool(tx.conn.execute(_ANY_OVERLAPS, {"first": first, "last": last}).scalar())


def check(tx: Transaction) -> Iterator[DamageError]:
    """Yield an error for each row that does not match its checksum."""
    errors: list[DamageError] = []
    for _ in _sound(tx, _rows(tx.conn.execute(_TOLD.order_by(journal.c.id))), errors.append):
        pass
    yield from errors


def waiting(tx: Transaction) -> int:
    """Return how many samples wait to be folded."""
    return int(tx.conn.execute(select(func.coalesce(func.sum(journal.c.samples), 0))).scalar_one())


def _rows(found: Iterable[Sequence[int]]) -> list[Segment]:
    return [Segment(row_id, _NO_POINT, *rest) for row_id, *rest in found]


def _sound(
    tx: Transaction, rows: Sequence[Segment], on_damage: OnDamage
) -> Iterator[tuple[int, Batch]]:
    """Yield the id and batch of each row; ``on_damage`` is told of those that are damaged."""
    for row, block in sound_blocks(tx, journal, rows):
        batch = None if block is None else _decoded(block)
        if batch is None:
            on_damage(_damage(tx, row))
        else:
            yield row.id, batch


def _decoded(block: bytes) -> Batch | None:
    try:
        return decode_batch(block)
    except BlockError:
        return None


def _damage(tx: Transaction, row: Segment) -> DamageError:
    return DamageError(
        tx.where, part="journal", row_id=row.id, point=None, start=row.first, end=row.last + 1
    )


def fold_some(tx: Transaction, after: int, most: int) -> tuple[int, int | None]:
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
    rows = _oldest(tx, after, most)
    if not rows:
        return 0, None
    parts: dict[int, list[Samples]] = {}
    folded = []
    for row_id, batch in _sound(tx, rows, ignore_damage):
        folded.append(row_id)
        for point_id in batch.points.tolist():
            parts.setdefault(point_id, []).append(batch.of(point_id))
    segments.place(tx, {key: later_wins(concatenate(some)) for key, some in parts.items()})
    _delete(tx, folded)
    return len(folded), rows[-1].id


def _oldest(tx: Transaction, after: int, most: int) -> list[Segment]:
    rows: list[Segment] = []
    for row in _rows(tx.conn.execute(_OLDEST, {"after": after})):
        most -= row.samples
        if rows and most < 0:
            break
        rows.append(row)
    return rows


def _delete(tx: Transaction, ids: Sequence[int]) -> None:
    for low in range(0, len(ids), 500):
        tx.conn.execute(delete(journal).where(journal.c.id.in_(ids[low : low + 500])))
