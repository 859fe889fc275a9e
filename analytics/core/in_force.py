"""What the readings say at a moment: the value in force, and what has flowed by then."""

from __future__ import annotations

import numpy as np

from analytics.core.spans import Moments, Spans
from analytics.core.volumes import NS_PER_MINUTE, FlowMeter
from bondtrail.samples import Quality, Samples, ValueArray


def in_force(samples: Samples, stale_ns: int, moments: Moments) -> ValueArray:
    """Return the value in force at each moment; NaN where none is fresh and good enough.

    Parameters
    ----------
    samples : Samples
        Of one point, strictly rising in time.
    stale_ns : int
        How long a sample holds without a successor. [ns]
    moments : ndarray of int64, shape (n,)
        In any order. [ns]
    """
    if not len(samples):
        return np.full(len(moments), np.nan)
    at = samples.time.searchsorted(moments, side="right") - 1
    held = np.maximum(at, 0)
    known = (at >= 0) & (moments - samples.time[held] < stale_ns)
    known &= samples.quality[held] != int(Quality.BAD)
    return np.where(known, samples.value[held], np.nan)


def amounts_until(meter: FlowMeter, moments: Moments) -> ValueArray:
    """Return what has flowed from a meter's first reading up to each moment. [L or kg]

    Parameters
    ----------
    meter : FlowMeter
        What is unknown adds nothing.
    moments : ndarray of int64, shape (n,)
        In any order. [ns]
    """
    if not meter.time.size:
        return np.zeros(len(moments))
    held = np.minimum(np.diff(meter.time), meter.stale_ns)
    whole = np.concatenate(([0.0], np.cumsum(held * meter.rate[:-1])))
    at = meter.time.searchsorted(moments, side="right") - 1
    last = np.maximum(at, 0)
    begun = np.minimum(moments - meter.time[last], meter.stale_ns) * meter.rate[last]
    total: ValueArray = np.where(at >= 0, whole[last] + begun, 0.0) / NS_PER_MINUTE
    return total


def flowed(meter: FlowMeter, runs: Spans, moments: Moments) -> ValueArray:
    """Return what has flowed in some runs up to each moment. [L or kg]

    Parameters
    ----------
    meter : FlowMeter
        Of the station's flow.
    runs : ndarray of int64, shape (m, 2)
        Where flow is on: sorted and disjoint. What trickles outside them does not count. [ns]
    moments : ndarray of int64, shape (n,)
        In any order. [ns]
    """
    if not len(runs):
        return np.zeros(len(moments))
    edges = amounts_until(meter, runs.ravel()).reshape(-1, 2)
    before = np.concatenate(([0.0], np.cumsum(edges[:, 1] - edges[:, 0])))
    run = runs[:, 0].searchsorted(moments, side="right") - 1
    within = np.minimum(moments, runs[np.maximum(run, 0), 1])
    since = amounts_until(meter, within) - edges[np.maximum(run, 0), 0]
    total: ValueArray = np.where(run >= 0, before[np.maximum(run, 0)] + since, 0.0)
    return total
