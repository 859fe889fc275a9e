"""How much product flowed: the integral of flow, sample by sample under the step rule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.spans import Spans
from bondtrail.samples import Quality, Samples, TimeArray, ValueArray
from bondtrail.times import NS_PER_S

NS_PER_MINUTE = 60 * NS_PER_S


@dataclass(frozen=True, slots=True, eq=False)
class FlowMeter:
    """A flow point, ready to be summed over any spans.

    Attributes
    ----------
    time : ndarray of int64, shape (n,)
        Of the samples, strictly rising. [ns]
    rate : ndarray of float64, shape (n,)
        Nothing where the data are bad: what is unknown adds nothing. [L/min or kg/min]
    stale_ns : int
        How long a sample holds without a successor. [ns]
    """

    time: TimeArray
    rate: ValueArray
    stale_ns: int

    @classmethod
    def of(cls, flow: Samples, stale_ns: int) -> FlowMeter:
        """Return the meter of a flow point's samples."""
        bad = flow.quality == int(Quality.BAD)
        rate = np.where(bad, 0.0, flow.value) if bad.any() else flow.value
        return cls(flow.time, rate, stale_ns)

    def amounts(self, spans: Spans) -> list[float]:
        """Return what flowed during each span. [L or kg]"""
        return [self._amount(start, end) for start, end in spans.tolist()]

    def _amount(self, start: int, end: int) -> float:
        low = max(int(self.time.searchsorted(start, side="right")) - 1, 0)
        high = int(self.time.searchsorted(end, side="left"))
        if low >= high:
            return 0.0
        time = self.time[low:high]
        held = np.empty(time.size, np.int64)
        np.subtract(time[1:], time[:-1], out=held[:-1])
        held[-1] = end - time[-1]
        if held.max() > self.stale_ns:
            np.minimum(held, self.stale_ns, out=held)
        held[0] = max(int(held[0]) - max(start - int(time[0]), 0), 0)
        return float(np.sum(held * self.rate[low:high])) / NS_PER_MINUTE
