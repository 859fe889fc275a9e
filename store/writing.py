"""Take samples in: compare them with what is stored, and note what they touched."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bondtrail.samples import Samples
from store import arrivals, floors, journal, points, reading, replaced, segments, touches
from store.engine import Transaction
from store.merging import Change, Written, compare, in_order
from store.points import KnownPoint


def check_batch(batch: Mapping[str, Samples]) -> None:
    """Refuse what a store cannot hold.

    Raises
    ------
    ValueError
        If a point is not ``<station>.<role>``, or a value is NaN: it would not even be equal
        to itself when it comes again.
    """
    for name, samples in batch.items():
        points.station_of(name)
        if np.isnan(samples.value).any():
            raise ValueError(f"point {name!r}: NaN is no value; an open circuit is +inf")


def check_arrival(arrived: int | None) -> int | None:
    """Return the moment at which a batch arrived, in ns, or None if nobody knows it.

    Raises
    ------
    ValueError
        If it is before 1970: then no clock told it.
    """
    if arrived is None:
        return None
    if int(arrived) < 0:
        raise ValueError(f"arrived: expected ns since 1970, got {arrived}")
    return int(arrived)


def into_journal(
    tx: Transaction, batch: Mapping[str, Samples], arrived: int | None = None
) -> Written:
    """Append what is new or different in a batch as one row of the journal."""
    changes = _taken(tx, batch, arrived)
    parts = [(known.id, change.samples) for known, change in changes.items()]
    parts = [(point_id, samples) for point_id, samples in parts if len(samples)]
    if parts:
        journal.append(tx, parts)
    return _note(tx, changes)


def into_segments(
    tx: Transaction, batch: Mapping[str, Samples], arrived: int | None = None
) -> Written:
    """Put what is new or different in a batch straight into segments.

    What waits in the journal came earlier, so it is folded first, in the same transaction.
    """
    fold_all(tx)
    changes = _taken(tx, batch, arrived)
    segments.place(tx, {known.id: change.samples for known, change in changes.items()})
    return _note(tx, changes)


def fold_all(tx: Transaction) -> None:
    """Fold the whole journal within one transaction: for the little that is left of it."""
    last: int | None = 0
    while last is not None:
        _, last = journal.fold_some(tx, last, journal.CHUNK)


def _taken(
    tx: Transaction, batch: Mapping[str, Samples], arrived: int | None
) -> dict[KnownPoint, Change]:
    """Return what a batch changes, once its arrival and what it replaces are noted."""
    some = {name: samples for name, samples in batch.items() if len(samples)}
    known = points.ensure(tx, some)
    ordered = {known[name]: in_order(samples) for name, samples in some.items()}
    stored = reading.stored_at(tx, {key: samples.time for key, samples in ordered.items()})
    changes = {key: compare(samples, stored.get(key)) for key, samples in ordered.items()}
    arrivals.note(tx, changes, arrived)
    replaced.keep(tx, changes, arrived)
    return changes


def _note(tx: Transaction, changes: Mapping[KnownPoint, Change]) -> Written:
    """Count the changes in their points and touch their stations; return the sum.

    What came for times before the floor of a station is counted, and touches nothing: it is not
    judged.
    """
    points.count(tx, changes)
    kept = _floors(tx, changes)
    since: dict[str, int] = {}
    late: dict[str, int] = {}
    for known, change in changes.items():
        moment, station = change.since, points.station_of(known.name)
        if moment is not None and station in kept and moment < kept[station]:
            below = int(np.searchsorted(change.samples.time, kept[station]))
            late[station] = late.get(station, 0) + below
            moment = next(iter(change.samples.time[below : below + 1].tolist()), None)
        if moment is not None:
            since[station] = min(moment, since.get(station, moment))
    floors.note_late(tx, late)
    touches.touch(tx, since)
    return sum((change.written for change in changes.values()), Written())


def _floors(tx: Transaction, changes: Mapping[KnownPoint, Change]) -> Mapping[str, int]:
    """Return from when on stations are judged, of those whose floor a change may lie below. [ns]"""
    return floors.kept_of(
        tx,
        (
            points.station_of(known.name)
            for known, change in changes.items()
            if change.since is not None and (known.last is None or change.since <= known.last)
        ),
    )
