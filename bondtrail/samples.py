"""One point's series in memory: three arrays of equal length, sorted by time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

TimeArray = npt.NDArray[np.int64]
ValueArray = npt.NDArray[np.float64]
QualityArray = npt.NDArray[np.uint8]


class Quality(IntEnum):
    """The three severities of OPC UA."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


class Status(IntEnum):
    """What a monitor says of a channel."""

    NOT_BONDED = 0
    BONDED = 1
    FAULT = 2
    OFF = 3


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """The samples of one point: strictly rising in time, unless a docstring says otherwise.

    Attributes
    ----------
    time : ndarray of int64, shape (n,)
        UTC, nanoseconds since 1970.
    value : ndarray of float64, shape (n,)
        In the unit of the point's role; +inf is an open circuit.
    quality : ndarray of uint8, shape (n,)
        Codes of `Quality`.
    """

    time: TimeArray
    value: ValueArray
    quality: QualityArray

    @classmethod
    def of(
        cls,
        time: npt.ArrayLike,
        value: npt.ArrayLike,
        quality: npt.ArrayLike | None = None,
    ) -> Samples:
        """Return samples from anything array-like; quality is good unless given.

        Raises
        ------
        ValueError
            If the arrays are not of one length.
        """
        times = np.asarray(time, np.int64)
        values = np.asarray(value, np.float64)
        marks = np.zeros(times.size, np.uint8) if quality is None else np.asarray(quality, np.uint8)
        if not times.shape == values.shape == marks.shape:
            shapes = times.shape, values.shape, marks.shape
            raise ValueError(f"time, value and quality must be of one length, got {shapes}")
        return cls(times, values, marks)

    @classmethod
    def empty(cls) -> Samples:
        """Return a series without samples."""
        return cls.of([], [])

    def __len__(self) -> int:
        return int(self.time.size)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Samples):
            return NotImplemented
        return (
            np.array_equal(self.time, other.time)
            and np.array_equal(self.value, other.value)
            and np.array_equal(self.quality, other.quality)
        )

    def between(self, start: int, end: int) -> Samples:
        """Return the samples in ``[start, end)``; both in ns."""
        low, high = np.searchsorted(self.time, (start, end))
        return Samples(self.time[low:high], self.value[low:high], self.quality[low:high])


@dataclass(frozen=True, slots=True)
class Replaced:
    """Readings of one point that one commit put others in the place of.

    Attributes
    ----------
    at : int or None
        When those that took their place arrived; None where nobody knows. [ns]
    samples : Samples
        The earlier readings, sorted by time. There are several of one time where a commit brought
        several that differ: they stand in the order in which they held.
    """

    at: int | None
    samples: Samples


def concatenate(parts: Iterable[Samples]) -> Samples:
    """Return the parts one after the other; sorting is the caller's business."""
    listed = list(parts)
    if not listed:
        return Samples.empty()
    return Samples(
        np.concatenate([part.time for part in listed]),
        np.concatenate([part.value for part in listed]),
        np.concatenate([part.quality for part in listed]),
    )


def later_wins(samples: Samples) -> Samples:
    """Return the samples sorted and without repeats.

    Of several at one time the last in the given order is kept: later writes win.
    """
    order = np.argsort(samples.time, kind="stable")
    time = samples.time[order]
    last = np.ones(time.size, bool)
    np.not_equal(time[1:], time[:-1], out=last[:-1])
    kept = order[last]
    return Samples(samples.time[kept], samples.value[kept], samples.quality[kept])
