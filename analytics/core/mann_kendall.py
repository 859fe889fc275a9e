"""Whether values rise or fall over time, and how fast: Mann-Kendall and Theil-Sen.

Both look at ranks of pairs alone, so that a few wild values change nothing. They take the values
as independent of each other; values that follow their neighbours make them find too much.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erfc, sqrt

import numpy as np

from analytics.core.shares import Z_95
from bondtrail.samples import ValueArray


@dataclass(frozen=True, slots=True)
class MannKendall:
    """The test for a trend.

    Attributes
    ----------
    s : int
        Pairs that rise less pairs that fall.
    variance : float
        Of ``s`` where there is no trend, corrected for equal values.
    z : float
        ``s`` in standard deviations, one step nearer to 0 (continuity correction).
    p_value : float
        Two-sided, by the normal distribution; good from about 10 values on.
    """

    s: int
    variance: float
    z: float
    p_value: float


@dataclass(frozen=True, slots=True)
class Slope:
    """A Theil-Sen slope with its 95 % interval, in units of y per unit of x."""

    value: float
    low: float
    high: float


def two_sided(z: float) -> float:
    """Return the probability of a standard normal deviate as far from 0 as ``z``."""
    return erfc(abs(z) / sqrt(2))


def tie_sizes(values: ValueArray) -> ValueArray:
    """Return how many share each distinct value, as float64."""
    return np.unique(values, return_counts=True)[1].astype(np.float64)


def mann_kendall(values: ValueArray) -> MannKendall:
    """Return the Mann-Kendall test of values in the order of time.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Finite.

    References
    ----------
    .. [1] R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987),
       section 16.4.
    """
    size = values.size
    _, ranks, ties = np.unique(values, return_inverse=True, return_counts=True)
    equal = int((ties * (ties - 1) // 2).sum())
    # Small integers compare four times as fast as the values.
    ranks = ranks.astype(np.int16 if size < 2**15 else np.int64)
    rising = sum(int(np.count_nonzero(ranks[k + 1 :] > ranks[k])) for k in range(size - 1))
    s = 2 * rising + equal - size * (size - 1) // 2
    variance = _s_variance(size, ties.astype(np.float64))
    z = (s - np.sign(s)) / sqrt(variance) if variance > 0 else 0.0
    return MannKendall(s, variance, float(z), two_sided(float(z)))


def _s_variance(size: int, *ties: ValueArray) -> float:
    spread = size * (size - 1.0) * (2 * size + 5)
    for tie in ties:
        spread -= float((tie * (tie - 1) * (2 * tie + 5)).sum())
    return max(spread, 0.0) / 18


def sen_slope(x: ValueArray, y: ValueArray) -> Slope | None:
    """Return the median slope of all pairs, with its 95 % interval.

    Parameters
    ----------
    x : ndarray of float64, shape (n,)
        Rising; equal values make no pair.
    y : ndarray of float64, shape (n,)
        Finite. Takes about 25 n * n bytes for the time of the call.

    Returns
    -------
    Slope or None
        None where no two x differ.

    Notes
    -----
    The interval is Sen's: so many of the ordered slopes are cut off at either end as the normal
    distribution of Kendall's S, corrected for equal values, leaves outside 95 %.

    References
    ----------
    .. [1] P. K. Sen, Journal of the American Statistical Association 63 (1968) 1379-1389.
    """
    run = x - x[:, None]
    pairs = run > 0
    slopes = (y - y[:, None])[pairs] / run[pairs]
    if not slopes.size:
        return None
    last = slopes.size - 1
    reach = Z_95 * sqrt(_s_variance(x.size, tie_sizes(x), tie_sizes(y)))
    low = max(round((slopes.size - reach) / 2) - 1, 0)
    high = min(round((slopes.size + reach) / 2), last)
    middle = (last // 2, (last + 1) // 2)
    slopes.partition((low, *middle, high))
    return Slope(float(slopes[list(middle)].mean()), float(slopes[low]), float(slopes[high]))
