"""Shares with the interval that honesty asks for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Interval = Literal["wilson", "clopper-pearson"]

FEW = 5
"""Below so many there is too little to rank by: of so many for a share, events for a rate."""

TOO_FEW = "too few to rank"
"""What stands in place of a rank."""

Z_95 = 1.959963984540054
"""Standard normal deviate that leaves 2.5 % on either side."""

TAIL_95 = 0.025
"""What a 95 % interval leaves on either side."""


@dataclass(frozen=True, slots=True)
class Share:
    """A share ``count`` of ``of`` with its 95 % interval; all None when there was nothing."""

    value: float | None
    low: float | None
    high: float | None
    count: int
    of: int

    @property
    def is_few(self) -> bool:
        """Whether there is too little to rank by."""
        return self.of < FEW


@dataclass(frozen=True, slots=True)
class TimeShare:
    """A share ``count`` of ``of`` of time, both in s.

    Time is no sample, so there is no interval; the ends are None, as those of any figure may be.
    """

    value: float | None
    low: None
    high: None
    count: float
    of: float

    @property
    def is_few(self) -> bool:
        """Whether there is too little to rank by: no time at all."""
        return not self.of


class Estimates(NamedTuple):
    """Many figures with their ends; NaN where there was nothing to count among."""

    value: Floats
    low: Floats
    high: Floats


def wilson(count: int, of: int) -> Share:
    """Return a share with its Wilson 95 % score interval.

    Parameters
    ----------
    count, of : int
        So many of so many; ``0 <= count <= of``.

    Raises
    ------
    ValueError
        If the count lies outside that.

    References
    ----------
    .. [1] R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, method 3.
    """
    if not 0 <= count <= of:
        raise ValueError(f"count must lie in 0 .. {of}, got {count}")
    if of == 0:
        return Share(None, None, None, 0, 0)
    part, spread = count / of, Z_95**2 / of
    middle = (part + spread / 2) / (1 + spread)
    half = sqrt(spread * (part * (1 - part) + spread / 4)) / (1 + spread)
    low = middle - half if count else 0.0  # exactly, where rounding would leave a trace
    high = middle + half if count < of else 1.0
    return Share(part, low, high, count, of)


def wilson_many(count: npt.ArrayLike, of: npt.ArrayLike) -> Estimates:
    """Return many shares with their Wilson 95 % score intervals, as `wilson` does for one.

    Parameters
    ----------
    count, of : array_like of int, shape (n,)
        So many of so many; ``0 <= count <= of``.

    Raises
    ------
    ValueError
        If a count lies outside that.
    """
    counts, wholes = _checked(count, of)
    among = np.where(wholes == 0, np.nan, wholes)
    part, spread = counts / among, Z_95**2 / among
    middle = (part + spread / 2) / (1 + spread)
    half = np.sqrt(spread * (part * (1 - part) + spread / 4)) / (1 + spread)
    low = np.where((counts == 0) & (wholes > 0), 0.0, middle - half)
    high = np.where((counts == wholes) & (wholes > 0), 1.0, middle + half)
    return Estimates(part, low, high)


def _checked(count: npt.ArrayLike, of: npt.ArrayLike) -> tuple[Floats, Floats]:
    counts, wholes = np.asarray(count, np.float64), np.asarray(of, np.float64)
    outside = ~((counts >= 0) & (counts <= wholes))
    if outside.any():
        first = int(np.flatnonzero(outside)[0])
        raise ValueError(f"count must lie in 0 .. {wholes[first]:.0f}, got {counts[first]:.0f}")
    return counts, wholes


def clopper_pearson_many(count: npt.ArrayLike, of: npt.ArrayLike) -> Estimates:
    """Return many shares with their exact 95 % intervals, which cover the truth at least so often.

    Wilson's is the one that figures show unless asked: it covers the truth in 95 % of cases on
    average over all truths, and this one, mostly wider, in no case less often.

    Parameters
    ----------
    count, of : array_like of int, shape (n,)
        So many of so many; ``0 <= count <= of``.

    Raises
    ------
    ValueError
        If a count lies outside that.

    References
    ----------
    .. [1] R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, method 5.
    """
    from scipy.special import betaincinv  # loads in 0.3 s, which few callers need

    counts, wholes = _checked(count, of)
    # Many rows have the same few counts, and each inverse costs some microseconds.
    seen, back = np.unique(counts + 1j * wholes, return_inverse=True)
    some, rest = seen.real, seen.imag - seen.real
    low = np.where(some > 0, betaincinv(np.maximum(some, 1), rest + 1, TAIL_95), 0.0)
    high = np.where(rest > 0, betaincinv(some + 1, np.maximum(rest, 1), 1 - TAIL_95), 1.0)
    none = np.where(wholes == 0, np.nan, 0.0)
    return Estimates(counts / (wholes + none), low[back] + none, high[back] + none)


INTERVALS: Mapping[Interval, Callable[[npt.ArrayLike, npt.ArrayLike], Estimates]] = {
    "wilson": wilson_many,
    "clopper-pearson": clopper_pearson_many,
}
"""How the interval of a share is computed."""
