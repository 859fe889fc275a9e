"""Whether events come faster or slower over time: the tests, the verdict, and it in words.

The Laplace test decides, chosen beforehand: tests disagree on small data, and one that is chosen
after looking finds too much. The others stand beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import floor, sqrt

import numpy as np
from scipy.special import chdtr, chdtrc

from analytics.core.histories import History
from analytics.core.mann_kendall import two_sided
from analytics.core.power_law import PowerLaw, fit_power_law
from analytics.core.shares import FEW

TREND_P = 0.05
"""Chance below which a trend is taken to be real."""
KNOWN_MIN = 0.9
"""With less of the time on record nothing is told: events of the rest are missing."""
BY_CHANCE = (
    "Of many stations about one in 20 shows a trend by chance. Trends run by the calendar: a "
    "station that is used twice as much trips twice as often."
)
"""What goes with the trends of trips."""


class Verdict(StrEnum):
    """What the Laplace test says, where there is enough to say anything."""

    WORSE = "getting worse"
    BETTER = "getting better"
    NONE = "no sign of a trend"
    FEW = "too few to tell"
    NOT_TOLD = "not told"


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
        By the Laplace test, two-sided at 5 %; not told where less than `KNOWN_MIN` is known.
    laplace : Deviate or None
        None where no event lies inside a history.
    chi_squared : ChiSquared or None
        The test of MIL-HDBK-189, likewise.
    reversals : Reversals or None
        Of a single history with at least 2 gaps.
    power_law : PowerLaw or None
        None below 2 events.
    known : float
        Share of the time of the histories that is on record. [-]
    """

    count: int
    systems: int
    verdict: Verdict
    laplace: Deviate | None
    chi_squared: ChiSquared | None
    reversals: Reversals | None
    power_law: PowerLaw | None
    known: float = 1.0

    @property
    def words(self) -> str:
        """The verdict, with the test that it comes from."""
        if self.laplace is None or self.verdict is Verdict.FEW:
            return f"{Verdict.FEW} ({self.count} of at least {FEW})"
        chance = f"= {self.laplace.p_value:.3f}" if self.laplace.p_value >= 0.001 else "< 0.001"
        test = f"Laplace test, U = {self.laplace.value:+.2f}, p {chance}"
        if self.verdict is Verdict.NOT_TOLD:
            share = f"only {floor(100 * self.known)} % of this time is on record"
            return f"{self.verdict}: {share} ({test})"
        return f"{self.verdict} ({test})"


def pooled_trend(
    histories: Sequence[History], confidence: float = 0.95, known: float = 1.0
) -> EventTrend:
    """Return the trend that systems of one sort have in common.

    Each counts from the start of its own watch; those that differ in how often events come do
    not look like a trend for it.

    Parameters
    ----------
    histories : sequence of History
        One per system.
    confidence : float
        Of the intervals of the power law.
    known : float
        Share of the time of the histories that is on record. [-]
    """
    count = sum(item.times.size for item in histories)
    laplace = laplace_test(histories)
    return EventTrend(
        count=count,
        systems=len(histories),
        verdict=_verdict(count, laplace, known),
        laplace=laplace,
        chi_squared=power_law_test(histories),
        reversals=reversals(histories[0]) if len(histories) == 1 else None,
        power_law=fit_power_law(histories, confidence),
        known=known,
    )


def _verdict(count: int, laplace: Deviate | None, known: float) -> Verdict:
    if count < FEW or laplace is None:
        return Verdict.FEW
    if known < KNOWN_MIN:
        return Verdict.NOT_TOLD
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
