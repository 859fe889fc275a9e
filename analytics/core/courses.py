"""How a signal runs in a station's good transfers, and where another one leaves their range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.core.in_force import in_force
from analytics.core.runs import Contact, timeline
from analytics.core.spans import lengths
from analytics.core.typical import FEW, Comparison, TypicalCourse
from bondtrail.samples import Samples, TimeArray, ValueArray
from bondtrail.times import NS_PER_S

MOST_POINTS = 600
LASTING_NS = 10 * NS_PER_S
"""A signal that is out of the range for less is not told: a ramp, a bounce of the clamp."""
BESIDE = 0.25
"""And only if it is out by more than this share. Our own measure."""


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """One signal of one transfer.

    Attributes
    ----------
    samples : Samples
        Strictly rising in time.
    stale_ns : int
        How long a sample holds without a successor. [ns]
    zero : int
        The first flow. [ns]
    span : tuple of int
        What belongs to the transfer: nothing is taken from outside it. [ns]
    """

    samples: Samples
    stale_ns: int
    zero: int
    span: tuple[int, int]


def typical_course(
    good: Sequence[Recorded], since_s: float, until_s: float, points: int = MOST_POINTS
) -> TypicalCourse:
    """Return how a signal ran in the good transfers, on an even grid about their first flow.

    Parameters
    ----------
    good : sequence of Recorded
        Of the same signal.
    since_s, until_s : float
        The ends of the grid, from the first flow. [s]
    points : int
        How many, 2 or more.
    """
    offsets = np.linspace(since_s, until_s, points)
    steps = np.round(offsets * NS_PER_S).astype(np.int64)
    rows = [_values(each, each.zero + steps) for each in good]
    low, middle, high = _ranges(np.array(rows).reshape(len(rows), points))
    return TypicalCourse(offsets, low, middle, high)


def _values(each: Recorded, moments: TimeArray) -> ValueArray:
    inside = (moments >= each.span[0]) & (moments < each.span[1])
    return np.where(inside, in_force(each.samples, each.stale_ns, moments), np.nan)


def _ranges(rows: ValueArray) -> tuple[ValueArray, ValueArray, ValueArray]:
    """Return least, median and greatest of each column that `FEW` rows or more know; else NaN."""
    enough = np.count_nonzero(~np.isnan(rows), axis=0) >= FEW
    low, middle, high = (np.full(rows.shape[1], np.nan) for _ in range(3))
    if enough.any():
        some = rows[:, enough]
        low[enough], high[enough] = np.nanmin(some, axis=0), np.nanmax(some, axis=0)
        middle[enough] = np.nanmedian(some, axis=0)
    return low, middle, high


def leaves_range(
    name: str, this: Recorded, course: TypicalCourse, good: int, *, only_above: bool = False
) -> Comparison | None:
    """Return where a signal first leaves the range of the good ones for good 10 s, or None.

    Parameters
    ----------
    name : str
        Of the comparison.
    this : Recorded
        The signal of the transfer.
    course : TypicalCourse
        Of the same signal.
    good : int
        How many transfers the course is of.
    only_above : bool
        Whether to be lower is no difference, as of a resistance.
    """
    time = this.samples.time
    if not time.size or course.offset_s.size < 2:
        return None
    grid = np.round(course.offset_s * NS_PER_S).astype(np.int64) + this.zero
    # The range over the step of the grid in which a reading lies, so that a ramp a little
    # earlier or later is within it.
    at = np.clip(grid.searchsorted(time, side="right"), 1, grid.size - 1)
    low = np.minimum(course.low[at - 1], course.low[at])
    high = np.maximum(course.high[at - 1], course.high[at])
    value = this.samples.value
    out = value > high * (1 + BESIDE)
    if not only_above:
        out |= value < low * (1 - BESIDE)
    out &= (time >= grid[0]) & (time < grid[-1])
    flags = Samples(time, out.astype(np.float64), this.samples.quality)
    line = timeline(flags, lambda v: (v > 0.5).view(np.uint8), this.stale_ns, this.span)
    spans = line.where(Contact.ON)
    lasting = spans[lengths(spans) >= LASTING_NS]
    if not len(lasting):
        return None
    moment = int(lasting[0, 0])
    k = max(int(time.searchsorted(moment, side="right")) - 1, 0)
    middle = float(course.median[at[k]])
    return Comparison(
        name, moment, float(value[k]), float(low[k]), middle, float(high[k]), good, differs=True
    )
