"""Histories: when events came to a system that goes on after each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bondtrail.samples import ValueArray

EARLIEST = 1e-9
"""An event at the very start is taken to be this share of the whole time later: powers and
logarithms need one after it."""


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """The events of one system from 0 to ``end``, in any unit of time.

    Attributes
    ----------
    times : ndarray of float64, shape (n,)
        Of the events, rising, above 0 and at most ``end``.
    end : float
        How long it was watched.
    ends_with_event : bool
        Whether it was watched until an event came, the last of them (failure terminated), and
        not until a moment set beforehand (time terminated).
    """

    times: ValueArray
    end: float
    ends_with_event: bool = False

    @property
    def inner(self) -> ValueArray:
        """The events whose times are not set by how the watch ended."""
        return self.times[:-1] if self.ends_with_event else self.times


def history(times: Sequence[float], end: float, *, ends_with_event: bool = False) -> History:
    """Return the history of a system.

    Parameters
    ----------
    times : sequence of float
        Of its events, in any order and any unit, from 0 to ``end``.
    end : float
        How long it was watched, above 0; the last event if it ``ends_with_event``.

    Raises
    ------
    ValueError
        If a time lies outside, or the last event is not where the history that
        ``ends_with_event`` ends.
    """
    ordered = np.sort(np.asarray(times, np.float64))
    if not (np.isfinite(end) and end > 0):
        raise ValueError(f"end must be above 0, got {end}")
    if ordered.size and not (ordered[0] >= 0 and ordered[-1] <= end):
        raise ValueError(f"times must lie in 0 .. {end}, got {ordered[0]} .. {ordered[-1]}")
    if ends_with_event and not (ordered.size and ordered[-1] == end):
        raise ValueError(f"a history that ends with an event needs one at {end}")
    return History(np.maximum(ordered, EARLIEST * end), float(end), ends_with_event)
