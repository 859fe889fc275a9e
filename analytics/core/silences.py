"""Where a point tells nothing: it is silent, or what it says is bad."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from analytics.core.runs import BAD_DATA, NO_DATA, States, Timeline, timeline
from bondtrail.samples import Samples, ValueArray


class Told(IntEnum):
    """Whether a point tells something."""

    KNOWN = 0
    SILENT = NO_DATA
    BAD = BAD_DATA


def told(samples: Samples, stale_ns: int, span: tuple[int, int]) -> Timeline:
    """Return where a point is known, silent or bad over a span, with codes of `Told`.

    Parameters
    ----------
    samples : Samples
        Of one point, strictly rising in time.
    stale_ns : int
        How long a sample holds without a successor. [ns]
    span : tuple of int
        Start and end. [ns]
    """
    return timeline(samples, _anything, stale_ns, span)


def _anything(value: ValueArray) -> States:
    return np.zeros(value.size, np.uint8)
