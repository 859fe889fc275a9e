"""From samples to run lengths: the step rule.

A sample holds until the next sample of its point, but no longer than ``stale``; after that, and
under bad quality, the state is unknown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from analytics.core.spans import Mask, Moments, Spans, where
from bondtrail.samples import Quality, Samples, TimeArray, ValueArray

States = npt.NDArray[np.uint8]
Classify = Callable[[ValueArray], States]
"""Values of one chunk to state codes, each below `NO_DATA`."""

NO_DATA = 8
"""Nothing fresh: before the first sample, or after the last has gone stale."""
BAD_DATA = 9
"""A sample of bad quality is in force."""

CHUNK = 131_072
"""Samples at a time: 128 k of each array stay in the processor's cache. Measured: one pass over
whole arrays takes twice as long."""


_NONE = 255
_BAD = int(Quality.BAD)


class Contact(IntEnum):
    """State of a signal that is on or off."""

    OFF = 0
    ON = 1
    UNKNOWN = 2


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """A state over time: adjoining runs, no two neighbours alike.

    Attributes
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Run k lasts from ``edges[k]`` to ``edges[k + 1]``. [ns]
    state : ndarray of uint8, shape (n,)
    """

    edges: Moments
    state: States

    def where(self, *states: int) -> Spans:
        """Return the maximal stretches in which one of the states holds."""
        return where(self.edges, np.isin(self.state, states))

    def sample(self, moments: Moments) -> States:
        """Return the state at each moment; all must lie within the edges."""
        return self.state[np.searchsorted(self.edges, moments, side="right") - 1]

    def mapped(self, codes: dict[int, int]) -> Timeline:
        """Return the timeline under other codes, with neighbours that became alike joined."""
        table = np.arange(256, dtype=np.uint8)
        for old, new in codes.items():
            table[old] = new
        return joined(self.edges, table[self.state])


def joined(edges: Moments, state: States) -> Timeline:
    """Return a timeline of the given runs, empty ones left out and equal neighbours joined."""
    lasting = edges[1:] > edges[:-1]
    begins, state, end = edges[:-1][lasting], state[lasting], edges[-1:]
    turns = np.ones(state.size, bool)
    np.not_equal(state[1:], state[:-1], out=turns[1:])
    return Timeline(np.concatenate((begins[turns], end)), state[turns])


def timeline(
    samples: Samples, classify: Classify, stale_ns: int, span: tuple[int, int]
) -> Timeline:
    """Return the runs of a point's state over a span.

    Parameters
    ----------
    samples : Samples
        Of one point, strictly rising in time; those outside the span count where they hold into
        it.
    classify : Classify
        Value to state code.
    stale_ns : int
        How long a sample holds without a successor. [ns]
    span : tuple of int
        Start and end of the timeline, start before end. [ns]

    Returns
    -------
    Timeline
        With the codes of ``classify``, `NO_DATA` and `BAD_DATA`.
    """
    first, state = _run_starts(samples, classify, stale_ns)
    begins = samples.time[first]
    last = np.append(first[1:], len(samples)) - 1 if len(first) else first
    ends = samples.time[last] + stale_ns
    ends = np.minimum(ends, np.append(begins[1:], np.iinfo(np.int64).max))
    edges = np.column_stack((begins, ends)).ravel()
    states = np.column_stack((state, np.full_like(state, NO_DATA))).ravel()
    edges = np.concatenate(([min(span[0], begins[0] if len(begins) else span[0])], edges))
    states = np.concatenate((np.array([NO_DATA], np.uint8), states))
    edges = np.clip(np.append(edges, max(span[1], edges[-1])), *span)
    return joined(edges, states)


def _run_starts(
    samples: Samples, classify: Classify, stale_ns: int
) -> tuple[npt.NDArray[np.int64], States]:
    """Return the index and the state of each sample that begins a run."""
    indexes, states = [], []
    gaps, marks = np.empty(CHUNK, np.int64), np.empty(CHUNK, bool)
    previous = _NONE
    for low in range(0, len(samples), CHUNK):
        high = min(low + CHUNK, len(samples))
        state = classify(samples.value[low:high])
        bad = samples.quality[low:high] == _BAD
        if bad.any():
            state = np.where(bad, np.uint8(BAD_DATA), state)
        turns = marks[: high - low]
        turns[0] = state[0] != previous
        np.not_equal(state[1:], state[:-1], out=turns[1:])
        _mark_silence(turns, samples.time[max(low - 1, 0) : high], stale_ns, gaps)
        index = np.flatnonzero(turns)
        indexes.append(index + low)
        states.append(state[index])
        previous = int(state[-1])
    if not indexes:
        return np.empty(0, np.int64), np.empty(0, np.uint8)
    return np.concatenate(indexes), np.concatenate(states)


def _mark_silence(turns: Mask, time: TimeArray, stale_ns: int, gaps: TimeArray) -> None:
    """Mark the samples that follow a silence: it ends a run, even where the state is the same.

    ``gaps`` is room to work in, so that no chunk asks for memory of its own.
    """
    gap = np.subtract(time[1:], time[:-1], out=gaps[: time.size - 1])
    if gap.size and gap.max() > stale_ns:
        turns[turns.size - gap.size :] |= gap > stale_ns


def last_known(line: Timeline, unknown: int) -> States:
    """Return for each run the known state before it, skipping unknown; ``unknown`` if none."""
    known = np.where(line.state != unknown, np.arange(1, line.state.size + 1), 0)
    latest = np.concatenate(([0], np.maximum.accumulate(known)[:-1])) if known.size else known
    return np.where(latest > 0, line.state[latest - 1], np.uint8(unknown))
