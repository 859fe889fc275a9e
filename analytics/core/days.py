"""Sums and counts per local day or shift, so that the figures of any period are a sum."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from analytics.core.bond import Bond
from analytics.core.case import Case
from analytics.core.quantiles import bins_of
from analytics.core.runs import Contact
from analytics.core.shifts import Cells
from analytics.core.spans import NOWHERE, Moments, Spans, elapsed, intersection, within
from bondtrail.results import (
    DAY_SUMS,
    Alarm,
    DaySums,
    Finding,
    Hookup,
    Outcome,
    Transfer,
    Trip,
)
from bondtrail.times import NS_PER_S

Began = TypeVar("Began", Transfer, Hookup, Finding, Alarm)
Item = TypeVar("Item")

VOLUME_DECIMALS = 9
"""So that a volume does not depend on how its sum was cut, and parts add up to the whole."""


@dataclass(frozen=True, slots=True, eq=False)
class Episodes:
    """What began at a station, each part sorted by its start."""

    transfers: Sequence[Transfer]
    hookups: Sequence[Hookup]
    trips: Sequence[Trip]
    findings: Sequence[Finding]
    alarms: Sequence[Alarm]


def day_sums(case: Case, episodes: Episodes, cells: Cells) -> list[DaySums]:
    """Return the sums of each day, or of each day and shift, that the cells name.

    Parameters
    ----------
    case : Case
        Of the station; its seconds and volumes are split at the edges.
    episodes : Episodes
        Counted where each began.
    cells : Cells
        Several of one day and shift are one row.
    """
    return added([*measured(case, cells), *counted(case.station.id, episodes, cells)])


def measured(case: Case, cells: Cells) -> Iterator[DaySums]:
    """Yield for each cell what a case tells of it: seconds, volume and touches."""
    times = _seconds(case, cells.edges)
    volumes = _volumes(case, cells.edges)
    touches = np.diff(np.searchsorted(case.touches[:, 0], cells.edges)).tolist()
    for k, (day, shift) in enumerate(zip(cells.days, cells.shifts, strict=True)):
        yield DaySums(
            station=case.station.id,
            day=day,
            shift=shift,
            touches=touches[k],
            volume=volumes[k],
            **{name: values[k] for name, values in times.items()},
        )


def counted(station: str, episodes: Episodes, cells: Cells) -> Iterator[DaySums]:
    """Yield for each cell in which anything began how much of it did."""
    marks = cells.edges
    parts = zip(
        cells.days,
        cells.shifts,
        _begun(episodes.transfers, marks),
        _begun(episodes.hookups, marks),
        _cut(episodes.trips, [trip.time for trip in episodes.trips], marks),
        _begun(episodes.findings, marks),
        _begun(episodes.alarms, marks),
        _histograms([(item.start, item.time_to_bond_s) for item in episodes.hookups], marks),
        _histograms([(item.time, item.stop_s) for item in episodes.trips], marks),
        strict=True,
    )
    for day, shift, transfers, hookups, trips, findings, alarms, to_bond, to_stop in parts:
        if not (transfers or hookups or trips or findings or alarms):
            continue
        yield DaySums(
            station=station,
            day=day,
            shift=shift,
            transfers=len(transfers),
            compliant_transfers=sum(item.compliant for item in transfers),
            hookups=len(hookups),
            failed_hookups=sum(item.outcome is Outcome.FAILED for item in hookups),
            trips=_tally(f"{item.trip_class}/{item.cause}" for item in trips),
            findings=_tally(item.kind for item in findings),
            alarms=_tally(item.kind for item in alarms),
            time_to_bond=to_bond,
            time_to_stop=to_stop,
        )


def _seconds(case: Case, marks: Moments) -> dict[str, Any]:
    """Return for each kind of time how much of it lies between neighbouring marks. [s]"""
    bond = case.now.bond
    spans: dict[str, Spans] = {
        "flow_s": case.flowing,
        "flow_unknown_s": _flow_unknown(case),
        "not_bonded_s": case.exposures.not_bonded,
        "no_data_s": case.exposures.no_data,
        "bypassed_s": case.exposures.bypassed,
        "bypass_unknown_s": intersection(case.flowing, case.now.bypass.where(Contact.UNKNOWN)),
        "low_s": bond.where(Bond.LOW),
        "high_s": bond.where(Bond.HIGH),
        "open_s": bond.where(Bond.OPEN),
        "known_s": bond.where(Bond.LOW, Bond.HIGH, Bond.OPEN),
        "unknown_s": bond.where(Bond.UNKNOWN),
    }
    return {
        name: (np.diff(elapsed(part, marks)) / NS_PER_S).tolist() for name, part in spans.items()
    }


def _flow_unknown(case: Case) -> Spans:
    """Return where nobody knows whether product flows; nowhere if nothing ever tells."""
    if not case.station.tells_flow:
        return NOWHERE
    return case.now.flow.where(Contact.UNKNOWN)


def _begun(items: Sequence[Began], marks: Moments) -> list[Sequence[Began]]:
    return _cut(items, [item.start for item in items], marks)


def _cut(items: Sequence[Item], moments: Sequence[int], marks: Moments) -> list[Sequence[Item]]:
    """Return the items, sorted by their moments, that fall between neighbouring marks."""
    cuts = np.searchsorted(np.array(moments, np.int64), marks).tolist()
    return [items[low:high] for low, high in pairwise(cuts)]


def _histograms(timed: Sequence[tuple[int, float | None]], marks: Moments) -> list[dict[int, int]]:
    """Return a histogram of the times [s] whose moments fall between neighbouring marks. [ns]"""
    known = [(moment, time) for moment, time in timed if time is not None]
    bins = bins_of([time for _, time in known]).tolist()
    parts = _cut(bins, [moment for moment, _ in known], marks)
    return [dict(sorted(Counter(part).items())) for part in parts]


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
        split = sum(case.meter.amounts(within(runs[low:high][~whole], start, end)), 0.0)
        found.append(round(float(amounts[low:high][whole].sum()) + split, VOLUME_DECIMALS))
    return found


def _tally(names: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(str(name) for name in names).items()))


def added(rows: Iterable[DaySums]) -> list[DaySums]:
    """Return one station's sums with those of one day and shift as one, by day and shift."""
    totals: dict[tuple[dt.date, str], DaySums] = {}
    for row in rows:
        key = row.day, row.shift or ""
        totals[key] = plus(totals[key], row) if key in totals else row
    return [totals[key] for key in sorted(totals)]


def plus(first: DaySums, second: DaySums) -> DaySums:
    """Return the sums of two parts of one station's day."""
    numbers: dict[str, Any] = {
        name: getattr(first, name) + getattr(second, name) for name in DAY_SUMS
    }
    return replace(
        first,
        **numbers,
        trips=_both(first.trips, second.trips),
        findings=_both(first.findings, second.findings),
        alarms=_both(first.alarms, second.alarms),
        time_to_bond=_both(first.time_to_bond, second.time_to_bond),
        time_to_stop=_both(first.time_to_stop, second.time_to_stop),
    )


Name = TypeVar("Name", str, int)


def _both(first: Mapping[Name, int], second: Mapping[Name, int]) -> Mapping[Name, int]:
    if not first or not second:
        return first or second
    return dict(sorted((Counter(first) + Counter(second)).items()))
