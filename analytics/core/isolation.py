"""Fixed items: plant that must stay bonded all the time, and when it did not."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.core.spans import Spans, lengths
from bondtrail.results import WorkWindow
from bondtrail.times import nanoseconds

AFTER_WORK_NS = nanoseconds(24 * 3600.0)
"""A bond lost within this after a work window is put down to the work."""


def isolated(not_low: Spans, isolated_ns: int) -> Spans:
    """Return where an item was known and not low for ``isolated_ns`` or more. [ns]"""
    return not_low[lengths(not_low) >= isolated_ns]


def after_work(start: int, windows: Sequence[WorkWindow]) -> bool:
    """Return whether a loss at ``start`` fell in a work window or within 24 h after. [ns]"""
    return any(window.start <= start < window.end + AFTER_WORK_NS for window in windows)
