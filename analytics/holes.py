"""Holes: time of which it is not known how stations were, and the days of which much is missing.

Nothing is missed after now. What is loaded and not yet analysed is told apart from what was never
recorded: the one is a command away, the other is gone.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from bondtrail.times import day_edges, days_from, seconds

if TYPE_CHECKING:
    from store import Store

LEAST_S = 1.0
"""A shorter hole is a rounding of times, not a hole. [s]"""
MUCH_OF_A_DAY = 0.1
"""Much is missing of a day when the bond is not known for more than this share of it."""
SHORTEST_DAY_S = 23 * 3600.0
MOST_RANGES = 4
_ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of the time of stations is known. [station s]

    Attributes
    ----------
    known_s, unknown_s : float
        Time on record in which the state of the bond is known, and in which it is not.
    no_record_s : float
        Without any record.
    not_analysed_s : float
        With readings that are loaded and of which there are no results yet.
    flow_unknown_s : float
        On record, but nobody knows whether product flows: no transfer can be seen then.
    """

    known_s: float
    unknown_s: float
    no_record_s: float
    not_analysed_s: float = 0.0
    flow_unknown_s: float = 0.0

    @property
    def missing_s(self) -> float:
        """Time without a known bond state. [s]"""
        return self.unknown_s + self.no_record_s + self.not_analysed_s

    @property
    def station_s(self) -> float:
        """All of the time there was to record."""
        return self.known_s + self.missing_s

    @property
    def share(self) -> float | None:
        """The part of it in which the bond state is known."""
        return self.known_s / self.station_s if self.station_s else None

    @property
    def is_whole(self) -> bool:
        """Whether nothing is missing of it."""
        return max(self.missing_s, self.flow_unknown_s) < LEAST_S


@dataclass(frozen=True, slots=True)
class Hole:
    """How much of a station's time is not known, and the days of which much is missing."""

    station: str
    coverage: Coverage
    days: Sequence[dt.date] = ()


def holes(
    store: Store,
    zone: ZoneInfo,
    days: tuple[dt.date, dt.date],
    now: int,
    covered: Mapping[str, Coverage],
    most: int | None = None,
    *,
    tell_days: bool = True,
) -> list[Hole]:
    """Return the stations of which something is not known, the largest hole first.

    Parameters
    ----------
    store : Store
        With the sums of days.
    zone : ZoneInfo
        The site's clock.
    days : tuple of date
        The first and the last of them.
    now : int
        Nothing is missed after it. [ns]
    covered : mapping of str to Coverage
        What is known of each station in these days.
    most : int, optional
        No more than so many of them.
    tell_days : bool
        Whether to look for the days of which much is missing: of years that takes a while.
    """
    found = {name: coverage for name, coverage in covered.items() if not coverage.is_whole}
    order = sorted(found, key=lambda name: (-found[name].missing_s, -found[name].flow_unknown_s))
    told = order[:most]
    # Only so much can be much of a day, of 23 hours at least.
    long = [name for name in told if found[name].missing_s > MUCH_OF_A_DAY * SHORTEST_DAY_S]
    missed = days_missed(store, zone, days, now, long) if long and tell_days else {}
    return [Hole(name, found[name], missed.get(name, ())) for name in told]


def days_missed(
    store: Store,
    zone: ZoneInfo,
    days: tuple[dt.date, dt.date],
    now: int,
    stations: Sequence[str],
) -> dict[str, list[dt.date]]:
    """Return the days of which each station misses much. Parameters are those of `holes`."""
    every = days_from(*days)
    edges = [min(edge, now) for edge in day_edges(every[0], every[-1], zone)]
    lengths = [seconds(b - a) for a, b in pairwise(edges)]
    known: dict[str, dict[int, float]] = defaultdict(dict)
    for mark in store.summaries.day_marks([*every, days[1] + _ONE_DAY], stations):
        known[mark.station][mark.part] = mark.known_s
    return {
        name: [
            day
            for n, day in enumerate(every)
            if lengths[n] - known[name].get(n, 0.0) > MUCH_OF_A_DAY * lengths[n]
        ]
        for name in stations
    }


def ranges(days: Sequence[dt.date]) -> str:
    """Return rising days in words, such as ``2026-03-02, 2026-03-05 to 2026-03-09``."""
    found: list[list[dt.date]] = []
    for day in days:
        if found and day - found[-1][-1] == _ONE_DAY:
            found[-1][1:] = [day]
        else:
            found.append([day])
    named = [" to ".join(map(str, ends)) for ends in found]
    more = len(named) - MOST_RANGES
    return ", ".join(named) if more <= 0 else f"{', '.join(named[:MOST_RANGES])} and {more} more"


@dataclass(frozen=True, slots=True)
class Waiting:
    """A station with readings that wait for an analysis.

    Attributes
    ----------
    since : int
        From when on its results are not up to date. [ns]
    first, last : int
        Its first and its last reading. [ns]
    """

    since: int
    first: int
    last: int

    def not_analysed_s(self, no_record_s: float, start: int, end: int) -> float:
        """Return how much of a span ``[start, end)`` has readings and no results. [s]

        Parameters
        ----------
        no_record_s : float
            How much of it has no results, for whatever reason. [s]
        start, end : int
            Up to now at most. [ns]
        """
        heard = _common((start, end), (self.first, self.last))
        silent = seconds(end - start) - heard
        waiting = _common((start, end), (max(self.since, self.first), self.last))
        return min(waiting, max(0.0, no_record_s - silent))


def waiting(store: Store, end: int) -> dict[str, Waiting]:
    """Return the stations whose results up to ``end`` ns are not up to date, by name."""
    marks = {name: touch.since for name, touch in store.waiting().items() if touch.since < end}
    if not marks:
        return {}
    heard = store.readings()
    return {name: Waiting(since, *heard[name]) for name, since in sorted(marks.items())}


def _common(one: tuple[int, int], other: tuple[int, int]) -> float:
    """Return how long two spans overlap. [s]"""
    return seconds(max(0, min(one[1], other[1]) - max(one[0], other[0])))
