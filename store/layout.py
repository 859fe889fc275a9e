"""Which segments a change touches and how samples are cut into segments: pure.

A segment holds about a day of 1 Hz: three quarters of `FULL` to one and a half. Smaller ones
are the open end of a point. They grow as a binary counter does: new samples swallow the
segments beside them that are no larger than they are, so that a sample is rewritten a handful
of times however small the pieces it comes in, and there are never more than a few small ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bondtrail.samples import Samples, TimeArray
from store.merging import piece

FULL = 86_400
"""Samples in a segment: a day of 1 Hz."""
CLOSED = FULL * 3 // 4
"""A segment of this many samples is left alone by what comes beside it."""
LARGEST = FULL * 3 // 2
"""A segment of more samples than this is cut."""
REGION = 4 * FULL
"""Samples to have in memory at once when neighbours are rewritten together."""


@dataclass(frozen=True, slots=True)
class Segment:
    """What a row says of a segment; ``first`` and ``last`` are its own samples' times in ns."""

    id: int
    point_id: int
    first: int
    last: int
    samples: int


@dataclass(frozen=True, slots=True)
class Region:
    """A stretch to rewrite: segments ``[low, high)`` of a list and new samples ``[a, b)``."""

    low: int
    high: int
    a: int
    b: int


def plan(segments: Sequence[Segment], time: TimeArray) -> list[Region]:
    """Return what to rewrite so that samples at ``time`` find their place.

    Parameters
    ----------
    segments : sequence of Segment
        Those that overlap the span of ``time`` and some on either side, in order of time.
    time : ndarray of int64
        Rising, without repeats. [ns]
    """
    regions: list[Region] = []
    for region in _touched(segments, time):
        if regions and _belong_together(regions[-1], region, segments):
            regions[-1] = replace(regions[-1], high=region.high, b=region.b)
        else:
            regions.append(region)
    return _swallow(regions, segments)


def _touched(segments: Sequence[Segment], time: TimeArray) -> Iterator[Region]:
    """Yield the gaps and the segments that new samples fall into, in order."""
    position = 0
    lows = np.searchsorted(time, [segment.first for segment in segments], "left").tolist()
    highs = np.searchsorted(time, [segment.last for segment in segments], "right").tolist()
    for index, (low, high) in enumerate(zip(lows, highs, strict=True)):
        if low > position:
            yield Region(index, index, position, low)
        if high > low:
            yield Region(index, index + 1, low, high)
        position = max(position, high)
    if position < time.size:
        yield Region(len(segments), len(segments), position, time.size)


def _belong_together(one: Region, other: Region, segments: Sequence[Segment]) -> bool:
    held = sum(segment.samples for segment in segments[one.low : other.high])
    return one.high == other.low and held + other.b - one.a <= REGION


def _swallow(regions: list[Region], segments: Sequence[Segment]) -> list[Region]:
    grown: list[Region] = []
    for index, region in enumerate(regions):
        floor = grown[-1].high if grown else 0
        ceiling = regions[index + 1].low if index + 1 < len(regions) else len(segments)
        grown.append(_grow(region, segments, floor, ceiling))
    return grown


def _grow(region: Region, segments: Sequence[Segment], floor: int, ceiling: int) -> Region:
    """Return the region with the neighbours that are small beside what it brings."""
    brought, low, high = region.b - region.a, region.low, region.high
    while low > floor and segments[low - 1].samples <= min(brought, CLOSED - 1):
        low -= 1
        brought += segments[low].samples
    while high < ceiling and segments[high].samples <= min(brought, CLOSED - 1):
        brought += segments[high].samples
        high += 1
    return replace(region, low=low, high=high)


def cut(samples: Samples) -> Iterator[Samples]:
    """Yield the samples in pieces that are fit to be segments."""
    low, size = 0, len(samples)
    while size - low > LARGEST:
        yield piece(samples, low, low + FULL)
        low += FULL
    if low < size:
        yield piece(samples, low, size)
