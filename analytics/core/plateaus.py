"""Where a rate settles: the steady stretches of a flow that a reader should know of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analytics.core.spans import Spans
from bondtrail.samples import Samples
from bondtrail.times import NS_PER_S

STEADY_NS = 10 * NS_PER_S
"""So long a rate stays within `STEADY` of its median where it has settled."""
STEADY = 0.1
ANOTHER = 0.2
"""A rate that differs by more than this share from the one told last is another."""
MOST_STEPS = 4096
"""A run is looked at in so many steps at most, of a second at least."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """A rate that has settled: since which reading, and on what. [ns; L/min or kg/min]"""

    start: int
    rate: float


def plateaus(flow: Samples, runs: Spans) -> list[Plateau]:
    """Return where the rate settles in each run of flow, and where on another rate.

    Parameters
    ----------
    flow : Samples
        Of the flow point, strictly rising in time; known throughout the runs.
    runs : ndarray of int64, shape (m, 2)
        Where flow is on; shorter ones than `STEADY_NS` settle on nothing. [ns]
    """
    found: list[Plateau] = []
    if not len(flow):
        return found
    for start, end in runs[runs[:, 1] - runs[:, 0] >= STEADY_NS].tolist():
        found += _of_run(flow, start, end)
    return found


def _of_run(flow: Samples, start: int, end: int) -> list[Plateau]:
    step = max(NS_PER_S, -((start - end) // MOST_STEPS))
    moments = np.arange(start, end, step)
    at = np.maximum(flow.time.searchsorted(moments, side="right") - 1, 0)
    wide = max(-(-STEADY_NS // step), 2)
    if moments.size < wide:
        return []
    windows = sliding_window_view(flow.value[at], wide)
    middle = np.median(windows, axis=1)
    steady = np.abs(windows - middle[:, None]).max(axis=1) <= STEADY * middle
    settled = np.flatnonzero(steady)
    found: list[Plateau] = []
    while settled.size:
        first = int(settled[0])
        found.append(Plateau(max(int(flow.time[at[first]]), start), float(middle[first])))
        others = np.abs(middle[settled] - middle[first]) > ANOTHER * middle[first]
        settled = settled[int(others.argmax()) :] if others.any() else settled[:0]
    return found
