"""Resistance drift: bonded resistance that rises from hookup to hookup, and when it gets too high.

A step is told as a step, with its day. Work on the station behind which resistance was lower
begins a trend anew. What is foretold is where the line of past hookups leads, not what a clamp
will do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import zip_longest

import numpy as np

from analytics.core.change_point import has_begun, is_step, onset, pettitt, two_levels
from analytics.core.mann_kendall import MannKendall, mann_kendall, sen_slope
from analytics.core.stretches import NS_PER_DAY, Stretch, between_work, bonded
from analytics.core.wording import finding
from bondtrail.results import Finding, Hookup, Kind, Number, Outcome, WorkWindow
from bondtrail.site import Limits
from bondtrail.times import format_time

HOOKUPS_MIN = 20
"""Fewer hookups show no trend."""
TREND_P = 0.01
"""Chance below which a trend, or a change of level, is taken to be real."""
SOON_DAYS = 90.0
"""A limit that is reached within this makes a finding."""
SIGHT_DAYS = 3650.0
"""Nothing is foretold beyond ten years."""
TURNS_MAX = 5
"""So many steps and onsets at most are taken one after the other."""


class Shape(StrEnum):
    """What the resistance of a stretch of hookups does."""

    DRIFT = "drift"
    STEP = "step"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Line:
    """The Theil-Sen line through the medians of time and resistance.

    Attributes
    ----------
    slope, low, high : float
        With its 95 % interval. [ohm/day]
    middle_days : float
        Median start, in days from that of the last hookup: 0 or below.
    middle_ohm : float
        Median resistance.
    """

    slope: float
    low: float
    high: float
    middle_days: float
    middle_ohm: float

    def at(self, days: float) -> float:
        """Return the resistance so many days after the last hookup. [ohm]"""
        return self.middle_ohm + self.slope * (days - self.middle_days)


@dataclass(frozen=True, slots=True)
class Change:
    """Where the level changed most clearly.

    ``at`` is the start of the first hookup after it [ns], ``p_value`` that of Pettitt's test; the
    levels are medians.
    """

    at: int
    p_value: float
    before_ohm: float
    after_ohm: float


@dataclass(frozen=True, slots=True)
class ResistanceTrend:
    """What bonded resistance did over a stretch of hookups.

    Attributes
    ----------
    kind : Shape
        Drift where it rises; one that falls is none, and so is the level before a drift began.
    start, last, end : int
        Start of the first and of the last hookup, and the end of the last. [ns]
    hookups : int
        Verified ones with a resistance.
    level_ohm : float
        At the last hookup: of a drift on its line, of a step the median after it, else the median.
    test : MannKendall or None
        Over the whole stretch; like `line` and `change` None below 20 hookups.
    line : Line or None
        Also None where all hookups began at one moment.
    change : Change or None
        It is a step only where ``kind`` says so. The hookups after a step follow as a trend of
        their own.
    """

    kind: Shape
    start: int
    last: int
    end: int
    hookups: int
    level_ohm: float
    test: MannKendall | None = None
    line: Line | None = None
    change: Change | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """In how many days from the last hookup's start a drift reaches a limit; 0: it has already.

    None stands for not in sight. The earliest and latest follow the ends of the slope's interval.
    """

    days: float | None
    earliest: float | None
    latest: float | None


def resistance_trends(
    hookups: Sequence[Hookup], work: Sequence[WorkWindow]
) -> list[ResistanceTrend]:
    """Return what bonded resistance did, by start; docs/rules.md says how it is read.

    Parameters
    ----------
    hookups : sequence of Hookup
        Of one station, in any order. Failed ones and those without a resistance do not count.
    work : sequence of WorkWindow
        Of the same station.
    """
    stretches = between_work(bonded(hookups), work)
    return [trend for stretch in stretches for trend in _trends(stretch)]


def _trends(stretch: Stretch) -> Iterator[ResistanceTrend]:
    trend = _trend(stretch)
    for _ in range(TURNS_MAX):
        turn = _turn(stretch, trend)
        if not turn:
            break
        if trend.kind is Shape.STEP:
            yield trend
        else:
            early = stretch.part(0, turn)
            level_ohm = float(np.median(early.ohm))
            yield replace(_trend(early), kind=Shape.NONE, level_ohm=level_ohm)
        stretch = stretch.part(turn)
        trend = _trend(stretch)
    yield trend


def _turn(stretch: Stretch, trend: ResistanceTrend) -> int:
    """Return the index of the hookup from which a stretch is judged by itself; 0 for none."""
    if trend.kind is Shape.STEP and trend.change:
        return int(stretch.start.searchsorted(trend.change.at, side="left"))
    if trend.kind is Shape.DRIFT:
        begun = onset(stretch.days, stretch.ohm, HOOKUPS_MIN)
        if has_begun(begun, len(stretch)) and _rises(mann_kendall(stretch.ohm[begun.index :])):
            return begun.index
    return 0


def _trend(stretch: Stretch) -> ResistanceTrend:
    median = float(np.median(stretch.ohm))
    if len(stretch) < HOOKUPS_MIN:
        return _told(stretch, Shape.NONE, median)
    days, ohm = stretch.days, stretch.ohm
    test, change, slope = mann_kendall(ohm), pettitt(ohm), sen_slope(days, ohm)
    levels = two_levels(ohm, change.index)
    found = Change(int(stretch.start[levels.index]), change.p_value, levels.before, levels.after)
    if slope is None:
        return _told(stretch, Shape.NONE, median, test, change=found)
    line = Line(slope.value, slope.low, slope.high, float(np.median(days)), median)
    if change.p_value < TREND_P and is_step(days, ohm, levels):
        return _told(stretch, Shape.STEP, levels.after, test, line, found)
    if _rises(test):
        return _told(stretch, Shape.DRIFT, line.at(0.0), test, line, found)
    return _told(stretch, Shape.NONE, median, test, line, found)


def _told(
    stretch: Stretch,
    kind: Shape,
    level_ohm: float,
    test: MannKendall | None = None,
    line: Line | None = None,
    change: Change | None = None,
) -> ResistanceTrend:
    first, last = int(stretch.start[0]), int(stretch.start[-1])
    end = int(stretch.end[-1])
    return ResistanceTrend(kind, first, last, end, len(stretch), level_ohm, test, line, change)


def _rises(test: MannKendall) -> bool:
    return test.s > 0 and test.p_value < TREND_P


def forecast(trend: ResistanceTrend, limit_ohm: float) -> Forecast:
    """Return when a drift reaches a limit; of anything but a drift nothing is in sight.

    Parameters
    ----------
    trend : ResistanceTrend
        Of a station.
    limit_ohm : float
        What resistance should stay at or below. [ohm]
    """
    line = trend.line
    if trend.kind is not Shape.DRIFT or line is None:
        return Forecast(None, None, None)
    return Forecast(
        *(_reached(line, slope, limit_ohm) for slope in (line.slope, line.high, line.low))
    )


def _reached(line: Line, slope: float, limit_ohm: float) -> float | None:
    rise = limit_ohm - line.middle_ohm
    if rise > 0 and slope * (SIGHT_DAYS - line.middle_days) < rise:
        return None
    return max(0.0, line.middle_days + rise / slope) if rise > 0 else 0.0


def drift_findings(
    station: str,
    hookups: Sequence[Hookup],
    work: Sequence[WorkWindow],
    limits_at: Callable[[int], Limits],
) -> list[Finding]:
    """Return a finding for each drift that reaches the limit within 90 days, by start.

    Parameters
    ----------
    station : str
        Id of the station.
    hookups : sequence of Hookup
        All of the station, in any order.
    work : sequence of WorkWindow
        Of the station.
    limits_at : callable
        Limits of the station that hold at a moment [ns]; asked for the last hookup of a drift.
    """
    if len(hookups) < HOOKUPS_MIN:
        return []
    found = []
    stretches = between_work(bonded(hookups), work)
    for stretch, following in zip_longest(stretches, stretches[1:]):
        if not _worth_a_look(stretch):
            continue
        lower_from = None if following is None else int(following.start[0])
        for trend in _trends(stretch):
            if trend.kind is not Shape.DRIFT:
                continue
            limits = limits_at(trend.last)
            reached = forecast(trend, limits.limit_ohm)
            if reached.days is not None and reached.days <= SOON_DAYS:
                failed = failed_since(hookups, trend)
                since = _Since(failed, lower_from)
                found.append(_finding(station, trend, reached, since, limits))
    return found


def failed_since(hookups: Sequence[Hookup], trend: ResistanceTrend) -> int:
    """Return how many hookups failed between the last one of a trend and the next that did not.

    They have no bonded resistance, so no line shows that it has got worse.
    """
    later = [row for row in hookups if row.start > trend.last]
    verified = [row.start for row in later if row.outcome is Outcome.VERIFIED]
    until = min(verified, default=None)
    return sum(until is None or row.start < until for row in later)


def _worth_a_look(stretch: Stretch) -> bool:
    """Return whether anything may come of a stretch: the slope costs most, and few need it."""
    if len(stretch) < HOOKUPS_MIN:
        return False
    return pettitt(stretch.ohm).p_value < TREND_P or _rises(mann_kendall(stretch.ohm))


@dataclass(frozen=True, slots=True)
class _Since:
    """What followed a trend: hookups that failed, and the first one after work ended it. [ns]"""

    failed: int
    lower_from: int | None


def _finding(
    station: str, trend: ResistanceTrend, reached: Forecast, since: _Since, limits: Limits
) -> Finding:
    assert trend.line is not None
    assert trend.test is not None
    evidence: dict[str, Number] = {
        "hookups": trend.hookups,
        "days": (trend.last - trend.start) / NS_PER_DAY,
        "p_value": trend.test.p_value,
        "slope_ohm_per_day": trend.line.slope,
        "slope_low_ohm_per_day": trend.line.low,
        "slope_high_ohm_per_day": trend.line.high,
        "level_ohm": trend.level_ohm,
        "limit_ohm": limits.limit_ohm,
        "reaches_limit_in_days": reached.days,
        "reaches_limit_earliest_days": reached.earliest,
        "reaches_limit_latest_days": reached.latest,
        "reaches_limit_on": _moment(trend, reached.days),
        "reaches_limit_earliest_on": _moment(trend, reached.earliest),
        "reaches_limit_latest_on": _moment(trend, reached.latest),
        "failed_since": since.failed,
        "ended_by_work": since.lower_from is not None,
        "lower_from": None if since.lower_from is None else format_time(since.lower_from),
    }
    span = trend.start, trend.end
    return finding(Kind.RESISTANCE_DRIFT, station, span, limits, evidence, transfer=None)


def _moment(trend: ResistanceTrend, days: float | None) -> str | None:
    return None if days is None else format_time(trend.last + round(days * NS_PER_DAY))
