"""One measured figure beside the yardstick of the same run."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """A benchmark's outcome; ``ratio`` is ours over the yardstick, as ``reach`` counts it."""

    name: str
    ours: str
    yardstick: str
    ratio: float
    reach: str
    reached: bool


def median_seconds(action: Callable[[], object], runs: int = 3) -> float:
    """Return the median wall time of several runs, after one that is not counted."""
    action()
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        action()
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken)
