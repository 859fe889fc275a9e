"""Fewer samples for the screen, without losing an extreme or a change of state."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bondtrail.samples import TimeArray, ValueArray

IndexArray = npt.NDArray[np.int64]


def thin(
    time: TimeArray,
    value: ValueArray,
    state: npt.NDArray[np.integer],
    breaks: npt.NDArray[np.bool_],
    buckets: int = 1500,
) -> IndexArray:
    """Return the indices of the samples to draw, rising.

    Kept are the first and the last sample, both samples beside every change of state and every
    break, and in each bucket of equal time the least and the greatest value of each state. So
    an open circuit does not hide the highest reading beside it.

    Parameters
    ----------
    time : ndarray of int64, shape (n,)
        Rising. [ns]
    value : ndarray of float64, shape (n,)
        May be +inf.
    state : ndarray of int, shape (n,)
        Whatever must not be lost when it changes; 0 or more.
    breaks : ndarray of bool, shape (n,)
        True where nothing is known between this sample and the next.
    buckets : int
        At least 1. Series of up to four times as many samples are returned whole.

    Returns
    -------
    ndarray of int64
        At most ``4 * buckets`` a state, and four for each change or break.
    """
    n = time.size
    if n <= 4 * buckets:
        return np.arange(n, dtype=np.int64)
    edges = np.flatnonzero((state[1:] != state[:-1]) | breaks[:-1])
    ends = np.array([0, n - 1], np.int64)
    kept = [ends, edges, edges + 1, _extremes(time, value, state, buckets)]
    return np.unique(np.concatenate(kept))


def _extremes(
    time: TimeArray, value: ValueArray, state: npt.NDArray[np.integer], buckets: int
) -> IndexArray:
    """Return where each bucket has the least and the greatest value of each state."""
    width = max(1, -(-int(time[-1] - time[0] + 1) // buckets))
    group = (time - time[0]) // width * (int(state.max()) + 1) + state
    order = np.lexsort((value, group))
    ordered = group[order]
    last = np.append(ordered[1:] != ordered[:-1], True)
    first = np.append(True, last[:-1])
    return np.concatenate([order[first], order[last]])
