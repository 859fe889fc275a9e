"""Lines that hold their value until the next sample, and stop where nothing is known."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from analytics.core.spans import Spans, covers, distinct
from bondtrail.samples import Quality, Samples, TimeArray, ValueArray
from bondtrail.times import NS_PER_MS, local
from dashboard.figures.thinning import thin

UTC = ZoneInfo("UTC")
Axis = npt.NDArray[np.float64]
"""Milliseconds since 1970 on the site's clock: what a plotly date axis takes as numbers."""


@dataclass(frozen=True, slots=True)
class Clock:
    """The site's clock, held still for one figure.

    A plotly axis knows no zones, and a clock that is put back would draw an hour twice: so a
    figure keeps the offset of its start throughout, and says so.
    """

    offset_ns: int
    label: str

    def axis(self, moment: npt.ArrayLike) -> Axis:
        """Return moments (ns, UTC) as positions on the time axis."""
        return (np.asarray(moment, np.int64) + self.offset_ns) / 1e6

    def text(self, moment: int, form: str = "%H:%M:%S") -> str:
        """Return a moment (ns, UTC) in words; ``%L`` stands for its milliseconds, cut."""
        shown = moment + self.offset_ns
        millis = f"{shown // NS_PER_MS % 1000:03d}"
        return f"{local(shown, UTC):{form.replace('%L', millis)}}"


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Samples to draw: ``value`` holds in ``[time, until)``; equal lengths, rising."""

    time: TimeArray
    until: TimeArray
    value: ValueArray
    state: npt.NDArray[np.int64]


def steps(
    samples: Samples,
    state: npt.NDArray[np.integer],
    stale_ns: int,
    end: int,
    buckets: int = 1500,
) -> Steps:
    """Return the thinned steps of a series; bad samples are left out, as nothing is known then.

    Parameters
    ----------
    samples : Samples
        Sorted.
    state : ndarray of int, shape (n,)
        Class of each sample, 0 or more; see `thin`.
    stale_ns : int
        How long a sample holds without a successor. [ns]
    end : int
        Nothing is drawn from here on. [ns]
    buckets : int
        See `thin`.
    """
    following = np.append(samples.time[1:], end)
    until = np.minimum(np.minimum(following, samples.time + stale_ns), end)
    gap = until < following
    bad = samples.quality == Quality.BAD
    marked = np.where(bad, 0, np.asarray(state, np.int64) + 1)
    kept = thin(samples.time, samples.value, marked, gap, buckets)
    drawn_until = np.where(gap[kept], until[kept], np.append(samples.time[kept[1:]], end))
    shown = ~bad[kept] & (samples.time[kept] < end)
    kept, drawn_until = kept[shown], np.minimum(drawn_until[shown], end)
    return Steps(
        samples.time[kept], drawn_until, samples.value[kept], np.asarray(state, np.int64)[kept]
    )


def inside(drawn: Steps, spans: Spans) -> Steps:
    """Return the parts of the steps that lie inside the spans. ``spans`` in ns."""
    if not drawn.time.size or not len(spans):
        return Steps(drawn.time[:0], drawn.until[:0], drawn.value[:0], drawn.state[:0])
    edges = distinct(np.concatenate((drawn.time, drawn.until, spans.ravel())))
    time, until = edges[:-1], edges[1:]
    step = np.searchsorted(drawn.time, time, side="right") - 1
    kept = (step >= 0) & (time < drawn.until[step]) & covers(spans, time)
    step = step[kept]
    return Steps(time[kept], until[kept], drawn.value[step], drawn.state[step])


def line(
    drawn: Steps, clock: Clock, only: npt.NDArray[np.bool_] | None = None
) -> tuple[Axis, Axis]:
    """Return x and y of the steps (those where ``only`` is true), parted by NaN at breaks."""
    chosen = np.ones(drawn.time.size, bool) if only is None else only
    time, until, value = drawn.time[chosen], drawn.until[chosen], drawn.value[chosen]
    if not time.size:
        return np.empty(0), np.empty(0)
    x = np.column_stack([clock.axis(time), clock.axis(until)]).ravel()
    y = np.column_stack([value, value]).ravel().astype(np.float64)
    after = 2 * (np.flatnonzero(until[:-1] != time[1:]) + 1)
    return np.insert(x, after, np.nan), np.insert(y, after, np.nan)


def boxes(spans: list[tuple[int, int]], clock: Clock, low: float, high: float) -> tuple[Axis, Axis]:
    """Return x and y of closed boxes over the spans (ns), parted by NaN, for one filled trace."""
    if not spans:
        return np.empty(0), np.empty(0)
    edge = clock.axis(np.array(spans, np.int64))
    begin, end = edge[:, 0], edge[:, 1]
    parting = np.full(begin.size, np.nan)
    x = np.column_stack([begin, begin, end, end, begin, parting]).ravel()
    y = np.tile([low, high, high, low, low, np.nan], begin.size)
    return x, y
