"""When readings are due: in step with the clock, at so many times its speed, or at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import numpy as np

from bondtrail.times import NS_PER_S
from ingest.feeding.stretches import Stretch

AT_ONCE = 8192
"""Readings that are handed on together at most."""
TICK_S = 0.05
"""How long readings are gathered where they go faster than they were recorded. [s]"""


def due(
    stretches: Iterable[Stretch],
    speed: float | None,
    clock_s: Callable[[], float],
    wait: Callable[[float], None],
) -> Iterator[Stretch]:
    """Yield readings when they are due, in the order in which they come.

    Parameters
    ----------
    stretches : iterable of Stretch
        Each sorted by time. The first reading of all is due at once.
    speed : float or None
        So many seconds of the record go by in a second; None has no pace.
    clock_s : callable
        Tells the time of a clock that is never set. [s]
    wait : callable
        Called with the seconds to wait.
    """
    begun = clock_s()
    first: int | None = None
    for stretch in stretches:
        if first is None and len(stretch):
            first = int(stretch.time[0])
        at = 0
        while at < len(stretch):
            assert first is not None
            if speed is None:
                end = len(stretch)
            else:
                reached = first + round((clock_s() - begun) * speed * NS_PER_S)
                end = int(np.searchsorted(stretch.time, reached, side="right"))
                if end <= at:
                    ahead_s = (int(stretch.time[at]) - reached) / NS_PER_S / speed
                    wait(max(ahead_s, TICK_S if speed > 1 else 0.0))
                    continue
            end = min(end, at + AT_ONCE)
            yield stretch.part(slice(at, end))
            at = end
