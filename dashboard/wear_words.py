"""What trends of trips and of resistance come to, in words, each with the test behind it."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from analytics.core import trends
from analytics.core.drift import Shape
from analytics.core.drift_words import BY_CHANCE, trend_words
from analytics.core.trends import EventTrend, Verdict
from bondtrail.times import local_day
from dashboard.figures.wear import Resistance
from dashboard.figures.wording import ohms, plural


def trips_words(trend: EventTrend) -> Iterator[str]:
    """Yield what the trips of a station say of a trend."""
    yield f"{plural(trend.count, 'trip').capitalize()}: {trend.words}."
    fit = trend.power_law
    if fit is None or trend.verdict is Verdict.FEW:
        return
    yield (
        f"Power law: beta {fit.likelihood.beta:.2f} (95 % {fit.beta_low:.2f} to "
        f"{fit.beta_high:.2f}); above 1 trips come ever faster, below 1 ever slower."
    )
    if trend.chi_squared is not None:
        yield f"The test of MIL-HDBK-189 gives p {chance(trend.chi_squared.p_value)}."
    yield trends.BY_CHANCE


def chance(p_value: float) -> str:
    """Return a chance as it stands after p, such as ``= 0.031``."""
    return f"= {p_value:.3f}" if p_value >= 0.001 else "< 0.001"


def resistance_words(told: Resistance, zone: ZoneInfo, now: int) -> Iterator[str]:
    """Yield what bonded resistance did, stretch by stretch, oldest first, as of ``now``. [ns]

    Only the latest one leads anywhere: what was before it is over.
    """
    for trend in told.trends:
        is_latest = trend is told.trends[-1]
        limit_ohm = told.limit_ohm if is_latest else None
        yield (
            f"{plural(trend.hookups, 'hookup')} from {local_day(trend.start, zone)} to "
            f"{local_day(trend.last, zone)}, level {ohms(trend.level_ohm)}: "
            f"{trend_words(trend, limit_ohm, zone, now)}."
        )
    if any(trend.kind is Shape.DRIFT for trend in told.trends):
        yield f"{BY_CHANCE} That is where the past leads, not what a clamp will do."
