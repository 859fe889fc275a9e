"""Read samples: journal over segments, in one snapshot."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bondtrail.samples import Samples, TimeArray
from store import journal, points, segments
from store.engine import Transaction
from store.fetching import OnDamage, ignore_damage
from store.merging import Stored, overlay
from store.points import KnownPoint

EARLIEST = -(2**63)
LATEST = 2**63 - 1


def read(tx: Transaction, name: str, start: int, end: int, on_damage: OnDamage) -> Samples:
    """Return the samples of a point in ``[start, end)``. [ns]"""
    known = points.find(tx, name)
    if known is None or start >= end:
        return Samples.empty()
    for lost in segments.find_damaged(tx, known.id, start, end):
        on_damage(segments.damage(tx, lost))
    late = journal.of_point(tx, known.id, start, end, on_damage)
    found = segments.find(tx, known.id, start, end)
    held = segments.load(tx, found, on_damage)
    wanted = held.between(start, end)
    if 2 * len(wanted) < len(held):  # do not keep a day in memory for the sake of an hour
        wanted = Samples(wanted.time.copy(), wanted.value.copy(), wanted.quality.copy())
    return overlay(wanted, late)


def stored_at(tx: Transaction, wanted: Mapping[KnownPoint, TimeArray]) -> dict[KnownPoint, Stored]:
    """Return what is stored of points at given times, each sorted. [ns]

    Nothing is read for times past the end of their point, and else only the segments that
    some of them fall into, one at a time.
    """
    stored = {known: Stored.nothing(times.size) for known, times in wanted.items()}
    late = {known: times for known, times in wanted.items() if _is_late(known, times)}
    for known, times in late.items():
        _take_segments(tx, known, times, stored[known])
    if late:
        _take_journal(tx, late, stored)
    return stored


def _is_late(known: KnownPoint, times: TimeArray) -> bool:
    return bool(known.last is not None and times.size and times[0] <= known.last)


def _take_segments(tx: Transaction, known: KnownPoint, times: TimeArray, stored: Stored) -> None:
    for found in segments.find(tx, known.id, int(times[0]), int(times[-1]) + 1):
        low, high = np.searchsorted(times, (found.first, found.last + 1))
        if low < high:
            part = segments.load(tx, [found], ignore_damage)
            if len(part):
                stored.take(times, part)


def _take_journal(
    tx: Transaction, late: Mapping[KnownPoint, TimeArray], stored: Mapping[KnownPoint, Stored]
) -> None:
    start = min(int(times[0]) for times in late.values())
    end = max(int(times[-1]) for times in late.values()) + 1
    for batch in journal.batches(tx, start, end, ignore_damage):
        for known, times in late.items():
            part = batch.of(known.id)
            if len(part):
                stored[known].take(times, part)
