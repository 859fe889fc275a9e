"""The trend of one system's events, as tests put it."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.core.histories import history
from analytics.core.trends import EventTrend, pooled_trend


def event_trend(
    times: Sequence[float], total: float, *, ends_with_event: bool = False
) -> EventTrend:
    return pooled_trend([history(times, total, ends_with_event=ends_with_event)])
