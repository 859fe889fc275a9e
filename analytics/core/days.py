"""Sums and counts per local day, so that the figures of any period are a sum."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from analytics.core.bond import Bond
from analytics.core.case import Case
from analytics.core.spans import Moments, Spans, elapsed, within
from bondtrail.results import (
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
    found = []
    for k, day in enumerate(days):
        start, end = edges[k], edges[k + 1]
        transfers = _begun(episodes.transfers, start, end)
        hookups = _begun(episodes.hookups, start, end)
        trips = [item for item in episodes.trips if start <= item.time < end]
        failed = sum(item.outcome is Outcome.FAILED for item in hookups)
        found.append(
            DaySums(
                station=case.station.id,
                day=day,
                transfers=len(transfers),
                compliant_transfers=sum(item.compliant for item in transfers),
                volume=case.volume(within(case.flowing, start, end)) or 0.0,
                hookups=len(hookups),
                failed_hookups=failed,
                touches=_count(case.touches[:, 0], start, end),
                trips=_tally(f"{item.trip_class}/{item.cause}" for item in trips),
                findings=_tally(item.kind for item in _begun(episodes.findings, start, end)),
                alarms={
                    str(kind): count
                    for kind, moments in sorted(episodes.alarms.items())
                    if (count := _count(moments, start, end))
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


def _begun(items: Sequence[Began], start: int, end: int) -> list[Began]:
    return [item for item in items if start <= item.start < end]


def _count(moments: Moments, start: int, end: int) -> int:
    low, high = np.searchsorted(moments, (start, end))
    return int(high - low)


def _tally(names: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(str(name) for name in names).items()))
