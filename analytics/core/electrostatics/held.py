"""The value of a recorded signal over time, by the step rule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.spans import Moments
from bondtrail.samples import Quality, Samples, ValueArray


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A value over a span: n adjoining stretches, no two neighbours alike.

    Attributes
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Stretch k lasts from ``edges[k]`` to ``edges[k + 1]``. [ns]
    value : ndarray of float64, shape (n,)
        In the unit of the point's role; NaN where it is not known.
    """

    edges: Moments
    value: ValueArray

    def at(self, moments: Moments) -> ValueArray:
        """Return the value at each moment; all must lie in the span. [ns]"""
        return self.value[np.searchsorted(self.edges, moments, side="right") - 1]


def held(samples: Samples, stale_ns: int, span: tuple[int, int]) -> Held:
    """Return the value of a point over a span.

    Parameters
    ----------
    samples : Samples
        Of one point, strictly rising in time; one before the span counts where it holds into it.
    stale_ns : int
        How long a sample holds without a successor. [ns]
    span : tuple of int
        Start and end, start before end. [ns]

    Returns
    -------
    Held
        Unknown before the first sample, after one has gone stale, and while one of bad quality or
        without a number is in force.
    """
    low = max(int(samples.time.searchsorted(span[0], side="right")) - 1, 0)
    high = int(samples.time.searchsorted(span[1]))
    begins = samples.time[low:high]
    bad = samples.quality[low:high] == int(Quality.BAD)
    value = np.where(bad, np.nan, samples.value[low:high])
    ends = np.minimum(begins + stale_ns, np.append(begins[1:], span[1])[: begins.size])
    edges = np.concatenate(([span[0]], np.column_stack((begins, ends)).ravel(), [span[1]]))
    values = np.column_stack((value, np.full_like(value, np.nan))).ravel()
    return _joined(np.clip(edges, *span), np.concatenate(([np.nan], values)))


def _joined(edges: Moments, value: ValueArray) -> Held:
    """Return stretches without the empty ones, equal neighbours as one."""
    lasting = edges[1:] > edges[:-1]
    begins, value = edges[:-1][lasting], value[lasting]
    turns = np.ones(value.size, bool)
    np.not_equal(value[1:], value[:-1], out=turns[1:])
    turns[1:] &= ~(np.isnan(value[1:]) & np.isnan(value[:-1]))
    return Held(np.append(begins[turns], edges[-1]), value[turns])
