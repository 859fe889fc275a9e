"""Segments in the database: find, read, and put changed samples in their place."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import Select, Table, delete, insert, select
from sqlalchemy.exc import DatabaseError

from bondtrail.samples import Samples
from store.blocks import BlockError, blank, checksum, decode_into, encode
from store.engine import Transaction, is_damaged_page
from store.errors import DamageError
from store.layout import Segment, cut, plan
from store.merging import overlay, piece
from store.schema import damaged_segment, point, segment

FETCH = 16
"""Blocks to ask for at once."""
NEIGHBOURS = 20
"""Small segments that can lie beside each other: their sizes at least double."""
HELD = 2_000_000
"""Rewritten samples to hold in memory before they are put into the transaction."""


class _Block(NamedTuple):
    checksum: int
    block: bytes


OnDamage = Callable[[DamageError], None]


def raise_damage(error: DamageError) -> None:
    """Stop at the first damaged block."""
    raise error


def ignore_damage(_: DamageError) -> None:
    """Read on as if the block were not there."""


def find(tx: Transaction, point_id: int, start: int, end: int) -> list[Segment]:
    """Return the segments of a point that overlap ``[start, end)``, in order. [ns]"""
    return _find(tx, segment, point_id, start, end)


def find_damaged(tx: Transaction, point_id: int, start: int, end: int) -> list[Segment]:
    """Return the segments of that span which were set aside because they cannot be read."""
    return _find(tx, damaged_segment, point_id, start, end)


def _find(tx: Transaction, table: Table, point_id: int, start: int, end: int) -> list[Segment]:
    columns = table.c
    return _segments(
        tx,
        _described(table)
        .where(columns.point_id == point_id, columns.last_ns >= start, columns.first_ns < end)
        .order_by(columns.last_ns),
    )


def _described(table: Table) -> Select[Any]:
    columns = table.c
    return select(columns.id, columns.point_id, columns.first_ns, columns.last_ns, columns.samples)


def _segments(tx: Transaction, query: Select[Any]) -> list[Segment]:
    return [Segment(*row) for row in tx.conn.execute(query)]


def _with_neighbours(tx: Transaction, point_id: int, first: int, last: int) -> list[Segment]:
    """Return the segments that overlap the span, and the nearest on either side, in order."""
    columns = segment.c
    own = _described(segment).where(columns.point_id == point_id)
    before = own.where(columns.last_ns < first).order_by(columns.last_ns.desc())
    after = own.where(columns.first_ns > last).order_by(columns.first_ns)
    return [
        *reversed(_segments(tx, before.limit(NEIGHBOURS))),
        *find(tx, point_id, first, last + 1),
        *_segments(tx, after.limit(NEIGHBOURS)),
    ]


def damage(tx: Transaction, lost: Segment) -> DamageError:
    """Return the error that names a damaged segment."""
    name = tx.conn.execute(select(point.c.name).where(point.c.id == lost.point_id)).scalar()
    return DamageError(
        tx.where,
        part="segment",
        row_id=lost.id,
        point=name or f"point number {lost.point_id}",
        start=lost.first,
        end=lost.last + 1,
    )


def load(tx: Transaction, segments: Sequence[Segment], on_damage: OnDamage) -> Samples:
    """Return the samples of some segments, one after the other.

    Blocks are decoded on all cores, straight into the arrays that are returned, while the next
    ones are fetched. ``on_damage`` is told of each segment that cannot be read; it is left out.
    """
    edges = np.cumsum([0, *(found.samples for found in segments)]).tolist()
    into = blank(edges[-1])
    jobs: list[Future[bool]] = []
    for index, (found, row) in enumerate(_blocks(tx, segments)):
        slot = piece(into, edges[index], edges[index + 1])
        jobs.append(tx.pool.submit(_decoded, found, row, slot))
    sound = np.array([job.result() for job in jobs], bool)
    if sound.all():
        return into
    for index in np.flatnonzero(~sound).tolist():
        on_damage(damage(tx, segments[index]))
    kept = np.repeat(sound, np.diff(edges))
    return Samples(into.time[kept], into.value[kept], into.quality[kept])


def _decoded(found: Segment, row: _Block | None, into: Samples) -> bool:
    """Check and decode one block; tell whether it was sound."""
    if row is None or not _matches(found, row):
        return False
    try:
        decode_into(row.block, into)
    except BlockError:
        return False
    return True


def _matches(found: Segment, row: _Block | None) -> bool:
    if row is None:
        return False
    told = (found.point_id, found.first, found.last, found.samples)
    return checksum(*told, row.block) == row.checksum


def unsound(tx: Transaction, segments: Sequence[Segment]) -> Iterator[Segment]:
    """Yield the segments that do not match their checksums, or cannot be read at all."""
    for found, row in _blocks(tx, segments):
        if not _matches(found, row):
            yield found


def _blocks(
    tx: Transaction, segments: Sequence[Segment]
) -> Iterator[tuple[Segment, _Block | None]]:
    """Yield each segment with its row of block and checksum; None where that is unreadable."""
    for low in range(0, len(segments), FETCH):
        wanted = segments[low : low + FETCH]
        try:
            rows = _rows(tx, wanted)
        except DatabaseError as exc:  # perhaps one is on a damaged page: ask for each alone
            if not is_damaged_page(exc):
                raise
            rows = {}
            for one in wanted:
                rows |= _row_if_readable(tx, one)
        for found in wanted:
            yield found, rows.get(found.id)


def _rows(tx: Transaction, segments: Sequence[Segment]) -> dict[int, _Block]:
    query = select(segment.c.id, segment.c.checksum, segment.c.block).where(
        segment.c.id.in_([found.id for found in segments])
    )
    return {row_id: _Block(told, block) for row_id, told, block in tx.conn.execute(query)}


def _row_if_readable(tx: Transaction, found: Segment) -> dict[int, _Block]:
    try:
        return _rows(tx, [found])
    except DatabaseError as exc:
        if not is_damaged_page(exc):
            raise
        return {}


def place(tx: Transaction, changes: Mapping[int, Samples]) -> None:
    """Put samples into the segments: each rewrites just the segment that it falls in.

    Parameters
    ----------
    tx : Transaction
        A writing one.
    changes : mapping of int to Samples
        By the point's id; sorted, without repeats. They win over what is there.
    """
    rewriting = _Rewriting(tx)
    for point_id, samples in changes.items():
        if len(samples):
            _place(tx, rewriting, point_id, samples)
    rewriting.flush()


def _place(tx: Transaction, rewriting: _Rewriting, point_id: int, samples: Samples) -> None:
    first, last = int(samples.time[0]), int(samples.time[-1])
    segments = _with_neighbours(tx, point_id, first, last)
    for region in plan(segments, samples.time):
        old = segments[region.low : region.high]
        kept = load(tx, old, rewriting.set_aside)
        rewriting.replace(old, point_id, overlay(kept, piece(samples, region.a, region.b)))


class _Rewriting:
    """Old segments to delete and new ones to insert, in a bounded amount of memory."""

    def __init__(self, tx: Transaction) -> None:
        self._tx = tx
        self._old: list[int] = []
        self._new: list[tuple[int, Samples]] = []
        self._held = 0

    def replace(self, old: Sequence[Segment], point_id: int, samples: Samples) -> None:
        self._old += [found.id for found in old]
        self._new += [(point_id, part) for part in cut(samples)]
        self._held += len(samples)
        if self._held > HELD:
            self.flush()

    def set_aside(self, error: DamageError) -> None:
        """Keep a damaged segment as it is, out of the way of those that can be rewritten."""
        columns = [column.name for column in segment.columns]
        copied = select(segment).where(segment.c.id == error.id)
        self._tx.conn.execute(insert(damaged_segment).from_select(columns, copied))

    def flush(self) -> None:
        if self._old:
            for low in range(0, len(self._old), 500):
                gone = segment.c.id.in_(self._old[low : low + 500])
                self._tx.conn.execute(delete(segment).where(gone))
        if self._new:
            rows = list(self._tx.pool.map(_as_row, self._new))
            self._tx.conn.execute(insert(segment), rows)
        self._old, self._new, self._held = [], [], 0


def _as_row(part: tuple[int, Samples]) -> dict[str, Any]:
    point_id, samples = part
    block = encode(samples)
    first, last = int(samples.time[0]), int(samples.time[-1])
    return {
        "point_id": point_id,
        "first_ns": first,
        "last_ns": last,
        "samples": len(samples),
        "checksum": checksum(point_id, first, last, len(samples), block),
        "block": block,
    }
