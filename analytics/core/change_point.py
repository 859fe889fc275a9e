"""Whether a level changed at once, and when: Pettitt's test, and a step told from a slope.

A test for a trend finds one in a step too. So the step is tried beside the slope, and whichever
describes the values better is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

import numpy as np

from analytics.core.mann_kendall import Slope
from bondtrail.samples import ValueArray

SMALLEST = 1e-9
"""A mean residual below this counts as none: what is left is rounding."""


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """Where the level changed most clearly.

    Attributes
    ----------
    index : int
        Of the first value after the change.
    statistic : float
        Pettitt's K.
    p_value : float
        Two-sided, approximate; good for below about 0.5.
    before, after : float
        The medians on both sides.
    """

    index: int
    statistic: float
    p_value: float
    before: float
    after: float


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
    before, after = float(np.median(values[:index])), float(np.median(values[index:]))
    return ChangePoint(index, statistic, p_value, before, after)


def mid_ranks(values: ValueArray) -> ValueArray:
    """Return the ranks from 1 on; equal values share the mean of theirs."""
    _, group, counts = np.unique(values, return_inverse=True, return_counts=True)
    ends = np.cumsum(counts)
    ranks: ValueArray = (ends - (counts - 1) / 2)[group]
    return ranks


def is_step(x: ValueArray, y: ValueArray, slope: Slope, change: ChangePoint) -> bool:
    """Return whether two levels describe the values better than a line or a bend.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        ``x`` rising and not all equal.
    slope : Slope
        Of ``y`` over ``x``; the line runs through their medians.
    change : ChangePoint
        Of ``y``.

    Notes
    -----
    Compared by the Bayesian information criterion under Laplace errors, which wild values hardly
    move: ``2 n ln(mean absolute residual) + k ln n``, with k 2 for the line, 3 for two levels and
    3 for the bend. The bend, a parabola, is there for wear that speeds up: two levels follow
    that better than a line does, and yet nothing happened at once.
    """
    size = y.size
    levels = np.where(np.arange(size) < change.index, change.before, change.after)
    line = np.median(y) + slope.value * (x - np.median(x))
    step = _criterion(y - levels, 3)
    return step < min(_criterion(y - line, 2), _criterion(y - _bend(x, y), 3))


def _criterion(residuals: ValueArray, parameters: int) -> float:
    size = residuals.size
    mean = max(float(np.abs(residuals).mean()), SMALLEST)
    return 2 * size * log(mean) + parameters * log(size)


def _bend(x: ValueArray, y: ValueArray) -> ValueArray:
    """Return a parabola through the values that wild ones hardly pull: least absolute residuals.

    Found by least squares, weighted anew a few times by how far each value is off.
    """
    span = (x - x.mean()) / (x.max() - x.min())
    terms = np.column_stack((np.ones_like(span), span, span**2))
    weight = np.ones_like(y)
    for _ in range(10):
        found = np.linalg.lstsq(terms * weight[:, None], y * weight, rcond=None)[0]
        bend: ValueArray = terms @ found
        off = np.abs(y - bend)
        weight = 1 / np.sqrt(np.maximum(off, max(float(off.mean()) * 1e-3, SMALLEST)))
    return bend
