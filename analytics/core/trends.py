"""Whether events come faster or slower over time: the tests, the verdict, and it in words.

The Laplace test decides, chosen beforehand: tests disagree on small data, and one that is chosen
after looking finds too much. The others stand beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

import numpy as np
from scipy.special import chdtr, chdtrc

from analytics.core.histories import History, history
from analytics.core.mann_kendall import two_sided
from analytics.core.mean_cumulative import MeanCumulative, mean_cumulative_function
from analytics.core.mtbf import Mtbf, steady_mtbf
from analytics.core.power_law import PowerLaw, fit_power_law
from analytics.core.shares import FEW

__all__ = [
    "ChiSquared",
    "Deviate",
    "EventTrend",
    "History",
    "MeanCumulative",
    "Mtbf",
    "PowerLaw",
    "Reversals",
    "Verdict",
    "event_trend",
    "fit_power_law",
    "history",
    "laplace_test",
    "mean_cumulative_function",
    "pooled_trend",
    "power_law_test",
    "reversals",
    "steady_mtbf",
]

TREND_P = 0.05
"""Chance below which a trend is taken to be real."""


class Verdict(StrEnum):
    """What the Laplace test says."""

    WORSE = "getting worse"
    BETTER = "getting better"
    NONE = "no sign of a trend"
    FEW = "too few to tell"


@dataclass(frozen=True, slots=True)
class Deviate:
    """A statistic that is a standard normal deviate where there is no trend.

    ``value`` above 0: events come faster; ``p_value`` is two-sided.
    """

    value: float
    p_value: float


@dataclass(frozen=True, slots=True)
class ChiSquared:
    """A statistic that is chi-squared where there is no trend.

    A large one: events come ever slower. ``below`` is the chance of one as small, ``p_value`` the
    two-sided one: twice the smaller tail.
    """

    value: float
    freedom: int
    below: float
    p_value: float


@dataclass(frozen=True, slots=True)
class Reversals:
    """Pairs of gaps of which the later is longer, out of all pairs.

    Many: events come ever slower. ``z`` is a normal deviate for more than 12 gaps.
    """

    count: int
    of: int
    z: float


@dataclass(frozen=True, slots=True)
class EventTrend:
    """What the events of one or more systems say of a trend.

    Attributes
    ----------
    count : int
        Of events.
    systems : int
        Of histories, those without any event among them.
    verdict : Verdict
        By the Laplace test, two-sided at 5 %.
    laplace : Deviate or None
        None where no event lies inside a history.
    chi_squared : ChiSquared or None
        The test of MIL-HDBK-189, likewise.
    reversals : Reversals or None
        Of a single history with at least 2 gaps.
    power_law : PowerLaw or None
        None below 2 events.
    steady : Mtbf or None
        Of a steady rate: what to go by where there is no sign of a trend. None where any of
        several histories ends with an event, or there is none.
    """

    count: int
    systems: int
    verdict: Verdict
    laplace: Deviate | None
    chi_squared: ChiSquared | None
    reversals: Reversals | None
    power_law: PowerLaw | None
    steady: Mtbf | None

    @property
    def words(self) -> str:
        """The verdict, with the test that it comes from."""
        if self.laplace is None or self.verdict is Verdict.FEW:
            return f"{Verdict.FEW} ({self.count} of at least {FEW})"
        chance = f"= {self.laplace.p_value:.3f}" if self.laplace.p_value >= 0.001 else "< 0.001"
        return f"{self.verdict} (Laplace test, U = {self.laplace.value:+.2f}, p {chance})"


def event_trend(
    times: Sequence[float], total: float, *, ends_with_event: bool = False, confidence: float = 0.95
) -> EventTrend:
    """Return the trend of one system's events.

    Parameters
    ----------
    times : sequence of float
        From the start of the watch, 0 to ``total``, in any order and unit.
    total : float
        How long it was watched.
    ends_with_event : bool
        Whether the watch ended because of the last event, and not at a moment set beforehand.
    confidence : float
        Of the intervals of the power law.

    Raises
    ------
    ValueError
        If a time lies outside.
    """
    return pooled_trend([history(times, total, ends_with_event=ends_with_event)], confidence)


def pooled_trend(histories: Sequence[History], confidence: float = 0.95) -> EventTrend:
    """Return the trend that systems of one sort have in common.

    Each counts from the start of its own watch; those that differ in how often events come do
    not look like a trend for it.

    Parameters
    ----------
    histories : sequence of History
        One per system.
    confidence : float
        Of the intervals of the power law.
    """
    count = sum(item.times.size for item in histories)
    laplace = laplace_test(histories)
    return EventTrend(
        count=count,
        systems=len(histories),
        verdict=_verdict(count, laplace),
        laplace=laplace,
        chi_squared=power_law_test(histories),
        reversals=reversals(histories[0]) if len(histories) == 1 else None,
        power_law=fit_power_law(histories, confidence),
        steady=_steady(histories, confidence),
    )


def _steady(histories: Sequence[History], confidence: float) -> Mtbf | None:
    ending = sum(item.ends_with_event for item in histories)
    if not histories or (ending and len(histories) > 1):
        return None
    count, total = sum(item.times.size for item in histories), sum(item.end for item in histories)
    return steady_mtbf(count, total, confidence, ends_with_event=bool(ending))


def _verdict(count: int, laplace: Deviate | None) -> Verdict:
    if count < FEW or laplace is None:
        return Verdict.FEW
    if laplace.p_value >= TREND_P:
        return Verdict.NONE
    return Verdict.WORSE if laplace.value > 0 else Verdict.BETTER


def laplace_test(histories: Sequence[History]) -> Deviate | None:
    """Return the Laplace test for a trend, or None without an event inside a history.

    Notes
    -----
    ``U = sum(t - T / 2) / sqrt(sum(n T T / 12))`` over all events inside each history of length
    T: without a trend they lie evenly over it.

    References
    ----------
    .. [1] D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events (1966),
       section 3.3.
    """
    excess = sum(float((item.inner - item.end / 2).sum()) for item in histories)
    variance = sum(item.inner.size * item.end**2 / 12 for item in histories)
    if variance <= 0:
        return None
    value = excess / sqrt(variance)
    return Deviate(value, two_sided(value))


def power_law_test(histories: Sequence[History]) -> ChiSquared | None:
    """Return the chi-squared test of MIL-HDBK-189, or None without an event inside a history.

    Notes
    -----
    ``2 sum ln(T / t)`` over all events inside each history, with two degrees of freedom for each.

    References
    ----------
    .. [1] MIL-HDBK-189, Reliability Growth Management (1981), appendix C.
    """
    freedom = 2 * sum(item.inner.size for item in histories)
    if not freedom:
        return None
    value = 2 * sum(float(np.log(item.end / item.inner).sum()) for item in histories)
    below, above = float(chdtr(freedom, value)), float(chdtrc(freedom, value))
    return ChiSquared(value, freedom, below, min(1.0, 2 * min(below, above)))


def reversals(item: History) -> Reversals | None:
    """Return the reverse arrangements of the gaps between events, or None below 2 gaps.

    References
    ----------
    .. [1] NIST Dataplot reference manual, reliability trend test.
    """
    gaps = np.diff(item.times, prepend=0.0)
    size = gaps.size
    if size < 2:
        return None
    count = int(np.count_nonzero(np.triu(gaps > gaps[:, None])))
    spread = sqrt((2 * size + 5) * (size - 1) * size / 72)
    return Reversals(count, size * (size - 1) // 2, (count - size * (size - 1) / 4 + 0.5) / spread)
