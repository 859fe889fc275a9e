"""Segments in the database: find, read, and put changed samples in their place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future
from itertools import pairwise
from typing import Any

import numpy as np
from sqlalchemy import CompoundSelect, Select, Table, bindparam, delete, insert, select, union_all

from bondtrail.samples import Samples
from store.blocks import BlockError, blank, checksum, decode_into, encode
from store.engine import Transaction
from store.errors import DamageError
from store.fetching import OnDamage, sound_blocks
from store.layout import Segment, cut, plan
from store.merging import overlay, piece
from store.schema import damaged_segment, point, segment

NEIGHBOURS = 20
"""Small segments that can lie beside each other: their sizes at least double."""
HELD = 2_000_000
"""Rewritten samples to hold in memory before they are put into the transaction."""
_TOGETHER = 86_400 * 10**9
"""Of times up to so far apart, many points are asked for at once. [ns]"""
_AT_ONCE = 500
_ALONE = 2
"""Segments up to which handing the work to other threads takes longer than the work."""


def find(tx: Transaction, point_id: int, first: int, last: int) -> list[Segment]:
    """Return the segments of a point that hold ``first`` to ``last``, in order. [ns]

    The end is included, as it is in a segment's own span: one more might not fit 64 bits.
    """
    return _segments(tx, _OVERLAPPING, point_id, first, last)


def find_damaged(tx: Transaction, point_id: int, first: int, last: int) -> list[Segment]:
    """Return the segments of that span which were set aside because they cannot be read."""
    return _segments(tx, _SET_ASIDE, point_id, first, last)


def find_each(tx: Transaction, spans: Mapping[int, tuple[int, int]]) -> list[Segment]:
    """Return the segments that hold a span of each of many points, given by id. [ns]

    In the order of their times for each point.
    """
    first, last = min(low for low, _ in spans.values()), max(high for _, high in spans.values())
    if last - first > _TOGETHER:  # one question would bring much that nobody asked for
        return [each for key, span in spans.items() for each in find(tx, key, *span)]
    found = []
    ids = list(spans)
    for low in range(0, len(ids), _AT_ONCE):
        asked = {"ids": ids[low : low + _AT_ONCE], "first": first, "last": last}
        found += [Segment(*row) for row in tx.conn.execute(_OF_MANY, asked)]
    return [
        each
        for each in found
        if each.last >= spans[each.point_id][0] and each.first <= spans[each.point_id][1]
    ]


def _segments(
    tx: Transaction, query: Select[Any] | CompoundSelect[Any], point_id: int, first: int, last: int
) -> list[Segment]:
    span = {"of_point": point_id, "first": first, "last": last}
    return [Segment(*row) for row in tx.conn.execute(query, span)]


def _of_point(table: Table) -> Select[Any]:
    c = table.c
    told = select(c.id, c.point_id, c.first_ns, c.last_ns, c.samples)
    return told.where(c.point_id == bindparam("of_point"))


def _overlapping(table: Table) -> Select[Any]:
    held = _of_point(table).where(table.c.last_ns >= bindparam("first"))
    return held.where(table.c.first_ns <= bindparam("last")).order_by(table.c.last_ns)


# Built once: putting a statement together takes longer than running it.
_OVERLAPPING = _overlapping(segment)
_SET_ASIDE = _overlapping(damaged_segment)
_C = segment.c
_OF_MANY = (
    select(_C.id, _C.point_id, _C.first_ns, _C.last_ns, _C.samples)
    .where(
        _C.point_id.in_(bindparam("ids", expanding=True)),
        _C.last_ns >= bindparam("first"),
        _C.first_ns <= bindparam("last"),
    )
    .order_by(_C.point_id, _C.last_ns)
)
_BEFORE = (
    _of_point(segment)
    .where(segment.c.last_ns < bindparam("first"))
    .order_by(segment.c.last_ns.desc())
    .limit(NEIGHBOURS)
)
_AFTER = (
    _of_point(segment)
    .where(segment.c.first_ns > bindparam("last"))
    .order_by(segment.c.first_ns)
    .limit(NEIGHBOURS)
)
_WITH_NEIGHBOURS = union_all(  # one question: folding asks it for each of thousands of points
    select(_BEFORE.subquery()), _overlapping(segment).order_by(None), select(_AFTER.subquery())
)


def _with_neighbours(tx: Transaction, point_id: int, first: int, last: int) -> list[Segment]:
    """Return the segments that overlap the span, and the nearest on either side, in order."""
    found = _segments(tx, _WITH_NEIGHBOURS, point_id, first, last)
    return sorted(found, key=lambda each: each.first)


def damage(tx: Transaction, lost: Segment, part: str = "segment") -> DamageError:
    """Return the error that names a damaged row of a point; ``part`` is of which table."""
    name = tx.conn.execute(select(point.c.name).where(point.c.id == lost.point_id)).scalar()
    return DamageError(
        tx.where,
        part=part,
        row_id=lost.id,
        point=name or f"point number {lost.point_id}",
        start=lost.first,
        end=lost.last + 1,
    )


def unsound(tx: Transaction, segments: Sequence[Segment]) -> Iterator[Segment]:
    """Yield the segments that do not match their checksums, or cannot be read at all."""
    for found, block in sound_blocks(tx, segment, segments):
        if block is None:
            yield found


def load(tx: Transaction, segments: Sequence[Segment], on_damage: OnDamage) -> Samples:
    """Return the samples of some segments, one after the other.

    Blocks are decoded on all cores, straight into the arrays that are returned, while the next
    ones are fetched. ``on_damage`` is told of each segment that cannot be read; it is left out.
    """
    edges = np.cumsum([0, *(found.samples for found in segments)]).tolist()
    into = blank(edges[-1])
    slots = (piece(into, low, high) for low, high in pairwise(edges))
    sound = _decode(tx, segments, slots)
    if all(sound):
        return into
    for found, fine in zip(segments, sound, strict=True):
        if not fine:
            on_damage(damage(tx, found))
    kept = np.repeat(sound, np.diff(edges))
    return Samples(into.time[kept], into.value[kept], into.quality[kept])


def _decode(tx: Transaction, segments: Sequence[Segment], slots: Iterator[Samples]) -> list[bool]:
    """Decode each segment into its slot; tell which of them were sound."""
    blocks = (block for _, block in sound_blocks(tx, segment, segments))
    if len(segments) <= _ALONE:
        return [_decoded(block, slot) for block, slot in zip(blocks, slots, strict=True)]
    jobs: list[Future[bool]] = [
        tx.pool.submit(_decoded, block, slot) for block, slot in zip(blocks, slots, strict=True)
    ]
    return [job.result() for job in jobs]


def _decoded(block: bytes | None, into: Samples) -> bool:
    if block is None:
        return False
    try:
        decode_into(block, into)
    except BlockError:
        return False
    return True


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
        for low in range(0, len(self._old), 500):
            gone = segment.c.id.in_(self._old[low : low + 500])
            self._tx.conn.execute(delete(segment).where(gone))
        rows = list(self._tx.pool.map(as_row, self._new))
        if rows:
            self._tx.conn.execute(insert(segment), rows)
        self._old, self._new, self._held = [], [], 0


def as_row(part: tuple[int, Samples]) -> dict[str, Any]:
    """Return the row that holds the samples of a point, which is given by its id."""
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
