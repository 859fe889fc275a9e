"""How much product flowed: the integral of flow, sample by sample under the step rule."""

from __future__ import annotations

import numpy as np

from analytics.core.spans import Spans
from bondtrail.samples import Quality, Samples
from bondtrail.times import NS_PER_S

NS_PER_MINUTE = 60 * NS_PER_S


def volume(flow: Samples, spans: Spans, stale_ns: int) -> float:
    """Return what flowed during the spans.

    Parameters
    ----------
    flow : Samples
        Of the flow point. [L/min or kg/min]
    spans : ndarray of int64, shape (n, 2)
        Sorted and disjoint. [ns]
    stale_ns : int
        How long a sample holds without a successor. [ns]

    Returns
    -------
    float
        To a millionth, so that it does not depend on how the sum was cut. [L or kg]
    """
    amounts = (_amount(flow, start, end, stale_ns) for start, end in spans.tolist())
    return round(sum(amounts, 0.0), 6)


def _amount(flow: Samples, start: int, end: int, stale_ns: int) -> float:
    low = max(int(np.searchsorted(flow.time, start, side="right")) - 1, 0)
    high = int(np.searchsorted(flow.time, end, side="left"))
    if low >= high:
        return 0.0
    time = flow.time[low:high]
    until = np.minimum(np.append(time[1:], end), time + stale_ns)
    held = np.clip(until, start, end) - np.clip(time, start, end)
    rate = np.where(flow.quality[low:high] == Quality.BAD, 0.0, flow.value[low:high])
    return float(np.sum(rate * held)) / NS_PER_MINUTE
