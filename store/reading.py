"""Read samples: journal over segments, in one snapshot."""

from __future__ import annotations

from collections.abc import Mapping

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
    """Return what is stored of points at given times, each sorted. [ns]

    Nothing is read for times past the end of their point, and else only the segments that
    some of them fall into, one at a time.
    """
    late = {known: times for known, times in wanted.items() if _is_late(known, times)}
    stored = {
        known: Stored.nothing(times.size) if known in late else Stored.never(times.size)
        for known, times in wanted.items()
    }
    for known, times in late.items():
        _take_segments(tx, known, times, stored[known])
    if late:
        _take_journal(tx, late, stored)
    return stored


def _is_late(known: KnownPoint, times: TimeArray) -> bool:
    return bool(known.last is not None and times.size and times[0] <= known.last)


def _take_segments(tx: Transaction, known: KnownPoint, times: TimeArray, stored: Stored) -> None:
    for found in segments.find(tx, known.id, int(times[0]), int(times[-1])):
        low = np.searchsorted(times, found.first)
        if low < np.searchsorted(times, found.last, "right"):
            part = segments.load(tx, [found], ignore_damage)
            if len(part):
                stored.take(times, part)


def _take_journal(
    tx: Transaction, late: Mapping[KnownPoint, TimeArray], stored: Mapping[KnownPoint, Stored]
) -> None:
    first = min(int(times[0]) for times in late.values())
    last = max(int(times[-1]) for times in late.values())
    for batch in journal.batches(tx, first, last, ignore_damage):
        for known, times in late.items():
            part = batch.of(known.id)
            if len(part):
                stored[known].take(times, part)
