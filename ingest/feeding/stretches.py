"""Readings of many points in one order: that of time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bondtrail.samples import QualityArray, Samples, TimeArray, ValueArray

PointArray = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Readings, each of the point whose number stands beside it; arrays of shape (n,).

    Attributes
    ----------
    point : ndarray of int16
        Numbers into the points of the site.
    time : ndarray of int64
        [ns]
    value : ndarray of float64
        In the unit in which it was written; +inf is an open circuit.
    quality : ndarray of uint8
        Codes of `bondtrail.samples.Quality`.
    """

    point: PointArray
    time: TimeArray
    value: ValueArray
    quality: QualityArray

    def __len__(self) -> int:
        return int(self.time.size)

    def part(self, rows: slice | npt.NDArray[np.bool_] | npt.NDArray[np.int64]) -> Stretch:
        """Return some of the rows."""
        return Stretch(self.point[rows], self.time[rows], self.value[rows], self.quality[rows])

    def by_time(self) -> Stretch:
        """Return the readings sorted by time; of one time they stay in their order."""
        if bool((self.time[1:] >= self.time[:-1]).all()):
            return self
        return self.part(np.argsort(self.time, kind="stable"))


def joined(parts: Iterable[Stretch]) -> Stretch:
    """Return the parts one after the other."""
    listed = list(parts)
    if len(listed) == 1:
        return listed[0]
    return Stretch(
        np.concatenate([np.zeros(0, np.int16), *(part.point for part in listed)]),
        np.concatenate([np.zeros(0, np.int64), *(part.time for part in listed)]),
        np.concatenate([np.zeros(0, np.float64), *(part.value for part in listed)]),
        np.concatenate([np.zeros(0, np.uint8), *(part.quality for part in listed)]),
    )


def of_samples(number: int, samples: Samples) -> Stretch:
    """Return the samples of one point."""
    points = np.full(len(samples), number, np.int16)
    return Stretch(points, samples.time, samples.value, samples.quality)
