"""Shares with the interval that honesty asks for."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

FEW = 5
"""Below so many events a share is too few to rank by."""

Z_95 = 1.959963984540054
"""Standard normal deviate that leaves 2.5 % on either side."""


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
