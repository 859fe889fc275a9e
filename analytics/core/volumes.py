"""How much product flowed: the integral of flow, sample by sample under the step rule."""

from __future__ import annotations

import numpy as np

from analytics.core.spans import Spans
from bondtrail.samples import Quality, Samples
from bondtrail.times import NS_PER_S

NS_PER_MINUTE = 60 * NS_PER_S


def volumes(flow: Samples, spans: Spans, stale_ns: int) -> list[float]:
    """Return what flowed during each span.

    Parameters
    ----------
    flow : Samples
        Of the flow point. [L/min or kg/min]
    spans : ndarray of int64, shape (n, 2)
        [ns]
    stale_ns : int
        How long a sample holds without a successor. [ns]

    Returns
    -------
    list of float, length n
        [L or kg]
    """
    return [_amount(flow, start, end, stale_ns) for start, end in spans.tolist()]


def _amount(flow: Samples, start: int, end: int, stale_ns: int) -> float:
    low = max(int(flow.time.searchsorted(start, side="right")) - 1, 0)
    high = int(flow.time.searchsorted(end, side="left"))
    if low >= high:
        return 0.0
    time = flow.time[low:high]
    held = np.empty(time.size, np.int64)
    np.subtract(time[1:], time[:-1], out=held[:-1])
    held[-1] = end - time[-1]
    np.minimum(held, stale_ns, out=held)
    held[0] = max(held[0] - max(start - time[0], 0), 0)
    amount = held * flow.value[low:high]
    quality = flow.quality[low:high]
    if quality.max() == Quality.BAD:
        amount = amount[quality != Quality.BAD]
    return float(amount.sum()) / NS_PER_MINUTE
