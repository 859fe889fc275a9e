"""Shares with the interval that honesty asks for."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.stats import binomtest

FEW = 5
"""Below so many events a share is too few to rank by."""


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
    interval = binomtest(count, of).proportion_ci(0.95, method="wilson")
    return Share(count / of, float(interval.low), float(interval.high), count, of)
