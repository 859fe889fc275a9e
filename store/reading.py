"""Read samples: journal over segments, in one snapshot."""

from __future__ import annotations

from collections.abc import Mapping
from operator import attrgetter

import numpy as np

from bondtrail.samples import Samples, TimeArray
from store import journal, points, segments
from store.engine import Transaction
from store.fetching import OnDamage, ignore_damage
from store.merging import Stored, overlay, within
from store.points import KnownPoint

FIRST = -(2**63)
LAST = 2**63 - 1


def read(tx: Transaction, name: str, first: int, last: int, on_damage: OnDamage) -> Samples:
    """Return the samples of a point from ``first`` to ``last``, both included. [ns]"""
    known = points.find(tx, name)
    if known is None or first > last:
        return Samples.empty()
    for lost in segments.find_damaged(tx, known.id, first, last):
        on_damage(segments.damage(tx, lost))
    late = journal.of_point(tx, known.id, first, last, on_damage)
    held = segments.load(tx, segments.find(tx, known.id, first, last), on_damage)
    wanted = within(held, first, last)
    if 2 * len(wanted) < len(held):  # do not keep a day in memory for the sake of an hour
        wanted = Samples(wanted.time.copy(), wanted.value.copy(), wanted.quality.copy())
    return overlay(wanted, late)


def stored_at(tx: Transaction, wanted: Mapping[KnownPoint, TimeArray]) -> dict[KnownPoint, Stored]:
    """Return what is stored of points at given times, each sorted; nothing of most. [ns]

    Points whose times are all past their end are left out: nothing is stored of these, and
    nothing is read for them. Else only the segments are read that some of the times fall into,
    one at a time.
    """
    late = {known: times for known, times in wanted.items() if _is_late(known, times)}
    stored = {known: Stored.nothing(times.size) for known, times in late.items()}
    if late:
        _take_segments(tx, late, stored)
        _take_journal(tx, late, stored)
    return stored


def _is_late(known: KnownPoint, times: TimeArray) -> bool:
    return bool(known.last is not None and times.size and times[0] <= known.last)


def _take_segments(
    tx: Transaction, late: Mapping[KnownPoint, TimeArray], stored: Mapping[KnownPoint, Stored]
) -> None:
    spans = {known.id: (int(times[0]), int(times[-1])) for known, times in late.items()}
    by_id = {known.id: known for known in late}
    for found in segments.find_each(tx, spans):
        known = by_id[found.point_id]
        times = late[known]
        low = np.searchsorted(times, found.first)
        if low < np.searchsorted(times, found.last, "right"):
            part = segments.load(tx, [found], ignore_damage)
            if len(part):
                stored[known].take(times, part)


def _take_journal(
    tx: Transaction, late: Mapping[KnownPoint, TimeArray], stored: Mapping[KnownPoint, Stored]
) -> None:
    known = sorted(late, key=attrgetter("id"))
    ids = np.array([each.id for each in known])
    first = np.array([late[each][0] for each in known])
    last = np.array([late[each][-1] for each in known])
    for batch in journal.batches(tx, int(first.min()), int(last.max()), ignore_damage):
        begins, ends = batch.spans()
        place = np.minimum(np.searchsorted(ids, batch.points), ids.size - 1)
        meets = (ids[place] == batch.points) & (begins <= last[place]) & (ends >= first[place])
        for number in np.flatnonzero(meets).tolist():
            mine = known[place[number]]
            stored[mine].take(late[mine], batch.number(number))
