"""The mean time between events that come at a steady rate."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from scipy.special import chdtri


@dataclass(frozen=True, slots=True)
class Mtbf:
    """Mean time between events with its interval.

    Attributes
    ----------
    value : float or None
        Time per event; None without any.
    low, high : float or None
        Two-sided interval. Without any event only the low end is known, one-sided.
    count : int
        Of events.
    total : float
        Time watched, of all systems.
    """

    value: float | None
    low: float | None
    high: float | None
    count: int
    total: float


def steady_mtbf(
    count: int, total: float, confidence: float = 0.95, *, ends_with_event: bool = False
) -> Mtbf:
    """Return the mean time between events of a steady rate, with its exact interval.

    Parameters
    ----------
    count : int
        Of events, 0 or more.
    total : float
        Time watched, of all systems; above 0.
    confidence : float
        Of the interval, above 0 and below 1.
    ends_with_event : bool
        Whether the watch of each system ended because of its last event, and not at a moment set
        beforehand.

    Raises
    ------
    ValueError
        If the count or the time is not in those bounds, or there is no event to end with.

    Notes
    -----
    ``2 T / chi2(1 - a / 2; 2 r + 2)`` to ``2 T / chi2(a / 2; 2 r)`` with ``a`` 1 less the
    confidence; ``2 r`` in both where the watch ends with an event. For no event the low end is
    ``T / -ln(a)``.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1.
    """
    if count < ends_with_event:
        raise ValueError(f"count must be {int(ends_with_event)} or more, got {count}")
    if not total > 0:
        raise ValueError(f"total must be above 0, got {total}")
    tail = (1 - confidence) / 2
    if not count:
        return Mtbf(None, total / -log(2 * tail), None, 0, total)
    most = 2 * count if ends_with_event else 2 * count + 2
    return Mtbf(
        value=total / count,
        low=2 * total / float(chdtri(most, tail)),
        high=2 * total / float(chdtri(2 * count, 1 - tail)),
        count=count,
        total=total,
    )
