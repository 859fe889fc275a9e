"""Two periods or two stations beside each other: is one of them different?

It loads statsmodels, which takes a second or two: import it where a comparison is asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from scipy.stats import binomtest
from statsmodels.stats.proportion import confint_proportions_2indep

from analytics.core.rates import Rate, poisson_rate
from analytics.core.shares import Share, wilson

SURE = 0.05
"""A p-value below this is told as a difference, and intervals are 95 % ones."""

NEWCOMBE = "Newcombe's hybrid score interval, 95 %"


class Verdict(StrEnum):
    """What a comparison says of the first against the second."""

    HIGHER = "higher"
    LOWER = "lower"
    NO_SIGN = "no sign of a difference"
    NOTHING = "nothing to compare"


class TwoSided(StrEnum):
    """What counts as at least as unlikely on the other side; the p-values differ."""

    MINLIKE = "two-sided by minimum likelihood"
    """Whatever is no likelier than what was seen."""
    DOUBLED = "two-sided by doubling the smaller tail"


@dataclass(frozen=True, slots=True)
class Difference:
    """The first share less the second, with its 95 % interval; None where one is of nothing."""

    value: float | None
    low: float | None
    high: float | None
    first: Share
    second: Share
    method: str = NEWCOMBE

    @property
    def verdict(self) -> Verdict:
        """Whether the interval leaves no room for none."""
        if self.low is None or self.high is None:
            return Verdict.NOTHING
        if self.low > 0:
            return Verdict.HIGHER
        return Verdict.LOWER if self.high < 0 else Verdict.NO_SIGN

    @property
    def words(self) -> str:
        """The verdict with what it rests on."""
        return _words(self.verdict, self.method)


@dataclass(frozen=True, slots=True)
class RateRatio:
    """The first rate over the second, with its 95 % interval and the p-value of no difference.

    ``high`` is infinite where the second had no event, and so is ``value``. All are None where a
    rate has no exposure; ``value`` is None where neither had an event. ``first`` and ``second``
    are per one unit of exposure.
    """

    value: float | None
    low: float | None
    high: float | None
    p_value: float | None
    method: str
    first: Rate
    second: Rate

    @property
    def verdict(self) -> Verdict:
        """Whether the test finds a difference."""
        if self.value is None or self.p_value is None:
            return Verdict.NOTHING
        if self.p_value >= SURE:
            return Verdict.NO_SIGN
        return Verdict.HIGHER if self.value > 1 else Verdict.LOWER

    @property
    def words(self) -> str:
        """The verdict with what it rests on."""
        if self.p_value is None:
            return self.verdict
        shown = "p < 0.001" if self.p_value < 0.001 else f"p = {self.p_value:.3g}"
        return _words(self.verdict, f"{self.method}, {shown}")


def _words(verdict: Verdict, basis: str) -> str:
    return verdict if verdict is Verdict.NOTHING else f"{verdict} ({basis})"


def difference_of_shares(count1: int, of1: int, count2: int, of2: int) -> Difference:
    """Return the first share less the second, with Newcombe's 95 % hybrid score interval.

    Parameters
    ----------
    count1, of1, count2, of2 : int
        So many of so many, of the first and of the second; for a before and after, let what came
        after be the first.

    Raises
    ------
    ValueError
        If a count lies outside ``0 .. of``.

    References
    ----------
    .. [1] R. G. Newcombe, Statistics in Medicine 17 (1998) 873-890, method 10.
    """
    first, second = wilson(count1, of1), wilson(count2, of2)
    if first.value is None or second.value is None:
        return Difference(None, None, None, first, second)
    low, high = confint_proportions_2indep(
        count1, of1, count2, of2, method="newcomb", compare="diff", alpha=SURE
    )
    # Rounding would leave a trace beyond all and none.
    low, high = max(-1.0, float(low)), min(1.0, float(high))
    return Difference(first.value - second.value, low, high, first, second)


def ratio_of_rates(
    count1: int,
    exposure1: float,
    count2: int,
    exposure2: float,
    *,
    two_sided: TwoSided = TwoSided.MINLIKE,
) -> RateRatio:
    """Return the first rate over the second, by the exact test on how the events split.

    Parameters
    ----------
    count1, count2 : int
        Events of the first and of the second.
    exposure1, exposure2 : float
        What they were seen over, in one unit.
    two_sided : TwoSided
        How the p-value takes the other side in.

    Raises
    ------
    ValueError
        If a count or an exposure is negative.

    Notes
    -----
    Given all events, those of the first are binomial with ``exposure1 / (exposure1 + exposure2)``
    if the rates are the same. The interval of the ratio is Clopper and Pearson's of that share.
    It leaves 2.5 % on either side, so close to ``p = 0.05`` it may hold 1 where the p-value by
    minimum likelihood is below. Trips that come in clusters vary more than this allows for.
    """
    first, second = poisson_rate(count1, exposure1), poisson_rate(count2, exposure2)
    method = f"exact conditional test, {two_sided}"
    if not exposure1 or not exposure2:
        return RateRatio(None, None, None, None, method, first, second)
    if not count1 + count2:
        return RateRatio(None, 0.0, math.inf, 1.0, method, first, second)
    even = exposure1 / (exposure1 + exposure2)
    split = binomtest(count1, count1 + count2, even)
    ends = split.proportion_ci(1 - SURE, method="exact")
    scale = exposure2 / exposure1
    return RateRatio(
        value=scale * count1 / count2 if count2 else math.inf,
        low=scale * _odds(ends.low),
        high=scale * _odds(ends.high),
        p_value=_p_value(count1, count1 + count2, even, two_sided),
        method=method,
        first=first,
        second=second,
    )


def _odds(share: float) -> float:
    return float(share) / (1 - float(share)) if share < 1 else math.inf


def _p_value(count: int, of: int, even: float, two_sided: TwoSided) -> float:
    if two_sided is TwoSided.MINLIKE:
        return float(binomtest(count, of, even).pvalue)
    tails = (binomtest(count, of, even, alternative=side).pvalue for side in ("less", "greater"))
    return min(1.0, 2 * float(min(tails)))
