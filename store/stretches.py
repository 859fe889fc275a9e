"""Stretches of a point's readings, and when each arrived: pure.

A stretch is what one commit brought of a point, and then the moment of that commit tells. Or it
goes on over many commits: then it says from its start on by how much its readings lag, at least
and at most, and takes only what keeps to that. So what is told of a reading stays the same,
whatever arrives after it. How wide the next stretch says it is follows from what the one before
it has seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bondtrail.samples import TimeArray
from store.merging import is_rising

NEVER = -1
"""In place of a moment: nobody noted when the reading arrived."""

NARROW = 60 * 10**9
"""The most by which the two bounds of an arrival may differ. [ns]"""
SLACK = 10**9
"""By how much a lag may go beyond what was seen of it, on either side. [ns]"""
LONGEST = 86_400 * 10**9
"""How much of a point one stretch may tell by its lag: then it is told anew how wide. [ns]"""

_FARTHEST = 2**62  # sums of times and lags must fit 64 bits

Range = tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Arrivals:
    """When readings arrived: each between two moments, or `NEVER` in both.

    Attributes
    ----------
    first, last : ndarray of int64, shape (n,)
        The earliest and the latest moment at which the reading can have been committed, both
        included; at most a minute apart. [ns]
    """

    first: TimeArray
    last: TimeArray

    @classmethod
    def unknown(cls, size: int) -> Arrivals:
        """Return the answer where nothing was noted."""
        return cls(np.full(size, NEVER, np.int64), np.full(size, NEVER, np.int64))


@dataclass(frozen=True, slots=True)
class Stretch:
    """The readings from ``first`` to ``last``, both included, and when they arrived. [ns]

    Attributes
    ----------
    id : int
        Tells the order of commits; 0 before it has one.
    arrived : int
        Its commit, or the first of several; `NEVER` where nobody noted it.
    lag : tuple of int and int, optional
        The least and the most from the time of a reading to its commit, of all that it has and
        will take. None if it is of one commit and takes no more.
    seen : tuple of int and int, optional
        The same of what it has taken so far.
    is_sparse : bool
        Whether readings of others lie between its own, so that a block tells which are its own.
    """

    id: int
    point_id: int
    first: int
    last: int
    arrived: int
    lag: Range | None = None
    seen: Range | None = None
    is_sparse: bool = False

    @property
    def is_known(self) -> bool:
        """Whether anybody noted when it arrived."""
        return self.arrived != NEVER


def closed(point_id: int, time: TimeArray, arrived: int | None) -> Stretch:
    """Return the stretch of what one commit brought of a point, at rising times. [ns]"""
    moment = NEVER if arrived is None else arrived
    return Stretch(0, point_id, int(time[0]), int(time[-1]), moment)


def opened(one: Stretch, before: Stretch | None) -> Stretch:
    """Return a stretch of one commit as one that may go on, if its lag is steady enough.

    Parameters
    ----------
    one : Stretch
        What one commit brought past the end of a point.
    before : Stretch or None
        The stretch at that end, whose lag says what to expect.
    """
    lag = _lag(one)
    if not one.is_known or _width(lag) > NARROW or max(map(abs, lag)) > _FARTHEST:
        return one
    expected = lag
    if before is not None and before.seen is not None:
        both = _hull(before.seen, lag)
        expected = both if _width(both) <= NARROW else lag
    slack = min(SLACK, (NARROW - _width(expected)) // 2)
    wide = expected[0] - slack, expected[1] + slack
    return Stretch(0, one.point_id, one.first, one.last, one.arrived, wide, lag)


def joined(one: Stretch, more: Stretch) -> Stretch | None:
    """Return a stretch with what a later commit brought; None if it may not take that.

    The caller knows that no reading of another stretch lies between them.
    """
    if one.lag is None or one.seen is None or not one.is_known or more.arrived < one.arrived:
        return None
    lag, last = _lag(more), max(one.last, more.last)
    if _hull(one.lag, lag) != one.lag or last - one.first > LONGEST:
        return None
    seen = _hull(one.seen, lag)
    return Stretch(one.id, one.point_id, one.first, last, one.arrived, one.lag, seen)


def _lag(one: Stretch) -> Range:
    return one.arrived - one.last, one.arrived - one.first


def _hull(one: Range, other: Range) -> Range:
    return min(one[0], other[0]), max(one[1], other[1])


def _width(one: Range) -> int:
    return one[1] - one[0]


class Painting:
    """Which stretch each of some readings belongs to: later ones are painted over earlier ones.

    Parameters
    ----------
    stretches : sequence of Stretch
        In the order of their commits.
    time : ndarray of int64, shape (n,)
        The times of the readings, rising. [ns]
    """

    def __init__(self, stretches: Sequence[Stretch], time: TimeArray) -> None:
        self._stretches = stretches
        self._time = time
        self._owner = np.full(time.size, len(stretches), np.intp)
        self._low = np.searchsorted(time, [each.first for each in stretches])
        self._high = np.searchsorted(time, [each.last for each in stretches], "right")

    def paint(self, number: int) -> None:
        """Give a stretch all readings in its span."""
        self._owner[self._low[number] : self._high[number]] = number

    def dot(self, number: int, own: TimeArray) -> None:
        """Give a stretch those of the readings in its span which are at its ``own`` times."""
        low, high = self._low[number], self._high[number]
        wanted = self._time[low:high]
        place = np.minimum(np.searchsorted(own, wanted), own.size - 1)
        self._owner[low:high][own[place] == wanted] = number

    def blot(self, number: int) -> None:
        """Say that nobody knows of the readings in a stretch's span, as its block is damaged."""
        self._owner[self._low[number] : self._high[number]] = len(self._stretches)

    def arrivals(self) -> Arrivals:
        """Return when the readings arrived, each by the stretch that it belongs to."""
        arrived = np.array([*(each.arrived for each in self._stretches), NEVER], np.int64)
        lag = np.array([*(each.lag or (0, 0) for each in self._stretches), (0, 0)], np.int64)
        is_open = np.array([*(each.lag is not None for each in self._stretches), False])
        first = arrived[self._owner]
        last = first.copy()
        told = np.flatnonzero(is_open[self._owner])
        owner, time = self._owner[told], self._time[told]
        first[told] = np.maximum(first[told], time + lag[owner, 0])
        last[told] = time + lag[owner, 1]
        return Arrivals(first, last)


def in_any_order(time: TimeArray) -> tuple[TimeArray, npt.NDArray[np.intp] | None]:
    """Return times rising, and the order that puts them so; None if they are already."""
    if is_rising(time, strictly=False):
        return time, None
    order = np.argsort(time, kind="stable")
    return time[order], order
