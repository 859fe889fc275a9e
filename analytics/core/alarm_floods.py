"""Alarm floods: when more alarms come in ten minutes than an operator can take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core.spans import Moments
from bondtrail.site import AlarmRules
from bondtrail.times import NS_PER_S

TEN_MINUTES_NS = 600 * NS_PER_S
HOUR_NS = 3600 * NS_PER_S

BEGINS_AT = {"above_10": 11, "10_or_more": 10}
"""So many alarms in ten minutes begin a flood. ISA-18.2-2016 and IEC 62682 say above 10; the
2009 edition of ISA-18.2, as a trade article quotes it, says 10 or more."""

Counts = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Flood:
    """Alarms that began in ``[start, end)``, and the most of them in ten minutes. [ns, ns, -, -]"""

    start: int
    end: int
    count: int
    peak: int


@dataclass(frozen=True, slots=True)
class Peak:
    """The most alarms in ten minutes, and when the first such ten minutes began. [-, ns]"""

    count: int
    start: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """When alarms began in a span, and how many did in each ten minutes from its start on.

    Attributes
    ----------
    starts : ndarray of int64, shape (n,)
        Never falling, all in ``[start, end)``. [ns]
    start, end : int
        The span. [ns]
    number, count : ndarray of int64, shape (m,)
        Which ten minutes hold any alarm, counted from 0, and how many each holds.
    """

    starts: Moments
    start: int
    end: int
    number: Counts
    count: Counts

    def over(self, limit: int) -> int:
        """Return how many ten minutes hold more alarms than ``limit``."""
        return int(np.count_nonzero(self.count > limit))

    def hours_over(self, limit: int) -> int:
        """Return how many hours, from the start of the span on, hold more than ``limit``."""
        hour, place = np.unique(self.number // 6, return_inverse=True)
        return int(np.count_nonzero(np.bincount(place, self.count, hour.size) > limit))

    def periods(self, length: int) -> int:
        """Return how many periods of a length cover the span; a shorter rest is one more."""
        return -(-(self.end - self.start) // length)


def stream(starts: Moments, start: int, end: int) -> Stream:
    """Return alarms that began in a span; ``starts`` never fall and lie in it. [ns]"""
    number = (starts - start) // TEN_MINUTES_NS
    turns = np.ones(number.size, bool)
    np.not_equal(number[1:], number[:-1], out=turns[1:])
    first = np.flatnonzero(turns)
    return Stream(starts, start, end, number[first], np.diff(first, append=number.size))


def peak_of(alarms: Stream, rules: AlarmRules) -> Peak:
    """Return the most alarms in ten minutes, fixed ones or those that end at any alarm."""
    if not alarms.starts.size:
        return Peak(0, None)
    if rules.flood_windows == "sliding":
        count = _trailing(alarms.starts)
        first = int(np.argmax(count))
        oldest = _oldest(alarms.starts, int(alarms.starts[first]))
        return Peak(int(count[first]), int(alarms.starts[oldest]))
    first = int(np.argmax(alarms.count))
    return Peak(int(alarms.count[first]), alarms.start + int(alarms.number[first]) * TEN_MINUTES_NS)


def floods(alarms: Stream, rules: AlarmRules) -> list[Flood]:
    """Return the floods of a span; one that the span cuts ends with it.

    Parameters
    ----------
    alarms : Stream
    rules : AlarmRules
        ``flood_begins``, ``flood_ends_below`` and ``flood_windows``.

    Notes
    -----
    Fixed: ten-minute periods follow each other from ``start`` on. A flood begins with a period
    of more than 10 alarms (or of 10) and ends where one of fewer than ``flood_ends_below``
    begins: that one is no part of it.

    Sliding: at each moment the last ten minutes count. A flood begins with the oldest of the
    alarms that are too many, but never before the flood before it has ended, and ends as soon as
    fewer than ``flood_ends_below`` are left.

    References
    ----------
    .. [1] ANSI/ISA-18.2-2016 and IEC 62682: a flood begins above 10 alarms in ten minutes. That
       it ends below 5 is from memory.
    """
    if not alarms.starts.size:
        return []
    if rules.flood_windows == "sliding":
        return _sliding(alarms.starts, alarms.end, rules)
    return _fixed(alarms, rules)


def _fixed(alarms: Stream, rules: AlarmRules) -> list[Flood]:
    number, count = _with_silences(alarms.number, alarms.count)
    begins, calm = count >= BEGINS_AT[rules.flood_begins], count < rules.flood_ends_below
    # The latest period that settles it tells whether this one is part of a flood.
    latest = np.maximum.accumulate(np.where(begins | calm, np.arange(number.size), 0))
    inside = begins[latest]
    steps = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False]))))
    return [
        Flood(
            alarms.start + int(number[a]) * TEN_MINUTES_NS,
            min(alarms.start + int(number[b - 1] + 1) * TEN_MINUTES_NS, alarms.end),
            int(count[a:b].sum()),
            int(count[a:b].max()),
        )
        for a, b in steps.reshape(-1, 2)
    ]


def _with_silences(number: Counts, count: Counts) -> tuple[Counts, Counts]:
    """Return the periods with, after each that is followed by none, an empty one."""
    alone = np.flatnonzero(np.diff(number, append=number[-1] + 2) > 1)
    return np.insert(number, alone + 1, number[alone] + 1), np.insert(count, alone + 1, 0)


def _sliding(starts: Moments, end: int, rules: AlarmRules) -> list[Flood]:
    count = _trailing(starts)
    too_many = np.flatnonzero(count >= BEGINS_AT[rules.flood_begins])
    calm = _calm(starts, rules.flood_ends_below)
    found: list[Flood] = []
    over, following = int(starts[0]), 0
    while following < too_many.size:
        trigger = int(too_many[following])
        begin = max(int(starts[_oldest(starts, int(starts[trigger]))]), over)
        over = int(calm[np.searchsorted(calm, starts[trigger], side="right")])
        low, high = (int(n) for n in np.searchsorted(starts, [begin, over]))
        peak = int(count[trigger:high].max())
        found.append(Flood(begin, min(over, end), high - low, peak))
        following = int(np.searchsorted(too_many, high))
    return found


def _calm(starts: Moments, below: int) -> Moments:
    """Return the moments at which an alarm becomes older than ten minutes and few are left."""
    left = np.searchsorted(starts, starts + TEN_MINUTES_NS, side="right")
    left -= np.searchsorted(starts, starts, side="right")
    return starts[left < below] + TEN_MINUTES_NS


def _trailing(starts: Moments) -> Counts:
    """Return how many began in the ten minutes that end with each alarm, itself included."""
    counts: Counts = np.searchsorted(starts, starts, side="right") - np.searchsorted(
        starts, starts - TEN_MINUTES_NS, side="right"
    )
    return counts


def _oldest(starts: Moments, moment: int) -> int:
    """Return which alarm is the first in the ten minutes that end with a moment."""
    return int(np.searchsorted(starts, moment - TEN_MINUTES_NS, side="right"))
