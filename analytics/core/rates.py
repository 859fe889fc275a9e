"""Rates of events with the exact interval of their count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core.shares import FEW, TAIL_95, Estimates, Floats


@dataclass(frozen=True, slots=True)
class Rate:
    """So many events ``count`` over an exposure ``of``, as a rate with its 95 % interval.

    The unit of the exposure and what the rate is per are in the name of the figure. Value and
    interval are None where there was no exposure, whatever was counted.
    """

    value: float | None
    low: float | None
    high: float | None
    count: int
    of: float

    @property
    def is_few(self) -> bool:
        """Whether there are too few events to rank by."""
        return self.count < FEW


def garwood(count: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Return the exact 95 % limits of the expected count behind each count of events.

    Parameters
    ----------
    count : array_like of int, shape (n,)
        Events seen, 0 or more.

    Returns
    -------
    low, high : ndarray of float64, shape (n,)
        Events expected.

    Raises
    ------
    ValueError
        If a count is negative.

    Notes
    -----
    With events that come at a constant rate and one independent of the other: ``chi2(0.025; 2
    k) / 2`` to ``chi2(0.975; 2 k + 2) / 2`` [1]_. Trips that come in clusters vary more.

    References
    ----------
    .. [1] F. Garwood, Biometrika 28 (1936) 437-442; NIST/SEMATECH e-Handbook 8.4.5.1.
    """
    from scipy.special import gammaincinv  # loads in 0.3 s: only where a rate is asked for

    counts = np.asarray(count, np.float64)
    if not np.all(counts >= 0):
        raise ValueError(f"count must be 0 or more, got {counts.min():.0f}")
    # Most of many rows have the same few counts, and each inverse costs a microsecond or more.
    seen, back = np.unique(counts, return_inverse=True)
    low = np.where(seen > 0, gammaincinv(np.maximum(seen, 1), TAIL_95), 0.0)
    high = gammaincinv(seen + 1, 1 - TAIL_95)
    return low[back], high[back]


def poisson_rates(count: npt.ArrayLike, exposure: npt.ArrayLike, per: float = 1.0) -> Estimates:
    """Return many rates with their exact 95 % intervals, as `poisson_rate` does for one.

    Parameters
    ----------
    count : array_like of int, shape (n,)
        Events seen, 0 or more.
    exposure : array_like of float, shape (n,)
        What they were seen over, 0 or more, in one unit.
    per : float
        How much exposure the rate is told for.

    Raises
    ------
    ValueError
        If a count or an exposure is negative.
    """
    counts, exposures = np.asarray(count, np.float64), np.asarray(exposure, np.float64)
    if not np.all(exposures >= 0):
        raise ValueError(f"exposure must be 0 or more, got {exposures.min()}")
    low, high = garwood(counts)
    scale = per / np.where(exposures == 0, np.nan, exposures)
    return Estimates(counts * scale, low * scale, high * scale)


def poisson_rate(count: int, exposure: float, per: float = 1.0) -> Rate:
    """Return a rate of events with its exact 95 % interval.

    Parameters
    ----------
    count : int
        Events seen, 0 or more.
    exposure : float
        What they were seen over, 0 or more: transfers, or hours.
    per : float
        How much exposure the rate is told for: 100 transfers, or 1000 hours.

    Raises
    ------
    ValueError
        If the count or the exposure is negative.
    """
    value, low, high = (float(part[0]) for part in poisson_rates([count], [exposure], per))
    if exposure == 0:
        return Rate(None, None, None, count, exposure)
    return Rate(value, low, high, count, exposure)
