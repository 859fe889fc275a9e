"""Removing readings for good: whole segments, and nothing that somebody still needs.

Readings of a span stay where a hold in force overlaps it, and where an open finding does: one
without a review, or whose latest review leaves it open, with a day on each side of it and of its
transfer. Both are asked for in the transaction that removes. What was replaced stays, always.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Select, Table, bindparam, delete, exists, func, or_, select, update

from bondtrail.results import ReviewState
from store import floors, holds, journal, reviews, schema, touches
from store.engine import Database, Transaction
from store.fetching import ignore_damage
from store.floors import Floor
from store.layout import Segment
from store.reading import FIRST, LAST
from store.results import FINDINGS
from store.schema import damaged_segment, finding, point, segment, transfer

AT_ONCE = 200
"""Segments to look at in one transaction: bounds how long it holds the lock."""
MARGIN_NS = 86_400 * 10**9
"""How much stays on either side of what a finding refers to."""

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Removed:
    """How many readings of a station were removed, and how many stay although they are old."""

    samples: int = 0
    kept_for_holds: int = 0
    kept_for_findings: int = 0

    def __add__(self, other: Removed) -> Removed:
        return Removed(
            self.samples + other.samples,
            self.kept_for_holds + other.kept_for_holds,
            self.kept_for_findings + other.kept_for_findings,
        )


class Retention:
    """Removal of readings from a store. Every method raises a `StoreError` if the database does."""

    def __init__(self, db: Database) -> None:
        self._db = db

    def remove(self, floor: Floor, *, before: int, settled: int) -> Removed:
        """Remove a station's segments that end before a moment, some of them at a time.

        The newest segment of a point stays, whatever its age, and so does what a hold or an open
        finding needs. The floor is set in the first transaction that removes any; without anything
        to remove it is not.

        Parameters
        ----------
        floor : Floor
            Where the station is judged from, from now on; ``at`` is now. One from before the
            floor that it has leaves that as it is.
        before : int
            Readings from then on stay; not after ``floor.kept``. [ns]
        settled : int
            Nothing before it may still wait to be judged, or nothing is removed. [ns]

        Raises
        ------
        ValueError
            If ``before`` is after ``floor.kept``: what is judged again needs its readings.
        """
        if before > floor.kept:
            raise ValueError(f"floor of {floor.station}: readings from {floor.kept} ns on are kept")
        total = Removed()
        for table in (segment, damaged_segment):
            after = (0, FIRST)
            while True:
                with self._db.writing() as tx:
                    if not _is_settled(tx, floor, settled):
                        return total
                    old = _old(tx, table, floor.station, before, after)
                    total += _remove_some(tx, table, floor, old)
                if len(old) < AT_ONCE:
                    break
                after = old[-1].point_id, old[-1].last
        return total


def _is_settled(tx: Transaction, floor: Floor, settled: int) -> bool:
    held = floors.of_station(tx, floor.station)
    if held is not None and held.since >= floor.since:
        return True
    mark = touches.marks(tx).get(floor.station)
    return mark is None or mark.since >= settled


def _old(
    tx: Transaction, table: Table, station: str, before: int, after: tuple[int, int]
) -> list[Segment]:
    asked = {"of_station": station, "before": before, "point": after[0], "last": after[1]}
    return [Segment(*row) for row in tx.conn.execute(_OLD[table.name], asked)]


def _asked(table: Table) -> Select[Any]:
    c = table.c
    is_next = (c.point_id == bindparam("point")) & (c.last_ns > bindparam("last"))
    return (
        select(c.id, c.point_id, c.first_ns, c.last_ns, c.samples)
        .join(point, point.c.id == c.point_id)
        .where(
            point.c.station == bindparam("of_station"),
            c.last_ns < bindparam("before"),
            c.last_ns < point.c.last_ns,
            or_(c.point_id > bindparam("point"), is_next),
        )
        .order_by(c.point_id, c.last_ns)
        .limit(AT_ONCE)
    )


_OLD = {table.name: _asked(table) for table in (segment, damaged_segment)}


def _remove_some(tx: Transaction, table: Table, floor: Floor, old: Sequence[Segment]) -> Removed:
    """Remove those of some segments of a station that nobody needs; set the floor if there are."""
    if not old:
        return Removed()
    low, high = min(each.first for each in old), max(each.last for each in old) + 1
    held = [(each.start, each.end) for each in holds.over(tx, floor.station, low, high)]
    found = _findings(tx, floor.station, low, high)
    gone: list[Segment] = []
    for_holds = for_findings = 0
    for each in old:
        if _meets(each, held):
            for_holds += each.samples
        elif _meets(each, found):
            for_findings += each.samples
        else:
            gone.append(each)
    if gone:
        _delete(tx, table, gone)
        _set_floor(tx, floor, sum(each.samples for each in gone))
    return Removed(sum(each.samples for each in gone), for_holds, for_findings)


def _meets(each: Segment, spans: Iterable[Span]) -> bool:
    return any(each.first < end and each.last >= start for start, end in spans)


def _findings(tx: Transaction, station: str, low: int, high: int) -> list[Span]:
    """Return what the open findings of a station need of ``[low, high)``, margins included."""
    low, high = low - MARGIN_NS, high + MARGIN_NS
    runs = {row.id: (row.start_ns, row.end_ns) for row in _transfers(tx, station, low, high)}
    c = finding.c
    is_there = (c.start_ns < high) & (c.end_ns >= low)
    of_transfer = c.transfer.in_(select(_T.id).where(*_overlap(station, low, high)))
    found = FINDINGS.select(tx, [c.station == station, or_(is_there, of_transfer)], [c.start_ns])
    said = reviews.current(tx, found)
    spans = [
        span
        for each in found
        if each.id not in said or said[each.id].state == ReviewState.OPEN
        for span in ((each.start, each.end), runs.get(each.transfer or ""))
        if span is not None
    ]
    spans += [(each.start, each.end) for each in reviews.left_open(tx, station)]
    return [(start - MARGIN_NS, max(end, start + 1) + MARGIN_NS) for start, end in spans]


_T = transfer.c


def _transfers(tx: Transaction, station: str, low: int, high: int) -> Sequence[Any]:
    asked = select(_T.id, _T.start_ns, _T.end_ns).where(*_overlap(station, low, high))
    return tx.conn.execute(asked).all()


def _overlap(station: str, low: int, high: int) -> list[Any]:
    return [_T.station == station, _T.start_ns < high, _T.end_ns >= low]


def _delete(tx: Transaction, table: Table, gone: Sequence[Segment]) -> None:
    """Delete segments, what tells of their arrival alone, and have their points say so."""
    tx.conn.execute(delete(table).where(table.c.id.in_([each.id for each in gone])))
    by_point: dict[int, list[Segment]] = defaultdict(list)
    for each in gone:
        by_point[each.point_id].append(each)
    for point_id, some in by_point.items():
        span = {"of_point": point_id, "low": some[0].first, "high": some[-1].last}
        tx.conn.execute(_ARRIVALS, span)
        count = sum(each.samples for each in some)
        values = {"samples": point.c.samples - count, "first_ns": _first(tx, point_id)}
        tx.conn.execute(update(point).where(point.c.id == point_id).values(values))


def _first(tx: Transaction, point_id: int) -> int | None:
    """Return when the first reading is that is left of a point; None if there is none. [ns]"""
    c = segment.c
    held = tx.conn.execute(select(func.min(c.first_ns)).where(c.point_id == point_id)).scalar()
    late = journal.of_point(tx, point_id, FIRST, LAST if held is None else held, ignore_damage)
    return int(late.time[0]) if len(late) else held


_A = schema.arrival.c
_ARRIVALS = delete(schema.arrival).where(
    _A.point_id == bindparam("of_point"),
    _A.last_ns >= bindparam("low"),
    _A.first_ns <= bindparam("high"),
    *(
        ~exists().where(
            table.c.point_id == _A.point_id,
            table.c.last_ns >= _A.first_ns,
            table.c.first_ns <= _A.last_ns,
        )
        for table in (segment, damaged_segment)
    ),
    ~exists().where(
        schema.journal.c.last_ns >= _A.first_ns, schema.journal.c.first_ns <= _A.last_ns
    ),
)
"""Those that no reading is left of; a row of the journal may hold one."""


def _set_floor(tx: Transaction, floor: Floor, samples: int) -> None:
    held = floors.of_station(tx, floor.station)
    highest = held if held is not None and held.since >= floor.since else floor
    before = held.removed if held is not None else 0
    floors.put(tx, replace(highest, at=floor.at, removed=before + samples, late=0))
