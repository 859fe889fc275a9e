"""The power-law process (Crow-AMSAA): ``scale * t ** beta`` events expected of a system by time t.

``beta`` above 1: events come faster and faster; below 1: ever slower; 1: at a steady rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log, sqrt

import numpy as np
from scipy.special import chdtri, gammaln, ive, ndtri

from analytics.core.histories import History
from bondtrail.samples import ValueArray

EVENTS_MIN = 2
"""Fewer leave nothing to fit."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """One estimate of the process.

    Attributes
    ----------
    beta, scale : float
        Of the process.
    mtbf : float
        Mean time between events of a system at the end of its history (of the longest one).
    mtbf_low, mtbf_high : float or None
        Its interval; None where none is known: histories that differ in length or end with an
        event, or too few events.
    """

    beta: float
    scale: float
    mtbf: float
    mtbf_low: float | None
    mtbf_high: float | None

    @property
    def intensity(self) -> float:
        """Events per time of a system at the end of its history."""
        return 1 / self.mtbf


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """The fit of a power-law process.

    Attributes
    ----------
    likelihood : Estimate
        By maximum likelihood; the interval of its MTBF is Crow's.
    modified : Estimate or None
        With the bias of ``beta`` taken out; the interval of its MTBF is the approximate one of
        the NIST handbook. None below 3 events, or 2 in a history that does not end with one.
    beta_low, beta_high : float
        Exact interval of ``beta``, by chi-squared.
    confidence : float
        Of all intervals.
    cramer_von_mises : float or None
        How far off the fit is. Above about 0.17 a power law would be rejected at 10 %.
    """

    likelihood: Estimate
    modified: Estimate | None
    beta_low: float
    beta_high: float
    confidence: float
    cramer_von_mises: float | None


def fit_power_law(histories: Sequence[History], confidence: float = 0.95) -> PowerLaw | None:
    """Return the power-law process that systems of one sort follow.

    Parameters
    ----------
    histories : sequence of History
        One per system.
    confidence : float
        Of the intervals, above 0 and below 1.

    Returns
    -------
    PowerLaw or None
        None below 2 events, or where all come at the end.

    Notes
    -----
    ``beta = n / sum ln(T / t)`` over all events of all systems, each with its own end ``T``. Where
    the ends differ this is the maximum likelihood given how many events each system had. The
    unbiased estimate has ``n - 1`` in place of ``n``, less one for each history that ends with
    an event. ``2 beta sum ln(T / t)`` is chi-squared with twice as many degrees of freedom as
    there are events not at the end of one.

    References
    ----------
    .. [1] L. H. Crow, Reliability Analysis for Complex, Repairable Systems, in Reliability and
       Biometry (1974).
    .. [2] MIL-HDBK-189, Reliability Growth Management (1981), appendix C.
    .. [3] NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.2.
    """
    events = sum(item.times.size for item in histories)
    free = sum(item.inner.size for item in histories)
    spread = sum(float(np.log(item.end / item.times).sum()) for item in histories)
    if events < EVENTS_MIN or spread <= 0:
        return None
    tail = (1 - confidence) / 2
    plain = events / spread
    unbiased = (free - 1) / spread
    modified = None
    if unbiased > 0:
        modified = _estimate(histories, unbiased, handbook_factors(events, confidence))
    return PowerLaw(
        likelihood=_estimate(histories, plain, crow_factors(events, confidence)),
        modified=modified,
        beta_low=float(chdtri(2 * free, 1 - tail)) / (2 * spread),
        beta_high=float(chdtri(2 * free, tail)) / (2 * spread),
        confidence=confidence,
        cramer_von_mises=_misfit(histories, unbiased) if unbiased > 0 else None,
    )


def _estimate(
    histories: Sequence[History], beta: float, factors: tuple[float, float | None]
) -> Estimate:
    ends = np.array([item.end for item in histories])
    longest = float(ends.max())
    events = sum(item.times.size for item in histories)
    # In shares of the longest end, or a large power of a long time would overflow.
    per_system = events / float(((ends / longest) ** beta).sum())
    mtbf = longest / (per_system * beta)
    known = bool((ends == longest).all()) and not any(item.ends_with_event for item in histories)
    low, high = factors if known else (None, None)
    return Estimate(
        beta=beta,
        scale=per_system * longest**-beta,
        mtbf=mtbf,
        mtbf_low=None if low is None else mtbf * low,
        mtbf_high=None if high is None else mtbf * high,
    )


def _misfit(histories: Sequence[History], unbiased: float) -> float:
    """Return the Cramer-von Mises statistic of the events not at the end of a history."""
    share = np.sort(np.concatenate([item.inner / item.end for item in histories]))
    count = share.size
    middle = (2 * np.arange(1, count + 1) - 1) / (2 * count)
    return float(1 / (12 * count) + ((share**unbiased - middle) ** 2).sum())


@lru_cache(maxsize=1024)
def crow_factors(events: int, confidence: float) -> tuple[float, float]:
    """Return what the likelihood MTBF is multiplied by for the ends of Crow's interval.

    Parameters
    ----------
    events : int
        At least 1, in histories that end at a moment set beforehand.
    confidence : float
        Above 0 and below 1.

    Notes
    -----
    Given ``sum ln(T / t)``, the count of events follows a law in which ``w ** n / (n! (n - 1)!)``
    is the weight of n and ``w`` is that sum times beta times the events expected. The ends are
    those w at which as many events, or more, and as many, or fewer, keep half of the rest each.

    References
    ----------
    .. [1] L. H. Crow, Confidence Interval Procedures for Reliability Growth Analysis (1977), as
       tabled in MIL-HDBK-189 (1981), appendix C.
    """
    tail = (1 - confidence) / 2
    most = _falls_to(tail, events, float(events) ** 2)
    least = _falls_to(1 - tail, events - 1, float(events) ** 2)
    return events**2 / most, events**2 / least


def _falls_to(chance: float, events: int, near: float) -> float:
    """Return the weight at which the chance of at most so many events has fallen to ``chance``."""
    low = high = near
    while _at_most(events, low) < chance:
        low /= 2
    while _at_most(events, high) > chance:
        high *= 2
    while high - low > 1e-10 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if _at_most(events, middle) > chance else (low, middle)
    return high


def _at_most(events: int, weight: float) -> float:
    """Return the chance of at most so many events, and of at least one, given their weight."""
    count = np.arange(1, events + 1)
    root = 2 * sqrt(weight)
    # All of them add up to sqrt(w) I1(2 sqrt(w)); `ive` is I1 without its factor exp(2 sqrt(w)).
    whole = log(weight) / 2 + log(ive(1, root)) + root
    terms: ValueArray = count * log(weight) - gammaln(count + 1) - gammaln(count) - whole
    return float(np.exp(terms).sum())


def handbook_factors(events: int, confidence: float) -> tuple[float, float | None]:
    """Return what the modified MTBF is multiplied by for the ends of the handbook's interval.

    The upper one is None where there are too few events for it.

    Notes
    -----
    ``n (n - 1) / (n + z z / 4 + sqrt(z z (n / 2 + z z / 16))) ** 2`` and
    ``n (n - 1) / (n - z sqrt(n / 2)) ** 2`` with the normal deviate z of the confidence: near
    Crow's interval for many events, and narrower for few.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.2.
    """
    z = float(ndtri((1 + confidence) / 2))
    pairs = events * (events - 1)
    low = pairs / (events + z * z / 4 + sqrt(z * z * (events / 2 + z * z / 16))) ** 2
    root = events - z * sqrt(events / 2)
    return low, pairs / root**2 if root > 0 else None
