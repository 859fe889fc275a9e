"""Chattering: bond losses that crowd together."""

from __future__ import annotations

import numpy as np

from analytics.core.spans import Moments


def clusters(lost: Moments, count: int, window_ns: int) -> list[tuple[int, int, int]]:
    """Return the clusters of losses: first loss, last loss and how many. [ns, ns, -]

    Parameters
    ----------
    lost : ndarray of int64, shape (n,)
        Rising moments at which the bond was lost. [ns]
    count : int
        So many losses within the window make a cluster; at least 2.
    window_ns : int
        From the first to the last of them. Clusters that share a loss or overlap are one. [ns]
    """
    if lost.size < count:
        return []
    first = np.flatnonzero(lost[count - 1 :] - lost[: lost.size - count + 1] <= window_ns)
    if not first.size:
        return []
    last = first + count - 1
    apart = np.flatnonzero(first[1:] > last[:-1]) + 1
    begins = first[np.concatenate(([0], apart))]
    ends = last[np.concatenate((apart - 1, [last.size - 1]))]
    return [(int(lost[a]), int(lost[b]), int(b - a + 1)) for a, b in zip(begins, ends, strict=True)]
