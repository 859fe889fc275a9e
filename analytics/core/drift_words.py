"""What bonded resistance did and will do, in words, with the days on the site's clock."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from analytics.core.drift import (
    HOOKUPS_MIN,
    TREND_P,
    Forecast,
    Line,
    ResistanceTrend,
    Shape,
    forecast,
)
from analytics.core.mann_kendall import MannKendall
from analytics.core.stretches import NS_PER_DAY
from analytics.core.wording import RANGE, resistance
from bondtrail.times import local_day

BY_CHANCE = "Of many stations about one in 100 shows a drift by chance."
"""What goes with the drifts of many stations."""


def trend_words(
    trend: ResistanceTrend, limit_ohm: float | None, zone: ZoneInfo, now: int | None = None
) -> str:
    """Return a trend in words, such as ``rising by 0.08 ohm a day; reaches ... about 2026-04-11``.

    Parameters
    ----------
    trend : ResistanceTrend
        Of a station.
    limit_ohm : float or None
        What its resistance should stay at or below; None leaves the forecast out, as of a stretch
        that is over. [ohm]
    zone : ZoneInfo
        The site's clock.
    now : int, optional
        A day that lies before it is no forecast, and told as past. [ns]
    """
    if trend.test is None:
        return f"too few hookups to tell ({trend.hookups} of at least {HOOKUPS_MIN})"
    if trend.kind is Shape.STEP and trend.change is not None:
        change = trend.change
        levels = f"from {resistance(change.before_ohm, 3)} to {resistance(change.after_ohm, 3)}"
        return f"a step and no drift: {levels} on {local_day(change.at, zone)}"
    if trend.line is None:
        return "no drift to tell: all hookups began at one moment"
    if trend.kind is Shape.DRIFT:
        rise = f"rising by {_a_day(trend.line)} ({_tested(trend.test)})"
        if limit_ohm is None:
            return rise
        ahead = forecast(trend, limit_ohm)
        return f"{rise}; {_reach(trend, ahead, resistance(limit_ohm), zone, now)}"
    if trend.test.s < 0 and trend.test.p_value < TREND_P:
        return f"falling by {_a_day(trend.line)} ({_tested(trend.test)})"
    return f"no sign of a drift ({_tested(trend.test)})"


def _a_day(line: Line) -> str:
    return f"{resistance(abs(line.slope), 2)} a day"


def _tested(test: MannKendall) -> str:
    chance = f"= {test.p_value:.3f}" if test.p_value >= 0.001 else "< 0.001"
    return f"Mann-Kendall test, p {chance}"


def _reach(
    trend: ResistanceTrend, reached: Forecast, limit: str, zone: ZoneInfo, now: int | None
) -> str:
    if reached.days == 0:
        return f"has reached the limit of {limit}"
    if reached.earliest is None:
        return f"the limit of {limit} is not in sight"
    first = _day(trend, reached.earliest, zone)
    if reached.days is None:
        return f"reaches the limit of {limit} on {first} at the earliest ({RANGE})"
    middle = _day(trend, reached.days, zone)
    if now is not None and _moment(trend, reached.days) <= now:
        told = f"by the line the limit of {limit} was reached about {middle}"
    else:
        told = f"reaches the limit of {limit} about {middle}"
    if reached.latest is None:
        return f"{told} ({RANGE}: {first} at the earliest)"
    return f"{told} ({RANGE}: {first} to {_day(trend, reached.latest, zone)})"


def _moment(trend: ResistanceTrend, days: float) -> int:
    return trend.last + round(days * NS_PER_DAY)


def _day(trend: ResistanceTrend, days: float, zone: ZoneInfo) -> str:
    return str(local_day(_moment(trend, days), zone))
