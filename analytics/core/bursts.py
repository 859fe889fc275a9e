"""Where a signal changes so often that each change by itself tells nothing: a noisy reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.runs import Timeline
from analytics.core.spans import NOWHERE, Mask, Moments, Spans, covers
from bondtrail.times import NS_PER_S

MOST_CHANGES = 1000
"""Up to so many changes of a signal in a span every one is told, however close."""
SHORT_NS = 10 * NS_PER_S
"""A burst is made of states that last shorter than this ..."""
LEAST_CHANGES = 20
"""... and is of so many of them at least."""


@dataclass(frozen=True, slots=True, eq=False)
class Bursts:
    """Stretches of a signal that are told as one.

    Attributes
    ----------
    spans : ndarray of int64, shape (n, 2)
        From the first change of each, which is told, to the first after it, which is told too. [ns]
    changes : ndarray of int64, shape (n,)
        How many changes each holds, those that are told included.
    """

    spans: Spans
    changes: Moments

    def hide(self, moments: Moments) -> Mask:
        """Return which changes are told by their burst alone."""
        return covers(self.spans + np.array([1, 0]), moments)


def bursts(line: Timeline) -> Bursts:
    """Return the bursts of a signal; none where it changes `MOST_CHANGES` times or less."""
    if line.state.size - 1 <= MOST_CHANGES:
        return Bursts(NOWHERE, np.empty(0, np.int64))
    short = np.diff(line.edges) < SHORT_NS
    short[0] = False  # nothing changed where the span begins
    turns = np.flatnonzero(np.diff(np.concatenate(([False], short, [False])))).reshape(-1, 2)
    many = turns[turns[:, 1] - turns[:, 0] >= LEAST_CHANGES]
    ends_in_change = many[:, 1] < line.state.size  # else with the span
    return Bursts(line.edges[many], many[:, 1] - many[:, 0] + ends_in_change)
