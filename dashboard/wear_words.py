"""What trends of trips and of resistance come to, in words, each with the test behind it."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from analytics.core.drift import HOOKUPS_MIN, Forecast, ResistanceTrend, Shape
from analytics.core.stretches import NS_PER_DAY
from analytics.core.trends import EventTrend, Verdict
from bondtrail.times import local
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


def chance(p_value: float) -> str:
    """Return a chance as it stands after p, such as ``= 0.031``."""
    return f"= {p_value:.3f}" if p_value >= 0.001 else "< 0.001"


def resistance_words(told: Resistance, zone: ZoneInfo) -> Iterator[str]:
    """Yield what bonded resistance did, stretch by stretch, and where it leads; oldest first."""
    for trend in told.trends:
        yield _stretch(trend, zone)
    if told.trends and told.trends[-1].kind is Shape.DRIFT:
        yield _ahead(told.trends[-1], told.forecast, told.limit_ohm, zone)


def _stretch(trend: ResistanceTrend, zone: ZoneInfo) -> str:
    since = f"{plural(trend.hookups, 'hookup')} from {_day(trend.start, zone)}"
    since += f" to {_day(trend.last, zone)}"
    if trend.kind is Shape.STEP and trend.change is not None:
        change = trend.change
        return (
            f"{since}: a step, not a drift. On {_day(change.at, zone)} it went from "
            f"{ohms(change.before_ohm)} to {ohms(change.after_ohm)} (Pettitt's test, p "
            f"{chance(change.p_value)})."
        )
    if trend.kind is Shape.DRIFT and trend.line is not None and trend.test is not None:
        line = trend.line
        return (
            f"{since}: rising by {line.slope:.2g} ohm a day (95 % {line.low:.2g} to "
            f"{line.high:.2g}), now {ohms(trend.level_ohm)} (Mann-Kendall test, p "
            f"{chance(trend.test.p_value)}; Theil-Sen slope)."
        )
    if trend.test is None:
        return f"{since}: too few to tell a trend, which takes {HOOKUPS_MIN}. {_level(trend)}"
    return (
        f"{since}: no sign of a rise (Mann-Kendall test, p {chance(trend.test.p_value)}). "
        f"{_level(trend)}"
        if trend.test.s >= 0
        else f"{since}: not rising. {_level(trend)}"
    )


def _level(trend: ResistanceTrend) -> str:
    return f"Median {ohms(trend.level_ohm)}."


def _ahead(trend: ResistanceTrend, ahead: Forecast, limit_ohm: float, zone: ZoneInfo) -> str:
    limit = f"the limit of {ohms(limit_ohm)}"
    if ahead.days is None:
        return f"At this pace {limit} is not in sight."
    if ahead.days == 0:
        return f"It has reached {limit} already."
    earliest = "at once" if ahead.earliest == 0 else _on(trend, ahead.earliest, zone)
    latest = _on(trend, ahead.latest, zone)
    return (
        f"At this pace it reaches {limit} on about {_on(trend, ahead.days, zone)} (95 % of the "
        f"slope: {earliest} to {latest}). That is where the past leads, not what a clamp will do."
    )


def _on(trend: ResistanceTrend, days: float | None, zone: ZoneInfo) -> str:
    if days is None:
        return "not in sight"
    return _day(trend.last + round(days * NS_PER_DAY), zone)


def _day(moment: int, zone: ZoneInfo) -> str:
    return f"{local(moment, zone):%Y-%m-%d}"
