"""Sums and counts per local day, so that the figures of any period are a sum."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from analytics.core.bond import Bond
from analytics.core.case import Case
from analytics.core.spans import Moments, Spans, elapsed, within
from bondtrail.results import (
    DAY_SUMS,
    TIME_EDGES_S,
    AlarmKind,
    DaySums,
    Finding,
    Hookup,
    Outcome,
    Transfer,
    Trip,
)
from bondtrail.times import NS_PER_S

Began = TypeVar("Began", Transfer, Hookup, Finding)
Item = TypeVar("Item")


@dataclass(frozen=True, slots=True, eq=False)
class Episodes:
    """What began at a station, each part sorted by its start."""

    transfers: Sequence[Transfer]
    hookups: Sequence[Hookup]
    trips: Sequence[Trip]
    findings: Sequence[Finding]
    alarms: Mapping[AlarmKind, Moments]


def day_sums(
    case: Case, episodes: Episodes, days: Sequence[dt.date], edges: Sequence[int]
) -> list[DaySums]:
    """Return the sums of each day.

    Parameters
    ----------
    case : Case
        Of the station; its seconds and volumes are split at the edges.
    episodes : Episodes
        Counted on the day each began.
    days : sequence of date, length n
        The site's calendar days.
    edges : sequence of int, length n + 1
        Where they begin and the last one ends. [ns]
    """
    marks = np.asarray(edges, np.int64)
    times = _seconds(case, marks)
    volumes = _volumes(case, marks)
    transferred = _begun(episodes.transfers, marks)
    hooked = _begun(episodes.hookups, marks)
    seen = _begun(episodes.findings, marks)
    tripped = _cut(episodes.trips, [trip.time for trip in episodes.trips], marks)
    found = []
    for k, day in enumerate(days):
        transfers, hookups, trips = transferred[k], hooked[k], tripped[k]
        span = edges[k], edges[k + 1]
        found.append(
            DaySums(
                station=case.station.id,
                day=day,
                transfers=len(transfers),
                compliant_transfers=sum(item.compliant for item in transfers),
                volume=volumes[k],
                hookups=len(hookups),
                failed_hookups=sum(item.outcome is Outcome.FAILED for item in hookups),
                touches=_count(case.touches[:, 0], *span),
                trips=_tally(f"{item.trip_class}/{item.cause}" for item in trips),
                findings=_tally(item.kind for item in seen[k]),
                alarms={
                    str(kind): count
                    for kind, moments in sorted(episodes.alarms.items())
                    if (count := _count(moments, *span))
                },
                time_to_bond=histogram(item.time_to_bond_s for item in hookups),
                time_to_stop=histogram(item.stop_s for item in trips),
                **{name: float(values[k]) for name, values in times.items()},
            )
        )
    return found


def _seconds(case: Case, marks: Moments) -> dict[str, np.ndarray]:
    """Return for each kind of time how much of it lies between neighbouring marks. [s]"""
    bond = case.now.bond
    spans: dict[str, Spans] = {
        "flow_s": case.flowing,
        "not_bonded_s": case.exposures.not_bonded,
        "no_data_s": case.exposures.no_data,
        "bypassed_s": case.exposures.bypassed,
        "low_s": bond.where(Bond.LOW),
        "high_s": bond.where(Bond.HIGH),
        "open_s": bond.where(Bond.OPEN),
        "known_s": bond.where(Bond.LOW, Bond.HIGH, Bond.OPEN),
        "unknown_s": bond.where(Bond.UNKNOWN),
    }
    return {name: np.diff(elapsed(part, marks)) / NS_PER_S for name, part in spans.items()}


def histogram(times_s: Iterable[float | None]) -> tuple[int, ...]:
    """Return how many times fall into each bin of `TIME_EDGES_S`; None is left out.

    A bin holds the times up to its upper edge; the last one holds what is longer than all. An
    empty tuple stands for no times at all. [s]
    """
    known = [time for time in times_s if time is not None]
    if not known:
        return ()
    bins = np.searchsorted(TIME_EDGES_S, known, side="left")
    return tuple(np.bincount(bins, minlength=len(TIME_EDGES_S) + 1).tolist())


def _begun(items: Sequence[Began], marks: Moments) -> list[Sequence[Began]]:
    return _cut(items, [item.start for item in items], marks)


def _cut(items: Sequence[Item], moments: Sequence[int], marks: Moments) -> list[Sequence[Item]]:
    """Return the items, sorted by their moments, that fall between neighbouring marks."""
    cuts = np.searchsorted(np.array(moments, np.int64), marks).tolist()
    return [items[low:high] for low, high in pairwise(cuts)]


def _volumes(case: Case, marks: Moments) -> list[float]:
    """Return what flowed between neighbouring marks; only runs across one are split. [L or kg]"""
    if case.meter is None:
        return [0.0] * (len(marks) - 1)
    runs, amounts = case.flowing, np.array(case.run_volumes)
    found = []
    for start, end in pairwise(marks.tolist()):
        low = int(np.searchsorted(runs[:, 1], start, side="right"))
        high = int(np.searchsorted(runs[:, 0], end, side="left"))
        whole = (runs[low:high, 0] >= start) & (runs[low:high, 1] <= end)
        split = case.volume(within(runs[low:high][~whole], start, end)) or 0.0
        found.append(round(float(amounts[low:high][whole].sum()) + split, 6))
    return found


def _count(moments: Moments, start: int, end: int) -> int:
    low, high = np.searchsorted(moments, (start, end))
    return int(high - low)


def _tally(names: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(str(name) for name in names).items()))


def plus(first: DaySums, second: DaySums) -> DaySums:
    """Return the sums of two parts of one station's day."""
    numbers: dict[str, Any] = {
        name: getattr(first, name) + getattr(second, name) for name in DAY_SUMS
    }
    return replace(
        first,
        **numbers,
        trips=_added(first.trips, second.trips),
        findings=_added(first.findings, second.findings),
        alarms=_added(first.alarms, second.alarms),
        time_to_bond=_bins(first.time_to_bond, second.time_to_bond),
        time_to_stop=_bins(first.time_to_stop, second.time_to_stop),
    )


def _bins(first: tuple[int, ...], second: tuple[int, ...]) -> tuple[int, ...]:
    if not first or not second:
        return first or second
    return tuple(a + b for a, b in zip(first, second, strict=True))


def _added(first: Mapping[str, int], second: Mapping[str, int]) -> dict[str, int]:
    return dict(sorted((Counter(first) + Counter(second)).items()))
