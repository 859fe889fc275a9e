"""Quantiles of times from histograms that add up over any days, stations and shifts.

A time falls into one of 702 bins, 100 to a decade. Bin n of 1 to 700 counts the times above
``0.01 * 10 ** ((n - 1) / 100)`` and up to ``0.01 * 10 ** (n / 100)`` s; bin 0 those up to 0.01 s,
bin 701 those over 100 000 s. A histogram maps a bin to its count and leaves out bins that count
none, so that a quiet day costs nothing. What is lost is `RELATIVE_ERROR` of a time, no more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

import numpy as np
import numpy.typing as npt

Histogram = Mapping[int, int]
Bins = npt.NDArray[np.int64]
Times = npt.NDArray[np.float64]

BINS_PER_DECADE = 100
SHORTEST_S = 0.01
"""Times up to this are told as this."""
LONGEST_S = 100_000.0
"""Times over this, more than a day, are told as this."""

# Whole powers of ten come out exact this way, so that a time of 1 s is never split from 1 s.
_EDGES_S: Times = 10.0 ** ((np.arange(701) - 200) / BINS_PER_DECADE)
LAST_BIN = len(_EDGES_S)

_MIDDLES_S: Times = np.concatenate(
    ([SHORTEST_S], np.sqrt(_EDGES_S[:-1] * _EDGES_S[1:]), [LONGEST_S])
)
"""What the times of each bin are taken as: the geometric middle."""

RELATIVE_ERROR = 10 ** (0.5 / BINS_PER_DECADE) - 1
"""A quantile of a histogram is within 1.16 % of that of its times, from 0.01 to 100 000 s."""


def bins_of(times_s: npt.ArrayLike) -> Bins:
    """Return the bin of each time.

    Parameters
    ----------
    times_s : array_like of float, shape (n,)
        0 or more. [s]

    Returns
    -------
    ndarray of int64, shape (n,)
        From 0 to `LAST_BIN`.

    Raises
    ------
    ValueError
        If a time is negative or not a number.
    """
    times = np.asarray(times_s, np.float64)
    if not np.all(times >= 0):
        raise ValueError(f"a time must be 0 s or more, got {times[~(times >= 0)].flat[0]}")
    return np.searchsorted(_EDGES_S, times, side="left").astype(np.int64)


def histogram(times_s: Iterable[float | None]) -> dict[int, int]:
    """Return how many times fall into each bin, in rising order of bins; None is left out. [s]"""
    bins = bins_of([time for time in times_s if time is not None])
    filled, counts = np.unique(bins, return_counts=True)
    return dict(zip(filled.tolist(), counts.tolist(), strict=True))


def upper_edge_s(index: int) -> float:
    """Return the longest time that a bin counts; infinite for the last one. [s]

    Raises
    ------
    ValueError
        If there is no such bin.
    """
    if not 0 <= index <= LAST_BIN:
        raise ValueError(f"a bin must be 0 .. {LAST_BIN}, got {index}")
    return float("inf") if index == LAST_BIN else float(_EDGES_S[index])


def quantile(counts: Histogram, q: float) -> float | None:
    """Return a quantile of the times that a histogram counts; None where it counts none. [s]

    Parameters
    ----------
    counts : mapping of int to int
        Count of each bin.
    q : float
        0 to 1: 0.5 asks for the median, 0.95 for the 95th percentile.

    Raises
    ------
    ValueError
        If ``q`` lies outside that, or there is no such bin.

    Notes
    -----
    Linear between the two order statistics beside it, as numpy's default, with each time taken
    as the middle of its bin; so it is within `RELATIVE_ERROR` of the quantile of the times.
    """
    found = quantiles([counts], [q])[0, 0]
    return None if np.isnan(found) else float(found)


def quantiles(histograms: Sequence[Histogram], qs: Sequence[float]) -> Times:
    """Return quantiles of many histograms at once, as `quantile` does for one.

    Parameters
    ----------
    histograms : sequence of mapping, length n
        Count of each bin.
    qs : sequence of float, length m
        0 to 1.

    Returns
    -------
    ndarray of float64, shape (n, m)
        NaN in the row of a histogram that counts nothing. [s]

    Raises
    ------
    ValueError
        If a ``q`` lies outside that, or there is no such bin.
    """
    if not all(0 <= q <= 1 for q in qs):
        raise ValueError(f"q must lie in 0 .. 1, got {list(qs)}")
    found = np.full((len(histograms), len(qs)), np.nan)
    middles, reached, before, total = _flat(histograms)
    some = np.flatnonzero(total)
    if not some.size:
        return found
    for k, q in enumerate(qs):
        place = (total[some] - 1) * q
        below = np.floor(place)
        rank = before[some] + below.astype(np.int64)
        beyond = np.minimum(rank + 1, before[some] + total[some] - 1)
        low = middles[reached.searchsorted(rank, side="right")]
        high = middles[reached.searchsorted(beyond, side="right")]
        found[some, k] = low + (high - low) * (place - below)
    return found


def _flat(histograms: Sequence[Histogram]) -> tuple[Times, Bins, Bins, Bins]:
    """Return all bins in one row, each histogram's in rising order.

    With them: how many times there are up to and with each of them, over all histograms; and for
    each histogram how many there are before it, and in it.
    """
    sizes = np.fromiter(map(len, histograms), np.int64, len(histograms))
    bins = np.fromiter(chain.from_iterable(histograms), np.int64, int(sizes.sum()))
    counts = np.fromiter(
        chain.from_iterable(one.values() for one in histograms), np.int64, len(bins)
    )
    if bins.size and not 0 <= bins.min() <= bins.max() <= LAST_BIN:
        raise ValueError(f"a bin must be 0 .. {LAST_BIN}, got {bins.min()} .. {bins.max()}")
    places = np.repeat(np.arange(len(sizes)) * (LAST_BIN + 1), sizes) + bins
    if np.any(places[1:] < places[:-1]):
        order = np.argsort(places)
        bins, counts = bins[order], counts[order]
    reached = np.cumsum(counts)
    ends = np.concatenate(([0], reached))[np.cumsum(sizes)]
    before = np.concatenate(([0], ends))[: len(sizes)]
    return _MIDDLES_S[bins], reached, before, ends - before
