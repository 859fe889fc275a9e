"""How many events a system has had by each age, on average over many: Nelson's mean function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from analytics.core.histories import History
from bondtrail.samples import ValueArray


@dataclass(frozen=True, slots=True, eq=False)
class MeanCumulative:
    """The mean cumulative function, a step at each distinct time of an event.

    Attributes
    ----------
    times : ndarray of float64, shape (n,)
        Of events, rising.
    watched : ndarray of int64, shape (n,)
        Systems still watched then.
    mean : ndarray of float64, shape (n,)
        Events per system up to and with then.
    variance : ndarray of float64, shape (n,)
        Of the mean.
    low, high : ndarray of float64, shape (n,)
        Interval of the mean at each time by itself; not a band around the whole curve.
    """

    times: ValueArray
    watched: npt.NDArray[np.int64]
    mean: ValueArray
    variance: ValueArray
    low: ValueArray
    high: ValueArray


def mean_cumulative_function(
    histories: Sequence[History], confidence: float = 0.95
) -> MeanCumulative:
    """Return the mean cumulative function of systems that were watched for different times.

    Parameters
    ----------
    histories : sequence of History
        One per system, those without any event too. One whose watch ends at a time still counts
        as watched then.
    confidence : float
        Of the interval, above 0 and below 1.

    Notes
    -----
    At each time the mean rises by the events of that time over the systems still watched. It
    asks for nothing but that a system's end says nothing of its events. The variance is the
    robust one: the sum over systems of the square of what each adds to the mean beyond its
    share; 0 from a single system, which cannot show how systems differ. The interval is that of
    the logarithm, so that it stays above 0.

    References
    ----------
    .. [1] W. Nelson, Recurrent Events Data Analysis for Product Repairs, Disease Recurrences, and
       Other Applications (2003).
    .. [2] J. F. Lawless and C. Nadeau, Technometrics 37 (1995) 158-168.
    """
    events = np.concatenate([item.times for item in histories] or [np.empty(0)])
    times, counts = np.unique(events, return_counts=True)
    ends = np.sort([item.end for item in histories])
    watched = ends.size - ends.searchsorted(times, side="left")
    steps: ValueArray = counts / watched
    mean = np.cumsum(steps)
    variance = np.zeros(times.size)
    # One system after the other: all at once they would take systems x events of memory.
    for item in histories:
        beyond = (item.end >= times) * (_counts(item, times) - steps) / watched
        variance += np.cumsum(beyond) ** 2
    reach = float(ndtri((1 + confidence) / 2)) * np.sqrt(variance) / mean
    return MeanCumulative(
        times, watched, mean, variance, mean * np.exp(-reach), mean * np.exp(reach)
    )


def _counts(item: History, times: ValueArray) -> ValueArray:
    return np.bincount(times.searchsorted(item.times), minlength=times.size).astype(np.float64)
