"""What was replaced: the earlier readings, kept in the transaction that replaces them.

A different value or quality at the time of a reading takes its place. Records are corrected that
way, and evidence can be made to vanish that way, so what was there before stays: a row for each
point and commit that replaces any, with the earlier readings in a block. A commit that replaces
nothing costs nothing, and one that does about as much as it would to store as many new readings.

Everything that `store.merging.Written` counts as replaced is here, and nothing else. That takes
in a reading that another one of the same batch replaced, which never held: a source that says two
things of one moment is worth knowing. A row is never changed or deleted; the database refuses it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import bindparam, func, insert, select

from bondtrail.samples import Replaced, Samples
from store import points, segments
from store.blocks import BlockError, decode
from store.engine import Transaction
from store.errors import DamageError
from store.fetching import OnDamage, sound_blocks
from store.layout import Segment
from store.merging import Change, within
from store.points import KnownPoint
from store.schema import point, replaced

PART = "replaced"
"""What an error calls a row of it."""


def keep(tx: Transaction, changes: Mapping[KnownPoint, Change], arrived: int | None) -> None:
    """Keep what the changes of a commit replace.

    Parameters
    ----------
    tx : Transaction
        A writing one, the one that commits them.
    changes : mapping of KnownPoint to Change
        What they change.
    arrived : int or None
        When this is; None if nobody knows. [ns]
    """
    rows = [
        {**segments.as_row((known.id, change.replaced)), "at_ns": arrived}
        for known, change in changes.items()
        if len(change.replaced)
    ]
    if rows:
        tx.conn.execute(insert(replaced), rows)


def of_point(
    tx: Transaction, name: str, first: int, last: int, on_damage: OnDamage
) -> list[Replaced]:
    """Return what was replaced of a point from ``first`` to ``last``, by commit. [ns]"""
    known = points.find(tx, name)
    if known is None or first > last:
        return []
    span = {"of_point": known.id, "first": first, "last": last}
    told = {row.id: row for row in tx.conn.execute(_OVERLAPPING, span)}
    found = []
    for segment, samples in _decoded(tx, map(_segment, told.values())):
        if samples is None:
            on_damage(segments.damage(tx, segment, PART))
            continue
        wanted = within(samples, first, last)
        if len(wanted):
            found.append(Replaced(told[segment.id].at_ns, wanted))
    return found


def counts(tx: Transaction) -> dict[str, int]:
    """Return how many readings were ever replaced, by point."""
    return {name: int(count) for name, count in tx.conn.execute(_COUNTS)}


def damaged(tx: Transaction) -> Iterator[DamageError]:
    """Yield an error for each block that does not match its checksum."""
    for segment, samples in _decoded(tx, map(_segment, tx.conn.execute(_TOLD).all())):
        if samples is None:
            yield segments.damage(tx, segment, PART)


def _decoded(tx: Transaction, rows: Iterable[Segment]) -> Iterator[tuple[Segment, Samples | None]]:
    """Yield what each row holds; None where that is damaged."""
    for segment, block in sound_blocks(tx, replaced, list(rows)):
        try:
            yield segment, None if block is None else decode(block)
        except BlockError:
            yield segment, None


def _segment(row: Any) -> Segment:
    return Segment(row.id, row.point_id, row.first_ns, row.last_ns, row.samples)


_C = replaced.c
_TOLD = select(_C.id, _C.point_id, _C.at_ns, _C.first_ns, _C.last_ns, _C.samples).order_by(_C.id)
_OVERLAPPING = _TOLD.where(
    _C.point_id == bindparam("of_point"),
    _C.last_ns >= bindparam("first"),
    _C.first_ns <= bindparam("last"),
)
_COUNTS = (
    select(point.c.name, func.sum(_C.samples))
    .join(replaced, _C.point_id == point.c.id)
    .group_by(point.c.name)
    .order_by(point.c.name)
)
