"""How finely a point tells when something happened, and which order of events is sure.

A reading says how things stand at its time. What it shows may have come at any moment since the
reading before; of a point that reports on change, no longer ago than its signal is looked at, where
the site file says how often that is. Two events of different points that lie closer than that, or
than their clocks may differ, have no order that anybody could tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from analytics.core.spans import Mask, Moments
from bondtrail.samples import Quality, Samples, Status, TimeArray
from bondtrail.site import Point, Role
from bondtrail.times import nanoseconds

NEVER = np.iinfo(np.int64).min
"""In place of a moment: no earlier reading tells."""

AROUND = 256
"""From so many readings around it is told how a point reports at a reading."""

ON_CHANGE_SHARE = 0.05
OFF_BEAT = 0.25
"""A point reports on change where more than this share of its gaps are no whole multiple of their
median, give or take so much of it: lost readings leave multiples. Our own measure."""

EVERY_LOOK = 1.5
"""A point whose median gap is at most so many times the interval at which its signal is looked at
reports every look: what is missing then was lost, and is no sign that nothing changed."""

ONE_CLOCK = frozenset({Role.RESISTANCE, Role.STATUS})
"""The points of a station that one monitor unit stamps."""


@dataclass(frozen=True, slots=True, eq=False)
class Resolution:
    """One point's readings and how finely they resolve what they show.

    Attributes
    ----------
    samples : Samples
        Strictly rising in time.
    stale_ns : int
        How long a reading holds without a successor. [ns]
    interval_ns : int or None
        How often the signal is looked at, where the site file says so. [ns]
    mute : ndarray of bool, shape (n,), or None
        Which readings tell nothing of what is asked, though they are good. None of them where it
        is None.
    """

    samples: Samples
    stale_ns: int
    interval_ns: int | None = None
    mute: Mask | None = None

    @classmethod
    def of(cls, point: Point, samples: Samples) -> Resolution:
        """Return the resolution of a point's samples."""
        interval = None if point.interval_s is None else nanoseconds(point.interval_s)
        return cls(samples, nanoseconds(point.stale_after_s), interval)

    def of_bond(self) -> Resolution:
        """Return how finely a status point tells the bond: fault and off tell nothing of it."""
        mute = np.isin(self.samples.value, (Status.FAULT, Status.OFF))
        return replace(self, mute=mute)

    def since(self, moments: Moments) -> Moments:
        """Return after which moment each change may have come. [ns]

        Parameters
        ----------
        moments : ndarray of int64, shape (n,)
            When the changes were seen: at a reading, or where the last reading went stale. [ns]

        Returns
        -------
        ndarray of int64, shape (n,)
            `NEVER` where no earlier reading tells.

        Notes
        -----
        It is the last good reading before that tells; the interval of the site file shortens that
        where readings come on change. After a silence, bad data or mute readings the interval says
        nothing. An uncertain reading is no bound, nor does the interval sharpen what it shows: its
        time may be that of its arrival.
        """
        time = self.samples.time
        if not time.size:
            return np.full(len(moments), NEVER)
        at = time.searchsorted(moments, side="right") - 1
        seen = (at >= 0) & (time[np.maximum(at, 0)] == moments)
        known = self._last_known()
        # Where no reading lies at the moment the last one went stale, or was bad: it is the bound.
        before = np.where(seen, at - 1, at)
        bound = np.where(before >= 0, known[np.maximum(before, 0)], NEVER)
        if self.interval_ns is None:
            return bound
        steady = seen & (before >= 0) & (bound == time[np.maximum(before, 0)])
        steady &= self.samples.quality[np.maximum(at, 0)] == Quality.GOOD
        steady &= moments - np.where(steady, bound, moments) <= self.stale_ns
        steady[steady] = self._on_change(at[steady], self.interval_ns)
        bound[steady] = np.maximum(bound[steady], moments[steady] - self.interval_ns)
        return bound

    def _last_known(self) -> TimeArray:
        """Return for each reading the time of the last good one up to it that tells. [ns]"""
        good = self.samples.quality == Quality.GOOD
        if self.mute is not None:
            good &= ~self.mute
        if good.all():
            return self.samples.time
        return np.maximum.accumulate(np.where(good, self.samples.time, NEVER))

    def _on_change(self, at: Moments, interval_ns: int) -> Mask:
        """Return which readings, by index, come on change, by those around them."""
        blocks, which = np.unique(at // AROUND, return_inverse=True)
        found = [reports_on_change(self._around(block), interval_ns) for block in blocks.tolist()]
        return np.array(found, bool)[which]

    def _around(self, block: int) -> TimeArray:
        first = max(min(block * AROUND, self.samples.time.size - AROUND), 0)
        return self.samples.time[first : first + AROUND + 1]


def reports_on_change(time: TimeArray, looked_at_ns: int | None = None) -> bool:
    """Return whether a point reports on change, and not every look at its signal.

    Parameters
    ----------
    time : ndarray of int64, shape (n,)
        Of adjoining readings, strictly rising, at least two. [ns]
    looked_at_ns : int, optional
        How often the signal is looked at, where the site file says so; without it the readings
        alone can tell, by `ON_CHANGE_SHARE`. [ns]

    Returns
    -------
    bool
        False where the readings come evenly: where one is missing it was lost, and what it would
        have shown is not known.
    """
    gaps = np.diff(time)
    middle = float(np.median(gaps))
    if looked_at_ns is not None:
        return middle > EVERY_LOOK * looked_at_ns
    off = np.abs(gaps - middle * np.maximum(np.rint(gaps / middle), 1.0)) > OFF_BEAT * middle
    return bool(np.count_nonzero(off) > ON_CHANGE_SHARE * gaps.size)


class Seen(NamedTuple):
    """What a reading showed: when, by which point, and since when it may have been so. [ns]

    ``role`` is None where it is of no one point, ``since`` where no reading tells.
    """

    time: int
    role: Role | None
    since: int | None


def order_certain(told: Sequence[Seen], clock_error_ns: int = 0) -> Mask:
    """Return which events surely came after those of other points that are told before them.

    Parameters
    ----------
    told : sequence of Seen
        In the order in which they are told, by time. A point's own events are always in order.
        Those of no one point say nothing of the order of others, nor do others of theirs.
    clock_error_ns : int, optional
        How far the clocks of two devices may differ. The points of `ONE_CLOCK` have one. [ns]

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    certain = np.ones(len(told), bool)
    latest: dict[Role, int] = {}
    for index, seen in enumerate(told):
        if seen.role is None:
            continue
        others = [
            moment + (0 if {role, seen.role} <= ONE_CLOCK else clock_error_ns)
            for role, moment in latest.items()
            if role is not seen.role
        ]
        if others:
            certain[index] = seen.since is not None and seen.since >= max(others)
        latest[seen.role] = seen.time
    return certain


def clocks_words(clock_error_s: float) -> str:
    """Return how far the clocks of a site's devices are trusted, in a sentence."""
    return (
        "Times are as the devices gave them; their clocks are taken to agree to within "
        f"{clock_error_s:g} s (clock_error_s)."
    )
