"""Shifts: where the days of a site are cut, by the names that it gives to its hours."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np

from analytics.core.spans import Moments, covers
from bondtrail.roster import Shift
from bondtrail.times import NS_PER_S, day_edges, days_from, local, local_day

Roster = tuple[int, tuple[Shift, ...]]
"""The shifts of a site with the moment from which they hold. [ns]"""

_EVER = 2**63 - 1
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Adjoining stretches of time, n in number, each of one calendar day and one shift.

    Attributes
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Where they begin and the last one ends. [ns]
    days : list of date, length n
    shifts : list of str or None, length n
        ``""`` outside any shift; None where cells are whole days. A night shift that is cut at
        midnight has two cells in a day.
    """

    edges: Moments
    days: list[dt.date]
    shifts: list[str] | list[None]

    def clipped(self, start: int, end: int) -> Cells:
        """Return the same cells, with nothing outside ``[start, end)``. [ns]"""
        return Cells(np.clip(self.edges, start, end), self.days, self.shifts)


def has_shifts(rosters: Sequence[Roster]) -> bool:
    """Return whether there was ever a shift: days are told in parts from then on, and before."""
    return any(roster for _, roster in rosters)


def whole_days(first: dt.date, last: dt.date, zone: ZoneInfo) -> Cells:
    """Return the days ``first`` to ``last`` of a site, uncut; 23 or 25 hours as clocks change."""
    days = days_from(first, last)
    return Cells(np.array(day_edges(first, last, zone), np.int64), days, [None] * len(days))


def cells(first: dt.date, last: dt.date, zone: ZoneInfo, rosters: Sequence[Roster]) -> Cells:
    """Return the days ``first`` to ``last`` of a site, cut where its shifts begin and end.

    Parameters
    ----------
    first, last : date
        Both included.
    zone : ZoneInfo
        The site's clock.
    rosters : sequence of (int, tuple of Shift)
        In order of the moments from which each holds; the first holds for all before it too. The
        shifts of one do not overlap. [ns]

    Returns
    -------
    Cells
        Of every day, none of no length. They add up to the days.
    """
    midnights = np.array(day_edges(first, last, zone), np.int64)
    span = int(midnights[0]), int(midnights[-1])
    manned = sorted(_manned(span, zone, rosters))
    spans = np.array([(start, end) for start, end, _ in manned], np.int64).reshape(-1, 2)
    edges = np.unique(np.concatenate((midnights, spans.ravel())))
    days = days_from(first, last)
    day = np.searchsorted(midnights, edges[:-1], side="right") - 1
    shift = np.searchsorted(spans[:, 0], edges[:-1], side="right") - 1
    shift[~covers(spans, edges[:-1])] = -1
    names = [*(name for *_, name in manned), ""]
    return Cells(edges, [days[k] for k in day.tolist()], [names[k] for k in shift.tolist()])


def _manned(
    span: tuple[int, int], zone: ZoneInfo, rosters: Sequence[Roster]
) -> Iterator[tuple[int, int, str]]:
    """Yield the part of every shift that lies in a span and in its own roster's time. [ns]"""
    moments = [-_EVER, *(start for start, _ in rosters[1:]), _EVER]
    for (_, roster), held in zip(rosters, pairwise(moments), strict=False):
        low, high = max(span[0], held[0]), min(span[1], held[1])
        if low >= high:
            continue
        # A shift lasts a day at most, so one that reaches in began the day before at the earliest.
        for day in days_from(local_day(low, zone) - _DAY, local_day(high - 1, zone)):
            for shift in roster:
                if day.weekday() in shift.days:
                    begin, end = shift_span(shift, day, zone)
                    begin, end = max(begin, low), min(end, high)
                    if begin < end:
                        yield begin, end, shift.name


def shift_span(shift: Shift, day: dt.date, zone: ZoneInfo) -> tuple[int, int]:
    """Return when a shift that begins on a day begins and ends. [ns]"""
    over = day if shift.end > shift.begin else day + _DAY
    return clock_moment(day, shift.begin, zone), clock_moment(over, shift.end, zone)


def clock_moment(day: dt.date, clock: dt.time, zone: ZoneInfo) -> int:
    """Return when the site's clock first reaches a time of a day. [ns]

    A time that it shows twice, as it is put back, is the first of both; one that it never shows
    is the moment at which it is put forward.
    """
    shown = dt.datetime.combine(day, clock, zone)
    moment = shown.astimezone(dt.UTC)
    if moment.astimezone(zone).replace(tzinfo=None) == shown.replace(tzinfo=None):
        return round(moment.timestamp()) * NS_PER_S
    # Never shown: the change lies between what the clock after it and the one before it tell.
    after, before = (round(shown.replace(fold=n).timestamp()) for n in (1, 0))
    old = local(after * NS_PER_S, zone).utcoffset()
    seconds = range(after, before)
    changed = bisect_left(
        seconds, True, key=lambda second: local(second * NS_PER_S, zone).utcoffset() != old
    )
    return (after + changed) * NS_PER_S
