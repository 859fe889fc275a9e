"""When readings arrived: noted in the transaction that commits them, looked up for a span.

A reading that is new, or takes the place of another, arrives with its commit; a repeat changes
nothing. A row a reading would cost more than the reading, so a row stands for a stretch of a
point: what one commit brought of it, or what many brought whose lag keeps within bounds that were
set when the row began (see `store.stretches`). So a live point costs a few rows a day, and a load
one for each of its commits; at worst, where every commit brings more than a minute at once or the
lag jumps about by more, a row a commit. What is told of a reading never changes afterwards, or the
same evidence could not be made twice.

Rows may overlap, and what they say is not rewritten: they hold in the order of their commits, and
a later one wins exactly where it brought readings. Where it has its span to itself, as at the end
of a point or in a gap, the span says which those are; where readings of earlier rows lie between,
a block holds their times. Rows that never overlap were the other way. But then readings that come
late between others, as of a second source of one point, split a row at each of them, and a day of
them costs more rows than there is data; a block of times costs about a byte a reading.

Only the last row of a point grows, as long as it ends with the point's last reading: what comes
behind it has no other reading before it, and what comes a little out of order falls inside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from sqlalchemy import bindparam, exists, insert, select, update

from bondtrail.samples import TimeArray
from store import journal, points, segments
from store.blocks import BlockError, checksum, decode_times, encode_times
from store.engine import Transaction
from store.errors import DamageError
from store.fetching import sound_blocks
from store.layout import Segment
from store.merging import Change
from store.points import KnownPoint
from store.quick import change_each
from store.schema import arrival, point
from store.stretches import (
    NEVER,
    Arrivals,
    Painting,
    Stretch,
    closed,
    in_any_order,
    joined,
    opened,
)

_AT_ONCE = 500
_UNCOUNTED = 0
"""A stretch is not counted; this stands where a segment has the number of its samples."""


def note(tx: Transaction, changes: Mapping[KnownPoint, Change], arrived: int | None) -> None:
    """Note when the samples of a commit arrived, before they are put anywhere.

    Parameters
    ----------
    tx : Transaction
        A writing one, the one that commits them.
    changes : mapping of KnownPoint to Change
        What they change; the points as they were before it.
    arrived : int or None
        When this is; None if nobody knows. [ns]
    """
    brought = {known: each.samples.time for known, each in changes.items() if len(each.samples)}
    ends = {} if arrived is None else _ends(tx, [known.id for known in brought])
    grown, new = [], []
    for known, times in brought.items():
        mine, end = closed(known.id, times, arrived), ends.get(known.id)
        is_late = known.last is not None and mine.first <= known.last
        more = joined(end, mine) if end is not None else None
        if end is not None and more is not None and not (is_late and _is_covered(tx, end, mine)):
            grown.append(_grown(more))
        elif not is_late:
            new += [_row(opened(mine, end), None)] if mine.is_known else []
        elif mine.is_known or _is_noted(tx, mine):
            new.append(_row(mine, None if _has_room(tx, mine) else times))
    change_each(tx, _GROW, grown)
    if new:
        tx.conn.execute(insert(arrival), new)


def _ends(tx: Transaction, ids: Sequence[int]) -> dict[int, Stretch]:
    """Return the latest row that ends with a point's last reading, of each point that has one."""
    found: dict[int, Stretch] = {}
    for low in range(0, len(ids), _AT_ONCE):
        rows = tx.conn.execute(_ENDS, {"ids": ids[low : low + _AT_ONCE]})
        found |= {each.point_id: each for each in map(_stretch, rows)}
    return found


def _is_covered(tx: Transaction, end: Stretch, late: Stretch) -> bool:
    """Tell whether what came late falls before a row, or under one of a later commit."""
    span = {"of_point": late.point_id, "first": late.first, "last": late.last, "after": end.id}
    return late.first < end.first or bool(tx.conn.execute(_LATER, span).scalar())


def _is_noted(tx: Transaction, late: Stretch) -> bool:
    """Tell whether any row overlaps what came late: if none does, nobody knows already."""
    span = {"of_point": late.point_id, "first": late.first, "last": late.last, "after": 0}
    return bool(tx.conn.execute(_LATER, span).scalar())


def _has_room(tx: Transaction, late: Stretch) -> bool:
    """Tell whether no reading is stored in the span of what came late.

    A journal row may be of other points; what it costs to think it is of this one is a block.
    """
    if segments.find(tx, late.point_id, late.first, late.last):
        return False
    return not journal.overlaps(tx, late.first, late.last)


def at(tx: Transaction, name: str, times: TimeArray) -> Arrivals:
    """Return when the readings of a point at some times (ns) arrived."""
    known = points.find(tx, name)
    times = np.asarray(times, np.int64)
    if known is None or not times.size:
        return Arrivals.unknown(times.size)
    rising, order = in_any_order(times)
    span = {"of_point": known.id, "first": int(rising[0]), "last": int(rising[-1])}
    found = [_stretch(row) for row in tx.conn.execute(_OVERLAPPING, span)]
    told = _painted(tx, found, rising).arrivals()
    if order is None:
        return told
    back = Arrivals(np.empty_like(told.first), np.empty_like(told.last))
    back.first[order], back.last[order] = told.first, told.last
    return back


def _painted(tx: Transaction, found: Sequence[Stretch], rising: TimeArray) -> Painting:
    painting = Painting(found, rising)
    blocks = _own_times(tx, [each for each in found if each.is_sparse])
    for number, each in enumerate(found):
        if not each.is_sparse:
            painting.paint(number)
            continue
        own = next(blocks)
        if own is None:
            painting.blot(number)
        else:
            painting.dot(number, own)
    return painting


def _own_times(tx: Transaction, sparse: Sequence[Stretch]) -> Iterator[TimeArray | None]:
    """Yield the times that the block of each row holds; None where it is damaged."""
    rows = [Segment(each.id, each.point_id, each.first, each.last, _UNCOUNTED) for each in sparse]
    for _, block in sound_blocks(tx, arrival, rows):
        try:
            yield None if block is None else decode_times(block)
        except BlockError:
            yield None


def damaged(tx: Transaction) -> Iterator[DamageError]:
    """Yield an error for each block of times that does not match its checksum."""
    sparse = [_stretch(row) for row in tx.conn.execute(_SPARSE)]
    for each, own in zip(sparse, _own_times(tx, sparse), strict=True):
        if own is None:
            lost = Segment(each.id, each.point_id, each.first, each.last, _UNCOUNTED)
            yield segments.damage(tx, lost, "arrival")


def _stretch(row: Sequence[Any]) -> Stretch:
    row_id, point_id, first, last, arrived, least, most, seen_least, seen_most, is_sparse = row
    return Stretch(
        row_id,
        point_id,
        first,
        last,
        NEVER if arrived is None else arrived,
        None if least is None else (least, most),
        None if seen_least is None else (seen_least, seen_most),
        bool(is_sparse),
    )


def _row(mine: Stretch, own: TimeArray | None) -> dict[str, Any]:
    block = None if own is None else encode_times(own)
    told = (mine.point_id, mine.first, mine.last)
    least, most = mine.lag or (None, None)
    seen_least, seen_most = mine.seen or (None, None)
    return {
        "point_id": mine.point_id,
        "first_ns": mine.first,
        "last_ns": mine.last,
        "arrived_ns": mine.arrived if mine.is_known else None,
        "lag_least_ns": least,
        "lag_most_ns": most,
        "seen_least_ns": seen_least,
        "seen_most_ns": seen_most,
        "checksum": None if block is None else checksum(*told, _UNCOUNTED, block),
        "block": block,
    }


def _grown(more: Stretch) -> dict[str, int]:
    least, most = more.seen or (0, 0)
    return {"row_id": more.id, "new_last": more.last, "least": least, "most": most}


_C = arrival.c
_TOLD = select(
    _C.id,
    _C.point_id,
    _C.first_ns,
    _C.last_ns,
    _C.arrived_ns,
    _C.lag_least_ns,
    _C.lag_most_ns,
    _C.seen_least_ns,
    _C.seen_most_ns,
    _C.block.is_not(None),
)
_ENDS = (
    _TOLD.join(point, (point.c.id == _C.point_id) & (point.c.last_ns == _C.last_ns))
    .where(point.c.id.in_(bindparam("ids", expanding=True)))
    .order_by(_C.id)
)
_OF_SPAN = (
    (_C.point_id == bindparam("of_point"))
    & (_C.last_ns >= bindparam("first"))
    & (_C.first_ns <= bindparam("last"))
)
_OVERLAPPING = _TOLD.where(_OF_SPAN).order_by(_C.id)
_LATER = select(exists().where(_OF_SPAN, _C.id > bindparam("after")))
_SPARSE = _TOLD.where(_C.block.is_not(None)).order_by(_C.id)
_GROW = (
    update(arrival)
    .where(_C.id == bindparam("row_id"))
    .values(
        last_ns=bindparam("new_last"),
        seen_least_ns=bindparam("least"),
        seen_most_ns=bindparam("most"),
    )
)
