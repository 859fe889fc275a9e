"""Whether a level changed at once, and when: Pettitt's test, and a step told from a slope.

A test for a trend finds one in a step too. So the step is tried beside the slope, and whichever
describes the values better is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

import numpy as np

from bondtrail.samples import ValueArray

SMALLEST = 1e-9
"""A mean residual below this counts as none: what is left is rounding."""
KNOTS = 20
"""An onset is looked for at every such part of the values."""
FITS = 10
"""Rounds at most in which a fit is bettered; further ones change little."""
CLEARLY = 10.0
"""A criterion lower by this is very strong evidence, as the usual reading of it goes."""


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """Where ranks change most clearly.

    Attributes
    ----------
    index : int
        Of the first value after the change.
    statistic : float
        Pettitt's K.
    p_value : float
        Two-sided, approximate; good for below about 0.5.
    """

    index: int
    statistic: float
    p_value: float


@dataclass(frozen=True, slots=True)
class Levels:
    """Two levels that values lie about.

    Attributes
    ----------
    index : int
        Of the first value at the second level.
    before, after : float
        The medians of both parts.
    off : float
        How far values are off their level: the mean absolute residual.
    """

    index: int
    before: float
    after: float
    off: float


@dataclass(frozen=True, slots=True)
class Onset:
    """A level that turns into a line.

    Attributes
    ----------
    index : int
        Of the value at which the line begins.
    off : float
        How far values are off: the mean absolute residual.
    line_off : float
        How far they are off a line throughout.
    """

    index: int
    off: float
    line_off: float


def pettitt(values: ValueArray) -> ChangePoint:
    """Return the most likely change of level among values in the order of time.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        At least 2, finite.

    Raises
    ------
    ValueError
        With fewer than 2 values.

    References
    ----------
    .. [1] A. N. Pettitt, A non-parametric approach to the change-point problem, Applied
       Statistics 28 (1979) 126-135.
    """
    size = values.size
    if size < 2:
        raise ValueError(f"a change needs at least 2 values, got {size}")
    sums = np.cumsum(mid_ranks(values))[:-1]
    excess = np.abs(2 * sums - np.arange(1, size) * (size + 1))
    index = int(excess.argmax()) + 1
    statistic = float(excess[index - 1])
    p_value = min(1.0, 2 * exp(-6 * statistic**2 / (float(size) ** 3 + float(size) ** 2)))
    return ChangePoint(index, statistic, p_value)


def two_levels(values: ValueArray, near: int) -> Levels:
    """Return two levels that fit best, from where a change is thought to be.

    Ranks find that there is a change, yet place it some values off: the order within a level
    counts as much for them as that between the levels.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        At least 2, finite.
    near : int
        Index of the change by Pettitt's test.
    """
    index = near
    for _ in range(FITS):
        before, after = float(np.median(values[:index])), float(np.median(values[index:]))
        away, there = np.abs(values - before), np.abs(values - after)
        sums = np.cumsum(away - there)[:-1]
        best = int(sums.argmin()) + 1
        if sums[best - 1] == sums[index - 1]:
            break
        index = best
    return Levels(index, before, after, float(sums[index - 1] + there.sum()) / values.size)


def mid_ranks(values: ValueArray) -> ValueArray:
    """Return the ranks from 1 on; equal values share the mean of theirs."""
    _, group, counts = np.unique(values, return_inverse=True, return_counts=True)
    ends = np.cumsum(counts)
    ranks: ValueArray = (ends - (counts - 1) / 2)[group]
    return ranks


def onset(x: ValueArray, y: ValueArray, least: int = 1) -> Onset:
    """Return the level, and the line from some moment on, that fit best.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        At least 2; ``x`` rising.
    least : int
        So many values at least, below n, belong to the line.

    Notes
    -----
    Tried at every twentieth of the values. Least absolute residuals, found by least squares that
    are weighted anew a few times by how far each value is off, so that wild values hardly pull.
    """
    knots = np.linspace(0, y.size, KNOTS + 1)[:-1].astype(np.int64)
    knots = np.unique(np.clip(knots, 0, y.size - least))
    run = np.maximum(x - x[knots, None], 0.0)
    weight = np.ones_like(run)
    for _ in range(FITS):
        share = weight / weight.sum(axis=1, keepdims=True)
        ahead = run - (share * run).sum(axis=1, keepdims=True)
        level = (share * y).sum(axis=1, keepdims=True)
        spread = (share * ahead**2).sum(axis=1, keepdims=True)
        slope = (share * ahead * y).sum(axis=1, keepdims=True) / np.where(spread > 0, spread, 1.0)
        off = np.abs(y - level - slope * ahead)
        mean = off.mean(axis=1, keepdims=True)
        weight = 1 / np.maximum(off, np.maximum(mean * 1e-3, SMALLEST))
    best = int(mean.argmin())
    return Onset(int(knots[best]), float(mean[best, 0]), float(mean[0, 0]))


def is_step(x: ValueArray, y: ValueArray, levels: Levels) -> bool:
    """Return whether two levels describe the values better than what goes on rising or falling.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        At least 2; ``x`` rising.
    levels : Levels
        Of ``y``.

    Notes
    -----
    Compared by the Bayesian information criterion under Laplace errors, which wild values hardly
    move: ``2 n ln(mean absolute residual) + k ln n``, k being 2 for a line, else 3. What goes on
    is a line, or a level that turns into one: wear that begins or speeds up, which two levels
    follow better than a line does though nothing happened at once.
    """
    begun = onset(x, y)
    others = _criterion(begun.line_off, y.size, 2), _criterion(begun.off, y.size, 3)
    return _criterion(levels.off, y.size, 3) < min(others)


def has_begun(begun: Onset, size: int) -> bool:
    """Return whether so many values were level first, rather than on one line throughout.

    That is, by a criterion at least 10 lower.
    """
    return _criterion(begun.off, size, 3) <= _criterion(begun.line_off, size, 2) - CLEARLY


def _criterion(off: float, size: int, parameters: int) -> float:
    return 2 * size * log(max(off, SMALLEST)) + parameters * log(size)
