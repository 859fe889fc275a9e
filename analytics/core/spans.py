"""Spans: sorted, disjoint, half-open stretches of time as an int64 array of shape (n, 2), in ns."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Spans = npt.NDArray[np.int64]
Moments = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

NOWHERE: Spans = np.empty((0, 2), np.int64)


def where(edges: Moments, mask: Mask) -> Spans:
    """Return the maximal stretches over which ``mask`` holds.

    Parameters
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Rising edges of n adjoining intervals. [ns]
    mask : ndarray of bool, shape (n,)
        Whether the condition holds over each.
    """
    steps = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False]))))
    return edges[steps].reshape(-1, 2)


def distinct(moments: Moments) -> Moments:
    """Return the moments in order, each once. [ns]

    By sorting: for whole numbers `numpy.unique` may make a table of hashes instead, which takes
    many times as long. Mostly the moments are a few runs in order, one after the other, and to
    merge such is what a stable sort is good at.
    """
    ordered = np.sort(moments, kind="stable")
    first = np.ones(ordered.size, bool)
    np.not_equal(ordered[1:], ordered[:-1], out=first[1:])
    return ordered[first]


def united(spans: Spans) -> Spans:
    """Return spans, in order of start and of end, with those that meet or overlap as one."""
    if not len(spans):
        return spans
    apart = spans[1:, 0] > spans[:-1, 1]
    return np.column_stack((spans[np.append(True, apart), 0], spans[np.append(apart, True), 1]))


def lengths(spans: Spans) -> Moments:
    """Return the length of each span. [ns]"""
    return spans[:, 1] - spans[:, 0]


def total(spans: Spans) -> int:
    """Return the length of all spans together. [ns]"""
    return int(lengths(spans).sum())


def within(spans: Spans, start: int, end: int) -> Spans:
    """Return the parts of the spans that lie inside ``[start, end)``."""
    low = int(spans[:, 1].searchsorted(start, side="right"))
    high = int(spans[:, 0].searchsorted(end, side="left"))
    if low >= high or start >= end:
        return NOWHERE
    inside = spans[low:high].copy()
    inside[0, 0] = max(inside[0, 0], start)
    inside[-1, 1] = min(inside[-1, 1], end)
    return inside


def touches(spans: Spans, start: int, end: int) -> bool:
    """Return whether any span has a moment inside ``[start, end)``."""
    index = int(spans[:, 1].searchsorted(start, side="right"))
    return bool(index < len(spans) and spans[index, 0] < end and start < end)


def intersection(first: Spans, second: Spans) -> Spans:
    """Return the stretches that lie in a span of both."""
    if not len(first) or not len(second):
        return NOWHERE
    edges = distinct(np.concatenate((first.ravel(), second.ravel())))
    mask = covers(first, edges[:-1]) & covers(second, edges[:-1])
    return where(edges, mask)


def covers(spans: Spans, moments: Moments) -> Mask:
    """Return for each moment whether a span holds it."""
    if not len(spans):
        return np.zeros(len(moments), bool)
    index = spans[:, 0].searchsorted(moments, side="right") - 1
    inside: Mask = (index >= 0) & (moments < spans[index, 1])
    return inside


def elapsed(spans: Spans, moments: Moments) -> Moments:
    """Return how much of the spans lies before each moment; differences are sums. [ns]"""
    if not len(spans):
        return np.zeros(len(moments), np.int64)
    before = np.concatenate(([0], np.cumsum(lengths(spans))))
    index = spans[:, 0].searchsorted(moments, side="right")
    last = np.maximum(index - 1, 0)
    beyond = np.maximum(spans[last, 1] - moments, 0)
    return before[index] - np.where(index > 0, beyond, 0)
