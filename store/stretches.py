"""Stretches of a point's readings, and when each arrived: pure.

A stretch is what one commit, or several in a row, brought of a point. It bounds the arrival of
its readings in two ways: by the first and the last of its commits, and by the least and the most
that they lagged behind the time that the reading bears. Whichever is narrower tells.
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
LONGEST = 86_400 * 10**9
"""How much of a point may be told by its lag alone: one slow commit blurs this much. [ns]"""

_LEAST, _MOST = -(2**63), 2**63 - 1
_UNTOLD = (_LEAST, _MOST)


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
    arrived : tuple of int and int
        Its first and last commit; `NEVER` where nobody noted it.
    lag : tuple of int and int
        The least and the most from the time of a reading to its commit.
    is_sparse : bool
        Whether readings of others lie between its own, so that a block tells which are its own.
    """

    id: int
    point_id: int
    first: int
    last: int
    arrived: tuple[int, int]
    lag: tuple[int, int]
    is_sparse: bool = False

    @property
    def is_known(self) -> bool:
        """Whether anybody noted when it arrived."""
        return self.arrived[0] != NEVER

    @property
    def tells_by_lag(self) -> bool:
        """Whether its lag is steady enough to tell an arrival from the time of a reading."""
        return self.lag[1] - self.lag[0] <= NARROW


def stretch(point_id: int, time: TimeArray, arrived: int | None) -> Stretch:
    """Return the stretch of what one commit brought of a point, at rising times. [ns]"""
    first, last = int(time[0]), int(time[-1])
    if arrived is None:
        return Stretch(0, point_id, first, last, (NEVER, NEVER), _UNTOLD)
    lag = arrived - last, arrived - first
    if not _LEAST <= lag[0] <= lag[1] <= _MOST:  # readings of thousands of years ago or hence
        lag = _UNTOLD
    return Stretch(0, point_id, first, last, (arrived, arrived), lag)


def joined(one: Stretch, other: Stretch) -> Stretch | None:
    """Return two stretches as one; None if that would not tell an arrival to the minute.

    The caller knows that no reading of another stretch lies between them.
    """
    if not (one.is_known and other.is_known) or one.is_sparse or other.is_sparse:
        return None
    both = Stretch(
        one.id,
        one.point_id,
        min(one.first, other.first),
        max(one.last, other.last),
        _hull(one.arrived, other.arrived),
        _hull(one.lag, other.lag),
    )
    at_once = both.arrived[1] - both.arrived[0] <= NARROW
    is_short = both.last - both.first <= LONGEST
    return both if at_once or (both.tells_by_lag and is_short) else None


def _hull(one: tuple[int, int], other: tuple[int, int]) -> tuple[int, int]:
    return min(one[0], other[0]), max(one[1], other[1])


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
        nobody = (NEVER, NEVER)
        arrived = _columns([*(each.arrived for each in self._stretches), nobody])
        lag = _columns([*(each.lag for each in self._stretches), nobody])
        by_lag = np.array([*(each.tells_by_lag for each in self._stretches), False])
        first, last = arrived[0][self._owner], arrived[1][self._owner]
        narrowed = np.flatnonzero(by_lag[self._owner])
        owner, time = self._owner[narrowed], self._time[narrowed]
        first[narrowed] = np.maximum(first[narrowed], time + lag[0][owner])
        last[narrowed] = np.minimum(last[narrowed], time + lag[1][owner])
        return Arrivals(first, last)


def _columns(pairs: Sequence[tuple[int, int]]) -> npt.NDArray[np.int64]:
    return np.array(pairs, np.int64).T


def in_any_order(time: TimeArray) -> tuple[TimeArray, npt.NDArray[np.intp] | None]:
    """Return times rising, and the order that puts them so; None if they are already."""
    if is_rising(time, strictly=False):
        return time, None
    order = np.argsort(time, kind="stable")
    return time[order], order
